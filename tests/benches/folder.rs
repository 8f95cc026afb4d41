//! Designs a second for a folder of 10,000, by one and by two threads.
//!
//! The designs are variations of one example: run lengths, rating of the circuit and the point,
//! impedance of the supply. No two are alike, and some are in breach. Each number of threads is
//! run once, from process start to its end, with the report going into a file; both reports must
//! be the same byte for byte.

#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

mod measuring;

use std::error::Error;
use std::fs::{self, File};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

const TEXT: &str = include_str!("../../examples/quarry-cottage.amp");

/// Designs in the folder, and when nothing is measured.
const DESIGNS: (usize, usize) = (10_000, 6);

/// Variations: final stretch, first stretch, supply impedance, rating.
const LENGTHS: usize = 79;
const FIRST: usize = 9;
const SUPPLIES: usize = 26;
const RATINGS: [u32; 4] = [16, 20, 25, 32];

/// Replaces the only place at which `old` stands.
fn put(text: &str, old: &str, new: &str) -> Result<String, String> {
    match text.matches(old).count() {
        1 => Ok(text.replacen(old, new, 1)),
        n => Err(format!("the example holds `{old}` {n} times, expected one")),
    }
}

/// One variation; each index below the number of variations gives another.
fn design(index: usize) -> Result<String, String> {
    // Steps by a prime, so that neighbours differ in every part.
    let mut rest = index * 7919 % (LENGTHS * FIRST * SUPPLIES * RATINGS.len());
    let mut next = |count: usize| {
        let part = rest % count;
        rest /= count;
        part
    };
    let length = 6.0 + 0.5 * next(LENGTHS) as f64;
    let first = 2.0 + 0.5 * next(FIRST) as f64;
    let supply = 0.10 + 0.01 * next(SUPPLIES) as f64;
    let rating = RATINGS[next(RATINGS.len())];
    let text = put(
        TEXT,
        "installation \"Quarry Cottage\"",
        &format!("installation \"Cottage {index}\""),
    )?;
    let text = put(&text, "Ze: 0.28 ohm", &format!("Ze: {supply:.2} ohm"))?;
    let text = put(&text, "length: 4 m ", &format!("length: {first} m "))?;
    let text = put(&text, "length: 18 m ", &format!("length: {length} m "))?;
    let text = put(
        &text,
        "standard: BS-EN-61009\n      In: 32 A",
        &format!("standard: BS-EN-61009\n      In: {rating} A"),
    )?;
    put(
        &text,
        "case: B\n  In: 32 A",
        &format!("case: B\n  In: {rating} A"),
    )
}

/// Checks the folder and gives the seconds it took. Only an exit code that says "judged" is
/// accepted: clean (0), a breach (1) or something undecided (3).
fn run(folder: &Path, threads: u32, report: &Path) -> Result<f64, Box<dyn Error>> {
    let out = File::create(report)?;
    let start = Instant::now();
    let status = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(["check", "--jobs", &threads.to_string()])
        .arg(folder)
        .stdin(Stdio::null())
        .stdout(out)
        .status()?;
    let seconds = start.elapsed().as_secs_f64();
    match status.code() {
        Some(0 | 1 | 3) => Ok(seconds),
        _ => Err(format!("the check ended with {status}").into()),
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let measuring = measuring::measuring();
    let designs = if measuring { DESIGNS.0 } else { DESIGNS.1 };
    let place = tempfile::tempdir()?;
    let folder = place.path().join("designs");
    fs::create_dir(&folder)?;
    for i in 0..designs {
        fs::write(folder.join(format!("cottage-{i:05}.amp")), design(i)?)?;
    }
    let reports = [1, 2].map(|n| place.path().join(format!("report-{n}.txt")));
    let one = run(&folder, 1, &reports[0])?;
    let two = run(&folder, 2, &reports[1])?;

    let text = fs::read_to_string(&reports[0])?;
    if text != fs::read_to_string(&reports[1])? {
        return Err("one and two threads gave different reports".into());
    }
    // Each design ends its report with one line of counts.
    let breaches: Vec<bool> = text
        .lines()
        .filter(|l| l.contains(".amp: ") && l.contains(" not applicable"))
        .map(|l| !l.contains(".amp: 0 breaches"))
        .collect();
    if breaches.len() != designs {
        let n = breaches.len();
        return Err(format!("{n} designs were judged, expected {designs}").into());
    }
    if measuring {
        let breach = breaches.iter().filter(|b| **b).count();
        let rate = |seconds: f64| designs as f64 / seconds;
        println!("folder: {designs} designs, {breach} of them in breach");
        println!("  1 thread   {one:7.2} s  {:7.0} designs/s", rate(one));
        println!("  2 threads  {two:7.2} s  {:7.0} designs/s", rate(two));
        println!("  2 threads / 1 thread = {:.2} ×, same report", one / two);
    }
    Ok(())
}
