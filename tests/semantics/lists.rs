//! What may stand in a list, be a parameter's value or be there at all: a verdict on all of it holds for
//! each single one.

use amperule::check::Outcome::{self, Failed, Met, Undecided};

use amperule::vocabulary::Settler;

use super::world::{KINDS, World, rule_with};

/// The kinds of the other tests, and lists, parts in a list, and one thing of two kinds.
fn kinds() -> String {
    KINDS.replace(
        "  note:\n",
        "  lister:
    means: what names others
    facts:
      members: {is: references thing, means: 'what it names', by: designer}
      bits: {is: parts part, means: 'what is fitted', by: designer}
      src: {is: reference src, means: 'one of two kinds', by: designer}
  src:
    means: a box or a can
    any-of: [box, can]
  box:
    means: a box
    facts:
      s: {is: mm², means: 'a size', by: designer, domain: '> 0 mm²', series: size}
  can:
    means: a can
    facts:
      s: {is: mm², means: 'a size', by: designer, domain: '> 0 mm²'}
  note:\n",
    )
    .replace(
        "      hub: {is: reference hub, means: 'where it belongs', by: site}\n",
        "      hub: {is: reference hub, means: 'where it belongs', by: site}
      listers: {is: reverse lister.members, means: 'what names it'}
      hand: {is: A, means: 'as at its hub', by: site, domain: '>= 0 A', inherits: hub}\n",
    )
    .replace(
        "      top: {is: ohm",
        "      hand: {is: A, means: 'a current', by: site, domain: '>= 0 A'}\n      top: {is: ohm",
    )
    .replace("open: existing}", "open: yes}")
    .replace("'what it feeds'}", "'what it feeds', open: yes}")
}

/// What one rule on each thing of a kind says of the one subject of a design.
fn outcome(each: &str, require: &str, text: &str) -> Outcome {
    let yaml = format!(
        "{}\ntables:\n  up: {{source: 'of this test', keys: {{x: {{is: A, between: next-larger}}}}, \
         gives: A, rows: [[5, 20], [1000, 20]]}}\nrules:\n{}",
        kinds(),
        rule_with("it", each, require, "")
    );
    World::of(&[("lab", &yaml)], "lab").outcome(text)
}

/// A list that nobody has written may hold anything that it can hold.
#[test]
fn b5_a_list_that_is_open_may_lead_anywhere() {
    let named = |members: &str| {
        let text = format!("thing t {{ }}\nlister l {{ {members} }}");
        outcome("thing", "(count l in listers) == 0", &text)
    };
    assert_eq!(named("members: t"), Failed);
    assert_eq!(named("members: none"), Met);
    assert_eq!(named("members: ?"), Undecided);
    assert_eq!(named(""), Undecided);
}

/// How much more two things have is two questions, and so are two lists of one thing.
#[test]
fn b5_unlisted_members_of_two_lists_are_two_numbers() {
    let require = "hub is absent or (count s in hub.subs) <= (count t in hub.things)";
    assert_eq!(outcome("thing", require, "thing t { hub: ? }"), Undecided);
    let text = "hub h1 { status: existing }\nhub h2 { status: existing }\n\
                thing t { hub: h1 | h2 }\nthing u { hub: h1 }\nlister l { members: t, u }";
    let require = "every a in members: every b in members: a.hub is absent or b.hub is absent \
                   or (count q in a.hub.things) <= (count q in b.hub.things)";
    assert_eq!(outcome("lister", require, text), Undecided);
}

/// Alternatives of a part in a list are judged like those of a part.
#[test]
fn b2_one_of_several_parts_in_a_list_is_not_there_for_certain() {
    let part = |bits: &str| {
        let text = format!("lister l {{ bits: {bits}  members: none  src: ? }}");
        let yaml = format!(
            "{}\nrules:\n{}",
            kinds(),
            rule_with("it", "part", "In <= 10 A", "")
        );
        let judged = World::of(&[("lab", &yaml)], "lab").judge(&text);
        let of = judged.report.findings.iter().filter(|f| f.rule == "it");
        of.map(|f| f.outcome).collect::<Vec<_>>()
    };
    let (large, small) = ("first { In: 32 A }", "first { In: 6 A }");
    assert_eq!(part(large), [Failed]);
    assert_eq!(part(small), [Met]);
    assert!(!part(&format!("{large} | {small}")).contains(&Failed));
    assert_eq!(part(&format!("{large}, {small}")), [Failed, Met]);
}

/// Whether something is there is asked behind a choice, too.
#[test]
fn b2_presence_is_asked_of_each_alternative() {
    let some = |members: &str| {
        let text = format!(
            "thing t {{ present: ? }}\nthing u {{ present: ? }}\nlister l {{ members: {members} }}"
        );
        outcome("lister", "(count t in members) >= 1", &text)
    };
    assert_eq!(some("t"), Undecided);
    assert_eq!(some("(t | u)"), Undecided);
}

/// `is present` asks whether a thing is there once the work is done.
#[test]
fn b2_is_present_heeds_what_a_thing_says_of_itself() {
    let there = |said: &str| {
        let text = format!(
            "thing t {{ other: u }}\nthing u {{ {said}  other: none }}\nlister l {{ members: t }}"
        );
        outcome("lister", "every t in members: t.other is present", &text)
    };
    assert_eq!(there(""), Met);
    assert_eq!(there("present: ?"), Undecided);
    assert_eq!(there("status: to-go"), Failed);
    // A part goes like a thing.
    let part = |said: &str| {
        let text = format!("thing t {{ part: first {{ In: 6 A  {said} }} }}");
        outcome("thing", "part is present", &text)
    };
    assert_eq!(part(""), Met);
    assert_eq!(part("status: to-go"), Failed);
}

/// A part of a list goes like a member of one.
#[test]
fn b2_a_part_that_goes_is_not_in_its_list() {
    let of = |said: &str| {
        let text =
            format!("lister l {{ bits: first {{ In: 6 A }}, first {{ In: 32 A  {said} }} }}");
        let each = outcome("lister", "every b in bits: b.In <= 10 A", &text);
        (each, outcome("lister", "(count b in bits) == 1", &text))
    };
    assert_eq!(of(""), (Failed, Failed));
    assert_eq!(of("status: to-go"), (Met, Met));
    // Nor is one that goes whichever it is.
    let either = |second: &str| {
        let bits = format!("(first {{ status: to-go }} | first {{ {second} }})");
        let text = format!("lister l {{ bits: {bits}, first {{ In: 6 A }} }}");
        outcome("lister", "(count b in bits) == 1", &text)
    };
    assert_eq!(either("status: to-go  In: 32 A"), Met);
    assert_eq!(either("In: 32 A"), Undecided);
    // What it holds goes with it, whatever its own status.
    let inner = |status: &str| {
        let second = format!("first {{ {status}  inner: second {{ size: 10 mm² }} }}");
        let text = format!("lister l {{ bits: (first {{ In: 6 A }} | {second}) }}");
        let narrow = rule_with("it", "part", "not (size is written) or size <= 4 mm²", "");
        let world = World::of(&[("lab", &format!("{}\nrules:\n{narrow}", kinds()))], "lab");
        let judged = world.judge(&text);
        judged
            .report
            .findings
            .iter()
            .map(|f| f.outcome)
            .collect::<Vec<_>>()
    };
    assert_eq!(inner("status: to-go"), [Met]);
    assert_eq!(inner(""), [Undecided, Met, Met]);
}

/// A parameter that says no says no: what leads there is the same mistake.
#[test]
fn b2_a_parameter_may_say_that_a_thing_is_absent() {
    let yaml = format!(
        "{}\nrules:\n{}",
        kinds(),
        rule_with("it", "thing", "other is present", "")
    );
    let w = World::of(&[("lab", &yaml)], "lab");
    let text =
        "parameter there: yes | no\nthing t { other: u }\nthing u { present: there  other: t }";
    let codes = |set: &[(&str, &str)]| {
        let problems = w.open(text, set).problems.clone();
        problems.iter().map(|p| p.code).collect::<Vec<_>>()
    };
    assert_eq!(codes(&[("there", "no")]), ["leads-to-absent"]);
    assert!(codes(&[("there", "yes")]).is_empty());
}

/// A thing that may be a box of the series or a can of any size is not held to the series.
#[test]
fn b4_a_thing_of_two_kinds_is_not_held_to_the_series_of_one() {
    let size = |src: &str| {
        let text =
            format!("can k {{ s: 30 mm² }}\nlister l {{ src: {src}  members: none  bits: none }}");
        outcome("lister", "src is absent or src.s <= 16 mm²", &text)
    };
    assert_eq!(size("k"), Failed);
    assert_eq!(size("?"), Undecided);
}

/// What is pinned of the parts of a list is compared part by part.
#[test]
fn e6_a_departure_lapses_with_a_part_of_a_list() {
    let of = |now: &str| {
        let text = format!(
            "lister l {{ bits: first {{ In: {now} }} }}
             departure from it {{ for: l  reason: \"r\"  agreed-by: \"o\"  as-found {{ bits: first {{ In: 32 A }} }} }}"
        );
        outcome("lister", "every b in bits: b.In <= 10 A", &text)
    };
    assert_eq!((of("32 A"), of("40 A")), (Outcome::Departed, Failed));
}

/// Whether all readings are written is asked of those who take them, of a new thing, too.
#[test]
fn b9_a_list_is_completed_by_those_who_write_it() {
    let yaml = format!(
        "{}\nrules:\n{}",
        kinds().replace(
            "      dyes: {is: some",
            "      notes: {is: reverse note.of, means: 'readings', open: yes}\n      dyes: {is: some",
        ),
        rule_with("it", "thing", "(count n in notes) >= 1", "")
    );
    let of = World::of(&[("lab", &yaml)], "lab").design("thing t { }");
    let survey = of.survey();
    let mut asked = survey.each().filter(|q| q.rest);
    let one = asked.next().map(|q| (q.asked.as_str(), q.settled_by));
    assert_eq!(one, Some(("all-listed: note", Settler::Test)));
    assert!(asked.next().is_none());
}

/// What is assumed to be of a thing's own kind is the thing itself, however many there are.
#[test]
fn b1_an_assumption_of_its_own_kind_is_the_thing_itself() {
    let yaml = format!(
        "{}\nassume:\n  thing.other: {{is: thing, source: 'of this test'}}\nrules:\n{}",
        kinds(),
        rule_with("it", "thing", "other is present and other.x == x", "")
    );
    let outcomes = |text: &str| {
        let judged = World::of(&[("lab", &yaml)], "lab").judge(text);
        let all = judged.report.findings.iter().filter(|f| f.rule == "it");
        all.map(|f| f.outcome).collect::<Vec<_>>()
    };
    assert_eq!(
        outcomes("thing t { x: 1 A }\nthing u { x: 2 A }"),
        [Met, Met]
    );
    assert_eq!(
        outcomes("thing t { x: 1 A }\nthing u { x: 2 A  other: t }"),
        [Failed, Met]
    );
}

/// Where the value of an unknown thing comes from is not known.
#[test]
fn b6_origins_of_an_unknown_thing_are_open() {
    let of = |hub: &str| {
        let text = format!("hub h {{ top: 2 ohm (measured) }}\nthing t {{ hub: {hub} }}");
        outcome("thing", "not (hub.top is measured)", &text)
    };
    assert_eq!(of("h"), Failed);
    assert_eq!(of("?"), Undecided);
}

/// Which of several a place of a list holds is one choice, however often the list is read.
#[test]
fn a4_a_place_of_a_list_is_chosen_once() {
    let text = "lister l { bits: (first { In: 6 A } | first { In: 32 A }), first { In: 6 A } }";
    let same = "(sum b in bits: b.In) <= (sum b in bits: b.In)";
    assert_eq!(outcome("lister", same, text), Met);
    assert_eq!(
        outcome("lister", "(sum b in bits: b.In) <= 20 A", text),
        Undecided
    );
}

/// Of a reference it can be asked whether it is written, as of any fact; `?` is written.
#[test]
fn b6_a_reference_is_written_or_not() {
    let of = |hub: &str| {
        outcome(
            "thing",
            "hub is written",
            &format!("hub h {{ }}\nthing t {{ {hub} }}"),
        )
    };
    assert_eq!(of("hub: h"), Met);
    assert_eq!(of("hub: ?"), Met);
    assert_eq!(of(""), Failed);
}

/// A look-up by a key that may be absent has no row for that.
#[test]
fn a9_a_key_that_may_be_absent_has_no_row() {
    let of = |hub: &str| {
        let text = format!("thing t {{ hub: {hub} }}");
        outcome("thing", "up[hand] >= 20 A", &text)
    };
    assert_eq!(of("none"), Undecided);
    assert_eq!(of("?"), Undecided);
}

/// A parameter is to each fact what its values are there: a word, a set of one word, a text, a date.
#[test]
fn b3_a_parameter_is_read_by_the_type_of_each_fact() {
    let of = |parameter: &str, facts: &str, require: &str| {
        outcome(
            "thing",
            require,
            &format!("parameter p: {parameter}\nthing t {{ {facts} }}"),
        )
    };
    let green = "green among dyes";
    assert_eq!(of("red", "dyes: p", green), Failed);
    assert_eq!(of("green", "dyes: p", green), Met);
    assert_eq!(of("red | green", "dyes: p", green), Undecided);
    assert_eq!(of("red | green", "dyes: p", "not blue among dyes"), Met);
    let day = "day <= 2026-05-05";
    assert_eq!(of("2026-06-01 | 2026-07-01", "day: p", day), Failed);
    assert_eq!(of("2026-06-01 | 2026-01-01", "day: p", day), Undecided);
    let both = "(colour == green and label == \"green\") or (colour == red and label == \"red\")";
    assert_eq!(of("red | green", "colour: p  label: p", both), Met);
    assert_eq!(of("red | blue", "colour: p  label: p", both), Undecided);
}
