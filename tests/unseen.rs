//! Other people's texts (names, labels, paths, cells, arguments) can neither steer a terminal nor
//! get out of the markup they stand in, in any command and form; JSON holds them exactly.

#![cfg(unix)]
#![expect(
    clippy::expect_used,
    reason = "a run that cannot be started is a fault of the test"
)]

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use amperule::source::is_unseen;
use serde_json::Value;
use tempfile::TempDir;

/// What a text of somebody else's may hold, where a quote may stand and where none may.
const EVIL: &str = "\u{1b}[31mEVIL\u{1b}]0;t\u{7}\u{8}\u{7f}\u{9b}5m\u{85}\u{202e}\u{2066}\u{200b}\u{feff}\u{2028}\u{2029}\u{ad}\u{e0041}<script>'</script><b onload='x'>&amp;";
const QUOTED: &str = "\\\" onload=\\\"x\\\\";
/// Letters to the grammar, that nobody sees.
const BLANK_LETTERS: &str = "\u{3164}\u{61c}";
/// Two lines as a file name: the second looks like a result.
const FILE: &str = "in\u{1b}[31mEVIL\u{202e}<i>\nFAKE: 0 breaches.amp";

/// An example in which every text and the names of circuits are somebody's who means no good; with
/// `good`, the same with names that mean nothing.
fn hostile(name: &str, good: bool) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("examples")
        .join(name);
    let text = fs::read_to_string(path).expect("the example is there");
    let mut out = String::new();
    for line in text.lines() {
        let mut line = line.to_owned();
        let comment = line.trim_start().starts_with('#');
        if !comment && line.matches('"').count() == 2 {
            let end = line.rfind('"').expect("a quote");
            let more = if good {
                "GOOD".to_owned()
            } else {
                format!("{EVIL}{QUOTED}")
            };
            line.insert_str(end, &more);
        }
        for (before, after) in [
            ("circuit ev ", "circuit ev"),
            ("circuit: ev", "circuit: ev"),
        ] {
            let blank = if good { "X" } else { BLANK_LETTERS };
            let rest = if before.ends_with(' ') { " " } else { "" };
            line = line.replace(before, &format!("{after}{blank}{rest}"));
        }
        out.push_str(&line);
        out.push('\n');
    }
    assert!(out.contains(if good { "GOOD" } else { "EVIL" }), "{name}");
    out
}

fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(args)
        .current_dir(folder)
        .env("COLUMNS", "1000")
        .output()
        .expect("the program starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

/// The program's own colours taken out.
fn without_colours(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find("\u{1b}[") {
        let (before, after) = rest.split_at(at);
        out.push_str(before);
        let codes = after.trim_start_matches("\u{1b}[");
        let end = codes.trim_start_matches(|c: char| c.is_ascii_digit() || c == ';');
        match end.strip_prefix('m') {
            // Nothing of ours begins to colour just there.
            Some(end) if !end.starts_with("EVIL") => rest = end,
            _ => {
                out.push('\u{1b}');
                rest = codes;
            }
        }
    }
    out.push_str(rest);
    out
}

fn is_harmless(done: &Output, what: &str) -> String {
    for bytes in [&done.stdout, &done.stderr] {
        let shown = without_colours(&text(bytes));
        let unseen = |c: char| is_unseen(c) && !matches!(c, '\n' | '\t');
        let bad = shown.lines().find(|l| l.contains(unseen));
        assert_eq!(bad, None, "{what}");
        let fake = shown.lines().find(|l| l.starts_with("FAKE"));
        assert_eq!(fake, None, "{what}");
    }
    assert!(done.status.code().is_some_and(|c| c < 4), "{what}");
    assert!(!text(&done.stderr).contains("panicked"), "{what}");
    format!("{}{}", text(&done.stdout), text(&done.stderr))
}

/// Everything between `<` and `>`.
fn tags(markup: &str) -> Vec<&str> {
    let mut all = Vec::new();
    for part in markup.split('<').skip(1) {
        let (tag, _) = part.split_once('>').expect("a tag ends");
        all.push(tag);
    }
    all
}

fn folder(of: &[(&str, String)]) -> TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    for (name, text) in of {
        fs::write(dir.path().join(name), text).expect("written");
    }
    dir
}

/// Command lines about one design, without its file.
const ANSWERS: [&[&str]; 21] = [
    &["check"],
    &["check", "--all"],
    &["check", "--stage", "handover"],
    &["check", "--format", "json", "--all"],
    &["working"],
    &["working", "--format", "html"],
    &["working", "--format", "json"],
    &["bounds"],
    &["bounds", "--format", "json"],
    &["survey"],
    &["survey", "--format", "json"],
    &["survey", "--format", "sheet"],
    &["survey", "--format", "html"],
    &["mend"],
    &["mend", "--format", "json"],
    &["sheet"],
    &["sheet", "--format", "html"],
    &["sheet", "--format", "json"],
    &["sheet", "--for", "network"],
    &["sheet", "--for", "network", "--format", "html"],
    &["sheet", "--for", "network", "--format", "json"],
];

const EXAMPLES: [&str; 3] = [
    "terrace-template.amp",
    "half-filled-survey.amp",
    "quarry-cottage-faults.amp",
];

#[test]
fn no_answer_about_a_design_passes_anything_on() {
    let mut shown = 0;
    for example in EXAMPLES {
        let dir = folder(&[(FILE, hostile(example, false))]);
        let good = folder(&[("in.amp", hostile(example, true))]);
        for args in ANSWERS {
            let what = format!("{example} {args:?}");
            for color in ["never", "always"] {
                let line = [args, &["--color", color, FILE]].concat();
                let said = is_harmless(&run(dir.path(), &line), &what);
                shown += usize::from(said.contains("EVIL"));
            }
            let done = run(dir.path(), &[args, &[FILE]].concat());
            let plain = run(good.path(), &[args, &["in.amp"]].concat());
            assert_eq!(done.status.code(), plain.status.code(), "{what}");
            if args.contains(&"json") {
                let json: Value = serde_json::from_slice(&done.stdout).expect("JSON");
                let files = &json["files"][0]["path"];
                let path = if files.is_null() {
                    &json["path"]
                } else {
                    files
                };
                assert_eq!(path.as_str(), Some(FILE), "{what}");
            } else if args.contains(&"html") {
                let (evil, plain) = (text(&done.stdout), text(&plain.stdout));
                // Names may stand in attributes, spelt out; nothing of them opens or closes a tag.
                let named = |tag: &str| tag.replace("[U+3164][U+061C]", "X");
                let evil_tags: Vec<String> = tags(&evil).into_iter().map(named).collect();
                assert_eq!(evil_tags, tags(&plain), "{what}");
                assert!(evil.contains("&lt;script&gt;&#39;"), "{what}");
            }
        }
    }
    assert!(shown > 80, "only {shown} answers show such a text");
}

#[test]
fn json_holds_names_exactly() {
    let dir = folder(&[("in.amp", hostile("half-filled-survey.amp", false))]);
    let done = run(dir.path(), &["sheet", "--format", "json", "in.amp"]);
    let json: Value = serde_json::from_slice(&done.stdout).expect("JSON");
    let name = json["installation"].as_str().expect("a name");
    let exact = format!(
        "{EVIL}{}",
        QUOTED.replace("\\\"", "\"").replace("\\\\", "\\")
    );
    assert!(name.ends_with(&exact), "{name:?}");
}

#[test]
fn no_other_command_passes_anything_on() {
    let template = hostile("rope-yard-template.amp", false);
    let rows = "run (m),\"EVIL\u{1b}[2J\u{202e}\nFAKE\"\n\"1\u{1b}]0;x\u{7}\u{9b}2\u{202e}\nFAKE\",x\n12,x\n";
    let broken =
        hostile("quarry-cottage.amp", false).replace("U0: 230 V", &format!("U0: {EVIL}\ruh V"));
    let dir = folder(&[
        (FILE, template),
        ("row.amp", hostile("terrace-template.amp", false)),
        ("EVIL\n\u{1b}[2JFAKE.csv", rows.to_owned()),
        ("broken\nFAKE\u{9b}.amp", broken),
        (
            "uses.amp",
            format!(
                "use \"no{EVIL}.amp\"\n{}",
                hostile("quarry-cottage.amp", false)
            ),
        ),
        (
            "untidy\nFAKE\u{1b}.amp",
            hostile("quarry-cottage.amp", false).replace("\n  premises", "\n     premises"),
        ),
    ]);
    let own = dir.path().join("own/evil");
    fs::create_dir_all(&own).expect("a folder");
    let yaml = "
ruleset: evil
title: \"t \\e[31mEVIL\\u202E\\x9B\"
editions:
  - {id: '1', title: \"first \\e[31mEVIL\\u202E\"}
kinds:
  installation:
    means: \"the whole \\e[31mEVIL\\u202E\"
    facts:
      rules: {is: text, means: 'rules', by: designer}
  thing:
    means: a thing
    facts:
      x: {is: A, means: \"a current \\e[31mEVIL\\u2066\", by: site, how: \"look \\e[31mEVIL\\u2066\", domain: '>= 0 A'}
rules:
  - {id: small, title: \"x \\e[31mEVIL\\u202E\", stage: design, each: thing, require: 'x <= 16 A', message: \"{subject} \\e[31mEVIL\\u202E\", topic: tests, source: \"of \\e[31mEVIL\\u202E\", confidence: published}
";
    fs::write(own.join("ruleset.yaml"), yaml).expect("written");
    let thing =
        format!("installation \"Yard\" {{ rules: evil }}\nthing t \"{EVIL}\" {{ x: 20 A }}\n");
    fs::write(dir.path().join("thing.amp"), thing).expect("written");
    let evil = EVIL;
    let lines: Vec<Vec<&str>> = vec![
        vec!["prove", FILE],
        vec!["prove", "--format", "json", FILE],
        vec!["prove", FILE, "--svg", "EVIL\nFAKE\u{1b}[2J\u{202e}.svg"],
        vec!["prove", FILE, "--over", evil],
        vec!["check", "row.amp", "--rows", "EVIL\n\u{1b}[2JFAKE.csv"],
        vec![
            "check",
            "row.amp",
            "--format",
            "json",
            "--rows",
            "EVIL\n\u{1b}[2JFAKE.csv",
        ],
        vec![
            "check",
            "broken\nFAKE\u{9b}.amp",
            "uses.amp",
            "EVIL\nFAKE: x\u{1b}.amp",
        ],
        vec!["check", "."],
        vec!["check", evil],
        vec!["check", "row.amp", "--set", "run=EVIL\u{1b}[2J\u{202e}"],
        vec!["check", "row.amp", "--rules", evil],
        vec!["check", "row.amp", "--edition", evil],
        vec!["check", "row.amp", "--stage", evil],
        vec!["check", "row.amp", "--rulesets", evil],
        vec!["working", "row.amp", evil],
        vec!["bounds", "row.amp", evil],
        vec!["compare", "--from", FILE, "--to", "row.amp"],
        vec![
            "compare", "--from", "gb@2018", "--to", "gb@A4", FILE, "row.amp",
        ],
        vec!["compare", "--from", evil, "--to", evil, "row.amp"],
        vec!["format", "--check", "."],
        vec!["format", "."],
        vec!["new", "--rules", "gb", "--name", evil],
        vec![
            "new",
            "--rules",
            "gb",
            "--name",
            evil,
            "EVIL\nFAKE\u{1b}[2J.amp",
        ],
        vec!["new", "--rules", evil],
        vec!["explain", evil],
        vec!["rules", "show", evil],
        vec!["rules", "words", evil],
        vec![evil],
        vec!["check", "thing.amp", "--rulesets", "own"],
        vec!["survey", "thing.amp", "--rulesets", "own"],
        vec!["explain", "small", "--rules", "evil", "--rulesets", "own"],
        vec!["rules", "list", "--rules", "evil", "--rulesets", "own"],
        vec![
            "rules",
            "show",
            "small",
            "--rules",
            "evil",
            "--rulesets",
            "own",
        ],
        vec![
            "rules",
            "words",
            "thing",
            "--rules",
            "evil",
            "--rulesets",
            "own",
        ],
        vec!["rules", "table", "--rules", "evil", "--rulesets", "own"],
        vec!["rules", "test", "--rules", "evil", "--rulesets", "own"],
        vec!["rules", "check", "--rules", "evil", "--rulesets", "own"],
    ];
    let mut shown = 0;
    for line in &lines {
        for color in ["never", "always"] {
            let line = [line.as_slice(), &["--color", color]].concat();
            let said = is_harmless(&run(dir.path(), &line), &format!("{line:?}"));
            shown += usize::from(said.contains("EVIL"));
        }
    }
    assert!(
        shown > 50,
        "only {shown} of {} show such a text",
        2 * lines.len()
    );
    let drawn = fs::read_to_string(dir.path().join("EVIL\nFAKE\u{1b}[2J\u{202e}.svg"));
    let drawn = drawn.expect("the map is drawn");
    assert!(!drawn.contains(|c| is_unseen(c) && c != '\n'));
    assert!(
        drawn.contains("EVIL") && !drawn.contains("<i>"),
        "{}",
        &drawn[..400]
    );
}
