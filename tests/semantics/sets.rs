//! A: sets of possible values, and what is joint about them.

use amperule::check::{Outcome, Reason};

use super::world::{MET, World, finding, named, rule, rule_with, verdict_of};

/// Natural evaluation of `x - x` for `x: ?` is everything; one fact is one leaf.
#[test]
fn a1_the_same_unknown_twice() {
    let w = World::one("x - x <= 1 A");
    assert_eq!(w.outcome("thing t { x: ? }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { x: 3 A .. 90 A }"), Outcome::Met);
    // Two facts are two leaves.
    let w = World::one("x - y <= 1 A");
    assert_eq!(
        w.outcome("thing t { x: 0 A .. 9 A  y: 0 A .. 9 A }"),
        Outcome::Undecided
    );
}

/// U·R/(R + U/I): 94.4 V to 169.2 V over R 5 to 20 ohm; naturally 42 V to 377 V.
#[test]
fn a1_a_sure_breach_is_not_lost_to_a_leaf_that_occurs_twice() {
    let formula = "U * r / (r + U / x)";
    let design = "thing t { U: 230 V  r: 5 ohm .. 20 ohm  x: 32 A }";
    let decided = |limit: &str| World::one(&format!("{formula} <= {limit}")).verdict(design, "it");
    assert_eq!(decided("70 V").outcome, Outcome::Failed);
    assert_eq!(decided("94.3 V").outcome, Outcome::Failed);
    assert_eq!(decided("169.3 V").outcome, Outcome::Met);
    let between = decided("120 V");
    assert_eq!(
        (between.outcome, between.reason),
        (Outcome::Undecided, Some(Reason::Open))
    );
}

/// Three lines of 0 to 32 A each: at most 32 A in the neutral, naturally 42 A.
#[test]
fn a1_the_neutral_of_three_lines() {
    let design = "thing t { x: 0 A .. 32 A  y: 0 A .. 32 A  z: 0 A .. 32 A }";
    let at_most =
        |limit: &str| World::one(&format!("neutral-current(x, y, z) <= {limit}")).outcome(design);
    assert_eq!(at_most("32.1 A"), Outcome::Met);
    assert_eq!(at_most("31.9 A"), Outcome::Undecided);
}

/// Both witnesses, put in as the written values, give the verdict they stand for.
#[test]
fn a2_open_has_two_witnesses_that_replay() {
    let w = World::rules(&[rule("it", "x + 2 * y <= 30 A and (a or size >= 4 mm²)")]);
    let f = w.finding("thing t { x: 5 A .. 20 A  y: ?  a: ?  size: ? }", "it");
    assert_eq!(
        (f.outcome, f.reason),
        (Outcome::Undecided, Some(Reason::Open))
    );
    let (passes, breaks) = f.witnesses.expect("open shows two witnesses");
    for (witness, outcome) in [(passes, Outcome::Met), (breaks, Outcome::Failed)] {
        let facts: Vec<String> = witness
            .iter()
            .map(|v| {
                let (fact, of) = v.fact.split_once(" of ").expect("a fact of an object");
                assert_eq!(of, "t");
                format!("{fact}: {}", v.value)
            })
            .collect();
        let design = format!("thing t {{ {} }}", facts.join("  "));
        assert_eq!(w.outcome(&design), outcome, "{design}");
    }
}

/// Only two witnesses make it open: an empty table row, or a gap, does not.
#[test]
fn a2_other_reasons_are_told_apart() {
    let sections = "
tables:
  t: {source: 'of this test', keys: {x: {is: A, between: nothing}}, gives: A, rows: [[1, 10], [2, '?']]}
";
    let w = World::lab(sections, &[rule("it", "t[x] >= 5 A")]);
    let reason = |x: &str| w.verdict(&format!("thing t {{ x: {x} }}"), "it").reason;
    assert_eq!(w.outcome("thing t { x: 1 A }"), Outcome::Met);
    assert_eq!(reason("2 A"), Some(Reason::Gap));
    assert_eq!(reason("3 A"), Some(Reason::NotComputable));
    // For some choices not computable, for no choice a breach: not open.
    assert_eq!(reason("1 A | 3 A"), Some(Reason::NotComputable));
    let f = w.finding("thing t { x: 1 A | 3 A }", "it");
    assert_eq!(f.witnesses, None);
}

/// A rule that no leaf can break any more names nothing.
#[test]
fn a3_what_cannot_matter_is_not_named() {
    let w = World::rules(&[rule("it", "a or b")]);
    let f = w.finding("thing t { a: yes  b: ? }", "it");
    assert_eq!((f.outcome, named(&f)), (Outcome::Met, Vec::new()));
    let f = w.finding("thing t { a: no  b: ? }", "it");
    assert_eq!(named(&f), ["b of t"]);
}

/// `± 5 %` beside the `?` that decides is not named; a range that can help is.
#[test]
fn a3_the_leaf_that_decides_is_named_not_all_that_are_sets() {
    let w = World::rules(&[rule("it", "x + y <= 40 A")]);
    let f = w.finding("thing t { x: 20 A ± 5 %  y: ? }", "it");
    assert_eq!(named(&f), ["y of t"]);
    // A value of either decides: `?` comes before a range.
    let f = w.finding("thing t { x: 2 A .. 38 A  y: ? }", "it");
    assert_eq!(named(&f).first().map(String::as_str), Some("y of t"));
}

/// None alone: the smallest pair.
#[test]
fn a3_a_pair_is_named_where_none_decides_alone() {
    let w = World::rules(&[rule("it", "(a and b) or (not a and not b)")]);
    let f = w.finding("thing t { a: ?  b: ?  c: ? }", "it");
    assert_eq!(named(&f), ["a of t", "b of t"]);
}

/// The hull of each attribute would invent parts that nobody wrote.
#[test]
fn a4_alternatives_of_parts_stay_whole() {
    let w = World::one("not (part is present and part.size == 6 mm²) or part.In == 32 A");
    let parts = "first { size: 6 mm²  In: 32 A } | second { size: 10 mm²  In: 40 A }";
    assert_eq!(
        w.outcome(&format!("thing t {{ part: {parts} }}")),
        Outcome::Met
    );
    let crossed = "first { size: 6 mm²  In: 40 A } | second { size: 10 mm²  In: 32 A }";
    let v = w.verdict(&format!("thing t {{ part: {crossed} }}"), "it");
    assert_eq!(
        (v.outcome, v.reason),
        (Outcome::Undecided, Some(Reason::Open))
    );
}

/// A word is surely in a set that surely holds it, and surely not in one that surely does not.
#[test]
fn a4_a_word_of_a_set_that_is_written() {
    let w = World::one("colour among dyes");
    let of = |colour: &str, dyes: &str| {
        w.outcome(&format!("thing t {{ colour: {colour}  dyes: {dyes} }}"))
    };
    assert_eq!(of("blue", "red, blue"), Outcome::Met);
    assert_eq!(of("blue", "red, green"), Outcome::Failed);
    assert_eq!(of("blue | red", "green"), Outcome::Failed);
    assert_eq!(of("blue | red", "red"), Outcome::Undecided);
    assert_eq!(of("blue", "?"), Outcome::Undecided);
}

/// Under its own guard a leaf is narrowed.
#[test]
fn a5_guard_and_body_share_a_leaf() {
    let w = World::rules(&[rule_with(
        "it",
        "thing",
        "x > 5 A",
        "    where: 'x > 5 A'\n",
    )]);
    // Narrowed to nothing: the guard cannot hold.
    assert_eq!(
        w.outcome("thing t { x: 2 A .. 4 A }"),
        Outcome::NotApplicable
    );
    let w = World::rules(&[rule_with(
        "it",
        "thing",
        "x >= 5 A",
        "    where: 'x >= 5 A'\n",
    )]);
    assert_eq!(w.outcome("thing t { x: ? }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { x: 2 A .. 9 A }"), Outcome::Met);
    let w = World::one("x <= 5 A or x > 5 A");
    assert_eq!(w.outcome("thing t { x: ? }"), Outcome::Met);
    let w = World::one("if colour among {red, green} then colour != blue else colour == blue");
    assert_eq!(w.outcome("thing t { colour: ? }"), Outcome::Met);
}

/// The same with a strict comparison alone: nothing else offers the cut.
#[test]
fn a5_guard_and_body_share_a_leaf_strictly() {
    let w = World::rules(&[rule_with(
        "it",
        "thing",
        "x > 5 A",
        "    where: 'x > 5 A'\n",
    )]);
    assert_eq!(w.outcome("thing t { x: ? }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { x: 2 A .. 9 A }"), Outcome::Met);
}

/// An undecided condition with both branches true is true.
#[test]
fn a6_three_valued_if() {
    let w = World::one("if c then a else b");
    let outcome = |a: &str, b: &str| w.outcome(&format!("thing t {{ c: ?  a: {a}  b: {b} }}"));
    assert_eq!(outcome("yes", "yes"), Outcome::Met);
    assert_eq!(outcome("no", "no"), Outcome::Failed);
    assert_eq!(outcome("yes", "no"), Outcome::Undecided);
    // The same written out, which plain three-valued logic leaves open.
    let w = World::one("(c and a) or (not c and b)");
    assert_eq!(w.outcome("thing t { c: ?  a: yes  b: yes }"), Outcome::Met);
    // Numbers, too: the union of the branches.
    let w = World::one("(if c then x else y) <= 10 A");
    assert_eq!(w.outcome("thing t { c: ?  x: 9 A  y: 10 A }"), Outcome::Met);
    assert_eq!(
        w.outcome("thing t { c: ?  x: 9 A  y: 11 A }"),
        Outcome::Undecided
    );
}

/// Whole numbers and sizes are finite sets, never intervals.
#[test]
fn a7_finite_sets_of_quantities() {
    let w = World::one("cores != 2.5");
    assert_eq!(w.outcome("thing t { cores: 2 .. 5 }"), Outcome::Met);
    let w = World::one("cores == 2 or cores == 3 or cores == 4 or cores == 5");
    assert_eq!(w.outcome("thing t { cores: 2 .. 5 }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { cores: 2 .. 6 }"), Outcome::Undecided);
    // A range of a series means its members inside; `?` is the whole series.
    let w = World::one("size == 4 mm² or size == 6 mm²");
    assert_eq!(w.outcome("thing t { size: 3 mm² .. 7 mm² }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { size: 4 mm² | 6 mm² }"), Outcome::Met);
    assert_eq!(
        w.outcome("thing t { size: 6 mm² | 10 mm² }"),
        Outcome::Undecided
    );
    let w = World::one("size >= 1 mm² and size <= 16 mm²");
    assert_eq!(w.outcome("thing t { size: ? }"), Outcome::Met);
    // A choice of intervals.
    let w = World::one("x <= 10 A or x >= 20 A");
    assert_eq!(w.outcome("thing t { x: 5 A .. 10 A | 20 A }"), Outcome::Met);
}

/// `?` is the hard domain, not the plausible range; outside the plausible one is a caution only.
#[test]
fn a8_domain_is_hard_and_plausible_is_soft() {
    // 200 A is not plausible, and still possible.
    let w = World::one("x <= 150 A");
    assert_eq!(w.outcome("thing t { x: ? }"), Outcome::Undecided);
    let w = World::one("x >= 0 A");
    assert_eq!(w.outcome("thing t { x: ? }"), Outcome::Met);
    let problems = &w.open("thing t { x: 200 A }", &[]).problems;
    assert_eq!(problems.len(), 1, "{problems:#?}");
    assert!(!problems[0].is_error());
    let problems = &w.open("thing t { x: -1 A }", &[]).problems;
    assert!(problems.iter().any(|p| p.is_error()), "{problems:#?}");
    // An exact fact refuses a tolerance, which would spread into every limit.
    let problems = &w.open("thing t { U: 230 V ± 10 % }", &[]).problems;
    assert_eq!(problems[0].code, "exact-only");
}

/// With Ze unknown, Zs reaches from R1 + R2 upward without an end.
#[test]
fn a8_an_unknown_addend_leaves_a_half_open_sum() {
    let sections = "
derive:
  thing.total: {is: ohm, means: 'sum', formula: 'r + 0.5 ohm', source: 'of this test'}
";
    let w = World::lab(sections, &[rule("it", "total >= 0.5 ohm")]);
    let (low, high) = w.figure("thing t { r: ? }", "t", "total");
    assert!(
        (low - 0.5).abs() < 1e-12 && high == f64::INFINITY,
        "{low} .. {high}"
    );
    assert_eq!(w.outcome("thing t { r: ? }"), Outcome::Met);
}

/// A divisor that may be nothing gives everything; one that is nothing gives nothing to compute.
#[test]
fn a9_partial_operations() {
    let w = World::one("U / r <= 1000 A");
    let v = |r: &str| w.verdict(&format!("thing t {{ U: 230 V  r: {r} }}"), "it");
    assert_eq!(v("0 ohm .. 1 ohm").outcome, Outcome::Undecided);
    let zero = v("0 ohm");
    assert_eq!(
        (zero.outcome, zero.reason),
        (Outcome::Undecided, Some(Reason::NotComputable))
    );
    assert_eq!(v("1 ohm").outcome, Outcome::Met);
    // Nothing times anything is nothing, however large.
    let w = World::one("0 * x <= 1 A");
    assert_eq!(w.outcome("thing t { x: ? }"), Outcome::Met);
    // What cannot be computed spoils no disjunction that holds without it.
    let w = World::one("U / r <= 1 A or a");
    assert_eq!(
        w.outcome("thing t { U: 230 V  r: 0 ohm  a: yes }"),
        Outcome::Met
    );
}

/// `define` copies: its unknowns are fresh at each use. A parameter is one unknown for all.
#[test]
fn a10_a_define_copies_and_a_parameter_is_shared() {
    let w = World::one(
        "not (part is present and other is present and other.part is present) or part.In == other.part.In",
    );
    let things = |part: &str| {
        format!("thing p {{ part: {part}  other: none }}\nthing q {{ part: {part}  other: p }}\n")
    };
    let of_q = |text: &str| {
        let judged = w.judge(text);
        judged
            .report
            .findings
            .iter()
            .find(|f| f.subject.label == "q")
            .map(|f| f.outcome)
    };
    let defined = format!(
        "define house as first {{ In: 32 A | 40 A }}\n{}",
        things("house")
    );
    assert_eq!(of_q(&defined), Some(Outcome::Undecided));
    let parameter = format!(
        "parameter rating: 32 A | 40 A\n{}",
        things("first { In: rating }")
    );
    assert_eq!(of_q(&parameter), Some(Outcome::Met));
}

/// A wrong unit is no unknown: what needs it is not judged, nothing else changes.
#[test]
fn a11_a_broken_fact_poisons_only_what_needs_it() {
    let w = World::rules(&[
        rule("x-small", "x <= 10 A"),
        rule("y-small", "y <= 10 A"),
        rule("either", "x <= 10 A or y <= 10 A"),
    ]);
    let judge = |text: &str| {
        let checked = w.check(text);
        let judged = checked.judged.expect("there is something to judge");
        (judged, checked.problems)
    };
    let (judged, problems) = judge("thing t { x: 3 ohm  y: 4 A }");
    assert!(problems.iter().any(|p| p.is_error()));
    assert_eq!(finding(&judged, "x-small").outcome, Outcome::NotJudged);
    assert_eq!(finding(&judged, "y-small").outcome, Outcome::Met);
    // Decided without it.
    assert_eq!(finding(&judged, "either").outcome, Outcome::Met);
    let (judged, _) = judge("thing t { x: 3 ohm  y: 40 A }");
    assert_eq!(finding(&judged, "either").outcome, Outcome::NotJudged);
    // It is not asked of the site.
    assert!(finding(&judged, "either").missing.is_empty());
    // Another thing is judged as if the broken one were not there.
    let (judged, _) = judge("thing t { x: 3 ohm  y: 4 A }\nthing u { x: 11 A  y: ? }");
    let of_u: Vec<(String, Outcome)> = judged
        .report
        .findings
        .iter()
        .filter(|f| f.subject.label == "u")
        .map(|f| (f.rule.clone(), f.outcome))
        .collect();
    let (alone, _) = judge("thing u { x: 11 A  y: ? }");
    let wanted: Vec<(String, Outcome)> = alone
        .report
        .findings
        .iter()
        .map(|f| (f.rule.clone(), f.outcome))
        .collect();
    assert_eq!(of_u, wanted);
}

/// A value of a parameter lies inside what was declared, carries a unit, and narrows the leaf.
#[test]
fn a12_parameters() {
    let w = World::one("not (part is present) or part.length <= 30 m");
    let text = "parameter run: 5 m .. 40 m\nthing t { part: first { length: run } }";
    let set = |value: &str| {
        let loaded = w.open(text, &[("run", value)]);
        let of = loaded.sound()?;
        Some(verdict_of(&of.check(MET), "it").outcome)
    };
    assert_eq!(set("60 m"), None);
    assert_eq!(set("12"), None);
    assert_eq!(set("12 ohm"), None);
    assert_eq!(set("12 m"), Some(Outcome::Met));
    assert_eq!(set("35 m"), Some(Outcome::Failed));
    assert_eq!(set("5 m .. 8 m"), Some(Outcome::Met));
    assert_eq!(set("25 m .. 35 m"), Some(Outcome::Undecided));
}

/// Every assignment of a small discrete design, judged as points, against the verdict of the
/// sets: open is exactly both kinds, met and failed contradict none.
#[test]
fn a13_points_agree_with_the_verdict_of_the_sets() {
    let sets = [
        ("a", vec!["yes", "no"]),
        ("b", vec!["yes", "no"]),
        ("colour", vec!["red", "green"]),
        ("size", vec!["4 mm²", "6 mm²", "10 mm²"]),
        ("x", vec!["6 A", "32 A"]),
    ];
    let requires = [
        "a or b or x <= 6 A",
        "(a and x <= 6 A) or (not a and size >= 6 mm²)",
        "if colour == red then size >= 4 mm² else x <= 40 A",
        "if a then b else colour == red",
        "x * 2 <= 12 A or size > 10 mm² and a",
        "a == b",
        "size > 16 mm² or x > 32 A",
    ];
    for require in requires {
        let w = World::one(require);
        let mut seen = Vec::new();
        let total: usize = sets.iter().map(|(_, v)| v.len()).product();
        for mut k in 0..total {
            let facts: Vec<String> = sets
                .iter()
                .map(|(name, values)| {
                    let value = values[k % values.len()];
                    k /= values.len();
                    format!("{name}: {value}")
                })
                .collect();
            let o = w.outcome(&format!("thing t {{ {} }}", facts.join("  ")));
            assert!(
                matches!(o, Outcome::Met | Outcome::Failed),
                "{require}: {o:?}"
            );
            if !seen.contains(&o) {
                seen.push(o);
            }
        }
        let facts: Vec<String> = sets
            .iter()
            .map(|(name, values)| {
                if values.contains(&"no") {
                    format!("{name}: ?")
                } else {
                    format!("{name}: {}", values.join(" | "))
                }
            })
            .collect();
        let joint = w.verdict(&format!("thing t {{ {} }}", facts.join("  ")), "it");
        match seen.as_slice() {
            [one] => assert_eq!(joint.outcome, *one, "{require}"),
            _ => assert_eq!(
                (joint.outcome, joint.reason),
                (Outcome::Undecided, Some(Reason::Open)),
                "{require}"
            ),
        }
    }
}

/// What a calculation of parameters comes to must be what its fact may be, for each value of theirs.
#[test]
fn a_calculation_stays_within_its_domain() {
    let w = World::one("x >= 0 A");
    let wrong = |value: &str| {
        let text = format!("parameter run: 5 A .. 40 A\nthing t {{ x: {value} }}");
        let all = w.open(&text, &[]).problems.clone();
        all.iter().map(|p| p.code).collect::<Vec<_>>()
    };
    assert_eq!(wrong("run - 10 A"), ["outside-domain"]);
    assert_eq!(wrong("run - 5 A"), [""; 0]);
    // Both times it is the same value: 5 A .. 40 A, not -30 A .. 75 A.
    assert_eq!(wrong("2 * run - run"), [""; 0]);
}
