//! Comparisons: every turn from one outcome to another, and rulesets that share no rule.

use amperule::answer::{Comparison, Fate, Stated, Turn, differences, share_rules};

use amperule::check::Outcome;
use amperule::ruleset::Severity;

use super::{CLEAN, FAULTS, design, gb, report, rules};

#[test]
fn a_broken_version_of_a_design_breaks_newly_what_a_check_finds() {
    let (clean, faults) = (report(&design(CLEAN)), report(&design(FAULTS)));
    let mut c = Comparison::default();
    c.add("cottage", (&gb(), &clean), (&gb(), &faults));
    let broken: Vec<&str> = c.of(Turn::Breaks).map(|x| x.rule.as_str()).collect();
    for (rule, _) in super::breaches(FAULTS) {
        assert!(broken.contains(&rule.as_str()), "{rule}");
    }
    assert!(c.breaks());
    // The other way round each of them passes again.
    let mut back = Comparison::default();
    back.add("cottage", (&gb(), &faults), (&gb(), &clean));
    assert!(!back.breaks());
    assert_eq!(back.of(Turn::Passes).count(), broken.len());
    // Every pair of outcomes is counted once.
    let pairs: usize = c.matrix.values().sum();
    assert!(pairs >= clean.findings.len().max(faults.findings.len()));
}

/// By topic the worst of each is paired: a breach that is open outweighs an advice that failed.
#[test]
fn an_advice_does_not_hide_what_may_be_a_breach() {
    let mut before = report(&design(CLEAN));
    before.findings.truncate(2);
    for f in &mut before.findings {
        // Rules of no ruleset have one topic together.
        f.rule.push_str("-of-none");
        f.outcome = Outcome::Met;
    }
    let mut after = before.clone();
    (before.findings[0].severity, after.findings[0].severity) =
        (Severity::Advice, Severity::Advice);
    (before.findings[1].severity, after.findings[1].severity) =
        (Severity::Breach, Severity::Breach);
    after.findings[0].outcome = Outcome::Failed;
    after.findings[1].outcome = Outcome::Undecided;
    let mut c = Comparison {
        by_topic: true,
        ..Comparison::default()
    };
    c.add("cottage", (&gb(), &before), (&gb(), &after));
    assert!(c.opens(), "{:?}", c.changes);
}

#[test]
fn a_version_compared_with_itself_changes_nothing() {
    let r = report(&design(FAULTS));
    let mut c = Comparison::default();
    c.add("cottage", (&gb(), &r), (&gb(), &r));
    assert!(c.changes.is_empty());
    assert!(!c.breaks() && !c.opens());
}

#[test]
fn rules_that_came_with_an_edition_are_new() {
    let all = differences(&rules("gb", "2018"), &gb());
    let of = |id: &str| {
        let mut rules = all.iter().filter(|d| d.of == Stated::Rule);
        rules.find(|d| d.name == id).map(|d| d.fate)
    };
    assert_eq!(of("gb-open-pen-lower-window"), Some(Fate::New));
    assert_eq!(of("iec-rcd-trips-in-time"), Some(Fate::Amended));
    assert_eq!(of("iec-voltage-drop"), None);
}

/// A ruleset differs in nothing from itself.
#[test]
fn the_same_rules_differ_in_nothing() {
    assert_eq!(differences(&gb(), &gb()), []);
}

#[test]
fn another_country_shares_no_rule() {
    assert!(share_rules(&gb(), &rules("gb", "2018")));
    assert!(!share_rules(&gb(), &rules("us", "2026")));
}
