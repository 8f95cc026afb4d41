//! Answers beyond yes and no: each is held against the check itself, which knows nothing of how
//! the answer was found.

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that cannot read its own design must stop"
)]

mod bounds;
mod compare;
mod mends;
mod prove;
mod shared;
mod survey;

use crate::common;

use std::collections::BTreeSet;
use std::sync::Arc;

use amperule::check::{Outcome, Report};
use amperule::ruleset::{Request, Ruleset, Severity};
use amperule::session::{Ask, Installation, Options};

const CLEAN: &str = include_str!("../examples/quarry-cottage.amp");
const FAULTS: &str = include_str!("../examples/quarry-cottage-faults.amp");
const TEMPLATE: &str = include_str!("../examples/terrace-template.amp");
const SURVEY: &str = include_str!("../examples/half-filled-survey.amp");

/// The newest edition of `gb`.
fn options() -> Options {
    Options {
        edition: Some("A4".to_owned()),
        ..Options::default()
    }
}

fn rules(base: &str, edition: &str) -> Arc<Ruleset> {
    let loaded = common::project("").ruleset(&Request {
        base: base.to_owned(),
        edition: Some(edition.to_owned()),
        ..Request::default()
    });
    loaded.ruleset.clone().expect("a ruleset")
}

fn gb() -> Arc<Ruleset> {
    rules("gb", "A4")
}

/// A design from its text, with parameters set.
fn design_with(text: &str, set: &[(&str, &str)]) -> Installation {
    let set = set.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned()));
    let options = Options {
        set: set.collect(),
        ..options()
    };
    common::sound(text, &options).expect("a sound design")
}

fn design(text: &str) -> Installation {
    design_with(text, &[])
}

/// What a whole check says.
fn report(of: &Installation) -> Report {
    let ask = Ask {
        met: true,
        ..Ask::default()
    };
    of.check(ask).report
}

/// Rule and full name of the subject of everything with one outcome and severity.
fn those(report: &Report, outcome: Outcome, severity: Severity) -> BTreeSet<(String, String)> {
    report
        .findings
        .iter()
        .filter(|f| f.outcome == outcome && f.severity == severity)
        .map(|f| (f.rule.clone(), f.subject.path.clone()))
        .collect()
}

fn breaches(text: &str) -> BTreeSet<(String, String)> {
    those(&report(&design(text)), Outcome::Failed, Severity::Breach)
}

/// A text with one piece replaced, which must be there once.
fn with(text: &str, edits: &[(&str, &str)]) -> String {
    let mut out = text.to_owned();
    for (old, new) in edits {
        assert!(out.contains(old), "the design has no `{old}`");
        out = out.replacen(old, new, 1);
    }
    out
}

/// A fixed sequence of numbers below 2³², the same on every machine.
struct Sequence(u64);

impl Sequence {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / (1_u64 << 31) as f64
    }
}
