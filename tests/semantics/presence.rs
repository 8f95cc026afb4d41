//! B2: what may not be there. A member that may be absent counts for what it would make worse, and
//! nothing is judged of what is said to be absent.

use amperule::check::Outcome::{self, Failed, Met, Undecided};

use super::world::{World, rule, rule_with, said, verdict_of};

/// A hub whose things are all listed, judged with one thing `p` that is there, may be, is not, or goes
/// in the works.
fn of_members(require: &str, fact: &str) -> [Outcome; 4] {
    let w = World::rules(&[rule_with("it", "hub", require, "")]);
    ["present: yes", "present: ?", "present: no", "status: to-go"].map(|said| {
        w.outcome(&format!(
            "hub h {{ all-listed: thing }}\nthing p {{ hub: h  {fact}  {said} }}"
        ))
    })
}

#[test]
fn b2_a_member_that_may_be_absent_leaves_open_what_it_decides() {
    for (require, fact, outcomes) in [
        ("every t in things: t.x <= 10 A", "x: 5 A", [Met, Met, Met]),
        (
            "every t in things: t.x <= 10 A",
            "x: 50 A",
            [Failed, Undecided, Met],
        ),
        (
            "any t in things: t.x <= 10 A",
            "x: 5 A",
            [Met, Undecided, Failed],
        ),
        (
            "any t in things: t.x <= 10 A",
            "x: 50 A",
            [Failed, Failed, Failed],
        ),
        (
            "(sum t in things: t.x) <= 10 A",
            "x: 50 A",
            [Failed, Undecided, Met],
        ),
        (
            "(count t in things) >= 1",
            "x: 5 A",
            [Met, Undecided, Failed],
        ),
        (
            "((max t in things: t.x) else 0 A) <= 10 A",
            "x: 50 A",
            [Failed, Undecided, Met],
        ),
        (
            "(every t in things: t.x <= 10 A) and (count t in things) >= 1",
            "x: 50 A",
            [Failed, Failed, Failed],
        ),
    ] {
        let [there, doubted, absent] = outcomes;
        // What goes counts no more than what is not there.
        let outcomes = [there, doubted, absent, absent];
        assert_eq!(of_members(require, fact), outcomes, "{require}, {fact}");
    }
}

/// What breaks a rule if it is there is no breach while that is not known.
#[test]
fn b2_nothing_is_judged_of_what_is_absent() {
    let w = World::one("x <= 10 A");
    let outcome = |x: &str, present: &str| w.outcome(&format!("thing t {{ x: {x}  {present} }}"));
    assert_eq!(outcome("50 A", ""), Failed);
    assert_eq!(outcome("50 A", "present: yes"), Failed);
    assert_eq!(outcome("50 A", "present: ?"), Undecided);
    assert_eq!(outcome("5 A", "present: ?"), Met);
    let none = w.judge("thing t { x: 50 A  present: no }");
    assert!(
        none.report.findings.is_empty(),
        "{:?}",
        none.report.findings
    );
}

/// A part is there if what it is fitted in is, and says nothing of the kind itself.
#[test]
fn b2_a_part_is_there_if_the_whole_is() {
    let w = World::rules(&[rule_with("it", "part", "In <= 10 A", "")]);
    let part = |present: &str| {
        w.outcome(&format!(
            "thing t {{ part: first {{ In: 32 A }}  present: {present} }}"
        ))
    };
    assert_eq!([part("yes"), part("?")], [Failed, Undecided]);
    let text = "thing t { part: first { In: 32 A  present: ? } }";
    let told = said(&w.open(text, &[]).problems);
    assert!(told.contains("part has no fact called `present`"), "{told}");
}

/// What stands in another thing is there only if that is.
#[test]
fn b2_what_stands_inside_is_there_if_the_whole_is() {
    let w = World::one("x <= 10 A");
    let inside = |present: &str| {
        w.outcome(&format!(
            "hub h {{ present: {present}\n thing t {{ x: 50 A }} }}"
        ))
    };
    assert_eq!([inside("yes"), inside("?")], [Failed, Undecided]);
}

/// What leads to something inside an absent thing is as wrong as what leads to the thing.
#[test]
fn b2_what_stands_inside_an_absent_thing_is_absent() {
    let w = World::one("x <= 10 A");
    let inside = "hub h { present: no\n thing t { x: 50 A  part: first { In: 32 A } } }";
    let none = w.judge(inside);
    assert!(
        none.report.findings.is_empty(),
        "{:?}",
        none.report.findings
    );
    let text = format!("{inside}\nthing u {{ x: 1 A  other: t }}");
    let told = said(&w.open(&text, &[]).problems);
    assert!(
        told.contains("`other` leads to `t`, which is said to be absent"),
        "{told}"
    );
}

/// Rules read it, as they read `status`: what leads to an absent thing can be told.
#[test]
fn b2_whether_something_is_there_is_a_fact_for_rules() {
    let w = World::rules(&[rule("it", "hub.present")]);
    let outcome =
        |present: &str| w.outcome(&format!("hub h {{ {present} }}\nthing t {{ hub: h }}"));
    assert_eq!(outcome(""), Met);
    assert_eq!(outcome("present: ?"), Undecided);
    // Nothing would be judged of what it leads to.
    let text = "hub h { present: no }\nthing t { hub: h }";
    let told = said(&w.open(text, &[]).problems);
    assert!(
        told.contains("`hub` leads to `h`, which is said to be absent"),
        "{told}"
    );
    let judged = w.judge("hub h { present: ? }\nthing t { hub: h }");
    assert_eq!(verdict_of(&judged, "it").outcome, Undecided);
    assert_eq!(
        super::world::named(super::world::finding(&judged, "it")),
        ["present of h"]
    );
}
