//! C: tables, numbers, texts and dates.

use amperule::check::{Outcome, Reason};
use amperule::quantity::{Unit, days_from_civil, parse_quantity};

use super::world::{KINDS, World, lab_refused, load, named, refused, rule, rule_with, said};

fn table(between: &str, rows: &str) -> String {
    format!(
        "
tables:
  t: {{source: 'of this test', keys: {{x: {{is: A, between: {between}}}}}, gives: A, rows: {rows}}}
"
    )
}

/// A row inside the key's interval counts, not only those at its ends.
#[test]
fn c1_a_column_that_peaks_in_the_middle() {
    let rows = "[[10, 5], [20, 50], [30, 5]]";
    for between in ["linear", "next-larger"] {
        let w = World::lab(&table(between, rows), &[rule("it", "t[x] <= 10 A")]);
        assert_eq!(w.outcome("thing t { x: 10 A }"), Outcome::Met);
        assert_eq!(w.outcome("thing t { x: 30 A }"), Outcome::Met);
        let v = w.verdict("thing t { x: 10 A .. 30 A }", "it");
        assert_eq!(
            (v.outcome, v.reason),
            (Outcome::Undecided, Some(Reason::Open)),
            "{between}"
        );
        let w = World::lab(&table(between, rows), &[rule("it", "t[x] <= 50 A")]);
        assert_eq!(w.outcome("thing t { x: 10 A .. 30 A }"), Outcome::Met);
    }
}

/// What holds between rows: nothing, the next larger one, a straight line; beyond the ends: none.
#[test]
fn c1_between_and_beyond_rows() {
    let rows = "[[10, 100], [20, 200]]";
    let at = |between: &str, x: &str| {
        let w = World::lab(
            &format!(
                "{}derive:\n  thing.got: {{is: A, means: 'what is read', formula: 't[x]', source: 'of this test'}}\n",
                table(between, rows)
            ),
            &[rule("it", "got >= 0 A")],
        );
        let text = format!("thing t {{ x: {x} }}");
        match w.verdict(&text, "it").reason {
            None => Some(w.figure(&text, "t", "got")),
            Some(reason) => {
                assert_eq!(reason, Reason::NotComputable);
                None
            }
        }
    };
    assert_eq!(at("nothing", "10 A"), Some((100.0, 100.0)));
    assert_eq!(at("nothing", "15 A"), None);
    assert_eq!(at("next-larger", "15 A"), Some((200.0, 200.0)));
    assert_eq!(at("linear", "15 A"), Some((150.0, 150.0)));
    assert_eq!(at("next-larger", "21 A"), None);
    assert_eq!(at("linear", "9 A"), None);
}

/// Two keys of one `a | b` never combine across.
#[test]
fn c1_keys_of_one_alternative_stay_together() {
    let sections = "
tables:
  t:
    source: 'of this test'
    keys: {size: {is: mm², between: nothing}, In: {is: A, between: nothing}}
    gives: A
    rows: [[6, 32, 1], [10, 40, 1], [6, 40, 99], [10, 32, 99]]
";
    let w = World::lab(
        sections,
        &[rule(
            "it",
            "part is absent or t[part.size, part.In] <= 10 A",
        )],
    );
    let parts = |a: &str, b: &str| {
        format!(
            "thing t {{ part: first {{ size: 6 mm²  In: {a} }} | first {{ size: 10 mm²  In: {b} }} }}"
        )
    };
    assert_eq!(w.outcome(&parts("32 A", "40 A")), Outcome::Met);
    assert_eq!(w.outcome(&parts("40 A", "32 A")), Outcome::Failed);
}

/// A dash is "not permitted" or "not transcribed", and the two are not the same.
#[test]
fn c2_empty_cells() {
    let rows = "[[1, 10], [2, none], [3, '?']]";
    let w = World::lab(
        &table("nothing", rows),
        &[rule("it", "(t[x] else 0 A) >= 5 A")],
    );
    assert_eq!(w.outcome("thing t { x: 1 A }"), Outcome::Met);
    // Not permitted: the rule decides.
    assert_eq!(w.outcome("thing t { x: 2 A }"), Outcome::Failed);
    // Not transcribed: its author's, never asked of the site.
    let f = w.finding("thing t { x: 3 A }", "it");
    assert_eq!(
        (f.outcome, f.reason),
        (Outcome::Undecided, Some(Reason::Gap))
    );
    assert_eq!(named(&f), Vec::<String>::new());
}

/// A guard, too, makes a look-up that may be absent safe.
#[test]
fn c2_a_look_up_may_be_guarded() {
    let w = World::lab(
        &table("nothing", "[[1, 10], [2, none]]"),
        &[rule("it", "t[x] is present and t[x] >= 5 A")],
    );
    assert_eq!(w.outcome("thing t { x: 1 A }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { x: 2 A }"), Outcome::Failed);
    // The guard holds in a branch and behind `or not`, too.
    for require in [
        "if t[ x ] is present then t[x] >= 5 A else no",
        "not (t[x] is absent or t[x] < 5 A)",
    ] {
        let w = World::lab(
            &table("nothing", "[[1, 10], [2, none]]"),
            &[rule("it", require)],
        );
        assert_eq!(w.outcome("thing t { x: 1 A }"), Outcome::Met, "{require}");
        assert_eq!(
            w.outcome("thing t { x: 2 A }"),
            Outcome::Failed,
            "{require}"
        );
    }
}

/// A key without a row is none for which the table says that there is nothing.
#[test]
fn c2_a_key_without_a_row_is_neither_present_nor_absent() {
    for require in ["t[x] is present", "t[x] is absent"] {
        let w = World::lab(
            &table("nothing", "[[1, 10], [2, none]]"),
            &[rule("it", require)],
        );
        let reason = |x: &str| w.verdict(&format!("thing t {{ x: {x} }}"), "it").reason;
        assert_eq!((reason("1 A"), reason("2 A")), (None, None));
        assert_eq!(reason("9 A"), Some(Reason::NotComputable), "{require}");
        let open = w.verdict("thing t { x: 1 A | 9 A }", "it");
        assert_eq!(open.outcome, Outcome::Undecided, "{require}");
    }
}

/// It guards the look-up with the same keys, no other.
#[test]
fn c2_a_guard_is_for_its_own_keys() {
    for (require, help) in [
        ("t[x] is present and t[y] >= 5 A", "`t[y] is present and"),
        (
            "t[1 A] is present and t[2 A] >= 5 A",
            "`t[2 A] is present and",
        ),
        ("t[x] is absent and t[x] >= 5 A", "`t[x] is present and"),
        ("t[x] is present or t[x] >= 5 A", "`t[x] is present and"),
    ] {
        let problems = lab_refused(&format!(
            "{}rules:\n{}",
            table("nothing", "[[1, 10], [2, none]]"),
            rule("it", require)
        ));
        let said = said(&problems);
        assert!(said.contains("may be absent"), "{require}: {said}");
        assert!(said.contains(help), "{require}: {said}");
    }
}

/// Comparing what a `none` cell may give without a guard is refused at load.
#[test]
fn c2_a_cell_of_none_makes_the_look_up_optional() {
    let problems = lab_refused(&format!(
        "{}rules:\n{}",
        table("nothing", "[[1, 10], [2, none]]"),
        rule("it", "t[x] >= 5 A")
    ));
    assert!(said(&problems).contains("else"), "{}", said(&problems));
}

/// A point inside an interval gives a value inside the interval's.
#[test]
fn c3_rounding_never_loses_a_point() {
    let sections = "
derive:
  thing.f: {is: number, means: 'a figure', formula: 'ln(x / 1 A) * exp(y / 20 A) + sqrt(x / 3 A) - cos(y / 7 A)', source: 'of this test'}
";
    let w = World::lab(sections, &[rule("it", "f <= 1000")]);
    let (low, high) = w.figure("thing t { x: 2 A .. 9 A  y: 1 A .. 30 A }", "t", "f");
    for i in 0..=14 {
        for j in 0..=14 {
            let (x, y) = (2.0 + f64::from(i) * 0.5, 1.0 + f64::from(j) * 29.0 / 14.0);
            let at = w.figure(&format!("thing t {{ x: {x} A  y: {y} A }}"), "t", "f");
            assert!(
                low <= at.0 && at.1 <= high,
                "{x} {y}: {at:?} in {low} .. {high}"
            );
        }
    }
}

/// Of nought there is no logarithm: a set with nought in it does not leave that out in silence.
#[test]
fn a6_a_logarithm_of_nought_is_not_computable() {
    let w = World::one("ln(x / 1 A) <= 5");
    for x in ["0 A", "0 A .. 2 A", "0 A | 1 A"] {
        assert_eq!(
            w.outcome(&format!("thing t {{ x: {x} }}")),
            Outcome::Undecided,
            "{x}"
        );
    }
    assert_eq!(w.outcome("thing t { x: 0.001 A .. 2 A }"), Outcome::Met);
}

/// A design exactly at a limit is met, however its decimals add up; one part in 10⁸ over is not.
#[test]
fn c4_exactly_at_the_limit() {
    let w = World::one("x + y + z <= 80 A");
    // In binary fractions this sum is above 80.
    assert_eq!(
        w.outcome("thing t { x: 27.1 A  y: 37.2 A  z: 15.7 A }"),
        Outcome::Met
    );
    let w = World::one("x <= 32 A");
    assert_eq!(w.outcome("thing t { x: 32 A }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { x: 32000 mA }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { x: 32.00000032 A }"), Outcome::Failed);
    assert_eq!(w.outcome("thing t { x: 20 A .. 32 A }"), Outcome::Met);
    // Less means less by more than the slack.
    let w = World::one("x < 32 A");
    assert_eq!(w.outcome("thing t { x: 32 A }"), Outcome::Failed);
    let w = World::one("x == 32 A");
    assert_eq!(w.outcome("thing t { x: 32.000000001 A }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { x: 32.0000004 A }"), Outcome::Failed);
}

/// Products of two decimals that are the limit in decimals: all met, none left open.
#[test]
fn c4_products_at_the_limit() {
    let w = World::one("x * y / 1 A <= z");
    for a in 1..40_i32 {
        let (x, y) = (f64::from(a) * 0.7, f64::from(41 - a) * 0.3);
        // In hundredths the product is exact.
        let product = i64::from(a) * 7 * i64::from(41 - a) * 3;
        let z = format!("{}.{:02}", product / 100, product % 100);
        let text = format!("thing t {{ x: {x:.1} A  y: {y:.1} A  z: {z} A }}");
        assert_eq!(w.outcome(&text), Outcome::Met, "{text}");
    }
}

/// Digits times the unit's exact factor, rounded once: equal over all prefixes.
#[test]
fn c5_literals() {
    let read = |digits: &str, unit: &str| {
        parse_quantity(digits, &Unit::parse(unit).expect("a unit")).expect("a number")
    };
    for i in 1..2000_u32 {
        let ohm = format!("{}.{:02}", i / 100, i % 100);
        assert_eq!(read(&ohm, "ohm"), read(&(i * 10).to_string(), "mohm"));
        let thousandth = format!("{}.{:03}", i / 1000, i % 1000);
        assert_eq!(read(&i.to_string(), "ohm"), read(&thousandth, "kohm"));
        assert_eq!(
            read(&format!("{i}"), "%").to_bits(),
            read(&format!("{}.{:02}", i / 100, i % 100), "").to_bits()
        );
    }
    // `± 5 %` is relative, `± 2 A` absolute.
    let w = World::one("x >= 0 A");
    assert_eq!(
        w.figure("thing t { x: 20 A ± 5 % }", "t", "x"),
        (19.0, 21.0)
    );
    assert_eq!(
        w.figure("thing t { x: 20 A ± 2 A }", "t", "x"),
        (18.0, 22.0)
    );
}

/// A share of a temperature or of a percentage can be read in two ways; a difference is in K.
#[test]
fn c5_relative_tolerances_of_scales_and_shares_are_refused() {
    let w = World::one("warmth - 20 °C <= 10 K");
    for entry in ["warmth: 20 °C ± 5 %", "share: 3 % ± 5 %"] {
        let loaded = w.open(&format!("thing t {{ {entry} }}"), &[]);
        let codes: Vec<_> = loaded.problems.iter().map(|p| p.code).collect();
        assert_eq!(codes, ["relative-tolerance"], "{entry}");
    }
    assert_eq!(w.outcome("thing t { warmth: 30 °C }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { warmth: 31 °C }"), Outcome::Failed);
    assert_eq!(w.outcome("thing t { warmth: 25 °C ± 5 K }"), Outcome::Met);
}

/// 230·0.95/(5·32) is 1.365625 ohm, printed as 1.37: where the clause judges by the print, so
/// does the rule. Messages never say that 1.37 is more than 1.37.
#[test]
fn c6_printed_figures() {
    let limit = "round(U * 0.95 / (5 * 32 A), 0.01 ohm, nearest)";
    let rule = rule_with("it", "thing", &format!("r <= {limit}"), "")
        .replace("'{subject} breaks it'", "'{r} is more than {printed}'");
    let sections = format!(
        "
derive:
  thing.printed: {{is: ohm, means: 'the print', formula: '{limit}', source: 'of this test'}}
"
    );
    let w = World::lab(&sections, &[rule]);
    let at = |r: &str| format!("thing t {{ U: 230 V  r: {r} }}");
    assert_eq!(w.figure(&at("1 ohm"), "t", "printed"), (1.37, 1.37));
    assert_eq!(w.outcome(&at("1.37 ohm")), Outcome::Met);
    assert_eq!(w.outcome(&at("1.38 ohm")), Outcome::Failed);
    for (r, shown) in [
        ("1.38 ohm", "1.38 ohm is more than 1.37 ohm"),
        ("1.371 ohm", "1.371 ohm is more than 1.37 ohm"),
        ("1.3701 ohm", "1.3701 ohm is more than 1.37 ohm"),
    ] {
        assert_eq!(w.finding(&at(r), "it").message, shown);
    }
}

/// Equality, membership, presence; a text nobody wrote is unknown.
#[test]
fn c7_text() {
    let w = World::one("label == \"x\"");
    assert_eq!(w.outcome("thing t { label: \"x\" }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { label: \"y\" }"), Outcome::Failed);
    assert_eq!(w.outcome("thing t { }"), Outcome::Undecided);
    let w = World::one("label == \"x\" or label != \"x\"");
    assert_eq!(w.outcome("thing t { }"), Outcome::Met);
}

/// Day before, on, and after each boundary of two editions that overlap.
#[test]
fn c8_editions_by_date() {
    let yaml = KINDS.replace(
        "  - {id: '1', title: first}\n",
        "  - {id: A, title: 'edition A', usable-from: 2018-07-02, required-from: 2019-01-01, withdrawn-on: 2022-09-27}\n  \
         - {id: B, title: 'edition B', usable-from: 2022-03-28, required-from: 2022-09-27}\n",
    );
    let yaml = format!("{yaml}\nrules:\n{}", rule("it", "x <= 10 A"));
    let lab = |edition, on| load(&[("lab", &yaml)], "lab", edition, on);
    let on = |y: i32, m: u32, d: u32| {
        let day = days_from_civil(y, m, d).expect("a day");
        let loaded = lab(None, Some(day));
        match &loaded.ruleset {
            Some(r) => (r.edition.id.clone(), r.other_editions.join(",")),
            None => (loaded.problems[0].code.to_owned(), String::new()),
        }
    };
    let is = |id: &str, others: &str| (id.to_owned(), others.to_owned());
    assert_eq!(on(2018, 7, 1), is("no-usable-edition", ""));
    assert_eq!(on(2018, 7, 2), is("A", ""));
    assert_eq!(on(2022, 3, 27), is("A", ""));
    // Both are usable: the newest, and the head names the other.
    assert_eq!(on(2022, 3, 28), is("B", "A"));
    assert_eq!(on(2022, 9, 26), is("B", "A"));
    assert_eq!(on(2022, 9, 27), is("B", ""));
    assert_eq!(on(2030, 1, 1), is("B", ""));
    // One that is named needs no date.
    let named = lab(Some("A"), None);
    let named = named.ruleset.as_ref().expect("it loads");
    assert_eq!(named.edition.id, "A");
    let unknown = lab(Some("C"), None);
    assert_eq!(unknown.problems[0].code, "unknown-edition");
    // Without any date the newest, and the head says so.
    let silent = lab(None, None);
    let silent = silent.ruleset.as_ref().expect("it loads");
    assert_eq!(silent.edition.id, "B");
    assert!(
        silent
            .edition_note
            .as_deref()
            .is_some_and(|n| n.contains("no date"))
    );
}

/// A message names what a reference leads to, and the words of a set: never an index.
#[test]
fn a_message_says_names_and_words_of_a_set() {
    let said = rule("it", "x <= 10 A").replace(
        "{subject} breaks it",
        "{subject} beside {other} in {other.hub} is {dyes}",
    );
    let w = World::lab("", &[said]);
    let says = |other: &str, dyes: &str| {
        let text = format!(
            "hub h {{ }}\nthing t {{ x: 20 A  other: {other}  dyes: {dyes} }}\nthing u {{ x: 1 A  hub: h }}\nthing v {{ x: 1 A  hub: ? }}\n"
        );
        let judged = w.judge(&text);
        let all = judged.report.findings.into_iter();
        let mut failed = all.filter(|f| f.outcome == Outcome::Failed);
        failed.next().map(|f| f.message).expect("one fails")
    };
    assert_eq!(says("u", "red, blue"), "t beside u in h is red, blue");
    assert_eq!(
        says("v", "green"),
        "t beside v in what is not known is green"
    );
    assert_eq!(
        says("u | v", "red"),
        "t beside u or v in what is not known is red"
    );
}

/// A date in a message is a date; of several nobody knows which.
#[test]
fn a_message_says_dates() {
    let said = rule("it", "x <= 10 A").replace("{subject} breaks it", "seen on {day}");
    let w = World::lab("", &[said]);
    let says = |day: &str| {
        w.finding(&format!("thing t {{ x: 20 A  day: {day} }}"), "it")
            .message
    };
    assert_eq!(says("2026-03-01"), "seen on 2026-03-01");
    assert_eq!(says("2026-03-01 | 2026-03-02"), "seen on ?");
}

/// What readings should come out as, and what others are told: mistakes are named with what to write.
#[test]
fn expected_readings_and_what_is_told_are_checked() {
    let told = |sections: &str| said(&lab_refused(sections));
    for (sections, message) in [
        (
            "tell:\n  - {to: nobody, is: thing.x}\n",
            "nobody is called `nobody` here",
        ),
        (
            "mend:\n  - {is: thing.z, cost: 3, only: sideways}\n",
            "is no way to change `thing.z`",
        ),
        (
            "tell:\n  - {to: network, is: thing.w}\n",
            "`thing` has no fact `w`",
        ),
        ("tell:\n  - {to: network}\n", "needs `is`"),
        (
            "expect:\n  - {reads: thing.x, is: thing.y}\n",
            "a `thing` is not named after what was read",
        ),
        (
            "expect:\n  - {reads: thing.w, is: thing.y}\n",
            "`thing` has no fact `w`",
        ),
    ] {
        let problems = told(sections);
        assert!(problems.contains(message), "{sections}{problems}");
    }
    for (expect, message) in [
        ("{reads: note.read, is: thing.U}", "is read in another unit"),
        (
            "{reads: note.read, is: thing.x, always: often}",
            "`often` is neither yes nor no",
        ),
        (
            "{reads: note.read, is: thing.x, up-to: w}",
            "`thing` has no fact `w`",
        ),
        ("{reads: note.of, is: thing.x}", "is read in another unit"),
    ] {
        let problems = told(&format!("expect:\n  - {expect}\n"));
        assert!(problems.contains(message), "{expect}: {problems}");
    }
}

/// A temperature is no number to calculate with: its difference to another is, in K.
#[test]
fn a6_a_temperature_and_a_difference_are_two_things() {
    for mixed in [
        "warmth - 20 °C <= 5 °C",
        "warmth <= 4 * 20 °C",
        "warmth / 2 <= 20 °C",
        "warmth <= 30 K",
        "warmth + 20 °C <= 90 °C",
        "20 K - warmth <= 90 °C",
        "-warmth <= 90 °C",
        "max(warmth, 30 K) <= 90 °C",
        "(if a then warmth else 30 K) <= 90 °C",
    ] {
        let yaml = format!("{KINDS}\nrules:\n{}", rule("it", mixed));
        let problems = refused(&[("lab", &yaml)], "lab", None);
        assert!(
            problems.iter().any(|p| p.code == "bad-expression"),
            "{mixed}: {}",
            said(&problems)
        );
    }
    for (require, met) in [
        ("warmth - 20 °C <= 80 K", true),
        ("warmth - 20 °C <= 60 K", false),
        ("warmth >= -10 °C", true),
        ("warmth <= -10 °C", false),
        ("warmth + 10 K <= 100 °C", true),
        ("10 K + warmth <= 99 °C", false),
        ("(warmth - 20 °C) / 10 K == 7", true),
        ("min(warmth, 70 °C) == 70 °C", true),
    ] {
        let outcome = World::one(require).outcome("thing t { warmth: 90 °C }");
        assert_eq!(outcome == Outcome::Met, met, "{require}: {outcome:?}");
    }
}

/// The difference of two temperatures is told in K.
#[test]
fn a6_a_difference_is_shown_as_one() {
    let message = "    message: '{subject} is {warmth - 20 °C} too warm at {warmth}'";
    let rule = rule("it", "warmth <= 20 °C").replace("    message: '{subject} breaks it'", message);
    let f = World::rules(&[rule]).finding("thing t { warmth: 90 °C }", "it");
    assert_eq!(f.message, "t is 70 K too warm at 90 °C");
}

/// A share in % is held against a share: 3 is 300 %.
#[test]
fn a6_a_share_is_not_compared_with_a_bare_number() {
    let limit = |is: &str| {
        format!(
            "{KINDS}\nlimits:\n  top: {{is: {is}, means: 'a share', source: 'of this test'}}\nrules:\n{}",
            rule("it", "share <= limits.top")
        )
    };
    for yaml in [
        limit("3"),
        format!("{KINDS}\nrules:\n{}", rule("it", "share <= 3")),
        format!("{KINDS}\nrules:\n{}", rule("it", "3 >= share")),
    ] {
        let told = said(&refused(&[("lab", &yaml)], "lab", None));
        assert!(told.contains("3 is 300 %: write the unit"), "{told}");
    }
    let w = World::of(&[("lab", &limit("'3 %'"))], "lab");
    assert_eq!(w.outcome("thing t { share: 90 % }"), Outcome::Failed);
    assert_eq!(
        World::one("share > 0").outcome("thing t { share: 2 % }"),
        Outcome::Met
    );
}

/// What takes a rule out of play is no cure of its breach.
#[test]
fn g7_a_bound_is_no_cure_where_the_rule_no_longer_applies() {
    let guarded = rule_with("it", "thing", "x <= 3 A", "    where: 'y <= 5 A'\n");
    let of = World::rules(&[guarded]).design("thing t { x: 9 A  y: 4 A }");
    let all = of.bounds(&of.bounded_facts(&[]));
    let cures = |fact: &str| {
        let mut bounds = all.bounds.iter();
        bounds.find(|b| b.fact == fact).map_or(0, |b| b.cures.len())
    };
    assert_eq!((cures("x"), cures("y")), (1, 0));
}

/// A figure that cannot be worked out is told as that, not as any.
#[test]
fn g1_a_message_does_not_call_an_unknown_value_any() {
    let message = "    message: '{subject} takes {y} of {x / y * 1 A}'";
    let rule = rule("it", "x / y * 1 A >= 1 A and y > 9 A")
        .replace("    message: '{subject} breaks it'", message);
    let f = World::rules(&[rule]).finding("thing t { x: 2 A  y: 0 A .. 5 A }", "it");
    assert_eq!(f.message, "t takes 0 .. 5 A of what is not known");
}
