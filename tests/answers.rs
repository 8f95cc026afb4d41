//! Answers beyond yes and no: each is held against the check itself, which knows nothing of how
//! the answer was found.

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that cannot read its own design must stop"
)]

#[path = "answers/bounds.rs"]
mod bounds;
#[path = "answers/compare.rs"]
mod compare;
#[path = "answers/mends.rs"]
mod mends;
#[path = "answers/prove.rs"]
mod prove;
#[path = "answers/survey.rs"]
mod survey;

use std::collections::BTreeSet;
use std::sync::{Arc, OnceLock};

use amperule::check::{Outcome, Report, Settings, check};
use amperule::design::model::Design;
use amperule::design::parse::{parse, parse_value};
use amperule::design::resolve::{self, resolve};
use amperule::ruleset::{Library, Request, Ruleset, Severity, Stage};
use amperule::source::FileId;

const CLEAN: &str = include_str!("../examples/quarry-cottage.amp");
const FAULTS: &str = include_str!("../examples/quarry-cottage-faults.amp");
const TEMPLATE: &str = include_str!("../examples/terrace-template.amp");
const SURVEY: &str = include_str!("../examples/half-filled-survey.amp");

/// The newest edition of `gb`, loaded once.
fn gb() -> &'static Arc<Ruleset> {
    static GB: OnceLock<Arc<Ruleset>> = OnceLock::new();
    GB.get_or_init(|| rules("gb", "A4"))
}

fn rules(base: &str, edition: &str) -> Arc<Ruleset> {
    Library::default()
        .load(&Request {
            base: base.to_owned(),
            edition: Some(edition.to_owned()),
            ..Request::default()
        })
        .ruleset
        .expect("a ruleset")
}

/// A design from its text, with parameters set.
fn design_with(text: &str, set: &[(&str, &str)]) -> Design {
    let parsed = parse(FileId(0), text);
    assert!(parsed.is_sound(), "{:?}", parsed.problems);
    let set = set
        .iter()
        .map(|(name, value)| {
            let (value, wrong) = parse_value(FileId(1), value, 0);
            assert!(wrong.is_empty(), "{wrong:?}");
            ((*name).to_owned(), value)
        })
        .collect();
    let resolved = resolve(
        &[&parsed.tree],
        &gb().vocabulary,
        &resolve::Settings { set },
    );
    let errors: Vec<_> = resolved.problems.iter().filter(|p| p.is_error()).collect();
    assert!(errors.is_empty(), "{errors:?}");
    resolved.design
}

fn design(text: &str) -> Design {
    design_with(text, &[])
}

/// What a whole check says.
fn report(design: &Design) -> Report {
    let settings = Settings {
        stage: Stage::Design,
        ..Settings::default()
    };
    check(gb(), design, &settings).report
}

/// Rule and subject of everything with one outcome and severity.
fn those(report: &Report, outcome: Outcome, severity: Severity) -> BTreeSet<(String, String)> {
    report
        .findings
        .iter()
        .filter(|f| f.outcome == outcome && f.severity == severity)
        .map(|f| (f.rule.clone(), f.subject.label.clone()))
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
