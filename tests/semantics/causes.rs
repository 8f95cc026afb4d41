//! G6: one cause, one finding. What follows from another finding is a line under it, and counts as
//! itself all the same.

use amperule::check::{Finding, Judged, Outcome, Standing};
use amperule::ruleset::Severity;

use super::world::{KINDS, World, load, rule_with};

/// `late` follows from `root` of the same thing, `hub-rule` of the hub from `root` of a thing in it,
/// `next` from `late` of the partner.
fn rules() -> Vec<String> {
    vec![
        rule_with("root", "thing", "x <= 10 A", ""),
        rule_with("late", "thing", "y <= 10 A", "    follows-from: root\n"),
        rule_with(
            "hub-rule",
            "hub",
            "ways <= 3",
            "    follows-from: [{rule: root, to: hub}]\n",
        ),
        rule_with(
            "next",
            "thing",
            "z <= 10 A",
            "    severity: caution\n    follows-from: [{rule: late, at: other}, root]\n",
        ),
    ]
}

fn of<'j>(judged: &'j Judged, rule: &str) -> &'j Finding {
    let mut all = judged.report.findings.iter();
    all.find(|f| f.rule == rule && f.outcome != Outcome::Met)
        .expect("a finding")
}

fn cause(judged: &Judged, rule: &str) -> Option<(String, String)> {
    let cause = of(judged, rule).follows_from.as_ref();
    cause.map(|(rule, subject)| (rule.clone(), subject.label.clone()))
}

fn named(rule: &str, subject: &str) -> Option<(String, String)> {
    Some((rule.to_owned(), subject.to_owned()))
}

#[test]
fn g6_a_finding_follows_from_a_cause_that_fails() {
    let w = World::rules(&rules());
    let text = "thing t { x: 20 A  y: 20 A  z: 5 A }";
    assert_eq!(cause(&w.judge(text), "late"), named("root", "t"));
    // Mending the cause leaves it on its own.
    assert_eq!(
        cause(&w.judge("thing t { x: 5 A  y: 20 A  z: 5 A }"), "late"),
        None
    );
    // So does a departure from the cause, and a cause that is only undecided.
    let departed = format!("{text}\ndeparture from root {{ reason: \"r\"  agreed-by: \"a\" }}");
    assert_eq!(cause(&w.judge(&departed), "late"), None);
    assert_eq!(
        cause(&w.judge("thing t { x: ?  y: 20 A  z: 5 A }"), "late"),
        None
    );
    // What is undecided may follow as well.
    assert_eq!(
        cause(&w.judge("thing t { x: 20 A  y: ?  z: 5 A }"), "late"),
        named("root", "t")
    );
    // Of another thing it does not.
    let two = "thing t { x: 20 A  y: 5 A  z: 5 A }\nthing u { x: 5 A  y: 20 A  z: 5 A }";
    assert_eq!(cause(&w.judge(two), "late"), None);
}

#[test]
fn g6_causes_are_found_along_paths_in_either_direction() {
    let w = World::rules(&rules());
    let text = "hub h { ways: 4 }\nthing t { x: 20 A  y: 5 A  z: 5 A  hub: h }";
    assert_eq!(cause(&w.judge(text), "hub-rule"), named("root", "t"));
    let apart = "hub h { ways: 4 }\nhub i { ways: 2 }\nthing t { x: 20 A  y: 5 A  z: 5 A  hub: i }";
    assert_eq!(cause(&w.judge(apart), "hub-rule"), None);
    let text =
        "thing t { x: 5 A  y: 20 A  z: 5 A }\nthing u { x: 20 A  y: 5 A  z: 20 A  other: t }";
    assert_eq!(cause(&w.judge(text), "next"), named("late", "t"));
}

/// A caution does not explain a breach.
#[test]
fn g6_a_cause_is_of_no_lesser_severity() {
    let soft = vec![
        rule_with("root", "thing", "x <= 10 A", "    severity: caution\n"),
        rule_with("late", "thing", "y <= 10 A", "    follows-from: root\n"),
    ];
    let judged = World::rules(&soft).judge("thing t { x: 20 A  y: 20 A }");
    assert_eq!(cause(&judged, "late"), None);
}

/// It counts, decides and is printed for programs as itself; for people it is a line under its cause.
#[test]
fn g6_what_follows_counts_as_itself() {
    let w = World::rules(&rules());
    let text =
        "thing t { x: 20 A  y: 20 A  z: 20 A  other: u }\nthing u { x: 5 A  y: 5 A  z: 5 A }";
    let judged = w.judge(text);
    assert_eq!(
        judged.report.counts.cell(Outcome::Failed, Severity::Breach),
        2
    );
    assert_eq!(
        Standing::of(&judged.report.counts, Severity::Breach),
        Standing::Breach
    );
    let (plain, json) = w.printed(text, false);
    let heads = plain
        .lines()
        .filter(|l| l.starts_with("breach: ") || l.starts_with("caution: "));
    assert_eq!(heads.collect::<Vec<_>>(), ["breach: root"], "{plain}");
    assert!(
        plain.contains("  with it, breach late: t breaks late\n"),
        "{plain}"
    );
    assert!(
        plain.contains("  with it, caution next: t breaks next\n"),
        "{plain}"
    );
    assert!(
        json.contains("\"follows-from\":{\"rule\":\"root\",\"subject\":\"t\"}"),
        "{json}"
    );
}

#[test]
fn g6_causes_are_checked_when_they_load() {
    let wrong = |late: &str, root: &str| -> Vec<&'static str> {
        let rules = [
            rule_with("root", "thing", "x <= 10 A", root),
            rule_with("late", "thing", "y <= 10 A", late),
            rule_with("hub-rule", "hub", "ways <= 3", ""),
        ];
        let yaml = format!("{KINDS}\nrules:\n{}", rules.concat());
        let loaded = load(&[("lab", &yaml)], "lab", None, None);
        loaded.problems.iter().map(|p| p.code).collect()
    };
    let from = |what: &str| format!("    follows-from: {what}\n");
    assert!(wrong(&from("root"), "").is_empty());
    assert!(wrong(&from("{rule: hub-rule, at: hub}"), "").is_empty());
    assert_eq!(wrong(&from("root"), &from("late")), ["circular-cause"]);
    assert_eq!(wrong(&from("late"), ""), ["circular-cause"]);
    assert_eq!(wrong(&from("roof"), ""), ["unknown-rule"]);
    assert_eq!(wrong(&from("hub-rule"), ""), ["missing-key"]);
    assert_eq!(
        wrong(&from("{rule: hub-rule, at: other}"), ""),
        ["wrong-type"]
    );
    assert_eq!(wrong(&from("{rule: root, at: x}"), ""), ["wrong-type"]);
    assert_eq!(
        wrong(&from("{rule: root, at: other, to: other}"), ""),
        ["both-ways"]
    );
}
