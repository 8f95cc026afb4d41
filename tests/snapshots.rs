//! What the program prints, whole: each text was read before it was accepted. After a change on
//! purpose (of a ruleset, say) run with `INSTA_UPDATE=always` and read what differs.

#![expect(
    clippy::expect_used,
    reason = "a test stops where the program does not start"
)]

mod messages;
use crate::common::program;

use std::fs;
use std::path::Path;

use tempfile::TempDir;

/// Runs the program in a folder, without colours, at a fixed width.
fn run_in(folder: &Path, arguments: &[&str]) -> (i32, String) {
    let (code, text, errors) = program::run(folder, arguments, 100);
    (code, without_hash(&(text + &errors)))
}

fn run(arguments: &[&str]) -> String {
    let (code, text) = run_in(Path::new(env!("CARGO_MANIFEST_DIR")), arguments);
    format!("{text}exit code {code}\n")
}

/// The hash of a ruleset changes with each word of it; nothing else here does.
fn without_hash(text: &str) -> String {
    let is_hash = |w: &str| w.len() == 16 && w.bytes().all(|b| b.is_ascii_hexdigit());
    text.split_inclusive(|c: char| !c.is_ascii_alphanumeric())
        .map(|part| {
            let end = part.trim_end_matches(|c: char| !c.is_ascii_alphanumeric());
            match part.get(end.len()..) {
                Some(rest) if is_hash(end) => format!("HASH{rest}"),
                _ => part.to_owned(),
            }
        })
        .collect()
}

fn example(name: &str) -> String {
    run(&["check", "--full", &format!("examples/{name}.amp")])
}

#[test]
fn check_of_each_example() {
    for name in [
        "elm-fork",
        "half-filled-survey",
        "heron-farm",
        "larch-bank",
        "mill-lane-workshop",
        "quarry-cottage",
        "quarry-cottage-faults",
        "terrace-template",
    ] {
        insta::assert_snapshot!(format!("check-{name}"), example(name));
        let first = run(&["check", &format!("examples/{name}.amp")]);
        insta::assert_snapshot!(format!("first-{name}"), first);
    }
}

#[test]
fn check_as_json() {
    let text = run(&[
        "check",
        "--format",
        "json",
        "examples/quarry-cottage-faults.amp",
    ]);
    // One value a line, so that a difference is seen.
    let json = text.split("exit code").next().unwrap_or("");
    let value: serde_json::Value = serde_json::from_str(json).expect("JSON");
    let pretty = serde_json::to_string_pretty(&value).expect("JSON");
    insta::assert_snapshot!("json-quarry-cottage-faults", pretty);
}

#[test]
fn workings() {
    for (file, fact) in [
        ("quarry-cottage", "ev.Iz"),
        ("quarry-cottage", "ev.voltage-drop"),
        ("quarry-cottage", "ev.Zs"),
        ("quarry-cottage", "ev.Zs-limit"),
        ("quarry-cottage", "ev.cpc-min"),
        ("mill-lane-workshop", "supply.maximum-demand"),
        ("mill-lane-workshop", "supply.touch-voltage"),
    ] {
        let text = run(&["working", &format!("examples/{file}.amp"), fact]);
        insta::assert_snapshot!(format!("working-{fact}"), text);
    }
}

#[test]
fn rules_shown() {
    for id in [
        "iec-fault-cleared-in-time",
        "iec-device-within-cable",
        "gb-pme-not-used-outdoors",
    ] {
        insta::assert_snapshot!(format!("rule-{id}"), run(&["rules", "show", id]));
    }
}

fn sound() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/quarry-cottage.amp");
    fs::read_to_string(path).expect("the example is there")
}

/// The sound design with one thing changed.
fn changed(from: &str, to: &str) -> String {
    let text = sound();
    assert!(text.contains(from), "`{from}` is not in the example");
    text.replacen(from, to, 1)
}

/// A folder with a design `bad.amp`, and a ruleset `mine`, if there is one.
fn folder(design: &str, ruleset: Option<&str>) -> TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    fs::write(dir.path().join("bad.amp"), design).expect("written");
    if let Some(yaml) = ruleset {
        let mine = dir.path().join("sets").join("mine");
        fs::create_dir_all(&mine).expect("made");
        fs::write(mine.join("ruleset.yaml"), yaml).expect("written");
    }
    dir
}

/// What is said of `bad.amp` before any verdict.
fn refused(design: &str, ruleset: Option<&str>) -> String {
    let dir = folder(design, ruleset);
    let mut arguments = vec!["check", "--full", "bad.amp"];
    if ruleset.is_some() {
        arguments.extend(["--rulesets", "sets", "--rules", "mine"]);
    }
    let (code, text) = run_in(dir.path(), &arguments);
    let end = [
        "\nbreach: ",
        "\ncaution: ",
        "\nadvice: ",
        "\nundecided: ",
        "\nnot judged: ",
    ]
    .iter()
    .filter_map(|w| text.find(w))
    .min()
    .unwrap_or(text.len());
    format!("{}\nexit code {code}\n", text.get(..end).unwrap_or(""))
}

/// Aliases that unfold to more than any machine holds.
fn bomb() -> String {
    let mut yaml = String::from("ruleset: mine\na0: &a0 [x, x, x, x, x, x, x, x, x, x]\n");
    for i in 1..12 {
        let before = vec![format!("*a{}", i - 1); 9].join(", ");
        yaml.push_str(&format!("a{i}: &a{i} [{before}]\n"));
    }
    yaml
}

#[test]
fn bad_input() {
    let long = format!(
        "installation {{ rules: gb }}  # {}\nsupply {{ earthing: TN-X  # {}\n}}\n",
        "x".repeat(3000),
        "y".repeat(3000)
    );
    let designs = [
        ("unknown-fact", changed("phases: 1", "fases: 1")),
        (
            "unknown-unit",
            changed("length: 18 m ", "length: 18 furlong "),
        ),
        (
            "wrong-dimension",
            changed("length: 18 m ", "length: 18 ohm "),
        ),
        (
            "unclosed-brace",
            changed("lightning-protection: no\n}", "lightning-protection: no\n"),
        ),
        ("decimal-comma", changed("0.28 ohm", "0,28 ohm")),
        ("no-such-block", changed("circuit: ev\n", "circuit: evv\n")),
        (
            "implausible",
            changed("0.28 ohm ± 5 % (measured)", "280 ohm (measured)"),
        ),
        (
            "circular-feed",
            changed("fed-from: supply", "fed-from: main"),
        ),
        ("no-such-ruleset", changed("rules: gb", "rules: gbb")),
        ("long-line", long),
        (
            "junk",
            "]]]] {{ 12 ((( \n ===\n\u{1}\u{2} %%% \n".to_owned(),
        ),
    ];
    for (name, text) in designs {
        insta::assert_snapshot!(format!("bad-{name}"), refused(&text, None));
    }
    for (name, yaml) in [
        ("yaml-unclosed", "ruleset: [unclosed\n".to_owned()),
        ("yaml-bomb", bomb()),
        (
            "yaml-expression",
            "ruleset: mine\ntitle: mine\nparent: gb\neditions: [{id: '1', title: one}]\nrules:\n  - {id: mine-a, title: t, stage: design, each: charge-point, require: 'In <= 40 V', message: m, topic: t, source: own, confidence: published}\n".to_owned(),
        ),
    ] {
        insta::assert_snapshot!(format!("bad-{name}"), refused(&sound(), Some(&yaml)));
    }
}

/// Answers beyond yes and no, as a terminal shows them.
#[test]
fn answers() {
    let clean = "examples/quarry-cottage.amp";
    let faults = "examples/quarry-cottage-faults.amp";
    let survey = "examples/half-filled-survey.amp";
    let all: [(&str, &[&str]); 13] = [
        ("survey", &["survey", survey]),
        ("survey-sheet", &["survey", "--format", "sheet", survey]),
        (
            "new-gb",
            &["new", "--rules", "gb", "--name", "Mill Cottage"],
        ),
        ("bounds", &["bounds", clean]),
        ("bounds-of-a-choice", &["bounds", clean, "drive.ip-code"]),
        ("mend", &["mend", faults]),
        ("mend-of-an-open-design", &["mend", survey]),
        ("prove", &["prove", "examples/terrace-template.amp"]),
        ("prove-two", &["prove", "examples/rope-yard-template.amp"]),
        (
            "compare-editions",
            &["compare", "--from", "gb@2018", "--to", "gb@A4", clean],
        ),
        ("explain", &["explain", "iec-voltage-drop"]),
        ("sheet", &["sheet", clean]),
        ("order", &["order", clean]),
    ];
    for (name, arguments) in all {
        insta::assert_snapshot!(format!("answer-{name}"), run(arguments));
    }
}
