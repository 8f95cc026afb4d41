//! The sheet for those who install and test, as text, JSON and a page that prints well.

use serde_json::{Value, json};

use crate::answer::{Accepted, Question, Sheet, Terminal, Thing, ToRead};
use crate::check::{Outcome, Report};
use crate::quantity::{Rounding, Unit, format_interval, format_quantity, format_toward};
use crate::ruleset::{Severity, Stage};
use crate::session::{Ask, Installation};

use super::columns::{below, named};
use super::markup::template;
use super::{called, counted};

/// Characters of a value on one line.
const WIDTH: usize = 76;

/// Said above all, whatever is built.
const BEFORE: [&str; 3] = [
    super::cautions::OPENING,
    super::cautions::TESTING,
    "A reading beyond what is expected is a question to the work, not to the instrument: look for a loose joint, a longer run, another path.",
];

/// Said below all.
const AFTER: &str = "Worked out from what the design says; the makers' instructions, local codes and a qualified person decide.";

/// What stands above a sheet.
#[derive(Clone, Debug, Default)]
pub struct SheetOf {
    /// The installation.
    pub installation: String,
    /// The ruleset and its edition.
    pub rules: String,
    /// Breaches of the design as it is: with any, it is not to be built yet.
    pub breaches: usize,
    /// Requirements that are undecided.
    pub undecided: usize,
    /// Questions that are open.
    pub open: usize,
}

impl SheetOf {
    /// What stands above a sheet of a design.
    #[must_use]
    pub fn new(of: &Installation) -> Self {
        let judged = as_designed(of);
        let count = |outcome: Outcome| {
            let all = judged.findings.iter();
            all.filter(|f| f.outcome == outcome && f.severity == Severity::Breach)
                .count()
        };
        Self {
            installation: of.name(),
            rules: of.ruleset().title(),
            breaches: count(Outcome::Failed),
            undecided: count(Outcome::Undecided),
            open: of.at(Stage::Design).survey().questions.len(),
        }
    }

    /// Why it is not to be `built from`, or `bought`, yet.
    #[must_use]
    pub fn warning(&self, act: &str) -> Option<String> {
        if self.breaches == 0 && self.undecided == 0 {
            return None;
        }
        let breaches = counted(self.breaches, "breach", "breaches");
        let open = match self.open {
            0 => counted(self.undecided, "verdict", "verdicts") + " undecided",
            n => counted(n, "question", "questions") + " open",
        };
        Some(format!(
            "Not to be {act} yet: {breaches}, {open}; `amperule check` says which."
        ))
    }
}

/// A design as it is judged before it is built: what is judged of readings and papers later is no
/// reason not to build.
#[must_use]
pub fn as_designed(of: &Installation) -> Report {
    let ask = Ask {
        met: true,
        ..Ask::default()
    };
    of.at(Stage::Design).check(ask).report
}

/// A number that must not be passed, rounded to the safe side.
fn limit(at: f64, unit: &Unit, upper: bool) -> String {
    let toward = if upper { Rounding::Down } else { Rounding::Up };
    // A limit was searched for by halving: where a printed figure lies as near as that, it is meant;
    // by a thousandth of a millionth a check, too, takes two figures for the same.
    let nudge = at.abs() * 1e-9;
    format_toward(if upper { at + nudge } else { at - nudge }, unit, 4, toward)
}

fn accepted(a: &Accepted, unit: Option<&Unit>) -> Option<String> {
    if let Some((words, _)) = &a.words {
        return Some(words.clone());
    }
    let unit = unit?;
    match (&a.low, &a.high) {
        // What one rule takes, another does not.
        (Some(l), Some(h)) if l.at > h.at => Some("no value passes".to_owned()),
        (Some(l), Some(h)) => Some(format!(
            "{} to {}",
            limit(l.at, unit, false),
            limit(h.at, unit, true)
        )),
        (Some(l), None) => Some(format!("at least {}", limit(l.at, unit, false))),
        (None, Some(h)) => Some(format!("at most {}", limit(h.at, unit, true))),
        (None, None) => None,
    }
}

fn expected(r: &ToRead) -> Option<String> {
    let (unit, (low, high)) = (r.unit.as_ref()?, r.expected?);
    let three = |x: f64| format_quantity(x, unit, 3);
    Some(if three(low) == three(high) {
        format!("about {}", three(low))
    } else {
        format_interval(low, high, unit)
    })
}

/// What is asked of a reading, in one line each.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// What it must be.
    pub required: String,
    /// What it is expected to be.
    pub expected: String,
    /// Beyond this it is looked at again.
    pub usual: String,
}

/// What is asked of a reading.
#[must_use]
pub fn asked(r: &ToRead) -> Asked {
    Asked {
        required: accepted(&r.required, r.unit.as_ref()).unwrap_or_default(),
        expected: expected(r).unwrap_or_default(),
        usual: accepted(&r.usual, r.unit.as_ref()).unwrap_or_default(),
    }
}

/// What is wrong with a number that was read, by what is asked of it.
fn beyond(r: &ToRead) -> Option<&'static str> {
    let (low, high) = r.read_at?;
    let outside = |a: &Accepted| {
        a.low
            .as_ref()
            .is_some_and(|l| low < l.at - l.at.abs() * 1e-6)
            || a.high
                .as_ref()
                .is_some_and(|h| high > h.at + h.at.abs() * 1e-6)
    };
    match (outside(&r.required), outside(&r.usual)) {
        (true, _) => Some("not what it must be"),
        (_, true) => Some("look again"),
        _ => None,
    }
}

/// The things that are taken out, or the others.
fn things(sheet: &Sheet, goes: bool) -> Vec<&Thing> {
    sheet.things.iter().filter(|t| t.goes == goes).collect()
}

/// Where to write a reading.
fn blank(r: &ToRead) -> String {
    match &r.read {
        Some(read) => {
            let beyond = beyond(r).map_or_else(String::new, |why| format!(", {why}"));
            format!("read: {read}{beyond}")
        }
        None => boxes(&r.words, unit_of(r)),
    }
}

fn unit_of(r: &ToRead) -> Option<&str> {
    r.unit.as_ref().map(Unit::text)
}

/// Boxes to tick, or a line to write on.
fn boxes(words: &[String], unit: Option<&str>) -> String {
    if words.is_empty() {
        return format!("________ {}", unit.unwrap_or(""))
            .trim_end()
            .to_owned();
    }
    let all: Vec<String> = words.iter().map(|w| format!("[ ] {w}")).collect();
    all.join(" ")
}

/// The readings thing by thing, each thing by its kind and name.
fn by_object(readings: &[ToRead]) -> impl Iterator<Item = (String, &[ToRead])> {
    let things = readings.chunk_by(|a, b| a.object == b.object);
    things.map(|all| (called(&all[0].kind, &all[0].of), all))
}

/// What a thing is built of.
fn built(t: &Thing) -> String {
    named(t.facts.iter().cloned(), WIDTH)
}

/// The terminals, in a table.
fn tightened(sheet: &Sheet) -> String {
    let row = |t: &Terminal| {
        let torque = t.torque.clone();
        let done = t.done.as_ref().map(|d| format!("done {d}"));
        [
            t.at.clone(),
            t.what.clone(),
            torque.unwrap_or_else(|| format!("as its maker says: ______ {}", t.unit)),
            done.unwrap_or_else(|| format!("done ______ {}", t.unit)),
        ]
    };
    below(sheet.terminals.iter().map(row), 2)
}

/// What is open while installing, in a table.
fn settled(sheet: &Sheet) -> String {
    let row = |q: &Question| {
        let boxes = boxes(&q.words, q.unit.as_deref());
        [q.of.clone(), q.asked.clone(), q.means.clone(), boxes]
    };
    below(sheet.to_settle.iter().map(row), 2)
}

/// The readings of one thing, in a table.
fn read(readings: &[ToRead]) -> String {
    let head = [
        "",
        "reading",
        "must be",
        "expected",
        "look again unless",
        "",
    ]
    .map(str::to_owned);
    let row = |r: &ToRead| {
        let mark = if r.needed { "*" } else { " " }.to_owned();
        let a = asked(r);
        [
            mark,
            r.reading.clone(),
            a.required,
            a.expected,
            a.usual,
            blank(r),
        ]
    };
    below(std::iter::once(head).chain(readings.iter().map(row)), 2)
}

template! {
    /// The sheet in plain text.
    pub fn text(head: &'a SheetOf, sheet: &'a Sheet) = "sheet.txt"
}

template! {
    /// The sheet as a page that prints well.
    pub fn html(head: &'a SheetOf, sheet: &'a Sheet) = "sheet.html"
    with title: String = format!("To build and test: {}", head.installation);
}

/// The sheet, schema `amperule-sheet-1`. Numbers are in the unit beside them.
#[must_use]
pub fn json(path: &str, head: &SheetOf, sheet: &Sheet) -> Value {
    let accepted = |a: &Accepted, unit: Option<&Unit>| {
        let side = |s: &Option<crate::answer::Side>| {
            s.as_ref().map(|s| {
                json!({
                    "value": unit.map_or(s.at, |u| u.from_si(s.at)),
                    "rule": s.rule,
                })
            })
        };
        json!({
            "low": side(&a.low),
            "high": side(&a.high),
            "words": a.words.as_ref().map(|(w, _)| w),
            "rules": a.words.as_ref().map(|(_, r)| r),
        })
    };
    json!({
        "schema": "amperule-sheet-1",
        "path": path,
        "before": BEFORE,
        "after": AFTER,
        "installation": head.installation,
        "rules": head.rules,
        "breaches": head.breaches,
        "open": head.open,
        "things": sheet.things.iter().map(|t| json!({
            "kind": t.kind,
            "name": t.name,
            "label": t.label,
            "changed": t.altered,
            "goes": t.goes,
            "facts": t.facts.iter().map(|(f, v)| json!({"fact": f, "value": v})).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "terminals": sheet.terminals.iter().map(|t| json!({
            "at": t.at,
            "what": t.what,
            "torque": t.torque,
            "done": t.done,
        })).collect::<Vec<_>>(),
        "to-settle": sheet.to_settle.iter().map(|q| json!({
            "of": q.of,
            "asked": q.asked,
            "means": q.means,
            "answer": q.answer,
            "rules": q.waiting.iter().map(|w| w.rule.as_str()).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "readings": sheet.readings.iter().map(|r| {
            let unit = r.unit.as_ref();
            json!({
                "of": r.of,
                "kind": r.kind,
                "reading": r.reading,
                "means": r.means,
                "unit": unit.map(|u| u.text().to_owned()),
                "words": r.words,
                "needed": r.needed,
                "rules": r.rules,
                "expected": unit.and_then(|u| r.expected.map(|(l, h)| [u.from_si(l), u.from_si(h)])),
                "required": accepted(&r.required, unit),
                "usual": accepted(&r.usual, unit),
                "read": r.read,
            })
        }).collect::<Vec<_>>(),
    })
}
