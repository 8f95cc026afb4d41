//! `amperule.toml`, completions, the manual page and the hooks.

use std::fs;
use std::path::Path;

use super::{ROOT, example, folder, run};

/// A rule of a firm that no point keeps.
const FIRM: &str = "
ruleset: our-firm
title: our firm
parent: gb
editions: [{id: '1', title: first}]
rules:
  - {id: our-firm-lead, title: the lead is long, stage: design, severity: caution, each: charge-point, require: 'In <= 1 A', message: 'the firm wants another', topic: firm, source: standing instruction, confidence: common-practice}
";

fn jobs(config: &str) -> tempfile::TempDir {
    folder(&[
        ("amperule.toml", config),
        (
            "jobs/a.amp",
            &example("quarry-cottage").replace("rules: gb", ""),
        ),
        ("jobs/b.amp", &example("quarry-cottage")),
        ("firm/our-firm/ruleset.yaml", FIRM),
        ("inside/deep/keep", ""),
    ])
}

#[test]
fn what_holds_for_a_folder_is_found_above() {
    let config = "rulesets = [\"firm\"]\nrules = \"gb + our-firm\"\ndeny = \"caution\"\nfiles = [\"jobs\"]\n";
    let dir = jobs(config);
    for (inside, path) in [(".", "jobs"), ("inside/deep", "../../jobs")] {
        let (code, text, note) = run(&dir.path().join(inside), &["check", "-q"], 100);
        // The one that says its rules itself keeps them.
        let said = format!("{path}/a.amp:");
        assert!(
            text.contains(&said) && text.contains("[our-firm-lead]"),
            "{text}{note}"
        );
        assert!(!text.contains("b.amp"), "{text}");
        assert_eq!(code, 1, "{text}");
    }
    let (code, text, _) = run(dir.path(), &["--no-config", "check", "jobs/b.amp"], 100);
    assert_eq!(code, 0, "{text}");
    let (code, _, note) = run(
        dir.path(),
        &["--no-config", "check", "jobs/a.amp", "--full"],
        100,
    );
    assert_eq!(code, 2, "{note}");
    let (code, _, note) = run(dir.path(), &["--no-config", "check"], 100);
    assert_eq!(code, 2);
    assert!(note.contains("no design is named"), "{note}");
    // Other commands heed it, too.
    let (code, text, _) = run(dir.path(), &["rules", "list", "--rules", "our-firm"], 100);
    assert_eq!(code, 0);
    assert!(text.contains("our-firm-lead"), "{text}");
}

/// A stage for all never takes a design back that has come further.
#[test]
fn a_stage_for_all_is_that_of_designs_without_one() {
    let dir = jobs("stage = \"survey\"\n");
    let path = dir.path().join("jobs/b.amp");
    let text = fs::read_to_string(&path).expect("read");
    fs::write(&path, text.replace("  stage: design\n", "")).expect("written");
    let stage = |more: &[&str]| {
        let mut all = vec!["check", "jobs/b.amp"];
        all.extend(more);
        let (_, text, _) = run(dir.path(), &all, 120);
        let said = text.split("stage ").nth(1).unwrap_or_default().to_owned();
        said.split([';', ',', ' '])
            .next()
            .unwrap_or_default()
            .to_owned()
    };
    assert_eq!(stage(&[]), "survey");
    assert_eq!(stage(&["--stage", "design"]), "design");
    let text = fs::read_to_string(&path).expect("read");
    fs::write(&path, text.replace("rules: gb", "rules: gb  stage: verify")).expect("written");
    assert_eq!(stage(&[]), "verify");
}

#[test]
fn mistakes_in_it_are_pointed_at() {
    for (config, said, place) in [
        (
            "rule = \"gb\"\n",
            "unknown field `rule`",
            "amperule.toml:1:1",
        ),
        (
            "stage = \"desing\"\n",
            "did you mean `design`?",
            "amperule.toml:1:9",
        ),
        (
            "deny = \"breach\"\n",
            "one of caution, advice",
            "amperule.toml:1:8",
        ),
        ("rules = \n", "amperule.toml", "amperule.toml:1:"),
    ] {
        let dir = jobs(config);
        let (code, _, note) = run(dir.path(), &["check", "jobs/b.amp"], 100);
        assert_eq!(code, 2, "{note}");
        assert!(note.contains(said) && note.contains(place), "{note}");
        assert_eq!(
            run(dir.path(), &["--no-config", "check", "jobs/b.amp"], 100).0,
            0
        );
    }
}

#[test]
fn a_ruleset_that_is_not_found_says_how_one_is() {
    let dir = jobs("");
    let (code, text, _) = run(
        dir.path(),
        &["check", "--rules", "gb + our-firm", "jobs/b.amp"],
        100,
    );
    assert_eq!(code, 2);
    assert!(text.contains("--rulesets FOLDER"), "{text}");
}

#[test]
fn shells_and_the_manual_know_every_command() {
    let root = Path::new(ROOT);
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let (code, text, _) = run(root, &["completions", shell], 100);
        assert_eq!(code, 0);
        for word in ["check", "survey", "baseline"] {
            assert!(text.contains(word), "{shell}: {word}");
        }
    }
    let (code, text, _) = run(root, &["man"], 100);
    assert!(code == 0 && text.contains(".TH amperule 1"), "{text}");
    let (code, text, _) = run(root, &["man", "check"], 100);
    assert!(code == 0 && text.contains("baseline"), "{text}");
    let (code, _, note) = run(root, &["man", "chekc"], 100);
    assert!(
        code == 2 && note.contains("did you mean `check`?"),
        "{note}"
    );
}

/// Each hook is a command line that the program takes.
#[test]
fn the_hooks_run() {
    let hooks = fs::read_to_string(format!("{ROOT}/.pre-commit-hooks.yaml")).expect("the hooks");
    let entries: Vec<&str> = hooks
        .lines()
        .filter_map(|l| l.trim().strip_prefix("entry: amperule "))
        .collect();
    assert_eq!(entries.len(), 2, "{hooks}");
    for entry in entries {
        let dir = folder(&[("a.amp", &example("quarry-cottage"))]);
        let mut arguments: Vec<&str> = entry.split(' ').collect();
        arguments.push("a.amp");
        let (code, text, note) = run(dir.path(), &arguments, 100);
        assert_eq!(code, 0, "{entry}: {text}{note}");
    }
}
