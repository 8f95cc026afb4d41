//! What a host waits for after an edit: one length of a design is changed, and findings and
//! figures are asked for again, beside parsing the text alone.
//!
//! The design is open all the while, so that its ruleset is loaded; each edit is another text.

#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

mod measuring;
mod quantile;

use std::error::Error;
use std::hint::black_box;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use amperule::check::Standing;
use amperule::design::parse::parse;
use amperule::ruleset::Severity;
use amperule::source::{FileId, Memory};
use amperule::{Ask, Options, Project};

/// A complete domestic design with nothing in breach.
const TEXT: &str = include_str!("../../examples/quarry-cottage.amp");
const LENGTH: &str = "length: 18 m";
const PATH: &str = "quarry-cottage.amp";

/// Edits, and when nothing is measured.
const EDITS: (usize, usize) = (2000, 3);

/// The time that something takes, and what it gives.
fn timed<T>(what: impl FnOnce() -> T) -> (Duration, T) {
    let start = Instant::now();
    let made = what();
    (start.elapsed(), made)
}

fn main() -> Result<(), Box<dyn Error>> {
    let measuring = measuring::measuring();
    let (path, options) = (Path::new(PATH), Options::default());
    let texts: Memory = [(PATH, TEXT)].into_iter().collect();
    let mut project = Project::in_memory(texts).for_editing();
    let mut loaded = project.open(path, &options);
    let names = ["bare parse", "open", "check", "whole edit", "no edit"];
    let mut times: [Vec<Duration>; 5] = Default::default();
    for number in 0..(if measuring { EDITS.0 } else { EDITS.1 }) {
        // 10 m to 20 m, which is never a breach.
        let length = format!("length: {:.3} m", 10.0 + 0.005 * number as f64);
        let text = TEXT.replacen(LENGTH, &length, 1);
        let (bare, parsed) = timed(|| parse(FileId(0), black_box(&text)));
        drop(parsed);
        let (open, now) = timed(|| {
            project.edit(PATH, text);
            project.open(path, &options)
        });
        let (check, checked) = timed(|| now.check(Ask::default()));
        let (still, same) = timed(|| project.open(path, &options));
        // What is timed must be the real work.
        let figures = checked
            .judged
            .as_ref()
            .map_or(0, |j| j.report.figures.len());
        if checked.standing(Severity::Breach) != Standing::Clean || figures == 0 {
            return Err(format!("`{length}`: {:?}", checked.problems).into());
        }
        if Arc::ptr_eq(&now, &loaded) || !Arc::ptr_eq(&now, &same) {
            return Err(format!("`{length}` is not one edit").into());
        }
        loaded = now;
        let each = [bare, open, check, open + check, still];
        for (times, time) in times.iter_mut().zip(each) {
            times.push(time);
        }
    }
    if measuring {
        let parse = quantile::quantile(&mut times[0], 0.5);
        println!("host: {} edits (median, 99th percentile):", EDITS.0);
        for (name, times) in names.iter().zip(&mut times) {
            let [middle, high] = [0.5, 0.99].map(|s| quantile::quantile(times, s));
            println!(
                "  {name:10} {:9.1} µs  {:9.1} µs  {:6.2} × parse",
                middle * 1e6,
                high * 1e6,
                middle / parse
            );
        }
    }
    Ok(())
}
