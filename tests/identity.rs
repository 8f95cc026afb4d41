//! Things go by what they are, not by what they are called: two circuits of one name on two
//! boards are two in departures, figures, comparisons, workings and fingerprints.

#![expect(
    clippy::expect_used,
    reason = "a test stops where its design cannot be read"
)]

use crate::common;

use std::sync::Arc;

use amperule::answer::Comparison;
use amperule::check::{Finding, Outcome, Standing};
use amperule::ruleset::Severity;
use amperule::session::{Ask, Installation, Options};

/// Two boards, each with a circuit called `ev`; sizes in mm².
fn two(main: &str, other: &str, more: &str) -> String {
    let circuit = |size: &str| {
        format!(
            "circuit ev {{ status: new  role: final  lines: L1  neutral: yes  demand: 20 A\n\
             device: rcbo {{ In: 32 A  curve: B  rcd-type: A  IΔn: 30 mA  poles: 2 }}\n\
             cables: armoured {{ size: {size} mm²  cores: 3  length: 10 m  method: C  insulation: XLPE }} }}"
        )
    };
    format!(
        "installation \"Two boards\" {{ rules: gb  premises: workshop  designed-on: 2026-05-12 }}\n\
         supply {{ earthing: TN-S  phases: 1  U0: 230 V  Ze: 0.2 ohm  Ipf: 1 kA }}\n\
         board main {{ fed-from: supply  {} }}\nboard other {{ fed-from: supply  {} }}\n\
         no charge-point\nno load-limiter\n{more}",
        circuit(main),
        circuit(other)
    )
}

fn open(text: &str) -> Installation {
    common::sound(text, &Options::default()).expect("a sound design")
}

const ALL: Ask = Ask {
    met: true,
    helps: false,
};

fn findings(text: &str, rule: &str) -> Vec<Finding> {
    let judged = open(text).check(ALL);
    let all = judged.report.findings.into_iter();
    all.filter(|f| f.rule == rule).collect()
}

/// 1.5 mm² behind 32 A.
const OVERLOAD: &str = "iec-device-within-cable";

#[test]
fn a_departure_for_one_circuit_leaves_its_namesake_in_breach() {
    let departure = format!(
        "departure from {OVERLOAD} {{ for: main.ev  reason: \"a test\"  agreed-by: \"designer\"  until: 2027-03-31 }}"
    );
    let all = findings(&two("1.5", "1.5", &departure), OVERLOAD);
    let of = |label: &str| all.iter().find(|f| f.subject.label == label);
    assert_eq!(of("main.ev").expect("judged").outcome, Outcome::Departed);
    assert_eq!(of("other.ev").expect("judged").outcome, Outcome::Failed);
    let text = two("1.5", "1.5", &departure);
    let checked = common::open(&text, &Options::default()).check(ALL);
    assert_eq!(checked.standing(Severity::Breach), Standing::Breach);
}

#[test]
fn namesakes_have_labels_and_fingerprints_of_their_own() {
    let all = findings(&two("1.5", "1.5", ""), OVERLOAD);
    let [a, b] = all.as_slice() else {
        unreachable!("two findings, not {}", all.len())
    };
    assert_ne!(a.subject.id, b.subject.id);
    assert_ne!(a.subject.label, b.subject.label);
    assert_ne!(a.fingerprint, b.fingerprint);
    // A name that only one bears stays as it is written, and a fingerprint does not depend on
    // what else there is.
    let alone = two("1.5", "1.5", "").replacen("circuit ev", "circuit oven", 1);
    let alone = findings(&alone, OVERLOAD);
    let ev = alone.iter().find(|f| f.subject.label == "ev");
    assert_eq!(ev.expect("judged").fingerprint, b.fingerprint);
}

#[test]
fn figures_of_namesakes_are_both_kept() {
    let judged = open(&two("6", "10", "")).check(ALL);
    let figures = judged.report.figures.iter().filter(|f| f.fact == "Iz");
    let labels: Vec<&str> = figures.map(|f| f.subject.label.as_str()).collect();
    assert_eq!(labels, ["main.ev", "other.ev"]);
}

#[test]
fn a_working_is_found_by_each_name_that_the_file_takes() {
    let of = open(&two("6", "10", ""));
    let both = of.worked_facts(Some("ev.Iz"));
    assert_eq!(both.len(), 2);
    for (name, which) in [
        ("main.ev.Iz", 0),
        ("other.ev.Iz", 1),
        ("circuit.other.ev.Iz", 1),
        ("Iz of other.ev", 1),
    ] {
        assert_eq!(of.worked_facts(Some(name)), [both[which]], "{name}");
    }
    let iz = |name: &str| of.value(name, "Iz", None).expect("a value").low;
    assert!(iz("main.ev") < iz("other.ev"));
}

#[test]
fn a_bound_is_found_by_the_same_names() {
    let of = open(&two("6", "10", ""));
    let found = |name: &str| of.bounded_facts(&[name.to_owned()]);
    for (fact, plain, named) in [
        (
            "demand",
            "ev.demand",
            [
                "main.ev.demand",
                "circuit.main.ev.demand",
                "demand of main.ev",
            ],
        ),
        (
            "length",
            "ev.cables 1.length",
            [
                "main.ev.cables 1.length",
                "cables 1 of main.ev.length",
                "length of cables 1 of main.ev",
            ],
        ),
    ] {
        let both = found(fact);
        assert_eq!(both.len(), 2, "{fact}");
        assert_eq!(found(plain), both, "{plain}");
        for name in named {
            assert_eq!(found(name), both[..1], "{name}");
        }
    }
    // As an answer's table writes it, and each stretch of a circuit at once.
    let lengths = found("length");
    assert_eq!(found("main.ev.cables[1].length"), lengths[..1]);
    assert_eq!(found("main.ev.cables.length"), lengths[..1]);
}

#[test]
fn one_mended_and_another_broken_is_a_new_breach() {
    let judged = |text: &str| {
        let of = open(text);
        let report = of.check(ALL).report;
        (Arc::clone(of.ruleset()), report)
    };
    let (from, before) = judged(&two("1.5", "6", ""));
    let (to, after) = judged(&two("6", "1.5", ""));
    let mut comparison = Comparison::default();
    comparison.add("two", (&from, &before), (&to, &after));
    assert_eq!(comparison.standing(), Standing::Breach);
}
