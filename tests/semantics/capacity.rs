//! What sets can hold, and what sums make of members that are not listed.

use amperule::check::Outcome::{Failed, Met, Undecided};
use amperule::vocabulary::WordSet;

use super::world::{KINDS, World, lab_refused, refused, rule, rule_with, said};

/// Rules that compare the label with texts, one each.
fn compared(count: usize) -> Vec<String> {
    (0..count)
        .map(|i| rule(&format!("r{i}"), &format!("label != \"t{i}\"")))
        .collect()
}

/// As many texts as a set holds are told apart, from each other and from all others.
#[test]
fn c7_the_last_text_is_told_apart_from_others() {
    let w = World::rules(&compared(WordSet::MOST));
    let outcome = |label: &str, rule: usize| {
        let text = format!("thing t {{ label: {label} }}");
        w.verdict(&text, &format!("r{rule}")).outcome
    };
    for i in [0, WordSet::MOST - 2, WordSet::MOST - 1] {
        assert_eq!(outcome("\"something else\"", i), Met, "{i}");
        assert_eq!(outcome("?", i), Undecided, "{i}");
        assert_eq!(outcome(&format!("\"t{i}\""), i), Failed, "{i}");
    }
}

/// One text more, and the ruleset is refused with the count.
#[test]
fn c7_more_texts_than_a_set_holds_are_refused() {
    let rules = compared(WordSet::MOST + 3).concat();
    let text = said(&lab_refused(&format!("rules:\n{rules}")));
    let count = format!(
        "{} different texts, more than {}",
        WordSet::MOST + 3,
        WordSet::MOST
    );
    assert!(text.contains(&count), "{text}");
}

/// Words of a choice, words of a set and members of a series are counted when a ruleset is read.
#[test]
fn a7_more_words_than_a_set_holds_are_refused() {
    let words = |count: usize| {
        let all: Vec<String> = (0..count).map(|i| format!("w{i}")).collect();
        all.join(" ")
    };
    let derived = |is: &str| {
        format!("derive:\n  thing.v: {{is: {is}, means: 'one', formula: colour, source: own}}")
    };
    for (sections, count) in [
        (
            derived(&format!("one of {}", words(63))),
            "1 to 62 words, not 63",
        ),
        (
            derived(&format!("ordered {}", words(70))),
            "1 to 62 words, not 70",
        ),
        (
            derived(&format!("some of {}", words(17))),
            "1 to 16 words, not 17",
        ),
    ] {
        let text = said(&lab_refused(&sections));
        assert!(text.contains(count), "{text}");
    }
    let members: Vec<String> = (1..=63).map(|i| i.to_string()).collect();
    let many = format!(
        "series:\n  many: {{is: A, members: [{}]}}",
        members.join(", ")
    );
    let lab = KINDS.replacen("series:", &many, 1);
    let text = said(&refused(&[("lab", &lab)], "lab", None));
    assert!(text.contains("1 to 62 members, not 63"), "{text}");
}

/// Alternatives in groups are counted together: none is lost without a word.
#[test]
fn a7_more_alternatives_than_a_set_holds_are_refused() {
    let w = World::one("x <= 65 A");
    let list = |from: usize, to: usize| {
        let all: Vec<String> = (from..=to).map(|i| format!("{i} A")).collect();
        format!("({})", all.join(" | "))
    };
    let design = |last: usize| format!("thing t {{ x: {} | {} }}", list(1, 40), list(41, last));
    assert_eq!(w.outcome(&design(62)), Met);
    let text = said(&w.open(&design(70), &[]).problems);
    assert!(text.contains("70 alternatives, more than 62"), "{text}");
    // A range of whole numbers is one group, too.
    let open = w.open("thing t { cores: 1 .. 60 | 61 .. 90 }", &[]);
    let text = said(&open.problems);
    assert!(text.contains("90 alternatives, more than 62"), "{text}");
}

/// What is not listed adds nothing or more only where what is taken of each is shown to be so.
#[test]
fn b2_a_sum_of_differences_may_be_anything_where_members_may_be_missing() {
    let derived = "
derive:
  thing.net: {is: A, means: 'what is left', formula: 'x - y', source: 'of this test'}
  thing.gain: {is: A, means: 'what is left, if any', formula: 'max(0 A, x - y)', source: 'of this test'}
  thing.heat: {is: number, means: 'how much warmer', formula: '1 + (max(warmth, 20 °C) - 20 °C) / 10 K', source: 'of this test'}
  hub.total: {is: A, means: 'all below it', formula: '(sum t in things: t.gain) + (sum s in subs: s.total)', source: 'of this test'}
  hub.less: {is: A, means: 'all below it', formula: '(sum t in things: t.net) + (sum s in subs: s.less)', source: 'of this test'}
";
    let open = "hub h { status: existing  fed-from: none }";
    let closed = "hub h { status: new  fed-from: none }";
    for (require, outcome) in [
        ("(sum t in things: t.x) >= -1 A", Met),
        ("(sum t in things: t.x * 2 + t.y) >= -1 A", Met),
        ("(sum t in things: abs(t.x - t.y)) >= -1 A", Met),
        ("(sum t in things: max(t.x - t.y, 0 A)) >= -1 A", Met),
        ("(sum t in things: t.gain) >= -1 A", Met),
        ("(sum t in things: t.heat) >= -1", Met),
        ("total >= -1 A", Met),
        ("(largest-two t in things: t.gain) >= -1 A", Met),
        ("(sum t in things: t.x / 2) >= -1 A", Met),
        ("(sum t in things: 2 * t.gain / 3) >= -1 A", Met),
        ("(sum t in things: (t.x - t.y) / 2) >= -1 A", Undecided),
        ("(sum t in things: t.x - t.y) >= -1 A", Undecided),
        ("(sum t in things: t.x - t.y) <= 1 A", Undecided),
        ("(sum t in things: -t.x) >= -1 A", Undecided),
        ("(sum t in things: t.net) >= -1 A", Undecided),
        ("less >= -1 A", Undecided),
    ] {
        let it = rule_with("it", "hub", require, "");
        let w = World::lab(derived, &[it]);
        assert_eq!(w.outcome(open), outcome, "{require}");
        assert_eq!(w.outcome(closed), Met, "{require}");
    }
}

/// The two largest of what may be below zero are no sum that means anything.
#[test]
fn b2_largest_two_takes_what_is_never_negative() {
    let rules = rule_with(
        "it",
        "hub",
        "(largest-two t in things: t.x - t.y) <= 10 A",
        "",
    );
    let text = said(&lab_refused(&format!("rules:\n{rules}")));
    assert!(text.contains("`t.x - t.y` may be"), "{text}");
}
