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

/// Something of the rows of a table with one column, for `run` in ampere.
fn of_rows<T>(project: &Project, f: impl FnOnce(&Rows<'_>) -> T) -> T {
    let options = Options::default();
    let loaded = project.open(Path::new(PATH), &options);
    let of = loaded.sound().expect("a sound design");
    let rows = Rows::new(
        (project, &loaded, &options),
        of,
        (&["run (A)"], "table.csv"),
    );
    f(&rows.unwrap_or_else(|problems| unreachable!("{problems:#?}")))
}

/// What a row of one cell does not meet, and what it comes to by each least severity.
fn row(text: &str, cell: &str) -> (NotMet, [Standing; 3]) {
    of_rows(&project(text), |rows| row_of(rows, cell))
}

fn row_of(rows: &Rows<'_>, cell: &str) -> (NotMet, [Standing; 3]) {
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

/// What is hardly plausible of the template is told with its rows, and decides with it.
#[test]
fn a_caution_about_the_template_is_told_with_its_rows() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::create_dir_all(folder.path().join("own/lab")).expect("a folder");
    let lab = LAB.replacen(
        "domain: '>= 0 A'",
        "domain: '>= 0 A', plausible: 0 A .. 50 A",
        1,
    );
    assert_ne!(lab, LAB);
    fs::write(folder.path().join("own/lab/ruleset.yaml"), lab).expect("a ruleset");
    let text = template("y: 2 A  z: 2 A", "").replace("1 A .. 33 A", "1 A .. 330 A");
    fs::write(folder.path().join(PATH), text).expect("a design");
    fs::write(folder.path().join("table.csv"), "run (A)\n2\n").expect("a table");
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(["check", PATH, "--rulesets", "own", "--rows", "table.csv"])
        .args(["--deny", "caution"])
        .current_dir(folder.path())
        .output()
        .expect("the program starts");
    let said = [done.stdout, done.stderr].map(|b| String::from_utf8(b).expect("UTF-8"));
    let said = said.concat();
    assert_eq!(done.status.code(), Some(1), "{said}");
    assert!(said.contains("`330 A` is unusual"), "{said}");
}

/// What the program says about a table for the design of a terrace, whose runs up to 27.9 m pass.
fn terrace(table: &[u8]) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("t.csv"), table).expect("a table");
    let design = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/terrace-template.amp");
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(["check", design, "--rows", "t.csv", "--color", "never"])
        .env("COLUMNS", "1000")
        .current_dir(folder.path())
        .output()
        .expect("the program starts");
    let text = [done.stdout, done.stderr].map(|b| String::from_utf8(b).expect("UTF-8"));
    text.concat()
}

#[test]
fn a_row_is_told_by_its_line_in_the_file() {
    let lines = [
        "house,run (m)",
        "a,12",
        "",
        "\"b\nc\",30",
        "d,12",
        "e,31",
        "f,x",
        "g,32",
    ];
    for end in ["\n", "\r\n", "\r"] {
        for last in ["", end] {
            let mut text = lines.join("\n").replace('\n', end);
            text.push_str(last);
            let said = terrace(text.as_bytes());
            let at = |line: usize| {
                said.contains(&format!("line {line}: breach iec-voltage-drop for wall"))
            };
            let told: Vec<usize> = (1..12).filter(|l| at(*l)).collect();
            assert_eq!(told, [4, 7, 9], "{text:?}\n{said}");
            assert!(
                said.contains("line 8: cannot be judged"),
                "{text:?}\n{said}"
            );
            assert!(said.contains("6 rows: 3 in breach"), "{text:?}\n{said}");
        }
    }
    // A mark of the byte order is no part of the head, and other texts are told to be saved anew.
    let said = terrace("\u{feff}run (m)\r\n12\r\n30\r\n".as_bytes());
    assert!(said.contains("line 3: breach"), "{said}");
    let wide: Vec<u8> = "\u{feff}run (m)\r\n12\r\n"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    let said = terrace(&wide);
    assert!(said.contains("save it as CSV in UTF-8"), "{said}");
}

/// The unit of a head belongs to numbers: what is not known has none.
#[test]
fn a_cell_that_is_not_known_is_told_as_that() {
    let said = terrace(b"house,run (m)\na,?\nb,12\n");
    let why = "line 2: cannot be judged: the parameter `run` cannot be unknown";
    assert!(said.contains(why), "{said}");
    assert!(said.contains("2 rows: "), "{said}");
}

#[test]
fn a_table_says_by_its_head_what_parts_its_cells() {
    // What passes and what breaks is the same, however the table was saved.
    for text in [
        "house,run (m)\na,27.9\nb,28.0\nc,8.5 .. 11.25\nd,\"8.5 m .. 11.25 m\"\n",
        "house;run (m)\r\n\"a; b\";27,9\r\nb;28,0\r\nc;8,5 .. 11,25\r\nd;8,5 m .. 11,25 m\r\n",
        "\u{feff}house;run (m)\na;27.9\nb;28\nc;8.5..11.25\nd;8,5m..11.25m\n",
        "house\trun (m)\na\t27,9\nb\t28,0\nc\t8,5 .. 11,25\nd\t9,0\n",
        "\"house; flat\",run (m)\na,27.9\nb,28.0\nc,8.5\nd,9\n",
    ] {
        let said = terrace(text.as_bytes());
        assert!(
            said.contains("line 3: breach iec-voltage-drop for wall\n"),
            "{text}{said}"
        );
        assert!(
            said.contains("4 rows: 1 in breach, 0 undecided, 0 with a caution, 0 that cannot"),
            "{text}{said}"
        );
    }
    // What a comma means is never guessed.
    for (text, why) in [
        (
            "run (m)\n\"27,9\"\n",
            "`27,9` has a decimal comma; write 27.9, or separate the cells by semicolons",
        ),
        (
            "run (m)\n27,9\n",
            "it has 2 cells where the head has 1; a decimal comma parts a cell: write a point, or separate the cells by semicolons",
        ),
        (
            "a;run (m)\nx;1,000\n",
            "`1,000` may be 1.000 or 1000; write 1.0000 or 1000",
        ),
        (
            "a;run (m)\nx;\"8,5 .. 1.234,5\"\n",
            "`1.234,5` has more than one sign in it; write it with one decimal point, like 1234.5",
        ),
        (
            "a;run (m)\nx;1,2,3\n",
            "`1,2,3` has more than one sign in it",
        ),
        (
            "a;run (m)\nx;1;2\n",
            "it has 3 cells where the head has 2\n",
        ),
    ] {
        let said = terrace(text.as_bytes());
        let told = format!("line 2: cannot be judged: {why}");
        assert!(said.contains(&told), "{text}{said}");
    }
}

#[test]
fn a_cell_with_a_line_break_stays_in_its_line() {
    let said = terrace(b"run (m),\"no\nte\"\n\"1\nline 9: breach\",x\n12,x\n");
    assert!(said.contains("left aside: no[U+000A]te\n"), "{said}");
    assert!(!said.contains("\nline 9"), "{said}");
    assert!(said.contains("line 3: cannot be judged: "), "{said}");
    let twice = terrace(b"run (m),run (m)\n12,30\n");
    assert!(
        twice.contains("`t.csv` has two columns for the parameter `run`"),
        "{twice}"
    );
}

/// A range is judged as the language reads it, however it is written, and bad ones are refused as
/// it refuses them.
#[test]
fn a_range_in_a_cell_is_what_set_would_make_of_it() {
    let text = template("y: 2 A  z: 2 A", "");
    for (head, cell, set) in [
        ("run (A)", "2 .. 9", "2 A .. 9 A"),
        ("run (A)", "10..20.5", "10 A .. 20.5 A"),
        ("run (A)", "2 A .. 30 A", "2 A .. 30 A"),
        ("run (mA)", "2000 .. 9000", "2 A .. 9 A"),
        ("run (mA)", "2 .. 9 A", "2 A .. 9 A"),
        ("run", "2 A .. 9 A", "2 A .. 9 A"),
        ("run", "2 .. 9 A", "2 A .. 9 A"),
        ("run (A)", "1 .. 33", "1 A .. 33 A"),
        ("run (A)", "7 .. 7", "7 A"),
    ] {
        let judged = sound(&text, Some(set)).check(Ask {
            met: true,
            helps: false,
        });
        let (project, options) = (project(&text), Options::default());
        let loaded = project.open(Path::new(PATH), &options);
        let of = loaded.sound().expect("a sound design");
        let rows = Rows::new((&project, &loaded, &options), of, (&[head], "table.csv"));
        let rows = rows.unwrap_or_else(|problems| unreachable!("{problems:#?}"));
        let result = rows.row(&mut rows.reader(), &[cell]).expect(cell);
        let named = |u: &Unmet| {
            let of = &rows.verdicts[u.verdict];
            (of.rule.clone(), of.subject.label.clone(), u.outcome)
        };
        let all: NotMet = result
            .unmet
            .iter()
            .chain(&rows.every_row)
            .map(named)
            .collect();
        assert_eq!(all, unmet(&judged.report), "{head}: {cell}");
        for bad in [
            "9 .. 2",
            "0 .. 9",
            "2 .. 40",
            "2 .. x",
            "2 .. 3 .. 4",
            ".. 9",
            "2 .. 9 V",
        ] {
            let refused = rows.row(&mut rows.reader(), &[bad]);
            assert!(refused.is_err(), "{head}: {bad} {refused:?}");
        }
    }
}

/// A parameter of several numbers takes one of them, in whatever unit, and no other.
#[test]
fn a_cell_may_name_one_of_several_numbers() {
    let text = template("y: 2 A  z: 2 A", "").replace("1 A .. 33 A", "2 A | 10 A | 30 A");
    for (cell, set) in [
        ("2", "2 A"),
        ("10", "10 A"),
        ("30", "30 A"),
        ("30 A", "30 A"),
        ("10000 mA", "10 A"),
    ] {
        let judged = sound(&text, Some(set)).check(Ask {
            met: true,
            helps: false,
        });
        let (not_met, standings) = row(&text, cell);
        assert_eq!(not_met, unmet(&judged.report), "{cell}");
        let wanted = Severity::ALL.map(|least| Standing::of(&judged.report.counts, least));
        assert_eq!(standings, wanted, "{cell}");
    }
    let refuses = |cell: &str| {
        of_rows(&project(&text), |rows| {
            rows.row(&mut rows.reader(), &[cell]).is_err()
        })
    };
    for other in ["5", "2 .. 10", "40 A"] {
        assert!(refuses(other), "{other}");
    }
}

/// A parameter on which no verdict rests has its values, too.
#[test]
fn a_cell_of_an_idle_parameter_is_read() {
    let text = format!(
        "{}\nparameter idle: 16 A | 32 A\n",
        template("y: 2 A  z: 2 A", "")
    );
    let project = project(&text);
    let options = Options::default();
    let loaded = project.open(Path::new(PATH), &options);
    let of = loaded.sound().expect("a sound design");
    for head in [&["run (A)", "idle (A)"][..], &["idle (A)"]] {
        let rows = Rows::new((&project, &loaded, &options), of, (head, "table.csv"));
        let rows = rows.unwrap_or_else(|problems| unreachable!("{problems:#?}"));
        assert!(rows.ignored.is_empty());
        let mut reader = rows.reader();
        let mut takes = |cell: &str| {
            let cells = ["2", cell];
            rows.row(&mut reader, &cells[2 - head.len()..]).is_ok()
        };
        assert_eq!(
            ["16", "32", "16", "99", "red", ""].map(&mut takes),
            [true, true, true, false, false, true]
        );
    }
}

/// The end of a range that its fact leaves out is no value of a row, as it is none of `--set`.
#[test]
fn a_cell_is_no_value_that_the_fact_leaves_out() {
    let text = template("y: 2 A  z: 2 A", "").replace("1 A .. 33 A", "0 A .. 33 A");
    let lab = LAB.replacen("domain: '>= 0 A'", "domain: '> 0 A'", 1);
    let files: Memory = [(PATH, text.as_str()), ("own/lab/ruleset.yaml", &lab)]
        .into_iter()
        .collect();
    let project = Project::new(Arc::new(files), vec!["own".into()]);
    let takes = |cell: &str| {
        of_rows(&project, |rows| {
            rows.row(&mut rows.reader(), &[cell]).is_ok()
        })
    };
    assert!(takes("0.001"));
    assert!(!takes("0"));
}
