//! A row of a table is judged as a check of the same values: under the same departures, and what
//! it comes to by the same severities. A proof heeds departures, too.

#![expect(
    clippy::expect_used,
    reason = "a test stops where a text of its own is not as it says"
)]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use amperule::answer::{BOXES, State};
use amperule::check::{Outcome, Report, Standing};
use amperule::ruleset::Severity;
use amperule::session::{Ask, Installation, Options, Project, Rows, Unmet};
use amperule::source::Memory;

/// Rules of three severities about a current, of which one can be departed from.
const LAB: &str = "
ruleset: lab
title: rules for tests
editions:
  - {id: '1', title: first}
kinds:
  installation:
    means: the whole
    facts:
      rules: {is: text, means: 'rules', by: designer}
      designed-on: {is: date, means: 'day', by: designer}
  thing:
    means: a thing
    facts:
      x: {is: A, means: 'a current', by: site, domain: '>= 0 A'}
      y: {is: A, means: 'another current', by: site, domain: '>= 0 A'}
      z: {is: A, means: 'a third current', by: site, domain: '>= 0 A'}
rules:
  - {id: small, title: x is small, stage: design, each: thing, require: 'x <= 16 A', message: '{subject} is large', topic: tests, source: of this test, confidence: published}
  - {id: together, title: together they are small, stage: design, severity: caution, each: thing, require: 'x + y <= 24 A', message: '{subject} is large', topic: tests, source: of this test, confidence: published}
  - {id: tiny, title: x is tiny, stage: design, severity: advice, each: thing, require: 'x <= 4 A', message: '{subject} is large', topic: tests, source: of this test, confidence: published}
  - {id: sum, title: with z it is small, stage: design, each: thing, require: 'x + z <= 40 A', message: '{subject} is large', topic: tests, source: of this test, confidence: published}
  - {id: other, title: z is small, stage: design, each: thing, require: 'z <= 16 A', message: '{subject} is large', topic: tests, source: of this test, confidence: published}
left-out:
  - {what: its weight, clause: LAB 2, why: no fact for it, id: weight, each: thing, where: 'z > 30 A and x > 20 A', severity: breach}
";

const PATH: &str = "yard.amp";

/// A template in which `x` of `t` varies, with further blocks.
fn template(facts: &str, more: &str) -> String {
    format!(
        "installation \"Yard\" {{ rules: lab  designed-on: 2026-03-02 }}\n\
         parameter run: 1 A .. 33 A\nthing t {{ x: run  {facts} }}\n{more}"
    )
}

fn departure(rule: &str, more: &str) -> String {
    format!("departure from {rule} {{ {more}  reason: \"no room\"  agreed-by: \"owner\" }}\n")
}

const ELSEWHERE: &str =
    "judged-elsewhere weight { by: \"owner\"  on: 2026-03-01  why: \"weighed\" }\n";

/// A template by what it shows.
fn templates() -> Vec<(&'static str, String)> {
    let decided = "y: 2 A  z: 2 A";
    vec![
        ("no departure", template(decided, "")),
        (
            "a departure for the one thing",
            template(decided, &departure("small", "for: t")),
        ),
        (
            "a departure for every thing, and two of them",
            template(
                decided,
                &format!(
                    "thing u {{ x: run  {decided} }}\n{}",
                    departure("small", "")
                ),
            ),
        ),
        (
            "a departure for the other of two",
            template(
                decided,
                &format!(
                    "thing u {{ x: run  {decided} }}\n{}",
                    departure("small", "for: u")
                ),
            ),
        ),
        (
            "what is left out for some rows",
            template("y: 2 A  z: 31 A", ""),
        ),
        (
            "what is left out and judged elsewhere",
            template("y: 2 A  z: 31 A", ELSEWHERE),
        ),
        (
            "a judgement elsewhere of what matters for no row",
            template(decided, ELSEWHERE),
        ),
        (
            "a departure that has expired",
            template(decided, &departure("small", "for: t  until: 2026-03-01")),
        ),
        (
            "a departure on its last day",
            template(decided, &departure("small", "for: t  until: 2026-03-02")),
        ),
        (
            "a departure from what is a caution",
            template(decided, &departure("together", "for: t")),
        ),
        (
            "a departure from what no row changes",
            template("y: 2 A  z: 20 A", &departure("other", "for: t")),
        ),
        (
            "a departure from what no row breaks",
            template(decided, &departure("other", "for: t")),
        ),
        (
            "a departure from what is undecided in every row",
            template("y: 2 A  z: ?", &departure("other", "for: t")),
        ),
        ("a caution that is undecided", template("y: ?  z: 2 A", "")),
        ("a breach in every row", template("y: 2 A  z: 20 A", "")),
    ]
}

fn project(text: &str) -> Project {
    let files: Memory = [(PATH, text), ("own/lab/ruleset.yaml", LAB)]
        .into_iter()
        .collect();
    Project::new(Arc::new(files), vec!["own".into()])
}

/// A design that must be sound, with `run` set.
fn sound(text: &str, run: Option<&str>) -> Installation {
    let set = run.map(|value| ("run".to_owned(), value.to_owned()));
    let options = Options {
        set: set.into_iter().collect(),
        ..Options::default()
    };
    let loaded = project(text).open(Path::new(PATH), &options);
    assert!(loaded.is_sound(), "{:#?}", loaded.problems);
    loaded.sound().expect("a sound design").clone()
}

/// Rule, subject and outcome of everything that is not met.
type NotMet = BTreeSet<(String, String, Outcome)>;

fn unmet(report: &Report) -> NotMet {
    let all = report.findings.iter().filter(|f| {
        matches!(
            f.outcome,
            Outcome::Failed | Outcome::Undecided | Outcome::Departed
        )
    });
    all.map(|f| (f.rule.clone(), f.subject.label.clone(), f.outcome))
        .collect()
}

/// What a row of one cell does not meet, and what it comes to by each least severity.
fn row(text: &str, cell: &str) -> (NotMet, [Standing; 3]) {
    let (project, options) = (project(text), Options::default());
    let loaded = project.open(Path::new(PATH), &options);
    let of = loaded.sound().expect("a sound design");
    let rows = Rows::new(
        (&project, &loaded, &options),
        of,
        (&["run (A)"], "table.csv"),
    );
    let rows = rows.unwrap_or_else(|problems| unreachable!("{problems:#?}"));
    let mut reader = rows.reader();
    let result = rows.row(&mut reader, &[cell]).expect("a value of `run`");
    let named = |u: &Unmet| {
        let of = &rows.verdicts[u.verdict];
        (of.rule.clone(), of.subject.label.clone(), u.outcome)
    };
    let all = result.unmet.iter().chain(&rows.every_row);
    let standing = |least| Standing::of(&result.counts, least).max(rows.standing(least));
    (all.map(named).collect(), Severity::ALL.map(standing))
}

#[test]
fn a_row_comes_to_what_a_check_of_its_values_comes_to() {
    let mut seen = BTreeSet::new();
    for (what, text) in templates() {
        for cell in ["2", "10", "20", "30", "2 A .. 30 A"] {
            let run = if cell.contains('A') {
                cell
            } else {
                &format!("{cell} A")
            };
            let judged = sound(&text, Some(run)).check(Ask {
                met: true,
                helps: false,
            });
            let (not_met, standings) = row(&text, cell);
            assert_eq!(not_met, unmet(&judged.report), "{what}, {run}");
            for (least, standing) in Severity::ALL.into_iter().zip(standings) {
                let wanted = Standing::of(&judged.report.counts, least);
                assert_eq!(standing, wanted, "{what}, {run}, by {least}");
                seen.insert((least, standing));
            }
        }
    }
    // Each severity decided each way.
    assert_eq!(seen.len(), 9, "{seen:?}");
}

#[test]
fn a_departure_covers_the_rows_that_break_its_rule() {
    let text = template("y: 2 A  z: 2 A", &departure("small", "for: t"));
    let (not_met, [breach, caution, _]) = row(&text, "20");
    let of = |rule: &str| not_met.iter().find(|(r, ..)| r == rule).map(|(.., o)| *o);
    assert_eq!(of("small"), Some(Outcome::Departed));
    assert_eq!((breach, caution), (Standing::Clean, Standing::Clean));
    // In a row that keeps the rule it covers nothing, which a check cautions about.
    let (not_met, [breach, caution, _]) = row(&text, "10");
    assert!(not_met.iter().all(|(r, ..)| r == "tiny"), "{not_met:?}");
    assert_eq!((breach, caution), (Standing::Clean, Standing::Breach));
}

#[test]
fn departures_out_of_force_are_told_with_the_rows() {
    for (until, codes) in [
        ("2026-03-01", ["departure-expired"].as_slice()),
        ("2026-03-02", &[]),
    ] {
        let text = template("", &departure("small", &format!("for: t  until: {until}")));
        let (project, options) = (project(&text), Options::default());
        let loaded = project.open(Path::new(PATH), &options);
        let of = loaded.sound().expect("a sound design");
        let rows = Rows::new(
            (&project, &loaded, &options),
            of,
            (&["run (A)"], "table.csv"),
        );
        let Ok(rows) = rows else {
            unreachable!("the table has a head")
        };
        let told: Vec<&str> = rows.problems().iter().map(|p| p.code).collect();
        assert_eq!(told, codes, "{until}");
    }
}

/// What breaks under a departure is agreed on, wherever in the parameter's range that is.
#[test]
fn a_proof_heeds_departures() {
    let decided = "y: 2 A  z: 2 A";
    let standing = |text: &str| sound(text, None).prove(BOXES).standing();
    let agreed = template(decided, &departure("small", "for: t"));
    assert_eq!(standing(&template(decided, "")), Standing::Breach);
    assert_eq!(standing(&agreed), Standing::Clean);
    let expired = departure("small", "for: t  until: 2026-03-01");
    let proved = sound(&template(decided, &expired), None).prove(BOXES);
    assert_eq!(proved.standing(), Standing::Breach);
    let told: Vec<&str> = proved.problems.iter().map(|p| p.code).collect();
    assert_eq!(told, ["departure-expired"]);
    // Nor does one for a thing cover another.
    let two = format!("{agreed}thing u {{ x: run  {decided} }}\n");
    assert_eq!(standing(&two), Standing::Breach);
    // What rests on something else, too, is as open as in a check.
    let open = template("y: 2 A  z: ?", &departure("sum", "for: t"));
    let proved = sound(&open, None).prove(BOXES);
    let sum = proved.proofs.iter().find(|p| p.rule == "sum");
    let sum = sum.expect("it depends on `run`");
    assert!(sum.departed);
    assert_eq!(sum.counts(State::Breaks), State::Passes);
    assert_eq!(sum.counts(State::Open), State::Open);
    // What no parameter changes is covered as well, and is told as departed.
    let fixed = template("y: 2 A  z: 20 A", &departure("other", "for: t"));
    let proved = sound(&fixed, None).prove(BOXES);
    let departed = proved.always_departed.iter();
    let departed: Vec<_> = departed
        .map(|(r, s)| (r.as_str(), s.label.as_str()))
        .collect();
    assert_eq!(departed, [("other", "t")]);
    assert!(proved.always_broken.is_empty());
    let small = proved.proofs.iter().find(|p| p.rule == "small");
    assert!(!small.expect("it depends on `run`").departed);
}

/// The exit code of `check` is the same for a row as for its values.
#[test]
fn rows_and_values_end_alike() {
    let folder = tempfile::tempdir().expect("a folder");
    let place = |name: &str| folder.path().join(name);
    fs::create_dir_all(place("own/lab")).expect("a folder");
    fs::write(place("own/lab/ruleset.yaml"), LAB).expect("a ruleset");
    let run = |arguments: &[&str]| {
        let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
            .args(["check", PATH, "--rulesets", "own"])
            .args(arguments)
            .current_dir(folder.path())
            .output()
            .expect("the program starts");
        done.status.code()
    };
    let agreed = departure("small", "for: t");
    for (text, value, deny, code) in [
        (template("y: 2 A  z: 2 A", ""), "20", None, 1),
        (template("y: 2 A  z: 2 A", &agreed), "20", None, 0),
        (
            template("y: 2 A  z: 2 A", &agreed),
            "20",
            Some("caution"),
            0,
        ),
        (template("y: 2 A  z: 2 A", &agreed), "10", None, 0),
        (
            template("y: 2 A  z: 2 A", &agreed),
            "10",
            Some("caution"),
            1,
        ),
        (template("y: 2 A  z: 2 A", ""), "10", Some("caution"), 0),
        (template("y: 2 A  z: 2 A", ""), "10", Some("advice"), 1),
        (template("y: ?  z: 2 A", ""), "2", None, 0),
        (template("y: ?  z: 2 A", ""), "2", Some("caution"), 3),
    ] {
        fs::write(place(PATH), &text).expect("a design");
        fs::write(place("table.csv"), format!("run (A)\n{value}\n")).expect("a table");
        let set = format!("run={value}A");
        for way in [["--set", &set], ["--rows", "table.csv"]] {
            let deny = deny.iter().flat_map(|severity| ["--deny", severity]);
            let all: Vec<&str> = way.into_iter().chain(deny).collect();
            assert_eq!(run(&all), Some(code), "{text}{all:?}, {value} A");
        }
    }
}
