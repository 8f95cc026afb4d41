//! What holds whatever is put in. Each function takes any bytes and panics where its promise is
//! broken; the fuzz targets and `tests/fuzzed.rs` call the same ones.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, LazyLock};

use amperule::check::Outcome;
use amperule::report::{FileReport, json};
use amperule::ruleset::Request;
use amperule::session::{Ask, Installation, Loaded, Options, Project, Rows};
use amperule::source::Memory;

/// A promise about any input.
pub type Invariant = fn(&[u8]);

/// Designs that edits start from: sound, in breach, and half filled.
pub const DESIGNS: [&str; 4] = [
    include_str!("../../examples/larch-bank.amp"),
    include_str!("../../examples/quarry-cottage.amp"),
    include_str!("../../examples/quarry-cottage-faults.amp"),
    include_str!("../../examples/half-filled-survey.amp"),
];

/// A ruleset that edits start from.
pub const LAB: &str = "\
ruleset: lab
title: rules for tests
editions:
  - {id: '1', title: first}
kinds:
  installation:
    means: the whole
    facts:
      rules: {is: text, means: 'rules', by: designer}
  thing:
    means: a thing
    facts:
      x: {is: A, means: 'a current', by: site, domain: '>= 0 A'}
      y: {is: mm², means: 'a size', by: site, domain: '> 0 mm²'}
      sort: {is: one of red green blue, means: 'a sort', by: site}
      on: {is: yes-no, means: 'it is on', by: site}
tables:
  rating:
    title: current of a size
    source: of this test
    keys:
      size: {is: mm², between: nothing}
      sort: {is: thing.sort}
    gives: A
    columns: [red, green]
    rows:
      - [1.5, 10, none]
      - [2.5, 20, 30]
derive:
  thing.z:
    is: A
    means: twice the current
    formula: '2 * x'
    source: of this test
rules:
  - {id: small, title: x is small, stage: design, each: thing, require: 'x <= 16 A', message: '{subject} is large', topic: tests,
     source: of this test, confidence: published}
";

/// A design under it.
pub const THING: &str = "installation \"Yard\" { rules: lab }\nthing t { x: 2 A .. 20 A  y: 1.5 mm² | 2.5 mm²  sort: red }\nthing u { }\n";

const PATH: &str = "design.amp";

/// The rulesets in the program, loaded once.
static SHIPPED: LazyLock<Project> = LazyLock::new(|| Project::in_memory(Memory::default()));

fn open(text: &str, options: &Options) -> Arc<Loaded> {
    SHIPPED
        .beside([(PATH, text.to_owned())].into_iter().collect())
        .open(Path::new(PATH), options)
}

/// Everything that a check says, as JSON that can be read.
fn checked(loaded: &Loaded) -> String {
    let checked = loaded.check(Ask {
        met: true,
        helps: false,
    });
    let report = FileReport::of(loaded, &checked);
    let said = json::file(&report, true);
    assert!(
        serde_json::from_str::<serde_json::Value>(&said).is_ok(),
        "not JSON: {said}"
    );
    said
}

/// A design of ours with lines and words changed as the bytes say: nearly all of these get past
/// the grammar, most past the vocabulary.
pub fn edited(data: &[u8]) -> String {
    let mut bytes = data.iter().copied();
    let mut next = || bytes.next().unwrap_or(0);
    let base = DESIGNS[usize::from(next()) % DESIGNS.len()];
    let mut lines: Vec<String> = base.lines().map(str::to_owned).collect();
    for _ in 0..=next() % 4 {
        let mut line = || (usize::from(next()) << 8 | usize::from(next())) % lines.len();
        let (at, from) = (line(), line());
        let other = lines[from].clone();
        match next() % 6 {
            0 => lines[at] = other,
            1 => lines.insert(at, other),
            2 if lines.len() > 1 => drop(lines.remove(at)),
            // A word or number for another, from anywhere.
            3 | 4 => {
                let mut words: Vec<&str> = other.split(' ').collect();
                let word = words.remove(usize::from(next()) % words.len()).to_owned();
                let mut mine: Vec<&str> = lines[at].split(' ').collect();
                let place = usize::from(next()) % mine.len();
                mine[place] = &word;
                lines[at] = mine.join(" ");
            }
            // A number that grows, or is not known.
            _ => {
                let mine = lines[at].clone();
                let mut mine: Vec<String> = mine.split(' ').map(str::to_owned).collect();
                let numbers: Vec<usize> = (0..mine.len())
                    .filter(|i| mine[*i].parse::<f64>().is_ok())
                    .collect();
                if let Some(place) = numbers.get(usize::from(next()) % numbers.len().max(1)) {
                    let digit = next();
                    if digit % 5 == 0 {
                        mine.splice(*place..(*place + 2).min(mine.len()), ["?".to_owned()]);
                    } else {
                        let _ = write!(mine[*place], "{}", digit % 10);
                    }
                    lines[at] = mine.join(" ");
                }
            }
        }
    }
    lines.join("\n")
}

/// Any text is read and judged, twice alike, and what is said of it is JSON.
pub fn any_text_is_judged_twice_alike(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    let options = Options::default();
    let once = checked(&open(&text, &options));
    assert_eq!(once, checked(&open(&text, &options)), "of {text}");
}

/// What can be laid out is laid out once and for all, and says what it said.
pub fn layout_keeps_what_is_said(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    let Ok(laid_out) = amperule::design::format::format(&text) else {
        return;
    };
    let again = amperule::design::format::format(&laid_out);
    assert_eq!(
        again.as_deref().ok(),
        Some(laid_out.as_str()),
        "laid out twice: {text}"
    );
    let options = Options::default();
    let facts = |text: &str| open(text, &options).sound().map(Installation::known_facts);
    assert_eq!(facts(&text), facts(&laid_out), "of {text}");
}

/// Any text as a ruleset loads, or is told why not; what loads judges a design.
pub fn any_ruleset_loads_or_says_why(data: &[u8]) {
    loads(&String::from_utf8_lossy(data));
}

/// Any text as the requirement and as a derived fact of a rule.
pub fn any_expression_is_typed_or_refused(data: &[u8]) {
    let text = String::from_utf8_lossy(data).replace(['\n', '\r'], " ");
    loads(&requiring(&text));
    let quoted = text.replace('\'', "''");
    loads(&LAB.replacen("'2 * x'", &format!("'{quoted}'"), 1));
}

/// The ruleset with another requirement in its rule.
pub fn requiring(text: &str) -> String {
    let quoted = text.replace('\'', "''");
    LAB.replacen("'x <= 16 A'", &format!("'{quoted}'"), 1)
}

/// Whether a ruleset loads; one that does judges a design.
pub fn loads(ruleset: &str) -> bool {
    let texts: Memory = [
        ("own/lab/ruleset.yaml", ruleset.to_owned()),
        (PATH, THING.to_owned()),
    ]
    .into_iter()
    .collect();
    let project = Project::new(Arc::new(texts), vec![PathBuf::from("own")]);
    let request = Request {
        base: "lab".to_owned(),
        ..Request::default()
    };
    let loaded = project.ruleset(&request);
    assert!(
        loaded.ruleset.is_some() || !loaded.problems.is_empty(),
        "no ruleset and no reason: {ruleset}"
    );
    let design = project.open(Path::new(PATH), &Options::default());
    checked(&design);
    if let Some(of) = design.sound() {
        answer(of);
    }
    loaded.ruleset.is_some()
}

/// Asks every question.
fn answer(of: &Installation) {
    let judged = of.check(Ask {
        met: true,
        helps: true,
    });
    // What is undecided rests on something; what the survey asks for is one of its facts.
    let _ = of.survey();
    let _ = (of.sheet(), of.order(), of.margins());
    let _ = of.mend(&|_| String::new());
    let _ = of.prove(64);
    let bounds = of.bounded_facts(&[]);
    let _ = of.bounds(&bounds[..bounds.len().min(4)]);
    for figure in judged.report.figures.iter().take(8) {
        assert!(
            figure.low <= figure.high,
            "{} of {} from {} to {}",
            figure.fact,
            figure.subject.label,
            figure.low,
            figure.high
        );
    }
}

/// Every question about a design of ours, edited as the bytes say, ends without a panic.
pub fn every_answer_ends(data: &[u8]) {
    let text = edited(data);
    let loaded = open(&text, &Options::default());
    checked(&loaded);
    if let Some(of) = loaded.sound() {
        answer(of);
    }
}

/// A template with a parameter, opened once: what differs is what stands in the cell.
static TEMPLATE: LazyLock<(Project, Arc<Loaded>)> = LazyLock::new(|| {
    let text =
        DESIGNS[1].replacen("length: 18 m", "length: run", 1) + "\nparameter run: 1 m .. 90 m\n";
    let project = SHIPPED.beside([(PATH, text)].into_iter().collect());
    let loaded = project.open(Path::new(PATH), &PLAIN);
    (project, loaded)
});

static PLAIN: LazyLock<Options> = LazyLock::new(Options::default);

/// Its table of one column.
static ROWS: LazyLock<Rows<'static>> = LazyLock::new(|| {
    let (project, loaded) = &*TEMPLATE;
    let of = loaded
        .sound()
        .unwrap_or_else(|| unreachable!("{:?}", loaded.problems));
    Rows::new((project, loaded, &PLAIN), of, (&["run"], "table.csv"))
        .unwrap_or_else(|problems| unreachable!("{problems:?}"))
});

/// A row comes to what a check of its value comes to, whatever stands in the cell.
pub fn a_row_is_judged_as_its_design(data: &[u8]) {
    compared(&String::from_utf8_lossy(data));
}

/// Whether what stands in a cell is a value of a row and of a design alike, so that they can be
/// compared.
pub fn compared(cell: &str) -> bool {
    let ((project, _), rows) = (&*TEMPLATE, &*ROWS);
    let Ok(row) = rows.row(&mut rows.reader(), &[cell]) else {
        return false;
    };
    let named = row.unmet.iter().chain(&rows.every_row).map(|u| {
        let verdict = &rows.verdicts[u.verdict];
        let subject = verdict.subject.label.clone();
        (verdict.rule.clone(), subject, u.outcome)
    });
    let by_row: BTreeSet<(String, String, Outcome)> = named.collect();
    let set = Options {
        set: vec![("run".to_owned(), cell.trim().to_owned())],
        ..Options::default()
    };
    let single = project.open(Path::new(PATH), &set);
    // A bare number in a cell goes by the unit of the template; on the command line it does not.
    let Some(of) = single.sound() else {
        return false;
    };
    let judged = of.check(Ask::default());
    let unmet = judged.report.findings.iter().filter(|f| {
        matches!(
            f.outcome,
            Outcome::Failed | Outcome::Undecided | Outcome::Departed
        )
    });
    let by_check: BTreeSet<_> = unmet
        .map(|f| (f.rule.clone(), f.subject.label.clone(), f.outcome))
        .collect();
    assert_eq!(by_row, by_check, "of `{cell}`");
    true
}
