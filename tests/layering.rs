//! A ruleset on top of another, run through the program: what it may replace, what nothing reads,
//! and how its cases stand to those of the layers below.

#![expect(
    clippy::expect_used,
    reason = "a run that cannot be started is a fault of the test"
)]

use std::fs;
use std::process::Command;

/// A ruleset with a limit, a rule that reads it, and the cases of that rule.
const LAB: &str = "ruleset: lab
title: rules for tests
editions:
  - {id: A, title: first}
  - {id: B, title: second}
kinds:
  installation:
    means: the whole
    facts:
      rules: {is: text, means: 'rules', by: designer}
  thing:
    means: a thing
    facts:
      x: {is: A, means: 'a current', by: site, domain: '>= 0 A'}
limits:
  cap: {is: 10 A, means: 'a cap', source: 'of this test'}
rules:
  - {id: lab-cap, title: 'a cap', stage: design, each: thing, require: 'x <= limits.cap', message: '{subject} draws {x}', topic: tests, source: 'of this test', confidence: published}
---
case-base: |
  thing t { x: 5 A }
cases:
  lab-cap:
    met: [{}, {t.x: 9 A}, {t.x: 8 A, edition: B}]
    failed: {t.x: 11 A}
    undecided: {t.x: '?'}
";

/// A firm that moves the limit.
const FIRM: &str = "ruleset: firm
title: Our firm
limits:
  cap: {is: 7 A, was: 10 A, means: 'our cap', source: own}
";

/// Cases that say what the firm turns on purpose.
const TURNED: &str = "---
cases:
  lab-cap:
    failed:
      - {t.x: 9 A, was: met, because: 'our cap is lower'}
      - {t.x: 8 A, edition: B, was: met, because: 'our cap is lower'}
";

/// Runs a verb of `amperule rules` over the two rulesets: exit code and what is printed.
fn rules(verb: &str, lab: &str, firm: &str) -> (i32, String) {
    layers(verb, "lab + firm", &[("lab", lab), ("firm", firm)])
}

/// The same over any rulesets.
fn layers(verb: &str, named: &str, all: &[(&str, &str)]) -> (i32, String) {
    let sets = tempfile::tempdir().expect("a folder");
    for (name, yaml) in all {
        let folder = sets.path().join(name);
        fs::create_dir_all(&folder).expect("made");
        fs::write(folder.join("ruleset.yaml"), yaml).expect("written");
    }
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(["rules", verb, "--rules", named, "--rulesets"])
        .arg(sets.path())
        .env("COLUMNS", "1000")
        .output()
        .expect("the program starts");
    let text =
        String::from_utf8_lossy(&done.stdout).into_owned() + &String::from_utf8_lossy(&done.stderr);
    (done.status.code().unwrap_or(-1), text)
}

/// A misspelt limit is no new limit.
#[test]
fn a_limit_that_replaces_nothing_is_an_error() {
    let (code, out) = rules("check", LAB, &FIRM.replace("  cap:", "  cpa:"));
    assert_eq!(code, 2, "{out}");
    assert!(out.contains("no layer below states a limit `cpa`"), "{out}");
    assert!(out.contains("did you mean `cap`?"), "{out}");
    let (code, out) = rules("check", LAB, FIRM);
    assert_eq!(code, 0, "{out}");
}

/// A limit or a table that nothing reads is usable, but hardly what was meant.
#[test]
fn what_nothing_reads_is_a_caution() {
    let firm = format!(
        "{FIRM}  spare: {{is: 3 A, means: 'a spare', source: own}}
tables:
  steps: {{title: steps, source: own, keys: {{x: {{is: A}}}}, gives: A, rows: [[1, 2]]}}
"
    );
    let (code, out) = rules("check", LAB, &firm);
    assert_eq!(code, 0, "{out}");
    for what in ["limit `spare`", "table `steps`"] {
        let said = format!("nothing reads the {what}");
        assert_eq!(out.matches(&said).count(), 1, "{out}");
    }
    assert!(!out.contains("nothing reads the limit `cap`"), "{out}");
    // In one edition a rule reads it.
    let rule = "rules:
  - {id: firm-spare, in: B, title: 'a spare', stage: design, each: thing, require: 'x <= limits.spare', message: 'm', topic: tests, source: own, confidence: published}
";
    let (_, out) = rules(
        "check",
        LAB,
        &firm.replace("tables:", &format!("{rule}tables:")),
    );
    assert!(!out.contains("nothing reads the limit `spare`"), "{out}");
}

/// A case that a firm turns on purpose is said to, so that its tests end well.
#[test]
fn a_case_of_the_layer_below_is_restated() {
    let (code, out) = rules("test", LAB, FIRM);
    assert_eq!(code, 1, "{out}");
    assert!(
        out.contains("is said to be met and came out: t failed"),
        "{out}"
    );
    let (code, out) = rules("test", LAB, &format!("{FIRM}{TURNED}"));
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("9 passed, 0 failed"), "{out}");
    // What is restated must come out as restated.
    let mild = format!("{FIRM}{TURNED}").replace("is: 7 A", "is: 9.5 A");
    let (code, out) = rules("test", LAB, &mild);
    assert_eq!(code, 1, "{out}");
    assert!(
        out.contains("is said to be failed and came out: t met"),
        "{out}"
    );
    assert!(out.contains("firm/ruleset.yaml"), "{out}");
}

/// A restated case must be there, with its reason.
#[test]
fn a_restated_case_that_is_not_there_is_an_error() {
    for (from, to, said) in [
        (
            "t.x: 9 A",
            "t.x: 9.0 A",
            "no case of `lab-cap` with these changes",
        ),
        (
            "9 A, was: met",
            "9 A, was: undecided",
            "there is one that is met",
        ),
        (
            "edition: B",
            "edition: A",
            "no case of `lab-cap` with these changes",
        ),
        (
            "was: met, because: 'our cap is lower'",
            "was: met",
            "`because`, the reason",
        ),
        ("was: met", "was: passed", "`passed` is none of"),
    ] {
        let turned = TURNED.replacen(from, to, 1);
        let (code, out) = rules("test", LAB, &format!("{FIRM}{turned}"));
        assert!(code > 0, "{to}: {out}");
        assert!(out.contains(said), "{to}: {out}");
    }
}

/// Cases are of rules and editions that exist.
#[test]
fn a_case_of_no_rule_is_an_error() {
    for (from, to, said, near) in [
        (
            "\n  lab-cap:",
            "\n  lab-cpa:",
            "there is no rule `lab-cpa`",
            "`lab-cap`",
        ),
        ("edition: B", "edition: BB", "there is no edition `BB`", ""),
    ] {
        let lab = LAB.replace(from, to);
        assert_ne!(lab, LAB);
        let (code, out) = rules("test", &lab, FIRM);
        assert!(code > 0, "{to}: {out}");
        assert_eq!(out.matches(said).count(), 1, "{to}: {out}");
        assert!(out.contains(near), "{to}: {out}");
    }
    // A rule that a layer withdraws, or that another edition has, was there.
    let lab = LAB.replace("id: lab-cap,", "id: lab-cap, in: A,");
    let (_, out) = rules("test", &lab, FIRM);
    assert!(!out.contains("there is no rule"), "{out}");
}

/// What rules rest on is compared, not the rules alone: a limit, a table, a formula, an assumption,
/// the values of a fact, and what is left out.
#[test]
fn whatever_can_turn_a_verdict_is_compared() {
    let lab = LAB
        .replace("domain: '>= 0 A'}", "domain: '>= 0 A'}\n      y: {is: A, means: 'another', by: site}\n      z: {is: A, means: 'a third', by: site}")
        .replace("rules:\n  - {id", "tables:\n  rating: {title: 'a rating', source: 'of this test', keys: {size: {is: mm², between: nothing}}, gives: A, rows: [[1, 10], [2, 20]]}\nassume:\n  thing.y: {is: 5 A, source: 'of this test'}\nderive:\n  thing.sum: {is: A, means: 'the sum', formula: 'y + z', source: 'of this test'}\nleft-out:\n  - {what: 'its weight', clause: 'LAB 2', why: 'no fact', id: lab-weight, each: thing, where: 'x > 5 A'}\nrules:\n  - {id");
    let firm = "ruleset: firm
title: Our firm
kinds:
  thing:
    facts:
      z: {is: A, means: 'a third', by: site, domain: '> 1 A', replaces: yes}
limits:
  cap: {is: 7 A, was: 10 A, means: 'our cap', source: own}
tables:
  rating: {title: 'a rating', source: own, replaces: yes, keys: {size: {is: mm², between: nothing}}, gives: A, rows: [[1, 10], [2, 18]]}
assume:
  thing.y: {is: 6 A, source: own, replaces: yes}
derive:
  thing.sum: {is: A, means: 'the sum', formula: 'y + 2 * z', source: own, replaces: yes}
amend:
  - {id: lab-weight, severity: breach, because: 'we insist'}
";
    let sets = tempfile::tempdir().expect("a folder");
    for (name, yaml) in [("lab", lab.as_str()), ("firm", firm)] {
        let folder = sets.path().join(name);
        fs::create_dir_all(&folder).expect("made");
        fs::write(folder.join("ruleset.yaml"), yaml).expect("written");
    }
    let design = sets.path().join("t.amp");
    fs::write(&design, "thing t { x: 1 A  z: 3 A }\n").expect("written");
    let run = |format: &str| {
        let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
            .args([
                "compare",
                "--from",
                "lab@B",
                "--to",
                "lab@B + firm",
                "--format",
                format,
            ])
            .arg("--rulesets")
            .arg(sets.path())
            .arg(&design)
            .output()
            .expect("the program starts");
        String::from_utf8_lossy(&done.stdout).into_owned() + &String::from_utf8_lossy(&done.stderr)
    };
    let text = run("text");
    let line = |of: &str, name: &str, says: &str| {
        let mut lines = text.lines().filter(|l| l.contains(says));
        assert!(
            lines.any(|l| l.trim_start().starts_with(of) && l.contains(name)),
            "{of} {name} {says}: {text}"
        );
    };
    line("amended limit", "cap", "10 A → 7 A");
    line("amended table", "rating", "1 of 2 figures");
    line("amended formula", "thing.sum", "y + z → y + 2 * z");
    line("amended assumption", "thing.y", "5 A → 6 A");
    line("amended fact", "thing.z", "a third");
    line("amended", "lab-weight", "not judged: its weight");
    let json: serde_json::Value = serde_json::from_str(&run("json")).expect("sound JSON");
    assert_eq!(
        json["differences"].as_array().map(Vec::len),
        Some(6),
        "{json}"
    );
}

/// A cause that no case shows is no cause: a path that leads nowhere would never be noticed.
#[test]
fn a_cause_needs_a_case() {
    let rule = "  - {id: late, title: late, stage: design, each: thing, require: 'x <= 9 A', follows-from: lab-cap, message: '{subject}', topic: tests, source: 'of this test', confidence: published}\n---\n";
    let firm = "ruleset: firm\ntitle: Our firm\n";
    let test = |failed: &str| {
        let cases = format!(
            "  late:\n    met: {{t.x: 5 A}}\n    failed: {{t.x: {failed}}}\n    undecided: {{t.x: '?'}}\n"
        );
        rules("test", &(LAB.replacen("---\n", rule, 1) + &cases), firm)
    };
    let lacking = "the rule `late` has no case in which it follows from `lab-cap`";
    let (code, out) = test("9.5 A");
    assert_eq!(code, 1, "{out}");
    assert!(out.contains(lacking), "{out}");
    let (code, out) = test("11 A");
    assert_eq!(code, 0, "{out}");
    assert!(!out.contains(lacking), "{out}");
}

/// What a firm adds to `thing`, and how it may be said shortly.
fn shortly(short: &str) -> (i32, String) {
    let firm = format!(
        "ruleset: firm
title: Our firm
kinds:
  thing:
    facts:
      y: {{is: A, means: 'another current', by: site, domain: '>= 0 A'}}
      colour: {{is: one of red blue green, means: 'a colour', by: site}}
      door: {{is: one of blue white thing none x ohm, means: 'a door', by: site}}
      side: {{is: one of A B L, means: 'a side', by: site}}
      open: {{is: yes-no, means: 'open or not', by: site}}
short:
  - {{of: thing, {short}}}
"
    );
    rules("check", LAB, &firm)
}

/// A case changes by key what its base says without.
#[test]
fn a_case_changes_what_its_base_says_shortly() {
    let short = "short:\n  - {of: thing, unkeyed: {x: yes}}\n";
    let lab = LAB
        .replace("---\n", &format!("{short}---\n"))
        .replace("thing t { x: 5 A }", "thing t 5 A");
    assert!(lab.contains("thing t 5 A"));
    let (code, out) = rules("test", &lab, &format!("{FIRM}{TURNED}"));
    assert_eq!(code, 0, "{out}");
}

#[test]
fn what_could_be_read_in_two_ways_is_no_short_form() {
    for (sound, why) in [
        ("unkeyed: {colour: yes, door: [white]}", "other words"),
        (
            "unkeyed: {x: 1 A .. 100 A, y: 1 kA .. 5 kA}",
            "ranges apart",
        ),
        (
            "marks: ['{side: B}{x}', '{y}-way'], also: {crimson: colour.red, amps: x, gadget: thing}",
            "marks",
        ),
        (
            "marks: ['{y}-way'], also: {ab: colour.red, DW: 2-way}",
            "words of two letters, and one for a mark",
        ),
    ] {
        let (code, out) = shortly(sound);
        assert_eq!(code, 0, "{why}: {out}");
    }
    for (short, what) in [
        (
            "unkeyed: {colour: yes, door: [blue]}",
            "`blue` cannot be said shortly: it is a word of `door`, too",
        ),
        ("unkeyed: {door: [thing]}", "it opens a block or part"),
        ("unkeyed: {door: [none]}", "a meaning of its own"),
        ("unkeyed: {door: [ohm]}", "it is a unit"),
        ("unkeyed: {door: [x]}", "it needs two letters"),
        ("unkeyed: {side: yes}", "it needs two letters"),
        ("unkeyed: {door: [pink]}", "`door` has no such word"),
        ("unkeyed: {open: yes}", "only a choice"),
        ("unkeyed: {x: yes, y: yes}", "measured alike"),
        (
            "unkeyed: {x: 1 A .. 2 kA, y: 1 kA .. 5 kA}",
            "measured alike",
        ),
        ("unkeyed: {z: yes}", "no fact `z`"),
        ("marks: ['{side}{x}']", "a unit or a line conductor"),
        ("marks: ['{side: B}{x}', 'B{y}']", "it can be read as"),
        ("marks: ['{z}-way']", "no fact `z`"),
        ("marks: ['{side: Q}{x}']", "no word `Q`"),
        ("marks: ['red{side']", "a brace is not closed"),
        ("also: {b: colour.red}", "it needs two letters"),
        ("also: {kA: x}", "it is a unit"),
        ("also: {L1: x}", "it needs two letters"),
        ("also: {colour: x}", "the name of a fact"),
        ("also: {kvar: x}", "it is a unit"),
        ("also: {crimson: colour.pink}", "neither a word that opens"),
        (
            "unkeyed: {colour: yes}, also: {RED: door.white}",
            "a value without a key, too",
        ),
        ("opened-by: {x: thing}", "it opens no part"),
        ("heads: values", "no key `heads`"),
    ] {
        let (code, out) = shortly(short);
        assert_eq!(code, 2, "{short}: {out}");
        let flat = out
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .replace(" │ ", " ");
        assert!(flat.contains(what), "{short}: {out}");
    }
}

/// What a mend may add is read when the ruleset is: with a mistake in it, it would never be offered.
#[test]
fn what_a_mend_may_add_is_read_with_the_ruleset() {
    let stock = |entry: &str| {
        let firm = format!(
            "ruleset: firm
title: Our firm
kinds:
  meter:
    means: a meter
    facts:
      limit: {{is: A, means: 'a limit', by: designer, domain: '> 0 A'}}
      of: {{is: references thing, means: 'what it watches', by: designer}}
      seal: {{is: part seal, means: 'its seal', by: designer}}
  seal:
    means: a seal
    part-only: yes
    facts:
      colour: {{is: one of red blue, means: 'a colour', by: designer}}
mend:
  - {entry}
"
        );
        rules("check", LAB, &firm)
    };
    for sound in [
        "{is: meter, beside: thing, cost: 4, block: 'meter m { limit: {{x}}  of: {{name}} }'}",
        "{is: meter, beside: thing, cost: 4, block: 'meter m { limit: 5 A  of: {{every thing}} }'}",
        "{is: meter.seal, cost: 4, part: 'seal { colour: red }'}",
    ] {
        let (code, out) = stock(sound);
        assert_eq!(code, 0, "{sound}: {out}");
        assert!(!out.contains("cannot be read"), "{sound}: {out}");
    }
    for (wrong, why) in [
        (
            "{is: meter, beside: thing, cost: 4, block: 'meter m { limit: {{x}}  off: {{name}} }'}",
            "the block `meter` cannot be read: a meter has no fact called `off`",
        ),
        (
            "{is: meter, beside: thing, cost: 4, block: 'meter m { limit: {{x} }'}",
            "the block `meter` cannot be read: ",
        ),
        (
            "{is: meter, beside: thing, cost: 4, block: 'meter m { limit: {{z}} }'}",
            "the block `meter` says {{z}}, and a `thing` has no such thing",
        ),
        (
            "{is: meter, beside: thing, cost: 4, block: 'meter m { of: {{every thin}} }'}",
            "the block `meter` says {{every thin}}",
        ),
        (
            "{is: meter.seal, cost: 4, part: 'seal { colour: green }'}",
            "the part for `meter.seal` cannot be read: ",
        ),
    ] {
        let (code, out) = stock(wrong);
        assert_eq!(code, 2, "{wrong}: {out}");
        assert!(out.contains(why), "{wrong}: {out}");
    }
}

/// Patches may be named in any order: what two of them say of one thing is a conflict, whatever it is.
#[test]
fn two_patches_say_nothing_of_one_thing() {
    let patch = |name: &str, said: &str| format!("ruleset: {name}\ntitle: a patch\n{said}");
    let product = |says: &str| {
        format!(
            "products:\n  - {{name: ours, is: thing, means: 'what we use', says: '{says}', source: own}}\n"
        )
    };
    let conflict = |a: &str, b: &str| {
        let (a, b) = (patch("pa", a), patch("pb", b));
        let all = [("lab", LAB), ("pa", a.as_str()), ("pb", b.as_str())];
        let told = |named| layers("check", named, &all).1.contains("two patches set");
        (told("lab + pa + pb"), told("lab + pb + pa"))
    };
    let (small, large) = (product("x: 1 A"), product("x: 2 A"));
    assert_eq!(conflict(&small, &large), (true, true));
    assert_eq!(conflict(&small, ""), (false, false));
    let least = |n: u8| format!("kinds: {{thing: {{at-least: {n}}}}}\n");
    assert_eq!(conflict(&least(1), &least(2)), (true, true));
    assert_eq!(conflict(&least(1), &least(1)), (false, false));
    let cost = |n: u8| format!("mend:\n  - {{is: thing.x, cost: {n}}}\n");
    assert_eq!(conflict(&cost(1), &cost(2)), (true, true));
    let word = |to: &str, cost: u8| format!("mend:\n  - {{is: thing.k, to: {to}, cost: {cost}}}\n");
    assert_eq!(conflict(&word("p", 1), &word("[p, q]", 2)), (true, true));
    assert_eq!(
        conflict(&word("[p]", 1), &word("[q, r]", 2)),
        (false, false)
    );
}

/// An amendment that nothing heeds is told: of a rule that is withdrawn below, or twice in one layer.
#[test]
fn an_amendment_that_does_nothing_is_an_error() {
    let child = |name: &str, parent: &str, said: &str| {
        format!(
            "ruleset: {name}\ntitle: a child\nparent: {parent}\neditions:\n  - {{id: A, title: first}}\n{said}"
        )
    };
    let amend = |to: &str| format!("  - {{id: lab-cap, require: 'x <= {to}', because: 'so'}}\n");
    let without = child(
        "low",
        "lab",
        "withdraw:\n  - {id: lab-cap, because: 'not here'}\n",
    );
    let once = child("top", "low", &format!("amend:\n{}", amend("3 A")));
    let all = [
        ("lab", LAB),
        ("low", without.as_str()),
        ("top", once.as_str()),
    ];
    let (code, said) = layers("check", "top", &all);
    assert_eq!(code, 2, "{said}");
    assert!(
        said.contains("that is amended here does not exist"),
        "{said}"
    );
    assert!(said.contains("withdrawn here"), "{said}");
    let twice = child(
        "top",
        "lab",
        &format!("amend:\n{}{}", amend("3 A"), amend("30 A")),
    );
    let (code, said) = layers("check", "top", &[("lab", LAB), ("top", &twice)]);
    assert_eq!(code, 2, "{said}");
    assert!(said.contains("is amended twice"), "{said}");
}

/// An edition that an amendment names for one of its ways is one of the ruleset that amends.
#[test]
fn a_way_of_an_amendment_holds_in_the_editions_of_its_layer() {
    let (rules, _) = LAB.split_once("---").expect("the cases come second");
    let lab = rules.replace(
        "require: 'x <= limits.cap'",
        "ways: {low: 'x <= limits.cap'}",
    );
    let top = "ruleset: top
title: a child
parent: lab
editions:
  - {id: A, title: first, parent-edition: B}
  - {id: B, title: second, parent-edition: A}
amend:
  - {id: lab-cap, ways: {low: 'x <= 1 A', five: {is: 'x == 5 A', in: A}, seven: {is: 'x == 7 A', in: B}}, because: 'so'}
---
case-base: |
  thing t { x: 5 A }
cases:
  lab-cap:
    met: [{t.x: 5 A, edition: A}, {t.x: 7 A, edition: B}]
    failed: [{t.x: 7 A, edition: A}, {t.x: 5 A, edition: B}]
    undecided: {t.x: '?'}
";
    let (code, said) = layers("test", "top", &[("lab", &lab), ("top", top)]);
    assert_eq!(code, 0, "{said}");
}

/// A rule may be amended from one condition to ways, of which each will do.
#[test]
fn ways_take_the_place_of_a_requirement() {
    let (rules, _) = LAB.split_once("---").expect("the cases come second");
    let firm = "ruleset: firm\ntitle: Our firm\namend:\n  - {id: lab-cap, ways: {low: 'x <= limits.cap', just: 'x == 20 A'}, because: 'so'}\n---\ncase-base: |\n  thing t { x: 5 A }\ncases:\n  lab-cap:\n    met: [{t.x: 5 A}, {t.x: 20 A}]\n    failed: [{t.x: 15 A}]\n    undecided: {t.x: '?'}\n";
    let (code, said) = layers("test", "lab + firm", &[("lab", rules), ("firm", firm)]);
    assert_eq!(code, 0, "{said}");
}

#[test]
fn a_patch_is_named_once() {
    let (code, said) = layers(
        "check",
        "lab + firm + firm",
        &[("lab", LAB), ("firm", FIRM)],
    );
    assert_eq!(code, 2, "{said}");
    assert!(said.contains("is named twice"), "{said}");
}

/// Where one of the subjects of a case fails, it is not undecided, whatever the others are.
#[test]
fn a_case_with_one_that_fails_is_not_undecided() {
    let lab = LAB.replace(
        "thing t { x: 5 A }",
        "thing t { x: 5 A }\n  thing u { x: 2 A }",
    );
    assert_eq!(layers("test", "lab", &[("lab", &lab)]).0, 0);
    let lab = lab.replace("undecided: {t.x: '?'}", "undecided: {t.x: '?', u.x: 20 A}");
    let (code, said) = layers("test", "lab", &[("lab", &lab)]);
    assert_eq!(code, 1, "{said}");
    assert!(
        said.contains("is said to be undecided and came out"),
        "{said}"
    );
}

/// A series stated anew serves the facts that take it, or is told where it does not; so is one
/// that nobody states, in a table as in a fact.
#[test]
fn a_series_has_the_unit_of_what_takes_it() {
    let lab = LAB.replace("domain: '>= 0 A'}", "domain: '>= 0 A', series: sizes}");
    let lab = lab.replacen(
        "limits:",
        "series:\n  sizes: {is: A, members: [5, 8, 9, 11], means: 'sizes', source: own}\nlimits:",
        1,
    );
    let lab = lab.split("---").next().expect("there");
    let firm = |unit: &str| {
        format!(
            "ruleset: firm\ntitle: ours\nseries:\n  sizes: {{is: {unit}, members: [5, 9], means: ours, source: own, replaces: yes}}\n"
        )
    };
    let (code, out) = rules("check", lab, &firm("A"));
    assert_eq!(code, 0, "{out}");
    let (code, out) = rules("check", lab, &firm("V"));
    assert_eq!(code, 2, "{out}");
    assert!(out.contains("the series `sizes` are in `V`"), "{out}");
    let table = "tables:\n  up: {title: 'up', source: own, keys: {size: {is: A, between: nothing, series: sises}}, gives: A, rows: [[5, 10]]}\n";
    let (code, out) = rules("check", &format!("{lab}{table}"), FIRM);
    assert_eq!(code, 2, "{out}");
    assert!(out.contains("did you mean `sizes`?"), "{out}");
}
