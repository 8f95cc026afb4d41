//! Process start to its end: a check of one design beside a program that does nothing.
//!
//! The programs run in turn, so that whatever else the machine does hits all alike; their output
//! goes nowhere. `--version` stands for a start that reads no ruleset.

#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

mod measuring;
mod quantile;

use std::error::Error;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Runs of each program, and when nothing is measured.
const RUNS: (usize, usize) = (200, 1);

const PROGRAM: &str = env!("CARGO_BIN_EXE_amperule");
const DESIGN: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/quarry-cottage.amp");

fn run(program: &str, args: &[&str]) -> Result<Duration, Box<dyn Error>> {
    let start = Instant::now();
    let status = Command::new(program)
        .args(args)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .status()?;
    let time = start.elapsed();
    if status.success() {
        Ok(time)
    } else {
        Err(format!("`{program} {}` ended with {status}", args.join(" ")).into())
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let measuring = measuring::measuring();
    let runs = if measuring { RUNS.0 } else { RUNS.1 };
    let programs: [(&str, &str, &[&str]); 4] = [
        ("nothing", "/bin/true", &[]),
        ("--version", PROGRAM, &["--version"]),
        ("check", PROGRAM, &["check", DESIGN]),
        ("check --jobs 1", PROGRAM, &["check", "--jobs", "1", DESIGN]),
    ];
    let mut times: [Vec<Duration>; 4] = Default::default();
    for _ in 0..runs {
        for ((_, program, args), times) in programs.iter().zip(&mut times) {
            times.push(run(program, args)?);
        }
    }
    if measuring {
        let nothing = quantile::quantile(&mut times[0], 0.5);
        println!("start: {runs} runs each, in turn (median, 10th and 90th percentile):");
        for ((name, _, _), times) in programs.iter().zip(&mut times) {
            let [low, middle, high] = [0.1, 0.5, 0.9].map(|s| quantile::quantile(times, s));
            println!(
                "  {name:15} {:7.2} ms ({:.2} to {:.2})  {:6.1} × nothing",
                middle * 1e3,
                low * 1e3,
                high * 1e3,
                middle / nothing
            );
        }
    }
    Ok(())
}
