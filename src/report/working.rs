//! Workings as text, JSON, and a calculation sheet that can be handed in.

use rustc_hash::FxHashSet;
use serde_json::{Value, json};

use crate::answer::{Input, Working, WorkingStep};
use crate::source::{Sources, visible_line};

use super::json as to_json;
use super::markup::template;
use super::plural;

/// Said below all.
pub const AFTER: &str =
    "Figures of what is written; a qualified person answers for them, and local codes decide.";

/// What is shown of one working.
struct Told<'a> {
    w: &'a Working,
    steps: Vec<&'a WorkingStep>,
    /// So many of its steps stand in a working before it.
    above: usize,
}

/// Each step once, where it is first needed.
fn told(all: &[Working]) -> Vec<Told<'_>> {
    let mut seen: FxHashSet<(&str, &str, &str)> = FxHashSet::default();
    let each = all.iter().map(|w| {
        let mut steps = working(w);
        let of = steps.len();
        steps.retain(|s| seen.insert((&s.what, &s.numbers, &s.result)));
        let above = of - steps.len();
        Told { w, steps, above }
    });
    each.collect()
}

/// Steps that work something out. What only carries a value along the feed, as `fed-from.U0` for
/// `U0`, is left out: its source stands beside each input. So is what is the same for every design.
fn working(w: &Working) -> Vec<&WorkingStep> {
    let last = w.steps.len().saturating_sub(1);
    let carries = |s: &WorkingStep| {
        let fact = s.what.split(' ').next().unwrap_or_default();
        let from = s.formula.rsplit('.').next().unwrap_or_default();
        let from = from.split('[').next().unwrap_or_default();
        s.formula.contains('.') && !s.formula.contains(' ') && from == fact
    };
    let all = w.steps.iter().enumerate();
    let same = |s: &WorkingStep| s.inputs.is_empty() && s.formula == s.result;
    let kept = all.filter(|(i, s)| *i == last || !(carries(s) || same(s)));
    kept.map(|(_, s)| s).collect()
}

/// Whether the numbers say more than formula and result.
fn numbers_say_more(s: &WorkingStep) -> bool {
    s.numbers != s.formula && s.numbers != s.result
}

/// Clause, or where the formula was seen.
fn cited(s: &WorkingStep) -> Option<&String> {
    s.clause.as_ref().or(s.source.as_ref())
}

/// Where an input is written, and where its figure is from.
fn origins(i: &Input, sources: &Sources) -> Vec<String> {
    let place = i.span.and_then(|s| sources.place(s));
    let place = place.map(|p| visible_line(&p).into_owned());
    place.into_iter().chain(i.source.clone()).collect()
}

template! {
    /// Workings on a terminal.
    pub fn text(all: &'a [Working], sources: &'a Sources) = "working.txt"
}

/// One working for programs, every step of it.
#[must_use]
pub fn json(w: &Working, sources: &Sources) -> Value {
    let figure = w.figure.as_ref();
    json!({
        "fact": w.fact,
        "subject": w.subject,
        "low": figure.map(|f| to_json::number(f.unit.from_si(f.low))),
        "high": figure.map(|f| to_json::number(f.unit.from_si(f.high))),
        "unit": figure.map(|f| f.unit.text().to_owned()),
        "result": w.result,
        "steps": w.steps.iter().map(|s| json!({
            "what": s.what,
            "means": s.means,
            "formula": s.formula,
            "numbers": s.numbers,
            "result": s.result,
            "clause": s.clause,
            "source": s.source,
            "inputs": s.inputs.iter().map(|i| json!({
                "name": i.name,
                "value": i.value,
                "at": i.span.and_then(|s| sources.place(s)),
                "source": i.source,
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
    })
}

template! {
    /// Workings as a page that prints well; `rules` are ruleset, edition and hash.
    pub fn html(
        installation: &'a str, path: &'a str, rules: &'a str, all: &'a [Working], sources: &'a Sources
    ) = "working.html"
    with title: String = format!("Calculations: {installation}");
}
