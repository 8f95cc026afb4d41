//! A comparison as text and JSON.

use serde_json::{Value, json};

use crate::answer::{Change, Comparison, Difference, Said, Stated, Turn};
use crate::source::visible_line;

use super::cautions;
use super::columns::below;
use super::markup::template;

/// Designs named under one change of one rule.
const MOST_DESIGNS: usize = 8;

fn side(s: &Option<Said>) -> String {
    match s {
        None => "not asked for there".to_owned(),
        Some(s) => format!("{} ({})", s.outcome.word(), s.severity),
    }
}

/// What is other, in short; what is long only by its title.
fn changed(d: &Difference) -> String {
    const MOST: usize = 40;
    let short = |t: &Option<String>| t.as_ref().filter(|t| t.chars().count() <= MOST).cloned();
    match (short(&d.before), short(&d.after)) {
        (Some(a), Some(b)) => format!("{a} → {b}: {}", d.title),
        (None, Some(b)) if d.before.is_none() => format!("{b}: {}", d.title),
        _ => d.title.clone(),
    }
}

/// Rules with their clauses.
type ByRule<'c> = Vec<(String, Vec<&'c Change>)>;

fn count(c: &Comparison, turn: &Turn) -> usize {
    c.of(*turn).count()
}

/// The changes of one sort, rule by rule.
fn by_rule<'c>(c: &'c Comparison, turn: &Turn) -> ByRule<'c> {
    let mut changes: Vec<&Change> = c.of(*turn).collect();
    changes.sort_by_key(|c| (&c.rule, &c.design, &c.subject));
    let named = |of: &[&'c Change]| {
        let first = of.first()?;
        let said = first.after.as_ref().or(first.before.as_ref());
        let clause = said.and_then(|s| s.clause.as_ref());
        let clause = clause.map_or(String::new(), |c| format!(" ({c})"));
        Some((format!("{}{clause}", first.rule), of.to_vec()))
    };
    let rules = changes.chunk_by(|a, b| a.rule == b.rule);
    rules.filter_map(named).collect()
}

/// What is wrong now, or was before.
fn why(c: &Change) -> Option<String> {
    let message = |s: &Option<Said>| s.as_ref().and_then(|s| s.message.clone());
    let before = || message(&c.before).map(|m| format!("before: {m}"));
    message(&c.after).or_else(before)
}

/// What the rulesets state otherwise, rules themselves or what they rest on.
fn differing(c: &Comparison, rules: bool) -> String {
    let row = |d: &Difference| match d.of {
        Stated::LeftOut => [
            d.fate.word().to_owned(),
            d.name.clone(),
            format!("not judged: {}", d.title),
        ],
        Stated::Rule => [d.fate.word().to_owned(), d.name.clone(), d.title.clone()],
        of => [
            format!("{} {}", d.fate.word(), of.word()),
            d.name.clone(),
            changed(d),
        ],
    };
    let is_rule = |d: &Difference| matches!(d.of, Stated::Rule | Stated::LeftOut);
    let all = c.differences.iter().filter(|d| is_rule(d) == rules);
    below(all.map(row), 2)
}

/// How often one outcome became another.
fn matrix(c: &Comparison) -> String {
    let row = |((a, b), n): (&(&str, &str), &usize)| [format!("{a} → {b}"), n.to_string()];
    below(c.matrix.iter().map(row), 2)
}

template! {
    /// A comparison on a terminal.
    pub fn text(from: &'a str, to: &'a str, c: &'a Comparison) = "compare.txt"
    with counts: [usize; 4] =
        [Turn::Breaks, Turn::Opens, Turn::Passes, Turn::Settles].map(|t| count(c, &t));
}

/// A comparison, schema `amperule-compare-1`.
#[must_use]
pub fn json(from: &str, to: &str, c: &Comparison) -> Value {
    let said = |s: &Option<Said>| {
        s.as_ref().map(|s| {
            json!({
                "outcome": s.outcome.word(),
                "severity": s.severity.word(),
                "message": s.message,
                "clause": s.clause,
            })
        })
    };
    json!({
        "schema": "amperule-compare-1",
        "from": from,
        "to": to,
        "designs": c.designs,
        "paired-by": if c.by_topic { "topic" } else { "rule" },
        "changes": c.changes.iter().map(|(turn, x)| json!({
            "turn": turn.word(),
            "design": x.design,
            "rule": x.rule,
            "subject": x.subject,
            "before": said(&x.before),
            "after": said(&x.after),
        })).collect::<Vec<_>>(),
    "rules": c.differences.iter().filter(|d| d.of == Stated::Rule).map(|d| json!({"rule": d.name, "fate": d.fate.word(), "title": d.title})).collect::<Vec<_>>(),
        "differences": c.differences.iter().filter(|d| d.of != Stated::Rule).map(|d| json!({
            "of": d.of.word(),
            "name": d.name,
            "fate": d.fate.word(),
            "title": d.title,
            "before": d.before,
            "after": d.after,
        })).collect::<Vec<_>>(),
        "matrix": c.matrix.iter().map(|((a, b), n)| json!({"from": a, "to": b, "count": n})).collect::<Vec<_>>(),
        "not-read": c.not_read,
    })
}
