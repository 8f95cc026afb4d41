//! The cases of the rulesets reach the rules, and the tables of what is encoded hold them all.

#![expect(
    clippy::expect_used,
    reason = "a test stops where the program does not start"
)]

use std::fs;
use std::path::Path;
use std::process::Command;

use amperule::ruleset::Request;

/// Least share of branches that cases must have seen both true and false.
const LEAST_BRANCHES: f64 = 95.0;

fn run(arguments: &[&str]) -> (i32, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(arguments)
        .args(["--color", "never"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program starts");
    let text = String::from_utf8_lossy(&done.stdout).into_owned();
    (done.status.code().unwrap_or(-1), text)
}

/// A ruleset of one rule with the cases given, in a folder of its own.
fn small(folder: &Path, require: &str, cases: &str) {
    let ruleset = folder.join("small");
    fs::create_dir_all(&ruleset).expect("a folder");
    let text = format!(
        "ruleset: small
title: Small
parent: core
editions: [{{id: '1', title: 'Small, first edition'}}]
rules:
  - id: small-rule
    title: A rule
    stage: design
    each: supply
    require: '{require}'
    message: 'it does not hold for {{subject}}'
    topic: test
    clause: 'common practice'
    source: 'common practice, no source'
    confidence: common-practice
    because: a test needs one
---
case-base: |
  installation \"S\" {{ premises: dwelling }}
  supply {{ earthing: TN-S  phases: 1  U0: 230 V  Ze: 0.3 ohm }}
  board main {{ fed-from: supply  status: existing  Icc: 2 kA }}
cases:
  small-rule:
{cases}"
    );
    fs::write(ruleset.join("ruleset.yaml"), text).expect("a file");
}

fn test_small(require: &str, cases: &str) -> (i32, String) {
    let folder = tempfile::tempdir().expect("a folder");
    small(folder.path(), require, cases);
    let path = folder.path().to_string_lossy().into_owned();
    run(&[
        "rules",
        "test",
        "--rules",
        "small",
        "--rulesets",
        &path,
        "--coverage",
    ])
}

#[test]
fn the_cases_reach_the_branches_of_the_shipped_rules() {
    for (rules, editions) in [("iec", 1), ("gb", 5), ("us", 4)] {
        let (code, out) = run(&["rules", "test", "--rules", rules]);
        assert_eq!(code, 0, "{out}");
        let lines: Vec<&str> = out
            .lines()
            .filter(|l| l.starts_with(&format!("{rules} edition ")))
            .collect();
        assert_eq!(lines.len(), editions, "{out}");
        for line in lines {
            let percent: f64 = line
                .split_once("branches (")
                .and_then(|(_, rest)| rest.split_once(" %"))
                .expect("a share in per cent")
                .0
                .parse()
                .expect("a number");
            assert!(percent >= LEAST_BRANCHES, "{line}");
        }
    }
}

#[test]
fn a_branch_that_no_case_sees_both_ways_is_listed_with_its_place() {
    let enough = "    met: {}\n    failed: {supply.Ze: 2 ohm}\n    undecided: {supply.Ze: '?'}\n";
    let (code, out) = test_small("Ze <= 1 ohm and phases <= 1", enough);
    assert_eq!(code, 0, "{out}");
    assert!(
        out.contains("1 of 2 branches (50.0 %) seen true and seen false"),
        "{out}"
    );
    let place = "ruleset.yaml:10:31: `small-rule`: `phases <= 1` is never false";
    assert!(out.contains(place), "{out}");
    assert!(!out.contains("`Ze <= 1 ohm` is"), "{out}");
}

#[test]
fn an_operand_counts_only_where_the_one_before_leaves_the_answer_to_it() {
    // Where the loop impedance is too high, the second operand of `and` decides nothing.
    let cases = "    met: {}\n    failed: {supply.Ze: 2 ohm, supply.phases: 3}\n    undecided: {supply.Ze: '?'}\n";
    let (_, masked) = test_small("Ze <= 1 ohm and phases <= 1", cases);
    assert!(masked.contains("`phases <= 1` is never false"), "{masked}");
    let (_, other) = test_small("phases <= 1 and Ze <= 1 ohm", cases);
    assert!(other.contains("`Ze <= 1 ohm` is never false"), "{other}");
    assert!(!other.contains("`phases <= 1` is"), "{other}");
}

#[test]
fn conditions_inside_of_aggregates_and_ifs_are_branches() {
    let cases = "    met: {}\n    failed: {supply.Ze: 2 ohm}\n    undecided: {supply.Ze: '?'}\n";
    let (_, out) = test_small(
        "Ze <= (if phases == 1 then 1 ohm else 0.5 ohm) and (any b in boards: b.status == new or b.Icc >= 1 kA)",
        cases,
    );
    assert!(out.contains("`phases == 1` is never false"), "{out}");
    assert!(!out.contains("`Ze <= (if"), "{out}");
    assert!(out.contains("`b.status == new` is never true"), "{out}");
    assert!(out.contains("`b.Icc >= 1 kA` is never false"), "{out}");
}

#[test]
fn a_rule_without_one_of_the_three_cases_fails_the_run() {
    let (code, out) = test_small(
        "Ze <= 1 ohm",
        "    met: {}\n    failed: {supply.Ze: 2 ohm}\n",
    );
    assert_eq!(code, 1, "{out}");
    assert!(
        out.contains("the rule `small-rule` has no case that is undecided"),
        "{out}"
    );
    assert!(
        out.contains("0 of 1 rules have cases met, failed and undecided"),
        "{out}"
    );
}

#[test]
fn a_ruleset_without_editions_is_no_success() {
    let folder = tempfile::tempdir().expect("a folder");
    let ruleset = folder.path().join("bare");
    fs::create_dir_all(&ruleset).expect("a folder");
    fs::write(
        ruleset.join("ruleset.yaml"),
        "ruleset: bare\nparent: core\n",
    )
    .expect("a file");
    let path = folder.path().to_string_lossy().into_owned();
    for verb in ["test", "check", "table"] {
        let (code, out) = run(&["rules", verb, "--rules", "bare", "--rulesets", &path]);
        assert_eq!(code, 2, "{verb}: {out}");
        assert!(out.contains("states no edition"), "{verb}: {out}");
    }
}

/// Each rule that judges has its line, and each thing that is left out.
#[test]
fn the_table_of_a_ruleset_has_all_its_rules() {
    let project = amperule::Project::in_memory(amperule::source::Memory::default());
    let library = project.library();
    for rules in ["gb", "iec", "us"] {
        let (code, out) = run(&["rules", "table", "--rules", rules]);
        assert_eq!(code, 0, "{out}");
        let request = Request::newest(library, rules.to_owned(), Vec::new());
        let loaded = project.ruleset(&request);
        let ruleset = loaded.ruleset.as_deref().expect("a ruleset");
        for rule in ruleset.judging() {
            assert!(out.contains(&rule.id), "{rules}: {}", rule.id);
        }
        for left in &ruleset.left_out {
            let what = left.what.replace('|', "\\|");
            assert!(out.contains(&what), "{rules}: {what}");
        }
    }
}

#[test]
fn what_is_left_out_is_checked() {
    let cases = "    met: {}\n    failed: {supply.Ze: 2 ohm}\n    undecided: {supply.Ze: '?'}\n";
    let check = |section: &str| {
        let folder = tempfile::tempdir().expect("a folder");
        small(folder.path(), "Ze <= 1 ohm", cases);
        fs::write(folder.path().join("small/left-out.yaml"), section).expect("a file");
        let path = folder.path().to_string_lossy().into_owned();
        run(&["rules", "table", "--rules", "small", "--rulesets", &path])
    };
    let (code, out) =
        check("left-out:\n  - {what: a thing | more, clause: a law 1, why: no fact for it}\n");
    assert_eq!(code, 0, "{out}");
    assert!(
        out.contains("| a thing \\| more | a law 1 | no fact for it | small |"),
        "{out}"
    );
    for (section, message) in [
        (
            "left-out:\n  - {what: a thing, clause: a law 1}\n",
            "needs `why`",
        ),
        (
            "left-out:\n  - {what: a thing, clause: '', why: no fact}\n",
            "`clause` of an entry of `left-out` says nothing",
        ),
        (
            "left-out:\n  - {what: a thing, clause: a law, why: no fact, wy: more}\n",
            "has no key `wy`",
        ),
        (
            "left-out:\n  - {what: a thing, clause: a law, why: no fact}\n  - {what: a thing, clause: a law, why: again}\n",
            "`a thing` is left out twice",
        ),
        ("left-out: {what: a thing}\n", "`left-out` holds a list"),
    ] {
        let (code, out) = check(section);
        assert_eq!(code, 2, "{section}: {out}");
        assert!(out.contains(message), "{section}: {out}");
    }
}
