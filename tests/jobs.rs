//! Jobs to start from: each is sound, short, told on one screen, and leads to a design without a
//! breach; a firm brings its own.

#![expect(
    clippy::expect_used,
    reason = "helpers of tests fail loudly, as tests do"
)]

use crate::common::program;
use std::collections::BTreeSet;

use std::fs;
use std::path::Path;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const JOBS: [&str; 7] = [
    "car-park",
    "garage",
    "house",
    "house-looped",
    "house-tt",
    "old-board",
    "workplace",
];

fn run(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    program::run(folder, arguments, 100)
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

/// The text of a job of gb, written by the program.
fn job(name: &str, into: &Path) -> String {
    let (code, _, err) = run(into, &["new", "--rules", "gb", "--job", name, "job.amp"]);
    assert_eq!(code, 0, "{name}: {err}");
    fs::read_to_string(into.join("job.amp")).expect("written")
}

/// What a check says of `job.amp` in the newest edition.
fn check(name: &str, folder: &Path) -> (i32, String) {
    let head = fs::read_to_string(format!("{ROOT}/rulesets/gb/ruleset.yaml")).expect("the head");
    let last = head.rsplit("- {id: ").next().expect("editions");
    let newest = last.split(',').next().expect("an id");
    let (code, out, err) = run(folder, &["check", "--edition", newest, "job.amp"]);
    assert_eq!(err, "", "{name}");
    assert!(!out.contains("mistake"), "{name}: {out}");
    (code, out)
}

/// How many questions are open, as the first line tells.
fn open(out: &str) -> usize {
    let before = out.split(" questions open").next().unwrap_or_default();
    let number = before.rsplit(' ').next().unwrap_or_default();
    number.parse().expect("a number of open questions")
}

/// The question marks of the text, without its comments.
fn asked(text: &str) -> Vec<&str> {
    let code = text.lines().filter_map(|l| l.split('#').next());
    code.flat_map(|l| l.match_indices(": ?").map(move |(at, _)| &l[..at]))
        .filter_map(|before| before.split([' ', '{']).next_back())
        .collect()
}

#[test]
fn every_job_of_gb_is_listed_and_ships_as_its_file_says() {
    let (code, all, _) = run(Path::new(ROOT), &["new", "--list"]);
    assert_eq!(code, 0);
    let (code, own, _) = run(Path::new(ROOT), &["new", "--list", "--rules", "gb"]);
    assert_eq!(code, 0);
    let listed: Vec<&str> = own
        .lines()
        .filter_map(|l| l.split_whitespace().nth(1))
        .collect();
    assert_eq!(listed, JOBS);
    assert!(own.lines().all(|l| all.contains(l)), "{all}");
    assert!(own.contains("gb  house         A house with one charge point"));
    let mut there = BTreeSet::new();
    for entry in fs::read_dir(format!("{ROOT}/rulesets/gb/jobs")).expect("the folder") {
        let path = entry.expect("a file").path();
        let name = path.file_stem().expect("a name").to_string_lossy();
        let text = fs::read_to_string(&path).expect("a text");
        assert_eq!(job(&name, folder().path()), text);
        there.insert(name.into_owned());
    }
    assert!(there.iter().eq(JOBS.iter()));
}

#[test]
fn each_job_is_sound_short_and_told_on_one_screen() {
    for name in JOBS {
        let dir = folder();
        let text = job(name, dir.path());
        let caution = ["prove dead", "Local\n# codes and qualified persons decide"];
        assert!(caution.iter().all(|c| text.contains(c)), "{name}");
        let asked = asked(&text);
        assert!((18..=24).contains(&asked.len()), "{name}: {asked:?}");
        for needed in [
            "address",
            "service-fuse",
            "Ze",
            "earthing-conductor",
            "size",
            "logged-demand",
            "main-switch",
            "length",
            "location",
        ] {
            assert!(asked.contains(&needed), "{name}: {needed} is not asked");
        }
        assert_eq!(run(dir.path(), &["format", "--check", "job.amp"]).0, 0);

        let (code, out) = check(name, dir.path());
        assert_eq!(code, 3, "{name}: {out}");
        assert!(out.lines().count() <= 120, "{name}: {out}");
        let told = out
            .lines()
            .filter(|l| l.starts_with("  ") && !l.starts_with("   ") && l.contains(", line "));
        assert!((1..=20).contains(&told.count()), "{name}: {out}");
        assert!(open(&out) <= most_asked(name), "{name}: {out}");
        assert!(out.lines().count() <= 60, "{name}: {out}");
    }
}

/// Questions before anything is answered: twenty, but for the premises of a workplace and the
/// conductor of an electrode.
fn most_asked(job: &str) -> usize {
    20 + usize::from(matches!(job, "workplace" | "house-tt"))
}

/// What is asked first stands in the job as a `?`, so that the file is the list of the visit.
#[test]
fn all_that_is_asked_first_stands_in_the_job() {
    for name in JOBS {
        let dir = folder();
        let text = job(name, dir.path());
        let asked = asked(&text);
        let table = questions(dir.path());
        assert!(table.len() > 15, "{name}: {table:?}");
        for (question, _) in table {
            let there = |part: &str| asked.iter().any(|a| part.split(' ').next() == Some(a));
            assert!(question.split('.').any(there), "{name}: {question}");
        }
        // In the order of a visit: the intake before the board, the site before the network.
        let (_, told, _) = run(dir.path(), &["survey", "job.amp"]);
        let at = |what: &str| {
            told.find(what)
                .unwrap_or_else(|| panic!("{name}: no {what}"))
        };
        assert!(at("(earth-seen)") < at("(main-switch)"), "{name}: {told}");
        assert!(at("(main-switch)") < at("(Ipf)"), "{name}: {told}");
    }
}

/// The questions of `job.amp` as its table names them, with who settles each.
fn questions(folder: &Path) -> Vec<(String, String)> {
    let (code, table, err) = run(folder, &["survey", "--format", "csv", "job.amp"]);
    assert_eq!(code, 0, "{err}");
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let cell = |r: &csv::StringRecord, i| r.get(i).unwrap_or_default().to_owned();
    let all = rows.records().map(|r| r.expect("a row"));
    all.map(|r| (cell(&r, 0), cell(&r, 5))).collect()
}

/// What a visit may find, fact by fact.
fn found(job: &str, fact: &str) -> &'static str {
    let large = matches!(job, "workplace" | "car-park");
    match (fact, job) {
        ("address", _) => "\"1 Sample Street\"",
        ("earth-seen", "house-tt") => "own-electrode",
        ("earth-seen", _) => "cut-out-terminal",
        ("service-state", _) => "sound",
        ("cut-out-rating", _) => "100 A",
        ("all-listed", _) => "bond",
        ("ways-free", _) => "6",
        ("neutral-joined-to-earth", _) => "no",
        ("conductor", _) => "singles 16 mm² 2 m { guard: duct }",
        ("premises", _) => "office",
        ("earthing", _) => "TN-C-S",
        ("service-fuse", _) if large => "fuse BS-88-2 100 A { curve: gG }",
        ("service-fuse", "old-board") => "fuse BS-1361 60 A",
        ("service-fuse", _) => "fuse BS-88-3 80 A",
        ("Ze", "house-tt") => "40.5 ohm (measured)",
        ("Ze", _) if large => "0.18 ohm (measured)",
        ("Ze", _) => "0.28 ohm (measured)",
        ("Ipf", _) if large => "1.3 kA (measured)",
        ("Ipf", _) => "0.9 kA (measured)",
        ("agreed-demand", "car-park" | "workplace") => "100 A",
        ("agreed-demand", _) => "60 A",
        ("looped", _) => "no (by-enquiry)",
        ("tails", _) if large => "singles 35 mm² 2 m",
        ("tails", _) => "singles 25 mm² 1.5 m",
        ("earthing-conductor", _) => "singles 16 mm² 1 m",
        ("logged-demand", _) if large => "L1 24 A, L2 31 A, L3 19 A (measured)",
        ("logged-demand", _) => "24 A (measured)",
        ("form", _) => "rod",
        ("R", _) => "40 ohm (measured)",
        ("size", _) => "10 mm²",
        ("condition", _) => "sound",
        ("main-switch", "house-tt") => "rcd 100 A 100 mA type-A 2-pole { delay: S }",
        ("main-switch", "old-board") => "switch 60 A 2-pole",
        ("main-switch", _) if large => "switch 125 A 4-pole",
        ("main-switch", _) => "switch 100 A 2-pole",
        ("surge-protection", _) => {
            "type-2 { Up: 1.4 kV  Uc: 275 V  I-nominal: 20 kA  Iscc: 25 kA  lead: 0.4 m }"
        }
        ("devices-verified", _) => "yes",
        ("length", _) => "18 m",
        ("location", _) => "outdoors",
        _ => "not answered by this test",
    }
}

/// What is found out when the first questions are answered.
fn found_later(fact: &str) -> &'static str {
    match fact {
        "from-entry" => "0.4 m",
        "continuity" => "0.03 ohm (measured)",
        "logged-for" => "14 d",
        "logged-season" => "highest",
        "heating" => "direct",
        "enclosure" => "metal",
        "Icc-behind" => "fuse BS-88-3 100 A",
        "cables-at-cut-out" => "1",
        "looped" => "no (by-enquiry)",
        "electrodes" => "none",
        "connection" => "CT2",
        // The rest is `yes`: whether a list is complete, whether it can be reached, was agreed.
        _ => "yes",
    }
}

/// One visit answers what stands in the job, and then no requirement is open but, of a house with an
/// electrode, whether its circuits are all written. What may follow is answered from a table.
#[test]
fn each_job_with_its_questions_answered_ends_without_a_breach() {
    for name in JOBS {
        let dir = folder();
        let mut text = job(name, dir.path());
        for fact in asked(&text.clone()) {
            let from = format!("{fact}: ?");
            text = text.replacen(&from, &format!("{fact}: {}", found(name, fact)), 1);
        }
        assert_eq!(asked(&text), Vec::<&str>::new(), "{name}");
        fs::write(dir.path().join("job.amp"), text).expect("written");
        let (code, out) = check(name, dir.path());
        let listed = name == "house-tt";
        assert_eq!(code, if listed { 3 } else { 0 }, "{name}: {out}");
        assert!(out.contains(": no breach"), "{name}: {out}");
        assert!(!out.contains("caution:"), "{name}: {out}");
        assert!(!out.contains("work limit"), "{name}: {out}");
        assert!(out.lines().count() <= 60, "{name}: {out}");
        let left = questions(dir.path());
        if listed {
            assert_eq!(left.len(), 1, "{name}: {left:?}");
            assert_eq!(left[0].0, "main.all-listed circuit");
        }
        assert!(left.len() <= 9, "{name}: {left:?}");
        for _ in 0..2 {
            let mut table = String::from("question,answer\n");
            for (question, _) in questions(dir.path()) {
                let fact = question.rsplit('.').next().unwrap_or_default();
                table.push_str(&format!("{question},{}\n", found_later(fact)));
            }
            fs::write(dir.path().join("answers.csv"), table).expect("written");
            let answers = ["ask", "job.amp", "--answers", "answers.csv"];
            let (code, out, err) = run(dir.path(), &answers);
            assert_eq!(code, 0, "{name}: {out}{err}");
        }
        let (code, out) = check(name, dir.path());
        assert_eq!(code, 0, "{name}: {out}");
        assert!(out.contains(": no breach"), "{name}: {out}");
        assert!(out.contains("no question open"), "{name}: {out}");
    }
}

/// The job of `us`: the same, with what a visit there finds.
#[test]
fn the_house_of_us_ends_without_a_breach_once_answered() {
    let dir = folder();
    let new = ["new", "--rules", "us", "--job", "house", "job.amp"];
    let (code, _, err) = run(dir.path(), &new);
    assert_eq!(code, 0, "{err}");
    assert_eq!(run(dir.path(), &["format", "--check", "job.amp"]).0, 0);
    let mut text = fs::read_to_string(dir.path().join("job.amp")).expect("written");
    assert!(text.contains("prove dead") && text.contains("codes and qualified persons decide"));
    let before = run(dir.path(), &["check", "job.amp"]);
    assert_eq!(before.0, 3, "{}", before.1);
    for (fact, found) in [
        ("address", "\"1 Sample Street\""),
        ("Ipf", "10 kA (by-enquiry)"),
        ("main-switch", "mccb { In: 200 A  poles: 2 }"),
        ("In-busbar", "200 A"),
        ("calculated", "118 A"),
        ("clear-depth", "3 ft"),
        ("clear-width", "30 in"),
        ("length", "40 ft"),
        ("wet", "no"),
        ("length", "38 ft"),
        ("location", "indoors"),
        ("disconnect-reach", "yes"),
    ] {
        let open = format!("{fact}: ?");
        assert!(text.contains(&open), "{fact} is not asked");
        text = text.replacen(&open, &format!("{fact}: {found}"), 1);
    }
    assert_eq!(asked(&text), Vec::<&str>::new());
    fs::write(dir.path().join("job.amp"), text).expect("written");
    let (code, out, _) = run(dir.path(), &["check", "job.amp"]);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains(": no breach; no question open"), "{out}");
}

#[test]
fn rules_and_name_are_those_asked_for() {
    let dir = folder();
    let named = [
        "new",
        "--rules",
        "gb",
        "--job",
        "house",
        "--name",
        "9 \"Mill\" Row",
    ];
    let (code, text, _) = run(dir.path(), &named);
    assert_eq!(code, 0);
    assert!(
        text.contains("installation \"9 'Mill' Row\" dwelling {\n  rules: gb\n"),
        "{text}"
    );
    fs::write(dir.path().join("amperule.toml"), "rules = \"gb\"\n").expect("written");
    assert_eq!(run(dir.path(), &["new", "--job", "house"]).0, 0);
}

/// What a ruleset of its own says besides name and title; a patch says nothing more.
const PARENT: &str =
    "parent: gb\neditions:\n  - {id: A4, title: 'Ours', usable-from: 2026-04-15}\n";

/// A folder `firm` with a ruleset `ours` upon gb, and jobs of these names and texts.
fn firm(parent: &str, jobs: &[(&str, &str)]) -> tempfile::TempDir {
    let dir = folder();
    let own = dir.path().join("firm/ours");
    fs::create_dir_all(own.join("jobs")).expect("made");
    let head = format!("ruleset: ours\ntitle: Our firm\n{parent}");
    fs::write(own.join("ruleset.yaml"), head).expect("written");
    for (name, text) in jobs {
        fs::write(own.join("jobs").join(name), text).expect("written");
    }
    dir
}

#[test]
fn a_firm_brings_its_own_jobs() {
    let jobs = [
        (
            "bay.amp",
            "# Our bay.\n\ninstallation \"New\" { rules: ours }\n",
        ),
        (
            "house.amp",
            "# Our house.\n\ninstallation \"New\" { rules: ours }\n",
        ),
        ("notes.txt", "no job"),
    ];
    for (parent, rules) in [(PARENT, "ours"), ("", "gb + ours")] {
        let dir = firm(parent, &jobs);
        let list = ["new", "--list", "--rulesets", "firm", "--rules", rules];
        let (code, listed, err) = run(dir.path(), &list);
        assert_eq!(code, 0, "{err}");
        assert_eq!(listed.lines().count(), JOBS.len() + 1, "{listed}");
        assert!(listed.contains("Our bay.") && listed.contains("Our house."));
        assert!(!listed.contains("A house with one charge point on"));
        let new = [
            "new",
            "--rulesets",
            "firm",
            "--rules",
            rules,
            "--job",
            "bay",
            "--name",
            "Bay 7",
        ];
        let (code, text, err) = run(dir.path(), &new);
        assert_eq!(code, 0, "{err}");
        let wanted = format!("# Our bay.\n\ninstallation \"Bay 7\" {{ rules: {rules} }}\n");
        assert_eq!(text, wanted);
    }
}

#[test]
fn what_cannot_be_started_from_is_said_and_nothing_is_written() {
    let jobs = [
        ("bare.amp", "# Bare.\nsupply { phases: 1 }\n"),
        (
            "torn.amp",
            "# Torn.\ninstallation \"New\" { rules: gb }\nsupply { phases 1 }\n",
        ),
    ];
    let dir = firm(PARENT, &jobs);
    let ours = ["--rulesets", "firm", "--rules", "ours", "x.amp"];
    let cases: [(&[&str], &[&str]); 5] = [
        (&["x.amp"], &["no ruleset is named", "core, gb, iec, us"]),
        (
            &["--rules", "gb", "--job", "hose", "x.amp"],
            &["no job `hose` for `gb`", "did you mean `house`?"],
        ),
        (
            &["--rules", "iec", "--job", "house", "x.amp"],
            &["no job `house` for `iec`", "it has no jobs"],
        ),
        (
            &["--job", "bare"],
            &["bare.amp", "does not say its name and rules"],
        ),
        (&["--job", "torn"], &["torn.amp:3:", "phases: 1"]),
    ];
    for (arguments, wanted) in cases {
        let mut all = vec!["new"];
        all.extend(arguments);
        if arguments.len() == 2 {
            all.extend(ours);
        }
        let (code, out, err) = run(dir.path(), &all);
        assert_eq!(code, 2, "{arguments:?}: {out}{err}");
        for part in wanted {
            assert!(err.contains(part), "{arguments:?}: {err}");
        }
        assert!(!dir.path().join("x.amp").exists(), "{arguments:?}");
    }
    let (code, out, _) = run(dir.path(), &["new", "--list", "--rules", "iec"]);
    assert_eq!((code, out.as_str()), (0, "iec: no jobs\n"));
}

/// How many values a text says: each that stands for itself, in a row or behind its key; a mark such
/// as `B32` is two.
fn values(text: &str) -> usize {
    use amperule::design::tree::{Block, Entry, Item, Value, ValueKind};
    fn value(v: &Value) -> usize {
        match &v.kind {
            ValueKind::Row { values, entries } => {
                values.iter().map(value).sum::<usize>() + all(entries)
            }
            ValueKind::Part { entries, .. } => 1 + all(entries),
            ValueKind::List(each) => each.iter().map(value).sum(),
            ValueKind::Word(word) => {
                let rest = word.trim_start_matches(['B', 'C', 'D']);
                1 + usize::from(rest.len() + 1 == word.len() && rest.parse::<u32>().is_ok())
            }
            _ => 1,
        }
    }
    fn all(entries: &[Entry]) -> usize {
        let each = |e: &Entry| match e {
            Entry::Fact(fact) => value(&fact.value),
            Entry::Block(inner) => block(inner),
            Entry::No(_) => 1,
        };
        entries.iter().map(each).sum()
    }
    fn block(b: &Block) -> usize {
        let named = usize::from(b.kind.text == "supply" && b.name.is_some());
        named + b.row.iter().map(value).sum::<usize>() + all(&b.entries)
    }
    let parsed = amperule::design::parse::parse(amperule::source::FileId(0), text);
    assert!(parsed.is_sound());
    let each = |item: &Item| match item {
        Item::Block(b) => block(b),
        _ => 1,
    };
    parsed.tree.items.iter().map(each).sum()
}

/// The ordinary job, as README shows it first: what it takes to say it, and to read the answer.
#[test]
fn one_point_at_a_house_is_said_and_answered_shortly() {
    let root = Path::new(ROOT);
    let text = fs::read_to_string(root.join("examples/larch-bank.amp")).expect("a text");
    let code = |l: &&str| !l.is_empty() && !l.starts_with('#');
    let lines = text.lines().filter(code).count();
    assert_eq!((lines, values(&text)), (22, 50));
    let (code, out, _) = run(root, &["check", "examples/larch-bank.amp"]);
    assert_eq!(code, 0, "{out}");
    assert!(out.lines().count() <= 45, "{out}");
    assert_eq!(open(&out), 4, "{out}");
}

/// A ruleset whose editions have no day is begun with the edition named, and a rule of it that another
/// ruleset is asked for is found.
#[test]
fn a_ruleset_without_days_is_begun_with_its_edition() {
    let dir = folder();
    let (code, _, err) = run(dir.path(), &["new", "--rules", "us", "a.amp"]);
    assert_eq!(code, 0, "{err}");
    let text = fs::read_to_string(dir.path().join("a.amp")).expect("written");
    assert!(text.contains("edition: \"2026\""), "{text}");
    let (_, out, _) = run(dir.path(), &["check", "a.amp"]);
    assert!(!out.contains("edition-needed"), "{out}");
    let (code, out, err) = run(dir.path(), &["explain", "us-ampacity"]);
    assert_eq!(code, 2);
    assert!((out + &err).contains("amperule explain us-ampacity --rules us"));
}
