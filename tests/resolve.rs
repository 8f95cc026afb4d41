//! What the step from syntax tree to design promises: which words mean what, which mistakes are
//! found, and how they are reported.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "the helpers of these tests stop where a test names what is not there"
)]

mod any_text;
mod completeness;
mod kinds;
mod parts;
mod quantities;
mod references;
mod rules;
mod templates;
mod vocabulary;
mod words;

use amperule::design::model::{Design, Formula, ObjectId, ParameterId, Possible, Status, Written};
use amperule::design::parse::{parse, parse_value};
use amperule::design::resolve::{Resolved, Settings, resolve, rules_named};
use amperule::design::tree::{Arith, Origin};
use amperule::quantity::{Interval, days_from_civil};
use amperule::source::{FileId, Problem, Weight};
use amperule::vocabulary::WordSet;
use vocabulary::vocabulary;

const FILE: FileId = FileId(0);

/// What a complete little installation needs, so that nothing is missing.
const REST: &str = "
installation { premises: dwelling }
supply { earthing: TT }
board main { fed-from: supply  circuit shower { } }
charge-point wall { circuit: shower }
";

fn read(text: &str) -> Resolved {
    read_with(text, &[])
}

fn read_with(text: &str, set: &[(&str, &str)]) -> Resolved {
    let parsed = parse(FILE, text);
    assert_eq!(parsed.problems, [], "the text itself is sound");
    let set = set
        .iter()
        .map(|(name, value)| {
            let (value, problems) = parse_value(FileId(9), value, 0);
            assert_eq!(problems, []);
            ((*name).to_owned(), value)
        })
        .collect();
    resolve(&[&parsed.tree], &vocabulary(), &Settings { set })
}

/// All problems of a text that is completed to an installation, one line each:
/// `error CODE: MESSAGE | UNDERLINED | … | HELP | …`.
fn problems(text: &str) -> Vec<String> {
    problems_with(text, &[])
}

fn problems_with(text: &str, set: &[(&str, &str)]) -> Vec<String> {
    let whole = format!("{text}{REST}");
    let resolved = read_with(&whole, set);
    resolved.problems.iter().map(|p| shown(&whole, p)).collect()
}

fn shown(text: &str, problem: &Problem) -> String {
    let weight = match problem.weight {
        Weight::Error => "error",
        Weight::Caution => "caution",
    };
    let mut line = format!("{weight} {}: {}", problem.code, problem.message);
    for label in &problem.labels {
        let slice = if label.span.file == FILE {
            text.get(label.span.from()..label.span.until())
                .unwrap_or("OUTSIDE")
        } else {
            "(set)"
        };
        line.push_str(&format!(" | {slice}"));
        if !label.text.is_empty() {
            line.push_str(&format!(" <- {}", label.text));
        }
    }
    for help in &problem.help {
        line.push_str(&format!(" | ={help}"));
    }
    line
}

fn sound(text: &str) -> Design {
    let whole = format!("{text}{REST}");
    let resolved = read(&whole);
    let lines: Vec<_> = resolved.problems.iter().map(|p| shown(&whole, p)).collect();
    assert_eq!(lines, Vec::<String>::new());
    resolved.design
}

fn object(design: &Design, name: &str) -> ObjectId {
    design
        .ids()
        .find(|id| design.label(*id) == name)
        .unwrap_or_else(|| panic!("there is a `{name}`"))
}

fn fact(design: &Design, name: &str, key: &str) -> Option<Written> {
    let id = object(design, name);
    let vocabulary = vocabulary();
    let kind = vocabulary.kind(design.object(id).kind);
    let ix = kind
        .fact_named(key)
        .expect("the test names a fact of the kind");
    design.object(id).facts[ix.0 as usize].clone().map(|w| *w)
}

fn value(design: &Design, name: &str, key: &str) -> Possible {
    fact(design, name, key)
        .unwrap_or_else(|| panic!("`{key}` of `{name}` is written"))
        .value
}

fn point(x: f64) -> Possible {
    Possible::Number(Interval::point(x))
}

/// The value of a fact of a cable in a circuit of its own, written as given.
fn cable_fact(key: &str, written: &str) -> Possible {
    let design = sound(&format!(
        "circuit c {{ cables: armoured {{ {key}: {written} }} }}\n"
    ));
    value(&design, "cables 1 of c", key)
}

fn supply_fact(key: &str, written: &str) -> Possible {
    let design = sound(&format!("supply second {{ {key}: {written} }}\n"));
    value(&design, "second", key)
}

/// The problems of one fact of a supply.
fn supply_problems(entry: &str) -> Vec<String> {
    problems(&format!("supply second {{ {entry} }}\n"))
}

fn cable_problems(entry: &str) -> Vec<String> {
    problems(&format!("circuit c {{ cables: armoured {{ {entry} }} }}\n"))
}
