//! Whole designs of our own, each reviewed by hand from book facts before the tool judged it: beside
//! `NAME.amp` stands `NAME.expected.yaml` with the findings that the book gives and why, and the main
//! figures with their arithmetic. Exactly those findings must come out, and each figure as it is
//! printed there. Some figures are compared with a nodal analysis of the circuit, too.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "a design or a review that cannot be read is a fault of the test"
)]
#![expect(
    clippy::disallowed_methods,
    reason = "a hand calculation is worked out by other functions than those of the program"
)]

mod calculator;
use crate::common;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::PathBuf;
use std::process::Command;

use amperule::check::Outcome;
use amperule::quantity::Unit;
use amperule::session::{Ask, Installation, Options};
use serde::Deserialize;

/// What a person expects of a design.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Review {
    /// The exit code of `check`.
    exit: i32,
    findings: Vec<ExpectedFinding>,
    figures: Vec<ExpectedFigure>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ExpectedFinding {
    rule: String,
    subject: String,
    /// `breach`, `caution`, `advice`, or one of them with `undecided ` ahead.
    outcome: String,
    because: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ExpectedFigure {
    of: String,
    fact: String,
    /// 1, 2 or 3 for a fact that each line conductor has.
    line: Option<u8>,
    /// Number and unit; half a step of its last digit is the tolerance.
    is: String,
    /// The hand calculation: arithmetic alone.
    by: String,
    /// Where its numbers come from.
    why: String,
}

struct Case {
    name: String,
    of: Installation,
    review: Review,
}

impl Case {
    fn figure(&self, of: &str, fact: &str, line: Option<u8>, unit: &Unit) -> Option<(f64, f64)> {
        let v = self.of.value(of, fact, line.map(|l| l - 1))?;
        Some((unit.from_si(v.low), unit.from_si(v.high)))
    }
}

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/designs")
}

fn names() -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder())
        .expect("the folder of designs")
        .filter_map(|e| {
            let path = e.expect("an entry").path();
            let name = path.file_name()?.to_str()?.strip_suffix(".amp")?;
            Some(name.to_owned())
        })
        .collect();
    names.sort();
    names
}

fn text_of(file: &str) -> String {
    let path = folder().join(file);
    fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Reads a design with the edition that its date picks, as `check` does.
fn case(name: String) -> Case {
    let text = text_of(&format!("{name}.amp"));
    let of = common::sound(&text, &Options::default()).unwrap_or_else(|e| panic!("{name}: {e}"));
    assert_eq!(of.design().cautions, 0, "{name}");
    let review = serde_yaml::from_str(&text_of(&format!("{name}.expected.yaml")))
        .unwrap_or_else(|e| panic!("{name}.expected.yaml: {e}"));
    Case { name, of, review }
}

fn cases() -> Vec<Case> {
    names().into_iter().map(case).collect()
}

/// Number, unit and half a step of the last digit of `0.3934 ohm`.
fn printed(text: &str) -> (f64, Unit, f64) {
    let (number, unit) = text.split_once(' ').expect("a number and its unit");
    let decimals = number.split_once('.').map_or(0, |(_, d)| d.len());
    let value: f64 = number.parse().expect("a number");
    let decimals = i32::try_from(decimals).expect("few digits");
    let unit = Unit::parse(unit).expect("a unit");
    (value, unit, 0.5 * 10f64.powi(-decimals))
}

#[test]
fn exactly_the_expected_findings_come_out() {
    let mut wrong = Vec::new();
    for c in cases() {
        let judged = c.of.check(Ask::default());
        assert!(
            judged.problems.is_empty(),
            "{}: {:?}",
            c.name,
            judged.problems
        );
        let got: BTreeSet<(String, String, String)> = judged
            .report
            .findings
            .iter()
            .filter_map(|f| {
                let weight = f.severity.word();
                let outcome = match f.outcome {
                    Outcome::Failed => weight.to_owned(),
                    Outcome::Undecided => format!("undecided {weight}"),
                    Outcome::NotJudged | Outcome::Departed => f.outcome.word().to_owned(),
                    Outcome::Met | Outcome::NotApplicable | Outcome::NotDue => return None,
                };
                Some((f.rule.clone(), f.subject.label.clone(), outcome))
            })
            .collect();
        let wanted: BTreeSet<(String, String, String)> = c
            .review
            .findings
            .iter()
            .map(|f| (f.rule.clone(), f.subject.clone(), f.outcome.clone()))
            .collect();
        assert_eq!(wanted.len(), c.review.findings.len(), "{}: twice", c.name);
        for f in wanted.difference(&got) {
            wrong.push(format!(
                "{}: the book gives {f:?}, the tool does not",
                c.name
            ));
        }
        for f in got.difference(&wanted) {
            wrong.push(format!(
                "{}: the tool gives {f:?}, the book does not",
                c.name
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_figures_are_those_worked_out_by_hand() {
    let mut wrong = Vec::new();
    for c in cases() {
        for f in &c.review.figures {
            let about = format!("{}: {} of {}", c.name, f.fact, f.of);
            let (expected, unit, step) = printed(&f.is);
            let near = |x: f64| (x - expected).abs() <= step * 1.000_001;
            match calculator::work_out(&f.by) {
                Ok(x) if near(x) => {}
                Ok(x) => wrong.push(format!("{about}: by hand {} is {x}, not {}", f.by, f.is)),
                Err(e) => wrong.push(format!("{about}: {} cannot be worked out: {e}", f.by)),
            }
            match c.figure(&f.of, &f.fact, f.line, &unit) {
                Some((low, high)) if near(low) && near(high) => {}
                Some((low, high)) => wrong.push(format!(
                    "{about}: the tool gives {low} .. {high}, by hand {}",
                    f.is
                )),
                None => wrong.push(format!("{about}: the tool gives no number")),
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn each_review_says_why_and_has_the_main_figures() {
    for c in cases() {
        assert!(
            c.review.findings.iter().all(|f| f.because.len() > 20),
            "{}: a finding without a reason",
            c.name
        );
        assert!(
            c.review.figures.iter().all(|f| f.why.len() > 5),
            "{}: a figure without a source",
            c.name
        );
        let facts: BTreeSet<&str> = c.review.figures.iter().map(|f| f.fact.as_str()).collect();
        for wanted in [
            "Ib",
            "Iz",
            "Zs",
            "voltage-drop",
            "cpc-min",
            "maximum-demand",
        ] {
            assert!(facts.contains(wanted), "{}: no {wanted}", c.name);
        }
        assert!(
            ["Zs-limit", "Zs-limit-residual", "Zs-limit-second"]
                .iter()
                .any(|l| facts.contains(l)),
            "{}: no limit of the loop impedance",
            c.name
        );
    }
}

/// What the collection as a whole promises, read from the designs' own text.
#[test]
fn the_designs_cover_what_they_should() {
    let all: Vec<String> = names()
        .iter()
        .map(|n| text_of(&format!("{n}.amp")))
        .collect();
    assert!(all.len() >= 12, "only {} designs", all.len());
    let with = |part: &str| all.iter().filter(|t| t.contains(part)).count();
    for part in [
        "earthing: TN-S",
        "earthing: TN-C-S",
        "earthing: TT",
        "earthing: IT",
        "earth: bay-rod",
        "phases: 1",
        "phases: 3",
        "case: B",
        "case: C",
        "method: D",
        "method: C",
        "standard: BS-3036",
        "building-work: new",
        "acts: fixed-cap",
    ] {
        assert!(with(part) >= 1, "no design has `{part}`");
    }
    let clean = cases().iter().filter(|c| c.review.exit == 0).count();
    assert!(clean * 2 > all.len(), "only {clean} designs are clean");
}

#[test]
fn the_exit_code_is_the_expected_one() {
    for c in cases() {
        let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
            .args(["check", &format!("tests/designs/{}.amp", c.name)])
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .output()
            .expect("the program starts");
        assert_eq!(done.status.code(), Some(c.review.exit), "{}", c.name);
    }
}

#[test]
fn the_designs_are_laid_out() {
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(["format", "--check", "tests/designs"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program starts");
    let text = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{text}");
}

/// Compares with `designs/nodal.csv`: the same circuits solved node by node by a general library. Each
/// row says in what its model differs from the tool's, and the tolerance that this explains.
#[test]
fn a_nodal_analysis_gives_the_same() {
    let by_name: BTreeMap<String, Case> =
        cases().into_iter().map(|c| (c.name.clone(), c)).collect();
    let text = text_of("nodal.csv");
    assert!(text.starts_with("# lcapy "), "the library is not named");
    let mut wrong = Vec::new();
    let mut seen: BTreeSet<(String, String)> = BTreeSet::new();
    let rows = text
        .lines()
        .filter(|l| !l.starts_with('#') && !l.is_empty());
    for row in rows.skip(1) {
        let f: Vec<&str> = row.split('|').collect();
        assert_eq!(f.len(), 7, "{row}");
        assert!(
            f[6].len() > 20,
            "a row does not say how its model differs: {row}"
        );
        let case = by_name.get(f[0]).expect("a design");
        let unit = Unit::parse(f[4]).expect("a unit");
        let expected: f64 = f[3].parse().expect("a number");
        let share: f64 = f[5].parse().expect("a tolerance in percent");
        seen.insert((f[0].to_owned(), f[2].to_owned()));
        match case.figure(f[1], f[2], None, &unit) {
            Some((low, high))
                if [low, high]
                    .iter()
                    .all(|x| (x - expected).abs() <= share / 100.0 * expected.abs()) => {}
            Some((low, high)) => wrong.push(format!("{row}: the tool gives {low} .. {high}")),
            None => wrong.push(format!("{row}: the tool gives no number")),
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let designs: BTreeSet<&str> = seen.iter().map(|(d, _)| d.as_str()).collect();
    assert!(designs.len() >= 3, "{designs:?}");
    for d in designs {
        for fact in ["total-drop", "Ipf-min", "touch-voltage"] {
            assert!(
                seen.contains(&(d.to_owned(), fact.to_owned())),
                "{d}: no {fact}"
            );
        }
    }
}
