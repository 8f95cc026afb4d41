//! E6: departures act on a breach only.

use amperule::check::{Outcome, Settings};
use amperule::quantity::days_from_civil;

use crate::world::{World, clean, rule, rule_with};

fn world() -> World {
    World::rules(&[
        rule("it", "x <= 10 A"),
        rule_with("guarded", "thing", "x <= 10 A", "    where: 'a'\n"),
        rule_with("soft", "thing", "x <= 10 A", "    severity: caution\n"),
        rule_with("fixed", "thing", "x <= 10 A", "    departable: no\n"),
    ])
}

/// Outcome of the rule, and the codes of what is said about the departure.
fn with(
    rule: &str,
    facts: &str,
    more: &str,
    on: Option<(i32, u32, u32)>,
) -> (Outcome, Vec<&'static str>) {
    let w = world();
    let text = format!(
        "thing t {{ {facts} }}\n\
         departure from {rule} {{ reason: \"no room\"  agreed-by: \"owner\"  {more} }}\n"
    );
    let settings = Settings {
        on: on.map(|(y, m, d)| days_from_civil(y, m, d).expect("a day")),
        ..Settings::default()
    };
    let judged = w.judge_with(&text, &settings);
    let outcome = judged
        .report
        .findings
        .iter()
        .find(|f| f.rule == rule)
        .map_or(Outcome::NotApplicable, |f| f.outcome);
    (outcome, judged.problems.iter().map(|p| p.code).collect())
}

#[test]
fn e6_a_departure_acts_on_a_breach_only() {
    assert_eq!(with("it", "x: 20 A", "", None), (Outcome::Departed, vec![]));
    // Undecided: still undecided, and the departure is not called unused.
    assert_eq!(with("it", "x: ?", "", None), (Outcome::Undecided, vec![]));
    assert_eq!(
        with("it", "x: 5 A", "", None),
        (Outcome::Met, vec!["departure-unused"])
    );
    assert_eq!(
        with("guarded", "x: 20 A  a: no", "", None),
        (Outcome::NotApplicable, vec!["departure-unused"])
    );
    // A caution needs none.
    assert_eq!(
        with("soft", "x: 20 A", "", None),
        (Outcome::Failed, vec!["departure-unused"])
    );
    assert_eq!(
        with("fixed", "x: 20 A", "", None),
        (Outcome::Failed, vec!["no-departure"])
    );
    assert_eq!(with("itt", "x: 20 A", "", None).1, ["unknown-rule"]);
}

/// The day itself still counts.
#[test]
fn e6_the_last_day() {
    let until = "until: 2027-03-31";
    let on = |y, m, d| with("it", "x: 20 A", until, Some((y, m, d)));
    assert_eq!(on(2027, 3, 30), (Outcome::Departed, vec![]));
    assert_eq!(on(2027, 3, 31), (Outcome::Departed, vec![]));
    assert_eq!(on(2027, 4, 1), (Outcome::Failed, vec!["departure-expired"]));
}

/// One that names its subject covers no other.
#[test]
fn e6_a_departure_for_one_subject() {
    let w = world();
    let text = "thing t { x: 20 A }\nthing u { x: 20 A }\n\
                departure from it { for: t  reason: \"no room\"  agreed-by: \"owner\" }\n";
    let judged = w.judge(text);
    let of = |subject: &str| {
        let mut all = judged.report.findings.iter();
        all.find(|f| f.rule == "it" && f.subject == subject)
            .map(|f| f.outcome)
    };
    assert_eq!(of("t"), Some(Outcome::Departed));
    assert_eq!(of("u"), Some(Outcome::Failed));
    assert!(!clean(&judged));
}
