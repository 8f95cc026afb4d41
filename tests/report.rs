//! What `check` tells, to people and to programs: the first screen, many files, formats, an earlier
//! report.

#![expect(
    clippy::expect_used,
    reason = "a test stops where the program does not start"
)]

mod config;
mod formats;
mod schema;
use crate::common::program;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use amperule::answer::Question;
use amperule::check::{Outcome, Reason};
use amperule::ruleset::Severity;
use amperule::session::{Ask, Options, Project};
use amperule::vocabulary::Settler;
use program::run;
use serde_json::Value;
use tempfile::TempDir;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

const EXAMPLES: [&str; 7] = [
    "elm-fork",
    "half-filled-survey",
    "heron-farm",
    "mill-lane-workshop",
    "quarry-cottage",
    "quarry-cottage-faults",
    "terrace-template",
];

fn check(arguments: &[&str]) -> String {
    let mut all = vec!["check"];
    all.extend(arguments);
    run(Path::new(ROOT), &all, 100).1
}

fn example(name: &str) -> String {
    fs::read_to_string(format!("{ROOT}/examples/{name}.amp")).expect("an example")
}

/// A folder with some files.
fn folder(files: &[(&str, &str)]) -> TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    for (name, text) in files {
        let path = dir.path().join(name);
        fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        fs::write(path, text).expect("written");
    }
    dir
}

/// A supply whose fuse is written as no part, and one thing that is fine.
const MISTAKEN: &str = "\
installation \"Weir Cottage\" { rules: gb  premises: dwelling  designed-on: 2026-05-12 }
supply {
  status: existing  earthing: TN-C-S  phases: 1
  service-fuse: fuse { In: 80 ohm }
  logged-demand: 30 A (measured)  logged-for: 14 d  logged-season: highest
}
board main { fed-from: supply
  circuit ev { status: new  device: rcbo { In: 32 A  curve: B }  cables: armoured { size: 2.5 mm²  length: 3 m  method: C } } }
charge-point drive { circuit: ev  mode: 3  In: 32 A }
";

#[test]
fn the_first_line_is_the_answer() {
    let first = |name: &str| {
        let text = check(&[&format!("examples/{name}.amp")]);
        text.lines().next().unwrap_or_default().to_owned()
    };
    assert_eq!(
        first("quarry-cottage"),
        "Quarry Cottage: no breach, 2 pieces of advice; no question open; nothing else found"
    );
    let faults = first("quarry-cottage-faults");
    assert!(faults.contains(": 9 breaches, 1 caution, "), "{faults}");
    let half = first("half-filled-survey");
    assert!(
        half.starts_with("Fen Row 3: no breach, 2 cautions"),
        "{half}"
    );
    assert!(half.contains(" questions open, "), "{half}");
    // It does not say that nothing else was found where something was not looked at.
    let dir = folder(&[("weir.amp", MISTAKEN)]);
    let (code, text, _) = run(dir.path(), &["check", "weir.amp"], 120);
    let answer = text.lines().take(2).collect::<Vec<_>>().join(" ");
    assert_eq!(code, 2);
    assert!(
        answer.starts_with("Weir Cottage: 1 mistake in the text; "),
        "{answer}"
    );
    assert!(answer.contains(" not judged"), "{answer}");
    assert!(!answer.contains("nothing else found"), "{answer}");
    // Nobody knows what is left of what is open when the mistake is mended.
    assert!(!text.contains("work limit"), "{text}");
    // A file that is not there has no mistake in its text; one that uses such a file has.
    let dir = folder(&[(
        "user.amp",
        "use \"gone.amp\"\ninstallation \"Weir\" { rules: gb }\n",
    )]);
    let (_, text, _) = run(dir.path(), &["check", "gone.amp"], 120);
    assert!(
        text.starts_with("gone.amp: cannot be read; not judged"),
        "{text}"
    );
    let (_, text, _) = run(dir.path(), &["check", "user.amp"], 120);
    assert!(text.starts_with("Weir: 1 mistake in the text; "), "{text}");
}

#[test]
fn the_first_screen_is_short() {
    for (name, most) in [
        ("quarry-cottage", 45),
        ("heron-farm", 45),
        ("elm-fork", 45),
        ("half-filled-survey", 120),
    ] {
        let text = check(&[&format!("examples/{name}.amp")]);
        let lines = text.lines().count();
        assert!(lines <= most, "{name}: {lines} lines\n{text}");
    }
    // A file that has just been begun.
    let (_, new, _) = run(Path::new(ROOT), &["new", "--rules", "gb"], 100);
    let dir = folder(&[("new.amp", &new)]);
    let (code, text, _) = run(dir.path(), &["check", "new.amp"], 80);
    assert_eq!(code, 3);
    assert!(text.lines().count() < 60, "{text}");
}

#[test]
fn the_first_screen_fits_sixty_columns() {
    let mut texts: Vec<(String, String)> = EXAMPLES
        .iter()
        .map(|n| ((*n).to_owned(), example(n)))
        .collect();
    texts.push(("mistaken".to_owned(), MISTAKEN.to_owned()));
    for (name, text) in texts {
        let dir = folder(&[("a.amp", &text)]);
        for (width, verb) in [(60, "check"), (80, "check"), (60, "survey"), (80, "survey")] {
            let (_, text, _) = run(dir.path(), &[verb, "a.amp"], width);
            let wide: Vec<&str> = text.lines().filter(|l| l.chars().count() > width).collect();
            assert!(wide.is_empty(), "{verb} {name} at {width}: {wide:#?}");
        }
    }
}

#[test]
fn what_is_left_out_is_counted() {
    let file = "examples/half-filled-survey.amp";
    let text = check(&[file]);
    let lines: Vec<&str> = text.lines().collect();
    let asked = lines
        .iter()
        .filter(|l| l.starts_with("  ") && l.contains(", line ") && l.contains("): "))
        .count();
    let more: usize = lines
        .iter()
        .find_map(|l| l.strip_prefix("… ")?.split(' ').next()?.parse().ok())
        .expect("what is left out");
    let all = project().open(Path::new(&format!("{ROOT}/{file}")), &Options::default());
    let survey = all.sound().expect("no mistakes").survey();
    assert_eq!(asked, 12, "{text}");
    assert_eq!(asked + more, survey.questions.len(), "{text}");
    assert!(
        text.contains(&format!(
            " {} that may follow: `amperule survey {file}`",
            survey.later.len()
        )),
        "{text}"
    );
    assert!(
        text.contains(&format!("`amperule check --full {file}`")),
        "{text}"
    );
    assert!(text.contains("Assumed where not written: "), "{text}");
    assert!(text.contains("Not due: "), "{text}");
}

/// What is asked, or to be looked at again, of six points alike is told once.
#[test]
fn what_is_alike_is_told_once() {
    let mut text = String::from(
        "installation \"Yard\" { rules: gb  premises: office  designed-on: 2026-05-12 }\n\
         supply { status: existing  earthing: TN-C-S  phases: 3 }\n\
         board main { fed-from: supply\n\
         circuit bay[1..6] { status: new  device: rcbo { In: 40 A  curve: B }\n\
         cables: armoured { size: 6 mm²  length: 10 m  method: C } } }\n\
         charge-point post[1..6] { circuit: bay[n]  mode: 3  In: 32 A }\n",
    );
    text.push_str("law { qualified: yes }\n");
    let dir = folder(&[("yard.amp", &text)]);
    let (_, out, _) = run(dir.path(), &["check", "yard.amp"], 100);
    let points = "post[1] and 5 more like it: Socket or connector (outlet";
    assert!(out.contains(points), "{out}");
    assert_eq!(out.matches(" (outlet").count(), 1, "{out}");
    // Those that are told and those that are left out are all of them.
    let before = |end: &str| -> usize {
        let number = out
            .split(end)
            .next()
            .and_then(|t| t.split([' ', '\n']).next_back());
        number.and_then(|n| n.parse().ok()).expect("a number")
    };
    let asked = out.split("To see on site").nth(1).unwrap_or_default();
    let asked = asked.split("… ").next().unwrap_or_default();
    let names = asked.matches(" of ").count() + asked.matches(", ").count();
    assert!(
        before(" questions open") - before(" more, and ") <= names,
        "{out}"
    );
}

#[test]
fn every_report_reminds_of_isolation() {
    let said = "isolate and prove dead before any enclosure is opened.";
    let flat = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for arguments in [
        &["examples/quarry-cottage.amp"][..],
        &["--full", "examples/quarry-cottage.amp"],
        &["--quiet", "examples/quarry-cottage.amp"],
        &["examples"],
    ] {
        let text = flat(check(arguments));
        assert_eq!(text.matches(said).count(), 1, "{arguments:?}: {text}");
    }
}

#[test]
fn each_breach_is_told_once() {
    let text = check(&["examples/quarry-cottage-faults.amp"]);
    let json = check(&["--format", "json", "examples/quarry-cottage-faults.amp"]);
    let all: Value = serde_json::from_str(&json).expect("JSON");
    let findings = all["files"][0]["findings"].as_array().expect("findings");
    let breaches = findings
        .iter()
        .filter(|f| f["outcome"] == "failed" && f["severity"] == "breach");
    for f in breaches {
        let rule = f["rule"].as_str().expect("a rule");
        let told = text.matches(&format!("breach: {rule}")).count();
        assert_eq!(told, 1, "{rule}: {text}");
    }
    // One enclosure that two rules find too open is one cause.
    assert!(text.contains("  also line "), "{text}");
}

fn project() -> Project {
    Project::on_disk(Vec::new())
}

/// The examples and designs of the tests.
fn designs() -> Vec<std::path::PathBuf> {
    let folders = ["examples", "tests/designs"].map(|f| Path::new(ROOT).join(f));
    let (files, problems) = project().designs(&folders);
    assert!(problems.is_empty() && files.len() > 12, "{}", files.len());
    files
}

/// What is not asked leaves no verdict undecided; a caution may wait for a question that may follow.
#[test]
fn every_undecided_breach_or_caution_has_its_question() {
    let project = project();
    let mut undecided = 0;
    for path in designs() {
        let loaded = project.open(&path, &Options::default());
        let checked = loaded.checked(Ask::default(), true);
        let survey = checked.survey.expect("no mistakes");
        let mut asked = BTreeSet::new();
        let waiting = |q: &Question| {
            let all = q.waiting.iter();
            all.map(|w| (w.rule.clone(), w.subject.clone()))
                .collect::<Vec<_>>()
        };
        asked.extend(survey.questions.iter().flat_map(waiting));
        let later: BTreeSet<_> = survey.later.iter().flat_map(waiting).collect();
        asked.extend(survey.stuck.iter().cloned());
        let report = checked.judged.expect("judged").report;
        for f in report.findings {
            // What the rules leave out is judged elsewhere; no answer settles it.
            let open = f.outcome == Outcome::Undecided && f.reason != Some(Reason::LeftOut);
            if open && f.severity != Severity::Advice {
                undecided += 1;
                let key = (f.rule.clone(), f.subject.clone());
                let follows = f.severity == Severity::Caution && later.contains(&key);
                assert!(
                    asked.contains(&key) || follows,
                    "{}: {} {}",
                    path.display(),
                    f.rule,
                    f.subject
                );
            }
        }
    }
    assert!(undecided > 50, "{undecided}");
}

/// A value is offered only where somebody chooses it, and only if it keeps every requirement that
/// waits for it.
#[test]
fn hints_are_requirements_that_one_can_choose() {
    let project = project();
    let mut hints = 0;
    for path in designs() {
        let loaded = project.open(&path, &Options::default());
        let of = loaded.sound().expect("no mistakes");
        for q in of.survey().questions.iter().filter(|q| q.passes.is_some()) {
            hints += 1;
            let nobodys = [
                Settler::Network,
                Settler::Test,
                Settler::Client,
                Settler::Installer,
            ];
            assert!(
                !nobodys.contains(&q.settled_by),
                "{}: {}",
                path.display(),
                q.asked
            );
            let mut breaches = q.waiting.iter().filter(|w| w.severity == Severity::Breach);
            assert!(breaches.all(|w| w.alone), "{}: {}", path.display(), q.asked);
        }
    }
    assert!(hints > 5, "{hints}");
    let (_, new, _) = run(Path::new(ROOT), &["new", "--rules", "gb"], 100);
    let dir = folder(&[("new.amp", &new)]);
    for verb in ["survey", "check"] {
        let (_, text, _) = run(dir.path(), &[verb, "new.amp"], 100);
        for bad in [
            "does not apply",
            "do not apply, with",
            "passes with: 4\n",
            "passes with: afdd",
            "at least 35 A",
            "life | business",
            "combo",
            "passes with: at least 50 mm²",
        ] {
            let line = text
                .lines()
                .find(|l| l.contains(bad) && l.contains("passes"));
            assert!(line.is_none(), "{verb}: {bad}: {line:?}");
        }
        assert!(!text.contains("does not apply"), "{text}");
    }
}

#[test]
fn a_mistake_is_named_where_it_keeps_rules_from_being_judged() {
    let dir = folder(&[("weir.amp", MISTAKEN)]);
    let (_, text, _) = run(dir.path(), &["check", "--full", "weir.amp"], 100);
    assert!(!text.contains("the work limit was met"), "{text}");
    assert!(
        text.contains("Not judged, for what line 4 holds ("),
        "{text}"
    );
    let (_, json, _) = run(dir.path(), &["check", "--format", "json", "weir.amp"], 100);
    let all: Value = serde_json::from_str(&json).expect("JSON");
    let findings = all["files"][0]["findings"].as_array().expect("findings");
    let waiting = findings.iter().filter(|f| f["outcome"] == "not-judged");
    let mut count = 0;
    for f in waiting {
        count += 1;
        assert_eq!(f["labels"][0]["line"], 4, "{f}");
    }
    assert!(count > 3, "{count}");
    // The first screen says so, too.
    let (_, text, _) = run(dir.path(), &["check", "weir.amp"], 100);
    assert!(text.contains("for what line 4 holds."), "{text}");
}

#[test]
fn papers_that_are_missing_are_told_as_they_are_written() {
    let file = "examples/quarry-cottage.amp";
    for arguments in [
        &["check", "--stage", "handover", file][..],
        &["check", "--full", "--stage", "handover", file],
        &["survey", "--stage", "handover", file],
    ] {
        let (_, text, _) = run(Path::new(ROOT), arguments, 100);
        let joined = text.replace("-\n  │ ", "-");
        let flat = joined.split_whitespace().collect::<Vec<_>>().join(" ");
        for paper in ["installation-certificate", "instructions", "labels"] {
            let block = format!("write `record {paper} {{ done-on: … }}`");
            // Excerpts wrap with a rule in front.
            let flat = flat.replace(" │ ", " ");
            assert!(flat.contains(&block), "{block}: {text}");
        }
    }
}

/// Nothing that is written in a design steers a terminal or begins a line of its own.
#[test]
fn other_peoples_texts_keep_to_their_lines() {
    let text = example("quarry-cottage-faults")
        + "\ndeparture from iec-bond-large-enough { for: water  agreed-by: \"owner\"\n  reason: \"x\u{1b}[2Jy\" }\n";
    let text = text.replacen("Quarry Cottage", "Quarry\u{1b}[31m Cottage", 1);
    let dir = folder(&[("a.amp", &text), ("b.amp", &text)]);
    for arguments in [
        &["check", "a.amp"][..],
        &["check", "a.amp", "b.amp"],
        &["check", "--format", "concise", "a.amp"],
        &["check", "--quiet", "a.amp"],
    ] {
        let (_, out, _) = run(dir.path(), arguments, 100);
        assert!(!out.contains('\u{1b}'), "{arguments:?}: {out:?}");
    }
}

/// A breach, something open, a clean design, and one that cannot be read.
fn jobs() -> TempDir {
    folder(&[
        ("jobs/a.amp", &example("quarry-cottage")),
        ("jobs/b.amp", &example("quarry-cottage-faults")),
        ("jobs/c.amp", &example("half-filled-survey")),
        ("jobs/d.amp", "installation { rules: gb\n"),
    ])
}

#[test]
fn many_files_are_told_a_line_each_then_their_findings_then_totals() {
    let dir = jobs();
    let (code, text, _) = run(dir.path(), &["check", "jobs"], 200);
    assert_eq!(code, 2, "{text}");
    let lines: Vec<&str> = text.lines().collect();
    for (i, name) in ["a", "b", "c", "d"].iter().enumerate() {
        let path = format!("jobs/{name}.amp: ");
        assert!(lines[i].starts_with(&path), "{text}");
    }
    let said = "jobs/b.amp:55:3: breach: the main bond of the water service is 4 mm², less than the \
                10 mm² needed [iec-bond-large-enough] for water";
    assert!(lines.contains(&said), "{text}");
    assert!(
        lines
            .iter()
            .any(|l| l.starts_with("jobs/d.amp:1:") && l.contains(": error: ")),
        "{text}"
    );
    let totals = "4 files: 1 with mistakes, or not to be read, 1 in breach, 1 undecided, 1 with \
                  neither; what could be judged holds a breach";
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat(&text).contains(totals), "{text}");
    // What is open stands in the lines of the files alone.
    assert!(!text.contains(": undecided: "), "{text}");
    // In short.
    let (code, short, _) = run(dir.path(), &["check", "--quiet", "jobs"], 200);
    assert_eq!(code, 2);
    assert!(
        flat(&short).contains(totals) && short.contains(said),
        "{short}"
    );
    assert!(
        !short.contains("caution:") && !short.contains("jobs/a.amp"),
        "{short}"
    );
    // The breach alone, without the file that cannot be read.
    let (code, text, _) = run(
        dir.path(),
        &["check", "jobs/a.amp", "jobs/b.amp", "jobs/c.amp"],
        200,
    );
    assert_eq!(code, 1);
    assert!(
        text.contains("3 files: 1 in breach, 1 undecided, 1 with neither\n"),
        "{text}"
    );
    let (code, _, _) = run(dir.path(), &["check", "jobs/a.amp", "jobs/c.amp"], 200);
    assert_eq!(code, 3);
}

#[test]
fn totals_are_told_to_programs() {
    let dir = jobs();
    let (code, json, _) = run(dir.path(), &["check", "--format", "json", "jobs"], 100);
    assert_eq!(code, 2);
    let all: Value = serde_json::from_str(&json).expect("JSON");
    let wanted = serde_json::json!({
        "files": 4, "worst": "failed", "worst-judged": "breach",
        "failed": 1, "breach": 1, "undecided": 1, "clean": 1,
    });
    assert_eq!(all["totals"], wanted);
}

/// Figures of a repeated block that come out alike stand in one line, with how many they are; none is
/// lost from the count.
#[test]
fn figures_that_are_alike_stand_in_one_line() {
    let file = "examples/rope-yard-office.amp";
    let (_, text, _) = run(Path::new(ROOT), &["check", file], 100);
    assert!(text.contains("Iz of bay[1] and 1 more "), "{text}");
    assert!(!text.contains("Iz of bay[2]"), "{text}");
    // One bay that is laid otherwise is told apart.
    let longer = example("rope-yard-office").replace("length: 26 m", "length: n * 10 m + 14 m");
    let dir = folder(&[("a.amp", &longer)]);
    let (_, text, _) = run(dir.path(), &["check", "a.amp"], 100);
    assert!(text.contains("voltage-drop of bay[1]  "), "{text}");
    assert!(text.contains("voltage-drop of bay[2]  "), "{text}");
}
