//! One design from text to findings, split into its steps, beside parsing the text alone.
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
use std::time::{Duration, Instant};

use amperule::check::{Judged, Outcome, Settings, check};
use amperule::design::model::Design;
use amperule::design::parse::{Parsed, parse};
use amperule::design::resolve::{self, Resolved, resolve, rules_named};
use amperule::design::tree::Tree;
use amperule::ruleset::{Library, Request, Ruleset, Severity};
use amperule::source::FileId;
use criterion::{Criterion, Throughput};

/// A complete domestic design with nothing in breach.
const TEXT: &str = include_str!("../../examples/quarry-cottage.amp");

/// Rounds of the side-by-side timing.
const ROUNDS: usize = 300;

fn parsed() -> Parsed {
    parse(FileId(0), black_box(TEXT))
}

fn resolved(trees: &[&Tree], ruleset: &Ruleset) -> Resolved {
    resolve(trees, &ruleset.vocabulary, &resolve::Settings::default())
}

fn judged(design: &Design, ruleset: &Ruleset) -> Judged {
    let settings = Settings {
        keep_met: false,
        on: design.newest_date,
        ..Settings::default()
    };
    check(ruleset, design, &settings)
}

fn whole(ruleset: &Ruleset) -> Judged {
    let read = parsed();
    let trees = [&read.tree];
    black_box(rules_named(trees[0]));
    let resolved = resolved(&trees, ruleset);
    judged(&resolved.design, ruleset)
}

/// Times the steps in turn, so that whatever else the machine does hits all alike.
fn side_by_side(ruleset: &Ruleset, trees: &[&Tree], design: &Design) {
    let steps: [(&str, &dyn Fn()); 4] = [
        ("parse", &|| {
            black_box(parsed());
        }),
        ("resolve", &|| {
            black_box(resolved(trees, ruleset));
        }),
        ("check", &|| {
            black_box(judged(design, ruleset));
        }),
        ("whole", &|| {
            black_box(whole(ruleset));
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
    let loaded = Library::default().load(&Request {
        base: "gb".to_owned(),
        // The day on which the design was made: 2026-05-12.
        on: amperule::quantity::parse_date("2026-05-12").ok(),
        ..Request::default()
    });
    let ruleset = loaded.ruleset.expect("the ruleset loads");
    let read = parsed();
    assert!(read.is_sound(), "{:?}", read.problems);
    let trees = [&read.tree];
    let meaning = resolved(&trees, &ruleset);
    assert!(!meaning.has_errors(), "{:?}", meaning.problems);
    // What is timed must be the real work: rules met, none failed.
    let counts = judged(&meaning.design, &ruleset).report.counts;
    assert!(counts.cell(Outcome::Met, Severity::Breach) > 0);
    assert_eq!(counts.cell(Outcome::Failed, Severity::Breach), 0);

    let mut criterion = Criterion::default().configure_from_args();
    let mut group = criterion.benchmark_group("check_one");
    group.throughput(Throughput::Bytes(TEXT.len() as u64));
    group.bench_function("parse", |b| b.iter(parsed));
    group.bench_function("resolve", |b| b.iter(|| resolved(&trees, &ruleset)));
    group.bench_function("check", |b| b.iter(|| judged(&meaning.design, &ruleset)));
    group.bench_function("whole", |b| b.iter(|| whole(&ruleset)));
    group.finish();
    if measuring::measuring() {
        side_by_side(&ruleset, &trees, &meaning.design);
    }
    criterion.final_summary();
}
