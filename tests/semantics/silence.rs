//! B: what silence means, what exists, and which way the tree of feeds may be followed.

use amperule::check::{Outcome, Reason};
use amperule::ruleset::{Severity, Stage};

use super::world::{KINDS, World, clean, finding, lab_refused, named, rule, rule_with, said};

/// `?` beats an assumption, `none` is known absent, unwritten takes the assumption and says so.
#[test]
fn b1_four_silences() {
    let sections = "
assume:
  thing.x: {is: 5 A, clause: 'Book 1', source: 'of this test'}
";
    let w = World::lab(
        sections,
        &[
            rule("it", "x <= 10 A"),
            rule("absent", "optional-y is absent"),
        ],
    );
    let judged = w.judge("thing t { }");
    let f = finding(&judged, "it");
    assert_eq!((f.outcome, f.assumed), (Outcome::Met, true));
    assert_eq!(
        judged.report.assumed,
        ["x of each thing where it is not written: 5 A (Book 1)"]
    );
    let judged = w.judge("thing t { x: ? }");
    assert_eq!(finding(&judged, "it").outcome, Outcome::Undecided);
    assert_eq!(judged.report.assumed, Vec::<String>::new());
    let written = w.judge("thing t { x: 5 A }");
    assert!(!finding(&written, "it").assumed);
    // Known absent is an answer, not written and `?` are none.
    let absent = |y: &str| w.verdict(&format!("thing t {{ {y} }}"), "absent").outcome;
    assert_eq!(absent("optional-y: none"), Outcome::Met);
    assert_eq!(absent("optional-y: 3 A"), Outcome::Failed);
    assert_eq!(absent("optional-y: ?"), Outcome::Undecided);
    assert_eq!(absent(""), Outcome::Undecided);
}

#[test]
fn b1_nobody_may_assume_what_is_marked_so() {
    let problems = lab_refused(
        "  earth:
    means: an earth
    facts:
      R: {is: ohm, means: 'a resistance', by: site, never-assumed: yes}
assume:
  earth.R: {is: 1 ohm, source: 'of this test'}",
    );
    assert!(said(&problems).contains("nobody may assume `earth.R`"));
    assert_eq!(problems[0].labels.len(), 2, "both places are shown");
}

/// A table of truth for each operator: the members written, and whether all are written.
#[test]
fn b2_open_and_closed_collections() {
    use Outcome::{Failed, Met, Undecided};
    let met = "thing p { hub: h  x: 5 A }";
    let breaks = "thing p { hub: h  x: 50 A }";
    let open = "thing p { hub: h  x: ? }";
    let nothing = "";
    // require, members: existing hub open, the same closed.
    let table: [(&str, &str, Outcome, Outcome); 20] = [
        ("every t in things: t.x <= 10 A", met, Undecided, Met),
        ("every t in things: t.x <= 10 A", breaks, Failed, Failed),
        ("every t in things: t.x <= 10 A", open, Undecided, Undecided),
        ("every t in things: t.x <= 10 A", nothing, Undecided, Met),
        ("any t in things: t.x <= 10 A", met, Met, Met),
        ("any t in things: t.x <= 10 A", breaks, Undecided, Failed),
        ("any t in things: t.x <= 10 A", open, Undecided, Undecided),
        ("any t in things: t.x <= 10 A", nothing, Undecided, Failed),
        ("(sum t in things: t.x) <= 10 A", met, Undecided, Met),
        ("(sum t in things: t.x) <= 10 A", breaks, Failed, Failed),
        ("(sum t in things: t.x) <= 10 A", nothing, Undecided, Met),
        ("(sum t in things: t.x) >= 5 A", met, Met, Met),
        ("(count t in things where t.x >= 0 A) >= 1", met, Met, Met),
        (
            "(count t in things where t.x >= 0 A) <= 1",
            met,
            Undecided,
            Met,
        ),
        (
            "(count t in things where t.x >= 0 A) >= 1",
            nothing,
            Undecided,
            Failed,
        ),
        (
            "((max t in things: t.x) else 0 A) <= 10 A",
            met,
            Undecided,
            Met,
        ),
        (
            "((max t in things: t.x) else 0 A) <= 10 A",
            breaks,
            Failed,
            Failed,
        ),
        (
            "((max t in things: t.x) else 0 A) <= 10 A",
            nothing,
            Undecided,
            Met,
        ),
        ("((min t in things: t.x) else 0 A) <= 10 A", met, Met, Met),
        (
            "((min t in things: t.x) else 0 A) <= 10 A",
            breaks,
            Undecided,
            Failed,
        ),
    ];
    for (require, members, when_open, when_closed) in table {
        let w = World::rules(&[rule_with("it", "hub", require, "")]);
        let of = |closed: &str| {
            w.outcome(&format!(
                "hub h {{ status: existing  {closed} }}\n{members}"
            ))
        };
        assert_eq!(of(""), when_open, "{require} over `{members}`, open");
        let closed = of("all-listed: thing");
        assert_eq!(closed, when_closed, "{require} over `{members}`, closed");
        // Closing flips no verdict that was decided.
        if when_open != Undecided {
            assert_eq!(when_open, closed);
        }
        // What the designer adds is written in full.
        let new = w.outcome(&format!("hub h {{ status: new }}\n{members}"));
        assert_eq!(new, when_closed, "{require} over `{members}`, new");
    }
}

/// A kind that must exist and is not written is judged with all facts unknown.
#[test]
fn b3_a_phantom_is_judged_where_one_must_exist() {
    let sections = "  supply:
    means: a supply
    at-least: 1
    facts:
      Ze: {is: ohm, means: 'an impedance', by: network}
";
    let w = World::lab(sections, &[rule_with("it", "supply", "Ze <= 1 ohm", "")]);
    let judged = w.judge("thing t { }");
    let f = finding(&judged, "it");
    assert_eq!(f.outcome, Outcome::Undecided);
    assert_eq!(named(f), ["Ze of supply"]);
    assert_eq!(f.missing[0].settled_by, "network");
    // Answering what it asks leaves nothing undecided.
    assert_eq!(w.outcome("supply { Ze: 0.3 ohm }"), Outcome::Met);
    // Closed and empty: no subject, nothing to say.
    let judged = w.judge("thing t { }\nno supply\n");
    assert!(judged.report.findings.iter().all(|f| f.rule != "it"));
}

/// Three lines of the shipped ruleset are a complete survey: nothing is met by silence.
#[test]
fn b3_an_empty_supply_asks_about_board_circuit_and_point() {
    let w = World::of(&[], "gb");
    let judged = w.judge("supply { }\n");
    let asked: Vec<&str> = judged
        .report
        .findings
        .iter()
        .filter(|f| f.outcome == Outcome::Undecided)
        .map(|f| f.subject.label.as_str())
        .collect();
    for subject in ["supply", "board", "circuit", "charge-point"] {
        assert!(
            asked.contains(&subject),
            "{subject} is asked about: {asked:?}"
        );
    }
    assert!(!clean(&judged));
    assert_eq!(judged.report.counts.of(Outcome::Failed), 0);
}

/// Reading through what may be absent needs a guard, and the message says how to write one.
#[test]
fn b4_paths_through_the_absent() {
    let problems = lab_refused(&format!("rules:\n{}", rule("it", "part.In <= 32 A")));
    let text = said(&problems);
    assert!(text.contains("part"), "{text}");
    assert!(text.contains("is present"), "{text}");
    assert!(text.contains("`part is present and …`"), "{text}");
    // What is always reached, and may itself be absent.
    let problems = lab_refused(&format!(
        "rules:\n{}",
        rule("it", "every t in hub.things: t.optional-y <= 32 A")
    ));
    let text = said(&problems);
    assert!(text.contains("`t.optional-y is present and …`"), "{text}");
    // An alternative that may be absent makes the whole so, whichever of the two it is.
    for choice in [
        "(if a then optional-y else 2 A) <= 5 A",
        "(if a then 2 A else optional-y) <= 5 A",
    ] {
        let text = said(&lab_refused(&format!("rules:\n{}", rule("it", choice))));
        assert!(text.contains("absent"), "{choice}: {text}");
    }
    let w = World::one("part is absent or part.In <= 32 A");
    assert_eq!(w.outcome("thing t { part: none }"), Outcome::Met);
    assert_eq!(
        w.outcome("thing t { part: first { In: 40 A } }"),
        Outcome::Failed
    );
    assert_eq!(w.outcome("thing t { part: ? }"), Outcome::Undecided);
    let w = World::one("(optional-y else 2 A) <= 5 A");
    assert_eq!(w.outcome("thing t { optional-y: none }"), Outcome::Met);
    assert_eq!(w.outcome("thing t { optional-y: 9 A }"), Outcome::Failed);
}

/// `a | b` belongs to one of two: each has 0 or 1, exactly one has it.
#[test]
fn b5_unknown_references() {
    let sections = "
derive:
  hub.has: {is: number, means: 'how many', formula: '(count t in things where t.x >= 0 A)', source: 'of this test'}
";
    let rules = [
        rule_with("one-here", "hub", "has == 1", ""),
        rule_with("at-most-one", "hub", "has <= 1", ""),
    ];
    let w = World::lab(sections, &rules);
    let text = "hub a { all-listed: thing }\nhub b { all-listed: thing }\nthing t { x: 5 A  hub: a | b }\n";
    assert_eq!(w.figure(text, "a", "has"), (0.0, 1.0));
    assert_eq!(w.figure(text, "b", "has"), (0.0, 1.0));
    let judged = w.judge(text);
    let of = |rule: &str| -> Vec<Outcome> {
        let all = judged.report.findings.iter();
        all.filter(|f| f.rule == rule).map(|f| f.outcome).collect()
    };
    assert_eq!(of("one-here"), [Outcome::Undecided, Outcome::Undecided]);
    assert_eq!(of("at-most-one"), [Outcome::Met, Outcome::Met]);
    // Whichever it is, the hub it belongs to has exactly one: the choice is joint.
    let own = World::lab(sections, &[rule("it", "hub is absent or hub.has == 1")]);
    assert_eq!(own.outcome(text), Outcome::Met);
}

/// `?` may belong to any of them, and to one that is not written.
#[test]
fn b5_an_unknown_reference_may_lead_anywhere() {
    let sections = "
derive:
  hub.has: {is: number, means: 'how many', formula: '(count t in things where t.x >= 0 A)', source: 'of this test'}
";
    let w = World::lab(sections, &[rule_with("it", "hub", "has <= 0", "")]);
    let text = "hub a { all-listed: thing }\nthing t { x: 5 A  hub: ? }\n";
    assert_eq!(w.outcome(text), Outcome::Undecided);
}

/// Boards in series: a formula may follow the feed upward.
#[test]
fn b6_recursion_along_the_feed() {
    let sections = "
derive:
  hub.sum: {is: ohm, means: 'all above', formula: 'if fed-from is present then top + fed-from.sum else top', source: 'of this test'}
";
    let w = World::lab(sections, &[rule_with("it", "hub", "sum <= 3 ohm", "")]);
    let text = "hub one { top: 1 ohm  fed-from: none }\n\
                hub two { top: 1 ohm  fed-from: one }\n\
                hub three { top: 1.5 ohm  fed-from: two }\n";
    let (low, high) = w.figure(text, "three", "sum");
    assert!((low - 3.5).abs() < 1e-9 && (high - 3.5).abs() < 1e-9);
    let judged = w.judge(text);
    let failed: Vec<&str> = judged
        .report
        .findings
        .iter()
        .filter(|f| f.outcome == Outcome::Failed)
        .map(|f| f.subject.label.as_str())
        .collect();
    assert_eq!(failed, ["three"]);
    // A design that feeds itself is an error that names the loop.
    let loaded = w.open(
        "hub a { top: 1 ohm  fed-from: b }\nhub b { top: 1 ohm  fed-from: a }\n",
        &[],
    );
    let text = said(&loaded.problems);
    assert!(
        text.contains("feed each other in a circle") && text.contains('a') && text.contains('b'),
        "{text}"
    );
}

/// Up and down mixed would never end.
#[test]
fn b6_up_and_down_mixed_is_refused() {
    let problems = lab_refused(
        "
derive:
  hub.up: {is: ohm, means: 'up', formula: 'if fed-from is present then fed-from.down else top', source: 'of this test'}
  hub.down: {is: ohm, means: 'down', formula: '(sum s in subs: s.up) + top', source: 'of this test'}",
    );
    let text = said(&problems);
    assert!(text.contains("need each other"), "{text}");
    assert!(
        text.contains("hub.up") && text.contains("hub.down"),
        "{text}"
    );
}

/// Outcome = not where, or require: nine combinations.
#[test]
fn b7_where_and_require_nine_combinations() {
    use Outcome::{Failed, Met, NotApplicable, Undecided};
    let w = World::rules(&[rule_with("it", "thing", "b", "    where: 'a'\n")]);
    let table = [
        ("yes", "yes", Met),
        ("yes", "no", Failed),
        ("yes", "?", Undecided),
        ("no", "yes", NotApplicable),
        ("no", "no", NotApplicable),
        ("no", "?", NotApplicable),
        ("?", "yes", Met),
        ("?", "no", Undecided),
        ("?", "?", Undecided),
    ];
    for (a, b, wanted) in table {
        let got = w.outcome(&format!("thing t {{ a: {a}  b: {b} }}"));
        assert_eq!(got, wanted, "where {a}, require {b}");
    }
    // If it applies, this breaks: the fact to settle is the one that decides.
    let f = w.finding("thing t { a: ?  b: no }", "it");
    assert_eq!(named(&f), ["a of t"]);
    assert_eq!(f.missing[0].breaks.as_deref(), Some("yes"));
}

/// The same with one leaf in both.
#[test]
fn b7_where_and_require_share_a_leaf() {
    use Outcome::{Failed, Met, NotApplicable, Undecided};
    let w = World::rules(&[rule_with(
        "it",
        "thing",
        "x >= 10 A",
        "    where: 'x >= 5 A'\n",
    )]);
    let table = [
        ("20 A", Met),
        ("7 A", Failed),
        ("2 A", NotApplicable),
        ("10 A .. 20 A", Met),
        ("6 A .. 8 A", Failed),
        ("1 A .. 4 A", NotApplicable),
        ("6 A .. 20 A", Undecided),
        ("1 A .. 8 A", Undecided),
        ("?", Undecided),
    ];
    for (x, wanted) in table {
        assert_eq!(w.outcome(&format!("thing t {{ x: {x} }}")), wanted, "{x}");
    }
    // Neither side decided, but whatever applies is met.
    let w = World::rules(&[rule_with(
        "it",
        "thing",
        "x >= 5 A",
        "    where: 'x >= 10 A'\n",
    )]);
    assert_eq!(w.outcome("thing t { x: 2 A .. 20 A }"), Met);
}

/// What belongs to a later stage waits, counted apart; the exit code is that of the stage.
#[test]
fn b8_stage() {
    let w = World::rules(&[
        rule("now", "x <= 10 A"),
        rule_with("later", "thing", "y <= 10 A", "    stage: handover\n"),
    ]);
    let text = "thing t { x: 5 A }";
    let design = w.at(text, Stage::Design);
    assert!(clean(&design));
    assert_eq!(design.report.counts.of(Outcome::NotDue), 1);
    let handover = w.at(text, Stage::Handover);
    assert!(!clean(&handover));
    assert_eq!(handover.report.counts.of(Outcome::NotDue), 0);
    assert_eq!(finding(&handover, "later").outcome, Outcome::Undecided);
}

/// Every cell of outcome and severity is counted apart and shows in each format.
#[test]
fn b8a_outcome_and_severity_are_two_axes() {
    let mut rules = Vec::new();
    for severity in Severity::ALL {
        let s = severity.word();
        let with = |id: &str, require: &str, more: &str| {
            rule_with(
                &format!("{s}-{id}"),
                "thing",
                require,
                &format!("    severity: {s}\n{more}"),
            )
        };
        rules.push(with("met", "x >= 1 A", ""));
        rules.push(with("failed", "x <= 1 A", ""));
        rules.push(with("undecided", "y <= 1 A", ""));
        rules.push(with(
            "not-applicable",
            "y <= 1 A",
            "    where: 'x <= 1 A'\n",
        ));
        rules.push(with("not-due", "y <= 1 A", "    stage: handover\n"));
        rules.push(with("not-judged", "r <= 1 ohm", ""));
    }
    rules.push(rule("departed", "x <= 1 A"));
    let w = World::rules(&rules);
    let text = "thing t { x: 5 A  y: ?  r: 3 A }\n\
                departure from departed { reason: \"agreed\"  agreed-by: \"owner\" }\n";
    let judged = w.check(text).judged.expect("there is something to judge");
    let counts = &judged.report.counts;
    for severity in Severity::ALL {
        for outcome in [
            Outcome::Met,
            Outcome::Failed,
            Outcome::Undecided,
            Outcome::NotApplicable,
            Outcome::NotDue,
            Outcome::NotJudged,
        ] {
            assert_eq!(counts.cell(outcome, severity), 1, "{outcome:?} {severity}");
        }
    }
    assert_eq!(counts.cell(Outcome::Departed, Severity::Breach), 1);
    let (plain, data) = w.printed(text, true);
    let data: serde_json::Value = serde_json::from_str(&data).expect("JSON");
    for severity in Severity::ALL {
        let s = severity.word();
        // A failure is called by its severity.
        assert!(plain.contains(&format!("{s}: {s}-failed")), "{plain}");
        assert!(plain.contains(&format!("{s}-undecided")), "{s}: {plain}");
        assert!(plain.contains(&format!("{s}-not-judged")), "{s}: {plain}");
        assert!(plain.contains(&format!("({s}-met)")), "{s}: {plain}");
        for outcome in [
            "failed",
            "undecided",
            "not-judged",
            "met",
            "not-applicable",
            "not-due",
        ] {
            assert_eq!(data["counts"][outcome][s], 1, "{outcome} {s}");
        }
    }
    assert!(plain.contains("departed: departed"), "{plain}");
    assert_eq!(data["counts"]["departed"]["breach"], 1);
    let closing = plain
        .lines()
        .find(|l| l.starts_with("t.amp: 1 breach"))
        .expect("a closing line");
    for part in [
        "1 caution",
        "1 advice",
        "3 undecided",
        "3 met",
        "1 departed",
        "3 not judged",
    ] {
        assert!(closing.contains(part), "`{part}` in {closing}");
    }
}

/// What is existing is the site's to tell, though a designer chooses it where it is new.
#[test]
fn b9_who_settles_depends_on_the_object() {
    let w = World::rules(&[rule("it", "size >= 4 mm²")]);
    let settler = |status: &str| {
        let f = w.finding(&format!("thing t {{ status: {status}  size: ? }}"), "it");
        f.missing[0].settled_by
    };
    assert_eq!(settler("new"), "designer");
    assert_eq!(settler("existing"), "site");
    assert_eq!(settler("altered"), "designer");
    // Inherited by what stands inside.
    let w = World::rules(&[rule_with(
        "it",
        "thing",
        "part is absent or part.size >= 4 mm²",
        "",
    )]);
    let f = w.finding(
        "thing t { status: existing  part: first { size: ? } }",
        "it",
    );
    assert_eq!(f.missing[0].settled_by, "site");
    // What is to go is not judged.
    let judged = w.judge("thing t { status: to-go  part: first { size: ? } }");
    assert!(judged.report.findings.is_empty());
}

/// No remedy touches what is there already.
#[test]
fn b9_no_help_edits_what_exists() {
    let w = World::rules(&[rule("it", "size >= 6 mm²")]);
    let help = |status: &str| -> Vec<String> {
        w.help(
            &format!("thing t {{ status: {status}  size: 4 mm² }}"),
            "it",
        )
    };
    assert!(help("new").iter().any(|h| h.contains("`size: 6 mm²`")));
    assert!(help("existing").iter().all(|h| !h.contains("`size:")));
}

/// What would help one breach and make another worse is no help.
#[test]
fn no_help_makes_another_breach_worse() {
    let text = "thing t { status: new  z: 15 A }";
    let small = rule("small", "z <= 10 A");
    let alone = World::rules(std::slice::from_ref(&small)).help(text, "small");
    assert!(alone.iter().any(|h| h.contains("`z: 10 A`")), "{alone:?}");
    let both = World::rules(&[small, rule("large", "z >= 20 A")]);
    for rule in ["small", "large"] {
        let told = both.help(text, rule);
        assert!(told.iter().all(|h| !h.contains("`z:")), "{told:?}");
    }
}

/// A written set wins over the formula; the two are never intersected.
#[test]
fn b10_derived_or_written() {
    let sections = "
derive:
  thing.r: {is: ohm, means: 'from its size', formula: '10 ohm·A / x', unless-written: yes, source: 'of this test'}
";
    let w = World::lab(sections, &[rule("it", "r <= 10 ohm")]);
    assert_eq!(w.figure("thing t { x: 5 A }", "t", "r"), (2.0, 2.0));
    assert_eq!(w.outcome("thing t { x: 5 A }"), Outcome::Met);
    let written = "thing t { x: 5 A  r: 20 ohm }";
    assert_eq!(w.figure(written, "t", "r"), (20.0, 20.0));
    assert_eq!(w.outcome(written), Outcome::Failed);
    // `?` is written, too: the formula does not answer it.
    let v = w.verdict("thing t { x: 5 A  r: ? }", "it");
    assert_eq!(
        (v.outcome, v.reason),
        (Outcome::Undecided, Some(Reason::Open))
    );
}

/// What is asked of an article is nothing that a rule of a later stage is sure to refuse.
#[test]
fn what_is_required_looks_ahead() {
    let kinds = KINDS
        .replace(
            "    part-only: yes\n",
            "    part-only: yes\n    bought: yes\n",
        )
        .replace("In: {is: A,", "In: {requirable: yes, is: A,")
        .replace("length: {is: m,", "length: {requirable: yes, is: m,");
    let now = rule_with("now", "part", "In >= 32 A or length <= 3 m", "");
    let later = rule_with("later", "part", "In <= 20 A", "    stage: verify\n");
    let asked = |rules: &[String]| {
        let yaml = format!("{kinds}\nrules:\n{}", rules.concat());
        let w = World::of(&[("lab", &yaml)], "lab");
        let text = "thing t { part: first { size: 4 mm²  rest: as-required } }";
        let judged = w.judge(text);
        assert_eq!(finding(&judged, "now").outcome, Outcome::Met);
        let all = judged.report.required;
        all.into_iter()
            .map(|r| r.split(" of ").next().unwrap_or("").to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(asked(std::slice::from_ref(&now)), ["In"]);
    assert_eq!(asked(&[now, later]), ["length"]);
}

/// A rule on a part binds the part that is taken: one of several that breaks it leaves it open.
#[test]
fn a_part_that_need_not_be_taken_is_no_breach() {
    let w = World::lab("", &[rule_with("large", "part", "size >= 2.5 mm²", "")]);
    let taken = |part: &str| {
        let judged = w.judge(&format!("thing t {{ part: {part} }}"));
        let all = judged.report.findings.iter().filter(|f| f.rule == "large");
        all.map(|f| f.outcome).collect::<Vec<_>>()
    };
    let (thin, thick) = ("part { size: 1 mm² }", "part { size: 4 mm² }");
    assert_eq!(taken(thin), [Outcome::Failed]);
    assert_eq!(
        taken(&format!("{thick} | {thin}")),
        [Outcome::Undecided, Outcome::Met]
    );
    assert_eq!(taken(&format!("{thin} | none")), [Outcome::Undecided]);
    assert_eq!(taken(&format!("{thin} | ?")), [Outcome::Undecided]);
}

/// How many of a kind are not listed is one question; how many of them are of one sort is another.
#[test]
fn counts_of_some_share_no_unknown() {
    let few = "(count t in things where t.a) <= (count t in things where not t.a)";
    let all = "(count t in things) <= (count t in things)";
    let w = World::lab(
        "",
        &[
            rule_with("few", "hub", few, ""),
            rule_with("all", "hub", all, ""),
        ],
    );
    let open = w.judge("hub h { status: existing }");
    assert_eq!(finding(&open, "few").outcome, Outcome::Undecided);
    assert_eq!(finding(&open, "all").outcome, Outcome::Met);
}

/// A branch rests on what its condition assumed, as the same said with `and` and `or` does.
#[test]
fn a_branch_that_was_assumed_is_said_to_be() {
    let assume = "\nassume:\n  thing.colour: {is: red, source: 'of this test'}\n";
    let w = World::lab(
        assume,
        &[rule("it", "if colour == red then x <= 10 A else x <= 5 A")],
    );
    let judged = w.judge("thing t { x: 7 A }");
    assert!(finding(&judged, "it").assumed);
    let written = w.judge("thing t { x: 7 A  colour: red }");
    assert!(!finding(&written, "it").assumed);
}

/// Of a thing of several kinds all is possible that any of them allows.
#[test]
fn a_thing_of_any_kind_may_be_what_one_of_them_is() {
    let kinds = "
  gen: {means: a source, facts: {x: {is: A, means: 'a current', by: site, domain: '>= 10 A'}}}
  motor: {means: a motor, facts: {x: {is: A, means: 'a current', by: site, domain: '>= 0 A', optional: yes}}}
  node: {means: either, any-of: [gen, motor]}
  user: {means: a user, facts: {at: {is: reference node, means: 'where', by: site, always: yes}}}
";
    let large = "at.x is present and at.x >= 10 A";
    let w = World::lab(kinds, &[rule_with("large", "user", large, "")]);
    let said = |text: &str| w.verdict(text, "large").outcome;
    assert_eq!(
        said("motor m { x: 1 A }\nuser u { at: m }"),
        Outcome::Failed
    );
    assert_eq!(said("gen g { }\nuser u { at: g }"), Outcome::Met);
    assert_eq!(said("user u { at: ? }"), Outcome::Undecided);
}

/// Of several things the one that says nothing is what the others begin at, where they all lead to others.
#[test]
fn the_one_that_is_left_of_several_hangs_on_the_only_one() {
    let kinds = "
  root: {means: where it begins, facts: {boxes: {is: reverse box.at, means: 'what hangs on it'}}}
  box: {means: a box, facts: {at: {is: reference node, means: 'where', by: site, always: yes}}}
  node: {means: either, any-of: [root, box]}
assume:
  box.at: {is: root, of-the-only: yes, source: 'of this test'}
";
    let w = World::lab(
        kinds,
        &[rule_with("on", "root", "(count b in boxes) == 1", "")],
    );
    let on = |text: &str| w.verdict(&format!("root r {{ }}\n{text}"), "on").outcome;
    assert_eq!(on("box a { }"), Outcome::Met);
    assert_eq!(
        on("box a { }\nbox b { at: a }\nbox c { at: b }"),
        Outcome::Met
    );
    assert_eq!(on("box a { }\nbox b { at: r }"), Outcome::Undecided);
    // Nothing is taken to hang on the one where something else could feed it.
    assert_eq!(
        on("box a { }\nbox b { at: r }\nbox c { at: b }"),
        Outcome::Undecided
    );
    assert_eq!(on("box a { }\nbox b { at: ? }"), Outcome::Undecided);
    assert_eq!(on("box a { }\nbox b { }"), Outcome::Undecided);
}

/// A block that cannot be read, or does not say where it belongs, is no reason to hold that there is
/// none.
#[test]
fn a_block_that_cannot_be_read_is_missed_in_its_collection() {
    let sum = "(sum t in things: t.x) <= 10 A";
    let w = World::lab("", &[rule_with("sum", "hub", sum, "")]);
    let sum = |thing: &str| {
        let text = format!("hub h {{ status: existing  all-listed: thing }}\n{thing}");
        let judged = w.check(&text).judged.expect("there is something to judge");
        finding(&judged, "sum").outcome
    };
    assert_eq!(sum("thing t { hub: h  x: 50 A }"), Outcome::Failed);
    assert_eq!(sum("thnig t { hub: h  x: 50 A }"), Outcome::NotJudged);
    assert_eq!(sum("thing t { hub: hh  x: 50 A }"), Outcome::NotJudged);
    assert_eq!(sum("thing t { hub: h | hh  x: 50 A }"), Outcome::NotJudged);
    // Nor is it counted as one, and of what a slip leads to nothing is known.
    let counted = |require: &str, each: &str, thing: &str| {
        let w = World::lab("", &[rule_with("it", each, require, "")]);
        let text = format!("hub h {{ status: existing  all-listed: thing }}\n{thing}");
        let judged = w.check(&text).judged.expect("there is something to judge");
        finding(&judged, "it").outcome
    };
    let lost = "thing t { hub: hh  x: 50 A }";
    for require in [
        "(count t in things) <= 3",
        "(count t in things) >= 1",
        "(sum t in things: 1 A) <= 10 A",
        "every t in things: top >= 0 ohm",
        "any t in things: top >= 0 ohm",
    ] {
        assert_eq!(
            counted(require, "hub", lost),
            Outcome::NotJudged,
            "{require}"
        );
    }
    let beside = "hub is present and (count t in hub.things) <= 3";
    assert_eq!(counted(beside, "thing", lost), Outcome::NotJudged);
    assert_eq!(sum("thing t { hub: h  x: 5 A }"), Outcome::Met);
}

/// A status that is written wrongly is not that of what stands around.
#[test]
fn a_wrong_status_is_not_the_one_around() {
    let w = World::lab("", &[rule_with("kept", "thing", "status == existing", "")]);
    let of = |said: &str| {
        let judged = w.check(&format!("thing t {{ {said} }}")).judged;
        finding(&judged.expect("there is something to judge"), "kept").outcome
    };
    assert_eq!(of("status: existing"), Outcome::Met);
    assert_eq!(of("status: new"), Outcome::Failed);
    assert_eq!(of("status: exsting"), Outcome::NotJudged);
    assert_eq!(of("status: ?"), Outcome::NotJudged);
    // Nor is a word in the head that could have been one.
    let judged = w.check("thing t nwe { }").judged;
    let kept = finding(&judged.expect("there is something to judge"), "kept").outcome;
    assert_eq!(kept, Outcome::NotJudged);
}
