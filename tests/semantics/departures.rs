//! E6: departures act on a breach only.

use amperule::check::Outcome;
use amperule::quantity::days_from_civil;

use super::world::{World, clean, rule, rule_with};

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
    let on = on.map(|(y, m, d)| days_from_civil(y, m, d).expect("a day"));
    let w = world().on(on);
    let text = format!(
        "thing t {{ {facts} }}\n\
         departure from {rule} {{ reason: \"no room\"  agreed-by: \"owner\"  {more} }}\n"
    );
    let checked = w.check(&text);
    let judged = checked.judged.expect("there is something to judge");
    let outcome = judged
        .report
        .findings
        .iter()
        .find(|f| f.rule == rule)
        .map_or(Outcome::NotApplicable, |f| f.outcome);
    (outcome, checked.problems.iter().map(|p| p.code).collect())
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
        all.find(|f| f.rule == "it" && f.subject.label == subject)
            .map(|f| f.outcome)
    };
    assert_eq!(of("t"), Some(Outcome::Departed));
    assert_eq!(of("u"), Some(Outcome::Failed));
    assert!(!clean(&judged));
}

/// What is said of a departure from `it` that pins facts, for a thing as it is now.
fn pinned(pins: &str, now: &str) -> (Outcome, Vec<&'static str>) {
    with_pins("for: t", pins, now)
}

fn with_pins(subject: &str, pins: &str, now: &str) -> (Outcome, Vec<&'static str>) {
    with(
        "it",
        now,
        &format!("{subject}  as-found {{ {pins} }}"),
        None,
    )
}

#[test]
fn e6_a_departure_lapses_when_a_pinned_fact_differs() {
    let holds = (Outcome::Departed, vec![]);
    let lapsed = (Outcome::Failed, vec!["departure-lapsed"]);
    assert_eq!(pinned("x: 20 A", "x: 20 A"), holds);
    assert_eq!(pinned("x: 20 A", "x: 20000 mA"), holds);
    assert_eq!(pinned("x: 20 A", "x: 20.00000001 A"), holds);
    assert_eq!(pinned("x: 20 A", "x: 20.001 A"), lapsed);
    // Better is other, too: it was not agreed on.
    assert_eq!(pinned("x: 20 A", "x: 19 A"), lapsed);
    assert_eq!(pinned("x: 20 A .. 30 A", "x: 20 A .. 31 A"), lapsed);
    assert_eq!(pinned("x: at least 20 A", "x: at least 20 A"), holds);
    // What is not pinned may change.
    assert_eq!(pinned("y: 5 A", "x: 25 A  y: 5 A"), holds);
    assert_eq!(pinned("y: 5 A", "x: 25 A  y: 6 A"), lapsed);
    assert_eq!(pinned("y: 5 A", "x: 25 A"), lapsed);
    assert_eq!(pinned("y: ?", "x: 25 A"), holds);
    assert_eq!(pinned("y: ?", "x: 25 A  y: 5 A"), lapsed);
    for (was, now) in [
        ("colour: red", "colour: green"),
        ("a: yes", "a: no"),
        ("label: \"old\"", "label: \"new\""),
        ("day: 2026-01-01", "day: 2026-01-02"),
        ("size: 4 mm² | 6 mm²", "size: 4 mm² | 10 mm²"),
        ("other: t", "other: u"),
    ] {
        let more = "x: 20 A  ";
        let u = " } thing u { x: 1 A";
        assert_eq!(pinned(was, &format!("{more}{was}{u}")), holds, "{was}");
        assert_eq!(pinned(was, &format!("{more}{now}{u}")), lapsed, "{now}");
    }
}

/// Of a part what is pinned is compared, in the facts that are written in the pin.
#[test]
fn e6_facts_of_a_part_can_be_pinned() {
    let part = |facts: &str| format!("x: 20 A  part: first {{ {facts} }}");
    let pin = "part: first { size: 4 mm² }";
    let holds = (Outcome::Departed, vec![]);
    let lapsed = (Outcome::Failed, vec!["departure-lapsed"]);
    assert_eq!(pinned(pin, &part("size: 4 mm²  length: 18 m")), holds);
    assert_eq!(pinned(pin, &part("size: 6 mm²  length: 18 m")), lapsed);
    assert_eq!(pinned(pin, &part("length: 18 m")), lapsed);
    assert_eq!(pinned(pin, "x: 20 A"), lapsed);
    // The pinned part itself is judged by nothing.
    let w = world();
    let text = format!(
        "thing t {{ {} }}\ndeparture from it {{ for: t  reason: \"r\"  agreed-by: \"o\"  as-found {{ {pin} }} }}\n",
        part("size: 4 mm²")
    );
    let of = w.design(&text);
    assert_eq!(
        of.design()
            .objects
            .iter()
            .filter(|o| o.owner.is_some())
            .count(),
        1
    );
}

/// The message names the fact, where it was pinned and where it is written.
#[test]
fn e6_the_message_of_a_lapsed_departure() {
    let w = world();
    let text = "thing t { x: 20 A }\ndeparture from it { for: t  reason: \"r\"  agreed-by: \"o\"  as-found { x: 19 A } }\n";
    let judged = w.judge(text);
    let [problem] = judged.problems.as_slice() else {
        panic!("{:#?}", judged.problems);
    };
    assert_eq!(
        problem.message,
        "the departure from `it` has lapsed: `x` of t is not what was agreed on"
    );
    let places: Vec<_> = problem
        .labels
        .iter()
        .map(|l| (&text[l.span.from()..l.span.until()], l.text.as_str()))
        .collect();
    assert_eq!(places, [("19 A", "agreed on"), ("20 A", "written now")]);
}

#[test]
fn e6_what_cannot_be_pinned_is_refused() {
    let w = world();
    let said = |inner: &str| -> Vec<String> {
        let text = format!(
            "parameter run: 5 A .. 40 A\nthing t {{ x: 20 A }}\ndeparture from it {{ reason: \"r\"  agreed-by: \"o\"  {inner} }}\n"
        );
        let all = w.open(&text, &[]);
        all.problems.iter().map(|p| p.message.clone()).collect()
    };
    for (inner, message) in [
        (
            "as-found { x: 20 A }",
            "`as-found` pins facts of one subject, and none is named",
        ),
        (
            "for: t  as-found: thing { x: 20 A }",
            "`as-found` is a block, not a fact",
        ),
        (
            "for: t  as-found { }",
            "this cannot be pinned by `as-found`",
        ),
        (
            "for: t  as-found { status: new }",
            "this cannot be pinned by `as-found`",
        ),
        (
            "for: t  as-found { x: run }",
            "a value worked out from parameters cannot be pinned by `as-found`",
        ),
        (
            "for: t  as-found { x: 20 A }  as-found { y: 1 A }",
            "`as-found` is written twice",
        ),
        (
            "for: t  as-found { xx: 20 A }",
            "a thing has no fact called `xx`",
        ),
    ] {
        assert_eq!(said(inner), [message], "{inner}");
    }
    assert_eq!(said("for: t  as-found { x: 20 A }"), Vec::<String>::new());
}
