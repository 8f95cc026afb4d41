//! A rule explained, as text and JSON.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::ReadBy;
use crate::ruleset::{Case, Confidence, Patch, Requirement, Rule, Ruleset};

use super::columns::below;
use super::markup::template;

/// A case in one line: what is changed against the base.
fn case_line(c: &Case) -> String {
    let mut parts: Vec<String> = c
        .patches
        .iter()
        .map(|p| match p {
            Patch::Set { path, value, .. } if value.is_empty() => {
                format!("without {}", path.join("."))
            }
            Patch::Set { path, value, .. } => format!("{}: {value}", path.join(".")),
            Patch::Drop(name, _) => format!("without {name}"),
            Patch::Add(text) => format!(
                "with {}",
                text.split_whitespace().collect::<Vec<_>>().join(" ")
            ),
        })
        .collect();
    if parts.is_empty() {
        parts.push("as in the base design of these cases".to_owned());
    }
    let mut line = parts.join("; ");
    if let Some(s) = &c.subject {
        let _ = write!(line, " (for {s})");
    }
    line
}

fn sure(c: &Confidence) -> &'static str {
    match c {
        Confidence::Published => "its encoder read it in the published source named here",
        Confidence::FromMemory => {
            "its encoder wrote it from memory; compare it with the text before relying on it"
        }
        Confidence::CommonPractice => "common practice; no published text states it",
    }
}

/// The facts to be written that it rests on.
fn written(reads: &[ReadBy]) -> String {
    let row = |r: &ReadBy| {
        let (name, by) = (format!("{}.{}", r.kind, r.fact), r.settled_by.word());
        [name, by.to_owned(), r.means.clone()]
    };
    below(reads.iter().filter(|r| !r.derived).map(row), 2)
}

/// The facts that are worked out for it.
fn derived(reads: &[ReadBy]) -> String {
    let row = |r: &ReadBy| [format!("{}.{}", r.kind, r.fact), r.means.clone()];
    below(reads.iter().filter(|r| r.derived && r.named).map(row), 2)
}

/// A case for each outcome that has one.
fn examples<'c>(cases: &[&'c Case]) -> Vec<(&'static str, &'c Case)> {
    let heads = [
        ("met", "A case that passes"),
        ("failed", "A case that breaks"),
        ("undecided", "A case that stays open"),
    ];
    let first = |(outcome, head)| {
        let case = cases.iter().find(|c| c.outcome == outcome)?;
        Some((head, *case))
    };
    heads.into_iter().filter_map(first).collect()
}

template! {
    /// Everything about one rule.
    pub fn text(ruleset: &'a Ruleset, rule: &'a Rule, reads: &'a [ReadBy], cases: &'a [&'a Case])
        = "explain.txt"
    with each: &'a str = &ruleset.vocabulary.kind(rule.each).name;
}

/// What the code of a mistake means, schema `amperule-code-1`.
#[must_use]
pub fn code(code: &str, means: &str) -> Value {
    json!({"schema": "amperule-code-1", "code": code, "means": means})
}

/// Everything about one rule, schema `amperule-explain-1`.
#[must_use]
pub fn json(ruleset: &Ruleset, rule: &Rule, reads: &[ReadBy], cases: &[&Case]) -> Value {
    let require = match &rule.require {
        Requirement::One(c) => json!({"condition": c.text()}),
        Requirement::LeftOut => Value::Null,
        Requirement::Ways(ways) => {
            json!({"ways": ways.iter().map(|w| json!({"name": w.name, "condition": w.condition.text()})).collect::<Vec<_>>()})
        }
    };
    json!({
        "schema": "amperule-explain-1",
        "rule": rule.id,
        "title": rule.texts.title,
        "edition": ruleset.edition.id,
        "each": ruleset.vocabulary.kind(rule.each).name,
        "where": rule.where_.as_ref().map(|w| w.text()),
        "require": require,
        "severity": rule.severity.word(),
        "stage": rule.stage.word(),
        "topic": rule.texts.topic,
        "because": rule.texts.because,
        "clause": rule.texts.origin.clause,
        "source": rule.texts.origin.source,
        "layer": rule.texts.origin.layer,
        "confidence": rule.confidence.word(),
        "editions": rule.texts.editions,
        "departable": rule.departable,
        "amended": rule.texts.amended.as_ref().map(|(l, w)| json!({"layer": l, "why": w})),
        "reads": reads.iter().map(|r| json!({
            "kind": r.kind,
            "fact": r.fact,
            "means": r.means,
            "settled-by": r.settled_by.word(),
            "named": r.named,
            "derived": r.derived,
        })).collect::<Vec<_>>(),
        "cases": cases.iter().map(|c| json!({"outcome": c.outcome, "case": case_line(c)})).collect::<Vec<_>>(),
    })
}
