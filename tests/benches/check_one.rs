//! One design from text to findings, as a host has it judged and split into its steps, beside
//! parsing the text alone.
//!
//! The ruleset is loaded before anything is timed, as it is for every design but the first of a
//! run. Reading the file and printing the report are left out.

#![expect(
    clippy::print_stdout,
    clippy::expect_used,
    reason = "a benchmark prints what it measured and stops where its design cannot be read"
)]

mod measuring;
mod quantile;

use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use amperule::check::{Judged, Outcome};
use amperule::design::parse::{Parsed, parse};
use amperule::design::resolve::{self, Resolved, resolve};
use amperule::design::tree::Tree;
use amperule::ruleset::{Ruleset, Severity};
use amperule::source::{FileId, Memory};
use amperule::{Ask, Checked, Installation, Options, Project};
use criterion::{Criterion, Throughput};

/// A complete domestic design with nothing in breach.
const TEXT: &str = include_str!("../../examples/quarry-cottage.amp");
const PATH: &str = "quarry-cottage.amp";

/// Rounds of the side-by-side timing.
const ROUNDS: usize = 300;

fn parsed() -> Parsed {
    parse(FileId(0), black_box(TEXT))
}

fn resolved(trees: &[&Tree], ruleset: &Ruleset) -> Resolved {
    resolve(trees, &ruleset.vocabulary, &resolve::Settings::default())
}

fn judged(of: &Installation) -> Judged {
    of.check(Ask::default())
}

fn whole(project: &Project) -> Checked {
    let loaded = project.open(Path::new(PATH), &Options::default());
    loaded.check(Ask::default())
}

/// Times the steps in turn, so that whatever else the machine does hits all alike.
fn side_by_side(project: &Project, trees: &[&Tree], of: &Installation) {
    let steps: [(&str, &dyn Fn()); 4] = [
        ("parse", &|| {
            black_box(parsed());
        }),
        ("resolve", &|| {
            black_box(resolved(trees, of.ruleset()));
        }),
        ("check", &|| {
            black_box(judged(of));
        }),
        ("whole", &|| {
            black_box(whole(project));
        }),
    ];
    let mut times: [Vec<Duration>; 4] = Default::default();
    for _ in 0..ROUNDS {
        for ((_, step), times) in steps.iter().zip(&mut times) {
            let start = Instant::now();
            step();
            times.push(start.elapsed());
        }
    }
    let medians = times.each_mut().map(|t| quantile::quantile(t, 0.5));
    println!("check_one, medians of {ROUNDS} rounds in turn:");
    for ((name, _), median) in steps.iter().zip(medians) {
        println!(
            "  {name:8} {:9.1} µs  {:6.2} × parse",
            median * 1e6,
            median / medians[0]
        );
    }
}

fn main() {
    let texts: Memory = [(PATH, TEXT)].into_iter().collect();
    let project = Project::in_memory(texts);
    let loaded = project.open(Path::new(PATH), &Options::default());
    let of = loaded.sound().expect("a design without mistakes");
    let read = parsed();
    let trees = [&read.tree];
    // What is timed must be the real work: rules met, none failed.
    let counts = judged(of).report.counts;
    assert!(counts.cell(Outcome::Met, Severity::Breach) > 0);
    assert_eq!(counts.cell(Outcome::Failed, Severity::Breach), 0);

    let mut criterion = Criterion::default().configure_from_args();
    let mut group = criterion.benchmark_group("check_one");
    group.throughput(Throughput::Bytes(TEXT.len() as u64));
    group.bench_function("parse", |b| b.iter(parsed));
    group.bench_function("resolve", |b| b.iter(|| resolved(&trees, of.ruleset())));
    group.bench_function("check", |b| b.iter(|| judged(of)));
    group.bench_function("whole", |b| b.iter(|| whole(&project)));
    group.finish();
    if measuring::measuring() {
        side_by_side(&project, &trees, of);
    }
    criterion.final_summary();
}
