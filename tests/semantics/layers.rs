//! D: layers, patches, editions.

use amperule::check::Outcome;
use amperule::source::Problem;

use super::world::{KINDS, World, refused, rule, rule_with, said};

/// A parent with a limit, a formula that reads it, and one rule.
fn base() -> String {
    format!(
        "{KINDS}
limits:
  hot: {{is: 1.25, means: 'a factor', clause: 'Book 1'}}
  cap: {{is: 10 A, means: 'a cap', clause: 'Book 2'}}
derive:
  thing.heated: {{is: A, means: 'with the factor', formula: 'x * limits.hot', source: 'of this test'}}
rules:
{}",
        rule("it", "heated <= limits.cap")
    )
}

fn child(name: &str, parent: &str, sections: &str) -> String {
    format!(
        "ruleset: {name}\ntitle: {name}\nparent: {parent}\neditions:\n  - {{id: '1', title: '{name} first'}}\n{sections}\n"
    )
}

fn patch(name: &str, sections: &str) -> String {
    format!("ruleset: {name}\ntitle: {name}\n{sections}\n")
}

fn labels(problems: &[Problem], code: &str) -> usize {
    problems
        .iter()
        .find(|p| p.code == code)
        .unwrap_or_else(|| panic!("{code} in {}", said(problems)))
        .labels
        .len()
}

/// A child's limit moves the parent's formula.
#[test]
fn d1_limits_bind_late() {
    let (base, firm) = (
        base(),
        child(
            "firm",
            "lab",
            "limits:\n  hot: {is: 1, was: '1.25', means: 'a factor', clause: 'own handbook'}",
        ),
    );
    let text = "thing t { x: 9 A }";
    let lab = World::of(&[("lab", &base)], "lab");
    assert_eq!(lab.figure(text, "t", "heated"), (11.25, 11.25));
    assert_eq!(lab.outcome(text), Outcome::Failed);
    let firm = World::of(&[("lab", &base), ("firm", &firm)], "firm");
    assert_eq!(firm.figure(text, "t", "heated"), (9.0, 9.0));
    assert_eq!(firm.outcome(text), Outcome::Met);
    // Its working shows the value, the layer, and what it replaced.
    let of = firm.design(text);
    let (object, fact) = of.worked_facts(Some("t.heated"))[0];
    let w = of.working(object, fact);
    let input = w.steps[0]
        .inputs
        .iter()
        .find(|i| i.name == "limits.hot")
        .expect("the limit is an input");
    let source = input.source.as_deref().unwrap_or("");
    assert_eq!(input.value, "1");
    assert!(source.contains("firm replaces 1.25 of lab"), "{source}");
}

/// Ohms do not become volts: both places are shown.
#[test]
fn d1_an_override_keeps_the_dimension() {
    let firm = child(
        "firm",
        "lab",
        "limits:\n  cap: {is: 10 V, was: 10 A, means: 'a cap', clause: 'own handbook'}",
    );
    let problems = refused(&[("lab", &base()), ("firm", &firm)], "firm", None);
    assert_eq!(labels(&problems, "dimension-changed"), 2);
}

/// A limit left to a child that does not set it is a gap of the ruleset, not the site's to answer.
#[test]
fn d1_a_required_limit_that_is_not_set_is_a_gap() {
    let base = base().replace("cap: {is: 10 A,", "cap: {is: required, unit: A,");
    let w = World::of(&[("lab", &base)], "lab");
    let v = w.verdict("thing t { x: 9 A }", "it");
    assert_eq!(
        (v.outcome, v.reason),
        (Outcome::Undecided, Some(amperule::check::Reason::Gap))
    );
    let firm = child(
        "firm",
        "lab",
        "limits:\n  cap: {is: 20 A, means: 'a cap', clause: 'own handbook'}",
    );
    let w = World::of(&[("lab", &base), ("firm", &firm)], "firm");
    assert_eq!(w.outcome("thing t { x: 9 A }"), Outcome::Met);
}

/// An amendment is field by field, needs its reason, and is shown as one.
#[test]
fn d2_amending() {
    let amend = "amend:\n  - {id: it, require: 'heated <= 5 A', because: 'stricter here'}";
    let firm = child("firm", "lab", amend);
    let sets = [("lab", base()), ("firm", firm)];
    let sets: Vec<(&str, &str)> = sets.iter().map(|(n, y)| (*n, y.as_str())).collect();
    let w = World::of(&sets, "firm");
    let f = w.finding("thing t { x: 5 A }", "it");
    assert_eq!(f.outcome, Outcome::Failed);
    assert_eq!(
        f.amended,
        Some(("firm".to_owned(), "stricter here".to_owned()))
    );
    // What the amendment does not say stays.
    assert_eq!(f.title, "rule it");
    let silent = child(
        "firm",
        "lab",
        "amend:\n  - {id: it, require: 'heated <= 5 A'}",
    );
    let problems = refused(&[("lab", &base()), ("firm", &silent)], "firm", None);
    assert!(said(&problems).contains("a reason"), "{}", said(&problems));
}

/// A rule withdrawn stays withdrawn through a layer that says nothing of it.
#[test]
fn d2_withdrawal_through_a_silent_middle_layer() {
    let one = child("one", "lab", "withdraw:\n  - {id: it, because: 'not here'}");
    let two = child("two", "one", "");
    let three = child(
        "three",
        "two",
        &format!("rules:\n{}", rule("other", "x <= 10 A")),
    );
    let w = World::of(
        &[
            ("lab", &base()),
            ("one", &one),
            ("two", &two),
            ("three", &three),
        ],
        "three",
    );
    assert!(w.ruleset.rule("it").is_none() && w.ruleset.rule("other").is_some());
    assert_eq!(
        *w.ruleset.withdrawn,
        [("it".to_owned(), "one".to_owned(), "not here".to_owned())]
    );
}

/// Patches that commute give one hash in either order; two of one value conflict.
#[test]
fn d3_patches() {
    let a = patch(
        "a",
        "limits:\n  hot: {is: 1, was: '1.25', means: 'a factor', clause: 'own'}",
    );
    let b = patch(
        "b",
        "limits:\n  cap: {is: 20 A, was: 10 A, means: 'a cap', clause: 'own'}",
    );
    let sets = [("lab", base()), ("a", a.clone()), ("b", b)];
    let sets: Vec<(&str, &str)> = sets.iter().map(|(n, y)| (*n, y.as_str())).collect();
    let (ab, ba) = (
        World::of(&sets, "lab + a + b"),
        World::of(&sets, "lab + b + a"),
    );
    assert_eq!(ab.ruleset.hash, ba.ruleset.hash);
    assert_ne!(ab.ruleset.hash, World::of(&sets, "lab + a").ruleset.hash);
    assert_eq!(ab.outcome("thing t { x: 20 A }"), Outcome::Met);
    assert_eq!(
        World::of(&sets, "lab").outcome("thing t { x: 9 A }"),
        Outcome::Failed
    );
}

#[test]
fn d3_conflicts() {
    let wrong = patch(
        "a",
        "limits:\n  hot: {is: 1, was: '1.20', means: 'a factor', clause: 'own'}",
    );
    let problems = refused(&[("lab", &base()), ("a", &wrong)], "lab + a", None);
    assert_eq!(labels(&problems, "conflict"), 2);
    let one = patch(
        "a",
        "limits:\n  hot: {is: 1, was: '1.25', means: 'a factor', clause: 'own'}",
    );
    let two = patch(
        "b",
        "limits:\n  hot: {is: 2, replaces: yes, means: 'a factor', clause: 'own'}",
    );
    let problems = refused(
        &[("lab", &base()), ("a", &one), ("b", &two)],
        "lab + a + b",
        None,
    );
    assert_eq!(labels(&problems, "conflict"), 2);
}

/// A parent's edition is pinned by its child's; a rule gone in a later edition may not be amended
/// there, and one that never existed is an error with the nearest name.
#[test]
fn d4_editions_and_layers() {
    let two = KINDS.replace(
        "  - {id: '1', title: first}\n",
        "  - {id: A, title: 'edition A'}\n  - {id: B, title: 'edition B'}\n",
    );
    let base = format!(
        "{two}\nrules:\n{}{}",
        rule_with("old", "thing", "x <= 5 A", "    in: 'A'\n"),
        rule("it", "x <= 10 A")
    );
    let child = "ruleset: firm\ntitle: firm\nparent: lab\neditions:\n  - {id: '1', title: one, parent-edition: A}\n  - {id: '2', title: two, parent-edition: B}\n";
    let load =
        |edition: &str| World::with(&[("lab", &base), ("firm", child)], "firm", Some(edition));
    assert!(load("1").ruleset.rule("old").is_some());
    assert!(load("2").ruleset.rule("old").is_none());
    let amend = |id: &str, more: &str| {
        format!("{child}amend:\n  - {{id: {id}, require: 'x <= 4 A', because: 'stricter'{more}}}\n")
    };
    let gone = amend("old", "");
    let problems = refused(&[("lab", &base), ("firm", &gone)], "firm", Some("2"));
    assert!(said(&problems).contains("`old`"), "{}", said(&problems));
    // Said to hold in the one edition only, it is right in both.
    let bounded = amend("old", ", in: '1'");
    for edition in ["1", "2"] {
        World::with(&[("lab", &base), ("firm", &bounded)], "firm", Some(edition));
    }
    let never = amend("itt", "");
    let problems = refused(&[("lab", &base), ("firm", &never)], "firm", Some("1"));
    assert!(
        said(&problems).contains("did you mean `it`"),
        "{}",
        said(&problems)
    );
}

/// One definition of a name in an edition; a cycle only in the older edition is found there.
#[test]
fn d5_replaced_derivations_and_cycles() {
    let twice = format!(
        "{KINDS}
derive:
  thing.v: {{is: A, means: 'one', formula: 'x', source: 'of this test'}}
"
    );
    let again = child(
        "firm",
        "lab",
        "derive:\n  thing.v: {is: A, means: 'two', formula: 'y', source: 'own'}",
    );
    let problems = refused(&[("lab", &twice), ("firm", &again)], "firm", None);
    assert_eq!(labels(&problems, "derivation-restated"), 2);
    let replaced = again.replace("source: 'own'", "replaces: yes, source: 'own'");
    let w = World::of(&[("lab", &twice), ("firm", &replaced)], "firm");
    assert_eq!(w.figure("thing t { x: 1 A  y: 2 A }", "t", "v"), (2.0, 2.0));
    let editions = KINDS.replace(
        "  - {id: '1', title: first}\n",
        "  - {id: A2, title: 'edition A2'}\n  - {id: A4, title: 'edition A4'}\n",
    );
    let cyclic = format!(
        "{editions}
derive:
  thing.v: {{is: A, means: 'one', formula: 'w', source: 'of this test', in: 'A2'}}
  thing.w: {{is: A, means: 'two', formula: 'v', source: 'of this test', in: 'A2'}}
"
    );
    World::with(&[("lab", &cyclic)], "lab", Some("A4"));
    let problems = refused(&[("lab", &cyclic)], "lab", Some("A2"));
    assert!(
        said(&problems).contains("need each other"),
        "{}",
        said(&problems)
    );
}

/// The problem with a code, as its message and help.
fn one(problems: &[Problem], code: &str) -> String {
    let found: Vec<&Problem> = problems.iter().filter(|p| p.code == code).collect();
    assert_eq!(found.len(), 1, "one {code} in {}", said(problems));
    format!("{}; {}", found[0].message, found[0].help.join("; "))
}

/// What is said to replace something must find it: a name with a letter wrong is no new limit.
#[test]
fn d4_what_replaces_must_hit() {
    let base = format!(
        "{}tables:
  steps: {{title: steps, source: 'of this test', keys: {{x: {{is: A}}}}, gives: A, rows: [[1, 2]]}}
assume:
  thing.y: {{is: 4 A, source: 'of this test'}}
",
        base()
    );
    let table = "title: steps, source: own, keys: {x: {is: A}}, gives: A, rows: [[1, 3]]";
    for (section, near) in [
        (
            "limits:\n  hto: {is: 1, was: '1.25', means: 'a factor', source: own}".to_owned(),
            "`hot`",
        ),
        (
            "limits:\n  hto: {is: 1, replaces: yes, means: 'a factor', source: own}".to_owned(),
            "`hot`",
        ),
        (
            "derive:\n  thing.heatd: {is: A, means: 'one', formula: x, replaces: yes, source: own}"
                .to_owned(),
            "`thing.heated`",
        ),
        (
            format!("tables:\n  stepps: {{{table}, replaces: yes}}"),
            "`steps`",
        ),
        (
            "assume:\n  thing.z: {is: 4 A, replaces: yes, source: own}".to_owned(),
            "`thing.y`",
        ),
        (
            "series:\n  sizes: {is: mm², members: [1], replaces: yes, source: own}".to_owned(),
            "`size`",
        ),
        (
            "kinds:\n  thing:\n    facts:\n      coulour: {is: text, means: 'one', by: site, replaces: yes}"
                .to_owned(),
            "`colour`",
        ),
    ] {
        for (name, rules, firm) in [
            ("firm", "firm", child("firm", "lab", &section)),
            ("firm", "lab + firm", patch("firm", &section)),
        ] {
            let problems = refused(&[("lab", &base), (name, &firm)], rules, None);
            let text = one(&problems, "nothing-to-replace");
            assert!(text.contains(&format!("did you mean {near}")), "{text}");
        }
    }
}

/// Whatever a lower layer states is replaced by what says so, and by nothing else.
#[test]
fn d3_nothing_is_replaced_in_silence() {
    let base = format!(
        "{}tables:
  steps: {{title: steps, source: 'of this test', keys: {{x: {{is: A}}}}, gives: A, rows: [[1, 2]]}}
assume:
  thing.y: {{is: 4 A, source: 'of this test'}}
",
        base()
    );
    for (section, code) in [
        (
            "limits:\n  hot: {is: 1, means: 'a factor', source: own%}",
            "limit-restated",
        ),
        (
            "tables:\n  steps: {title: steps, source: own, keys: {x: {is: A}}, gives: A, rows: [[1, 3]]%}",
            "table-restated",
        ),
        (
            "assume:\n  thing.y: {is: 5 A, source: own%}",
            "assumption-restated",
        ),
        (
            "series:\n  size: {is: mm², members: [1, 2], source: own%}",
            "series-restated",
        ),
        (
            "derive:\n  thing.heated: {is: A, means: 'two', formula: x, source: own%}",
            "derivation-restated",
        ),
        (
            "kinds:\n  thing:\n    facts:\n      label: {is: text, means: 'other', by: site%}",
            "fact-restated",
        ),
    ] {
        let silent = section.replace('%', "");
        let told = section.replace('%', ", replaces: yes");
        let sets = |yaml: &str, make: &dyn Fn(&str) -> String| {
            [
                ("lab".to_owned(), base.clone()),
                ("firm".to_owned(), make(yaml)),
            ]
        };
        for (rules, make) in [
            (
                "firm",
                &(|s: &str| child("firm", "lab", s)) as &dyn Fn(&str) -> String,
            ),
            ("lab + firm", &|s: &str| patch("firm", s)),
        ] {
            let owned = sets(&silent, make);
            let list: Vec<(&str, &str)> = owned
                .iter()
                .map(|(n, y)| (n.as_str(), y.as_str()))
                .collect();
            let problems = refused(&list, rules, None);
            assert_eq!(labels(&problems, code), 2);
            assert!(one(&problems, code).contains("if it is meant to replace it"));
            let owned = sets(&told, make);
            let list: Vec<(&str, &str)> = owned
                .iter()
                .map(|(n, y)| (n.as_str(), y.as_str()))
                .collect();
            World::of(&list, rules);
        }
        // Two patches may be named in either order, so neither may win.
        let (a, b) = (patch("a", &told), patch("b", &told));
        let problems = refused(&[("lab", &base), ("a", &a), ("b", &b)], "lab + a + b", None);
        assert_eq!(labels(&problems, "conflict"), 2);
    }
}

/// One layer states a fact once.
#[test]
fn d3_a_fact_is_stated_once_in_a_layer() {
    let firm = child(
        "firm",
        "lab",
        "kinds:\n  thing:\n    facts:\n      new-one: {is: A, means: 'one', by: site, in: '1'}",
    );
    World::of(&[("lab", &base()), ("firm", &firm)], "firm");
    let more = "kinds:\n  thing:\n    facts:\n      new-one: {is: V, means: 'two', by: site}\n";
    let sets = [("lab", &*base()), ("firm", &firm), ("firm/more", more)];
    let problems = refused(&sets, "firm", None);
    assert_eq!(labels(&problems, "stated-twice"), 2);
}

/// A withdrawal of a rule that does not exist is an error with the nearest name, as an amendment is.
#[test]
fn d4_a_withdrawal_must_hit() {
    let firm = patch("firm", "withdraw:\n  - {id: itt, because: 'not here'}");
    let problems = refused(&[("lab", &base()), ("firm", &firm)], "lab + firm", None);
    let text = one(&problems, "unknown-rule");
    assert!(text.contains("did you mean `it`"), "{text}");
}

/// What is yes or no is read as that everywhere, and what is neither is told, not taken for one of them.
#[test]
fn what_is_yes_or_no_is_never_guessed() {
    let departable = |written: &str| rule_with("it", "thing", "x <= 32 A", written);
    for (written, may) in [
        ("", true),
        ("    departable: yes\n", true),
        ("    departable: no\n", false),
        ("    departable: false\n", false),
    ] {
        let w = World::rules(&[departable(written)]);
        let rule = w.ruleset.rule("it").expect("it is there");
        assert_eq!(rule.departable, may, "{written}");
    }
    for sections in [
        format!("rules:\n{}", departable("    departable: never\n")),
        "assume:\n  thing.a: {is: 'yes', of-the-only: yse, source: own}".to_owned(),
        "limits:\n  most: {is: 1 A, means: 'most', replaces: yse, source: own}".to_owned(),
    ] {
        let problems = super::world::lab_refused(&sections);
        let text = one(&problems, "not-a-flag");
        assert!(text.contains("yes or no"), "{text}");
    }
    let problems =
        super::world::lab_refused("short:\n  - {of: thing, head: value, unkeyed: {x: {}}}");
    assert!(
        said(&problems).contains("none of values"),
        "{}",
        said(&problems)
    );
}

/// What can never be absent is not asked for: the message says what to write instead.
#[test]
fn only_what_may_be_absent_is_asked_for() {
    for (require, instead) in [
        (
            "hub is absent or hub.things is present",
            "(count x in hub.things) > 0",
        ),
        ("dyes is present", "red among dyes"),
        ("a is present", "a is written"),
    ] {
        let problems = super::world::lab_refused(&format!("rules:\n{}", rule("it", require)));
        let text = one(&problems, "bad-expression");
        assert!(
            text.contains("never absent") && text.contains(instead),
            "{text}"
        );
    }
    for ty in ["yes-no", "some of red green"] {
        let problems = super::world::lab_refused(&format!(
            "derive:\n  thing.v: {{is: {ty}, means: 'one', optional: yes, formula: 'a', source: own}}"
        ));
        assert!(
            said(&problems).contains("bad-optional"),
            "{}",
            said(&problems)
        );
    }
}

/// Two patches that amend one field of a rule conflict; what they amend besides is theirs.
#[test]
fn d3_a_field_is_amended_once() {
    let amend = |what: &str| format!("amend:\n  - {{id: it, {what}, because: 'ours'}}\n");
    let strict = amend("require: 'heated <= 5 A'");
    let mild = amend("require: 'heated <= 6 A'");
    let title = amend("title: 'another'");
    let (a, b, c) = (patch("a", &strict), patch("b", &mild), patch("c", &title));
    let sets = [("lab", base()), ("a", a), ("b", b), ("c", c)];
    let sets: Vec<(&str, &str)> = sets.iter().map(|(n, y)| (*n, y.as_str())).collect();
    let problems = refused(&sets, "lab + a + b", None);
    assert_eq!(labels(&problems, "conflict"), 2);
    World::of(&sets, "lab + a + c");
    let twice = patch(
        "a",
        &format!("{strict}  - {{id: it, require: 'x <= 1 A', because: 'ours'}}"),
    );
    let problems = refused(&[("lab", &base()), ("a", &twice)], "lab + a", None);
    assert_eq!(labels(&problems, "conflict"), 2);
    // A layer above may amend again.
    let (one, two) = (child("one", "lab", &strict), child("two", "one", &mild));
    World::of(&[("lab", &base()), ("one", &one), ("two", &two)], "two");
}

/// What a slip in its editions would leave out without a word.
#[test]
fn d3_editions_that_cannot_be_are_mistakes() {
    let two = KINDS.replace(
        "  - {id: '1', title: first}\n",
        "  - {id: '1', usable-from: 2020-01-01}\n  - {id: '2', usable-from: 2022-01-01}\n",
    );
    let held = |of: &str| rule_with("it", "thing", "x <= 9 A", &format!("    in: '{of}'\n"));
    let told = |yaml: &str| said(&refused(&[("lab", yaml)], "lab", None));
    let swapped = told(&format!("{two}\nrules:\n{}", held("2 .. 1")));
    assert!(swapped.contains("`2 .. 1` holds no edition"), "{swapped}");
    assert!(swapped.contains("write `1 .. 2`"), "{swapped}");
    for (was, is, why) in [
        ("id: '2'", "id: '1'", "there are two editions `1`"),
        ("2022-01-01", "2019-01-01", "usable before the one above it"),
        (
            "usable-from: 2022-01-01",
            "usable-from: 2022-01-01, withdrawn-on: 2021-01-01",
            "`withdrawn-on` lies before `usable-from`",
        ),
        (
            "usable-from: 2022-01-01",
            "usable-from: 2022-01-01, required-from: 2021-01-01",
            "`required-from` lies before `usable-from`",
        ),
    ] {
        let told = told(&two.replacen(was, is, 1));
        assert!(told.contains(why), "{why} in {told}");
    }
}

/// Patches may be named in any order: one may not lose what another says.
#[test]
fn d2_a_patch_does_not_withdraw_what_another_amends() {
    let stricter = patch(
        "stricter",
        "amend:\n  - {id: it, require: 'heated <= 5 A', because: 'stricter here'}",
    );
    let without = patch("without", "withdraw:\n  - {id: it, because: 'not here'}");
    let sets = [
        ("lab", base()),
        ("stricter", stricter),
        ("without", without),
    ];
    let sets: Vec<(&str, &str)> = sets.iter().map(|(n, y)| (*n, y.as_str())).collect();
    for rules in ["lab + stricter + without", "lab + without + stricter"] {
        let problems = refused(&sets, rules, None);
        assert_eq!(labels(&problems, "conflict"), 2);
    }
    World::of(&sets, "lab + without");
}

/// What is assumed is a value that a design could write.
#[test]
fn d4_an_assumption_is_a_value_of_its_fact() {
    let of = |assumed: &str| {
        format!(
            "{KINDS}\nassume:\n  {assumed}\nderive:\n  thing.twice: {{is: A, means: 'twice', \
             formula: '2 * x', source: 'of this test'}}\n"
        )
    };
    let why = "source: 'of this test'";
    for (assumed, says) in [
        (
            format!("thing.x: {{is: -1 A, {why}}}"),
            "outside what the fact may be",
        ),
        (
            format!("thing.size: {{is: 5 mm², {why}}}"),
            "outside the series `size`",
        ),
        (
            format!("thing.twice: {{is: 5 A, {why}}}"),
            "there is nothing to assume",
        ),
    ] {
        let told = said(&refused(&[("lab", &of(&assumed))], "lab", None));
        assert!(told.contains(says), "{says} in {told}");
    }
    let sound = of(&format!("thing.size: {{is: 6 mm², {why}}}"));
    World::of(&[("lab", &sound)], "lab");
}

/// Each field of a rule is looked at, whatever is wrong with the others.
#[test]
fn d5_all_mistakes_of_a_rule_are_told_at_once() {
    let broken = rule_with("it", "thing", "x <= 5 V", "    where: 'y <= 1 ohm'\n")
        .replace("stage: design", "stage: desing")
        .replace("{subject} breaks it", "{subject} breaks {xx}");
    let yaml = format!("{KINDS}\nrules:\n{broken}");
    let problems = refused(&[("lab", &yaml)], "lab", None);
    let told = said(&problems);
    assert_eq!(problems.len(), 4, "{told}");
}

/// A range is told what is wrong with it: another unit, or its ends.
#[test]
fn d5_a_range_is_told_what_is_wrong_with_it() {
    for (domain, why) in [
        ("'> 0 V'", "is in another unit than the fact, which is in A"),
        ("9 A .. 1 A", "begins above its end"),
        ("'about 5'", "is not a range of this fact"),
    ] {
        let was = "x: {is: A, means: 'a current', by: site, domain: '>= 0 A'";
        let is = was.replace("'>= 0 A'", domain);
        let told = said(&refused(
            &[("lab", &KINDS.replacen(was, &is, 1))],
            "lab",
            None,
        ));
        assert!(told.contains(why), "{why} in {told}");
    }
}
