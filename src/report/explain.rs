//! A rule explained, as text and JSON.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::ReadBy;
use crate::ruleset::{Case, Confidence, Patch, Requirement, Rule, Ruleset};

use super::columns;

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
            Patch::Add(text, _) => format!(
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

fn sure(c: Confidence) -> &'static str {
    match c {
        Confidence::Published => "its encoder read it in the published source named here",
        Confidence::FromMemory => {
            "its encoder wrote it from memory; compare it with the text before relying on it"
        }
        Confidence::CommonPractice => "common practice; no published text states it",
    }
}

/// Everything about one rule.
#[must_use]
pub fn text(ruleset: &Ruleset, rule: &Rule, reads: &[ReadBy], cases: &[&Case]) -> String {
    let mut out = format!("{}\n{}\n", rule.id, rule.title);
    let head = match rule.is_left_out() {
        true => "What these rules do not judge",
        false => "What it asks",
    };
    let _ = writeln!(
        out,
        "\n{head}, of each {}{}",
        ruleset.vocabulary.kind(rule.each).name,
        if rule.where_.is_some() { " where" } else { "" }
    );
    if let Some(w) = &rule.where_ {
        let _ = writeln!(out, "    {}", w.text);
        if !rule.is_left_out() {
            out.push_str("  it requires\n");
        }
    }
    match &rule.require {
        Requirement::One(c) => {
            let _ = writeln!(out, "    {}", c.text);
        }
        Requirement::Ways(ways) => {
            out.push_str("    one of these ways:\n");
            for w in ways {
                let _ = writeln!(out, "    {}: {}", w.name, w.condition.text);
            }
        }
        Requirement::LeftOut => {}
    }
    let _ = writeln!(
        out,
        "\nWeight: {}, due at stage {}{}",
        rule.severity,
        rule.stage,
        if rule.is_left_out() {
            "; a design that records `judged-elsewhere` settles it"
        } else if rule.departable {
            ""
        } else {
            "; nobody may depart from it"
        }
    );
    if let Some(b) = &rule.because {
        let _ = writeln!(out, "Why: {b}");
    }
    if let Some(c) = &rule.origin.clause {
        let _ = writeln!(out, "Clause: {c}");
    }
    if let Some(s) = &rule.origin.source {
        let _ = writeln!(out, "Seen in: {s}");
    }
    let _ = writeln!(
        out,
        "How sure: {} ({})",
        rule.confidence.word(),
        sure(rule.confidence)
    );
    let _ = writeln!(out, "Stated by: {}", rule.origin.layer);
    if let Some(e) = &rule.editions {
        let _ = writeln!(out, "Editions: {e}");
    }
    if let Some((layer, why)) = &rule.amended {
        let _ = writeln!(out, "Amended by {layer}: {why}");
    }
    let rows = |derived: bool| -> Vec<Vec<String>> {
        reads
            .iter()
            .filter(|r| r.derived == derived)
            .map(|r| {
                vec![
                    format!("{}.{}", r.kind, r.fact),
                    r.settled_by.word().to_owned(),
                    r.means.clone(),
                ]
            })
            .collect()
    };
    let written = rows(false);
    if !written.is_empty() {
        out.push_str("\nFacts it rests on, and who settles each\n");
        out.push_str(&columns(&written, 2));
    }
    let derived: Vec<Vec<String>> = reads
        .iter()
        .filter(|r| r.derived && r.named)
        .map(|r| vec![format!("{}.{}", r.kind, r.fact), r.means.clone()])
        .collect();
    if !derived.is_empty() {
        out.push_str("\nWorked out for it (see `amperule working`)\n");
        out.push_str(&columns(&derived, 2));
    }
    for (wanted, head) in [
        ("met", "A case that passes"),
        ("failed", "A case that breaks"),
        ("undecided", "A case that stays open"),
    ] {
        if let Some(c) = cases.iter().find(|c| c.outcome == wanted) {
            let _ = writeln!(out, "\n{head}\n  {}", case_line(c));
        }
    }
    out
}

/// Everything about one rule, schema `amperule-explain-1`.
#[must_use]
pub fn json(ruleset: &Ruleset, rule: &Rule, reads: &[ReadBy], cases: &[&Case]) -> Value {
    let require = match &rule.require {
        Requirement::One(c) => json!({"condition": c.text.to_string()}),
        Requirement::LeftOut => Value::Null,
        Requirement::Ways(ways) => {
            json!({"ways": ways.iter().map(|w| json!({"name": w.name, "condition": w.condition.text.to_string()})).collect::<Vec<_>>()})
        }
    };
    json!({
        "schema": "amperule-explain-1",
        "rule": rule.id,
        "title": rule.title,
        "edition": ruleset.edition.id,
        "each": ruleset.vocabulary.kind(rule.each).name,
        "where": rule.where_.as_ref().map(|w| w.text.to_string()),
        "require": require,
        "severity": rule.severity.word(),
        "stage": rule.stage.word(),
        "topic": rule.topic,
        "because": rule.because,
        "clause": rule.origin.clause,
        "source": rule.origin.source,
        "layer": rule.origin.layer,
        "confidence": rule.confidence.word(),
        "editions": rule.editions,
        "departable": rule.departable,
        "amended": rule.amended.as_ref().map(|(l, w)| json!({"layer": l, "why": w})),
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
