//! Answers beyond a check: a mend, points of a template, and the rows of a table.
//!
//! The mend and the points are timed inside one process, on one thread, with the ruleset loaded
//! and the design read before. A point evaluation is one verdict told at one point. The rows go
//! through the program from its start to its end, report going nowhere; the peak of its memory
//! is the high-water mark that Linux keeps for it, read until it ends.

#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

mod measuring;
mod quantile;

use std::error::Error;
use std::fmt::Write as _;
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use amperule::answer::{RowJudge, mend};
use amperule::expression::Val;
use amperule::source::{Memory, Span};
use amperule::{Installation, Loaded, Options, Project};
use criterion::Criterion;

const FAULTS: &str = include_str!("../../examples/quarry-cottage-faults.amp");
const TEMPLATE: &str = include_str!("../../examples/terrace-template.amp");
const TEMPLATE_FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/terrace-template.amp");
const PROGRAM: &str = env!("CARGO_BIN_EXE_amperule");

/// Mends that are timed, and when nothing is measured.
const MENDS: (usize, usize) = (30, 1);
/// Points of a template.
const POINTS: (usize, usize) = (1_000_000, 100);
/// Rows of the two tables.
const ROWS: ([usize; 2], [usize; 2]) = ([100_000, 1_000_000], [10, 20]);
/// How often the memory of a running program is looked at.
const LOOK: Duration = Duration::from_millis(5);

/// Numbers that look random and are the same on each machine (xorshift).
struct Shuffled(u64);

impl Shuffled {
    /// The next number from 0 up to, not including, 1.
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

fn open(text: &str) -> Arc<Loaded> {
    let texts: Memory = [("design.amp", text)].into_iter().collect();
    Project::in_memory(texts).open(Path::new("design.amp"), &Options::default())
}

fn sound(loaded: &Loaded) -> Result<&Installation, String> {
    let of = loaded.sound();
    of.ok_or_else(|| format!("{:?}", loaded.problems))
}

fn mending(criterion: &mut Criterion, measuring: bool) -> Result<(), String> {
    let loaded = open(FAULTS);
    let of = sound(&loaded)?;
    let text = |span: Span| loaded.sources.slice(span).to_owned();
    let once = || {
        mend(
            of.ruleset(),
            black_box(of.design()),
            of.stage(),
            of.on(),
            &text,
        )
    };
    let found = once();
    if found.changes.is_empty() {
        return Err("the example with faults is mended by nothing".to_owned());
    }
    criterion.bench_function("mend", |b| b.iter(once));
    let mut times = Vec::new();
    for _ in 0..(if measuring { MENDS.0 } else { MENDS.1 }) {
        let start = Instant::now();
        black_box(once());
        times.push(start.elapsed());
    }
    if measuring {
        let [low, middle, high] = [0.1, 0.5, 0.9].map(|s| quantile::quantile(&mut times, s) * 1e3);
        println!(
            "mend: {} changes; median {middle:.1} ms (10th and 90th percentile {low:.1} to {high:.1})",
            found.changes.len()
        );
    }
    Ok(())
}

fn points(measuring: bool) -> Result<(), String> {
    let loaded = open(TEMPLATE);
    let residual = sound(&loaded)?.residual();
    let judge = RowJudge::new(residual);
    let [run] = judge.parameters.as_slice() else {
        return Err("the template has one parameter".to_owned());
    };
    let count = if measuring { POINTS.0 } else { POINTS.1 };
    let mut random = Shuffled(0x5eed_1234_5678_9abc);
    let width = run.set.hi - run.set.lo;
    let all: Vec<Val> = (0..count)
        .map(|_| {
            let x = run.set.lo + width * random.next();
            Val {
                lo: x,
                hi: x,
                ..run.set
            }
        })
        .collect();
    let mut reader = judge.reader();
    let mut unmet = 0_usize;
    let start = Instant::now();
    for value in &all {
        unmet += reader.judge(std::slice::from_ref(black_box(value))).len();
    }
    let seconds = start.elapsed().as_secs_f64();
    let verdicts = judge.varying.len();
    // Both must occur, or what was timed is not what is meant.
    if unmet == 0 || unmet == count * verdicts {
        return Err(format!(
            "{unmet} of {count} × {verdicts} verdicts are not met"
        ));
    }
    if measuring {
        let rate = count as f64 / seconds;
        println!(
            "points: {count} points, {verdicts} verdicts each, one thread: \
             {rate:.0} points/s, {:.0} point evaluations/s",
            rate * verdicts as f64
        );
    }
    Ok(())
}

/// The high-water mark of a process's memory in kB; nothing once it has ended.
fn peak(process: u32) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Seconds and peak memory in kB of one run over a table.
fn rows(table: &Path, jobs: u32) -> Result<(f64, u64), Box<dyn Error>> {
    let start = Instant::now();
    let mut child = Command::new(PROGRAM)
        .args(["check", TEMPLATE_FILE, "--rows"])
        .arg(table)
        .args(["--jobs", &jobs.to_string()])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .spawn()?;
    let mut most = 0;
    let status = loop {
        if let Some(kilobytes) = peak(child.id()) {
            most = most.max(kilobytes);
        }
        if let Some(status) = child.try_wait()? {
            break status;
        }
        std::thread::sleep(LOOK);
    };
    let seconds = start.elapsed().as_secs_f64();
    // Some rows lie where the voltage drop is too large: a breach.
    match status.code() {
        Some(1) => Ok((seconds, most)),
        _ => Err(format!("the rows ended with {status}, expected exit code 1").into()),
    }
}

fn tables(measuring: bool) -> Result<(), Box<dyn Error>> {
    let place = tempfile::tempdir()?;
    let mut random = Shuffled(0x0dd_ba11_cafe_f00d);
    for count in if measuring { ROWS.0 } else { ROWS.1 } {
        let mut text = String::from("run (m)\n5\n40\n");
        for _ in 2..count {
            writeln!(text, "{:.3}", 5.0 + 35.0 * random.next())?;
        }
        let table = place.path().join(format!("{count}.csv"));
        fs::write(&table, text)?;
        for jobs in [1, 2] {
            let (seconds, kilobytes) = rows(&table, jobs)?;
            if measuring {
                println!(
                    "rows: {count} rows, {jobs} jobs: {seconds:.2} s, {:.0} rows/s, peak {:.1} MB",
                    count as f64 / seconds,
                    kilobytes as f64 / 1000.0
                );
            }
        }
    }
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    let measuring = measuring::measuring();
    let mut criterion = Criterion::default().configure_from_args();
    mending(&mut criterion, measuring)?;
    points(measuring)?;
    tables(measuring)?;
    criterion.final_summary();
    Ok(())
}
