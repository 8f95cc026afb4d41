//! Comparisons: every turn from one outcome to another, and rulesets that share no rule.

use amperule::answer::{Comparison, Fate, Stated, Turn, differences, share_rules};

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
