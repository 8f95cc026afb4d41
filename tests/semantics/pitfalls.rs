//! Ways in which checkers with three values went wrong, each held shut.

use amperule::check::{Outcome, Reason};

use super::world::{World, clean, finding, named, rule, rule_with};

/// A condition that cannot be decided is not "false", and so not "skip".
#[test]
fn p1_an_undecided_condition_skips_nothing() {
    let w = World::rules(&[rule_with("it", "thing", "b", "    where: 'a'\n")]);
    let f = w.finding("thing t { a: ?  b: no }", "it");
    assert_eq!(f.outcome, Outcome::Undecided);
    // Nor where the condition cannot be computed at all.
    let w = World::rules(&[rule_with("it", "thing", "b", "    where: 'U / r >= 1 A'\n")]);
    let f = w.finding("thing t { U: 230 V  r: 0 ohm  b: no }", "it");
    assert_eq!(
        (f.outcome, f.reason),
        (Outcome::Undecided, Some(Reason::NotComputable))
    );
}

/// What applies to nothing has one meaning each time: `every` holds of an empty closed
/// collection, `any` does not, and a rule without subjects has no verdict.
#[test]
fn p2_an_empty_selection_means_the_same_each_time() {
    let empty = "hub h { all-listed: thing }\n";
    for filter in ["", " where t.x >= 1 A"] {
        let every = World::rules(&[rule_with(
            "it",
            "hub",
            &format!("every t in things{filter}: t.a"),
            "",
        )]);
        assert_eq!(every.outcome(empty), Outcome::Met, "every{filter}");
        let any = World::rules(&[rule_with(
            "it",
            "hub",
            &format!("any t in things{filter}: t.a"),
            "",
        )]);
        assert_eq!(any.outcome(empty), Outcome::Failed, "any{filter}");
    }
    // A filter that leaves none of some is as empty as none.
    let w = World::rules(&[rule_with(
        "it",
        "hub",
        "every t in things where t.x >= 10 A: t.a",
        "",
    )]);
    let small = "hub h { all-listed: thing }\nthing t { hub: h  x: 5 A  a: no }\n";
    assert_eq!(w.outcome(small), Outcome::Met);
    let w = World::rules(&[rule("it", "a")]);
    let judged = w.judge("hub h { }");
    assert!(judged.report.findings.is_empty() && judged.report.counts.0.is_empty());
}

/// An undecided first part of `or` does not hide that the second decides; likewise `and`, and
/// named ways.
#[test]
fn p3_a_later_part_decides() {
    for (require, wanted) in [
        ("a or b", Outcome::Met),
        ("not (a or b)", Outcome::Failed),
        ("a and not b", Outcome::Failed),
        ("not (a and not b)", Outcome::Met),
    ] {
        let w = World::one(require);
        assert_eq!(w.outcome("thing t { a: ?  b: yes }"), wanted, "{require}");
    }
    let ways = rule_with("it", "thing", "", "    ways: {first: 'a', second: 'b'}\n");
    let w = World::rules(&[ways]);
    assert_eq!(w.outcome("thing t { a: ?  b: yes }"), Outcome::Met);
    // Even where the first cannot be computed, or is a gap.
    let w = World::one("U / r <= 1 A or b");
    assert_eq!(
        w.outcome("thing t { U: 230 V  r: 0 ohm  b: yes }"),
        Outcome::Met
    );
}

/// Nothing on the right of a negated comparison makes nothing true: the greatest of none is
/// absent, and must be said what then.
#[test]
fn p4_an_empty_list_on_the_right_is_not_vacuous() {
    let sections = rule_with(
        "it",
        "hub",
        "not (top * 1 A >= 1 V) or not (1 A <= (max t in things: t.x))",
        "",
    );
    let problems = super::world::lab_refused(&format!("rules:\n{sections}"));
    let text = super::world::said(&problems);
    assert!(text.contains("else"), "{text}");
    // With the empty case said, it is judged by it.
    let w = World::rules(&[rule_with(
        "it",
        "hub",
        "not (5 A <= ((max t in things: t.x) else 0 A))",
        "",
    )]);
    let of = |things: &str| w.outcome(&format!("hub h {{ all-listed: thing }}\n{things}"));
    assert_eq!(of(""), Outcome::Met);
    assert_eq!(of("thing t { hub: h  x: 9 A }"), Outcome::Failed);
    assert_eq!(of("thing t { hub: h  x: 2 A }"), Outcome::Met);
    // Membership: a word that is none of a set is not in it because the word is unknown.
    let w = World::one("not (colour among {red, green})");
    assert_eq!(w.outcome("thing t { colour: ? }"), Outcome::Undecided);
}

/// What explains a verdict reaches every report: which facts, who settles them, why.
#[test]
fn p5_explanations_reach_every_report() {
    let w = World::rules(&[
        rule("open", "x + y <= 30 A"),
        rule("broken", "x <= 1 A").replace(
            "    topic:",
            "    help: 'take less than {x}'\n    because: 'it would melt'\n    topic:",
        ),
    ]);
    let (plain, data) = w.printed("thing t { x: 5 A  y: ? }", false);
    for part in ["take less than 5 A", "another current"] {
        assert!(plain.contains(part), "{part}: {plain}");
        assert!(data.contains(part), "{part}: {data}");
    }
    assert!(plain.contains("settled by site"), "{plain}");
    assert!(data.contains("\"settled-by\":\"site\""), "{data}");
    assert!(data.contains("\"witnesses\":{"), "{data}");
    // Who judged: ruleset, edition, content.
    assert!(
        plain.contains(&format!("[lab {}]", w.ruleset.hash)),
        "{plain}"
    );
    assert!(data.contains(&w.ruleset.hash), "{data}");
}

/// Both sides are looked at when the first is unknown: all facts that could decide are named.
#[test]
fn p6_all_missing_facts_are_carried() {
    let w = World::one("a and b and c");
    let f = w.finding("thing t { a: ?  b: ?  c: ? }", "it");
    // Each alone can break it.
    assert_eq!(named(&f), ["a of t", "b of t", "c of t"]);
    assert!(f.missing.iter().all(|m| m.breaks.as_deref() == Some("no")));
}

/// Nothing is dropped from the count of what came out.
#[test]
fn p7_the_counts_add_up() {
    let rules = [
        rule("met", "x >= 1 A"),
        rule("failed", "x <= 1 A"),
        rule("undecided", "y <= 1 A"),
        rule_with("not-applicable", "thing", "a", "    where: 'x <= 1 A'\n"),
        rule_with("not-due", "thing", "a", "    stage: handover\n"),
        rule("departed", "x <= 1 A"),
    ];
    let w = World::rules(&rules);
    let text = "thing t { x: 5 A }\nthing u { x: 5 A }\n\
                departure from departed { reason: \"agreed\"  agreed-by: \"owner\" }\n";
    let judged = w.judge(text);
    let total: usize = judged.report.counts.0.values().sum();
    assert_eq!(total, rules.len() * 2);
}

/// A last day that cannot be read leaves the finding visible.
#[test]
fn p8_a_departure_with_a_bad_date_covers_nothing() {
    let w = World::one("x <= 10 A");
    let text = "thing t { x: 20 A }\n\
                departure from it { reason: \"r\"  agreed-by: \"o\"  until: 2027-02-30 }\n";
    let checked = w.check(text);
    assert!(checked.problems.iter().any(|p| p.is_error()));
    let judged = checked.judged.expect("there is something to judge");
    assert_eq!(finding(&judged, "it").outcome, Outcome::Failed);
}

/// A finding keeps its fingerprint when lines move, when other blocks come before it, and when
/// its outcome changes; another subject has another.
#[test]
fn p9_fingerprints() {
    let w = World::one("x <= 10 A");
    let print = |text: &str, subject: &str| {
        let judged = w.judge(text);
        let all = judged.report.findings;
        all.into_iter()
            .find(|f| f.subject.label == subject)
            .map(|f| f.fingerprint)
    };
    let first = print("thing t { x: 20 A }", "t");
    assert!(first.is_some());
    assert_eq!(
        first,
        print(
            "\n\n# a comment\nthing u { x: 1 A }\nthing t { x: 20 A }",
            "t"
        )
    );
    assert_eq!(first, print("thing t { x: ? }", "t"));
    assert_ne!(first, print("thing u { x: 20 A }", "u"));
}

/// Undecided that could be a breach is not clean; undecided advice is.
#[test]
fn p10_only_what_could_be_a_breach_keeps_a_design_from_being_clean() {
    let soft = World::rules(&[rule_with(
        "it",
        "thing",
        "x <= 10 A",
        "    severity: advice\n",
    )]);
    assert!(clean(&soft.judge("thing t { x: ? }")));
    let hard = World::one("x <= 10 A");
    assert!(!clean(&hard.judge("thing t { x: ? }")));
    assert!(!clean(&hard.judge("thing t { x: 20 A }")));
    assert!(clean(&hard.judge("thing t { x: 5 A }")));
}
