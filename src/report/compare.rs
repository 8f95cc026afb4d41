//! A comparison as text and JSON.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{Change, Comparison, Difference, Said, Stated, Turn};
use crate::source::visible_line;

use super::columns;

/// Designs named under one change of one rule.
const MOST_DESIGNS: usize = 8;

fn side(s: Option<&Said>) -> String {
    match s {
        None => "no such rule or subject".to_owned(),
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

/// A comparison on a terminal.
#[must_use]
pub fn text(from: &str, to: &str, c: &Comparison) -> String {
    let (from, to) = (visible_line(from), visible_line(to));
    let mut out = format!(
        "from {from}\nto   {to}\nover {} {}\n",
        c.designs,
        if c.designs == 1 { "design" } else { "designs" }
    );
    if c.by_topic {
        out.push_str("The two share no rules; findings are paired by topic, the worst of each.\n");
    }
    for turn in Turn::ALL {
        let mut changes: Vec<&Change> = c.of(turn).collect();
        if changes.is_empty() {
            continue;
        }
        let _ = writeln!(out, "\n{} ({})", turn.words(), changes.len());
        changes.sort_by(|a, b| {
            (&a.rule, &a.design, &a.subject).cmp(&(&b.rule, &b.design, &b.subject))
        });
        let mut last = "";
        let mut shown = 0;
        for change in &changes {
            if change.rule != last {
                last = &change.rule;
                shown = 0;
                let clause = change
                    .after
                    .as_ref()
                    .or(change.before.as_ref())
                    .and_then(|s| s.clause.as_deref())
                    .map(|c| format!(" ({c})"))
                    .unwrap_or_default();
                let _ = writeln!(out, "  {}{clause}", change.rule);
            }
            shown += 1;
            if shown == MOST_DESIGNS + 1 {
                let all = changes.iter().filter(|x| x.rule == change.rule).count();
                let _ = writeln!(out, "    and {} more", all - MOST_DESIGNS);
            }
            if shown > MOST_DESIGNS {
                continue;
            }
            let subject = if change.subject.is_empty() {
                String::new()
            } else {
                format!(" {}", change.subject)
            };
            let _ = writeln!(
                out,
                "    {}{subject}: {} → {}",
                visible_line(&change.design),
                side(change.before.as_ref()),
                side(change.after.as_ref())
            );
            let why = change
                .after
                .as_ref()
                .and_then(|s| s.message.as_ref())
                .or_else(|| change.before.as_ref().and_then(|s| s.message.as_ref()));
            if let Some(m) = why {
                let when = if change.after.as_ref().is_some_and(|s| s.message.is_some()) {
                    ""
                } else {
                    "before: "
                };
                let _ = writeln!(out, "      {when}{m}");
            }
        }
    }
    let rule = |d: &Difference| matches!(d.of, Stated::Rule | Stated::LeftOut);
    let row = |d: &Difference| match d.of {
        Stated::LeftOut => vec![
            d.fate.word().to_owned(),
            d.name.clone(),
            format!("not judged: {}", d.title),
        ],
        Stated::Rule => vec![d.fate.word().to_owned(), d.name.clone(), d.title.clone()],
        of => vec![
            format!("{} {}", d.fate.word(), of.word()),
            d.name.clone(),
            changed(d),
        ],
    };
    for (title, rules) in [
        ("Rules that differ themselves", true),
        ("What rules rest on and differs", false),
    ] {
        let of = c.differences.iter().filter(|d| rule(d) == rules);
        let rows: Vec<Vec<String>> = of.map(row).collect();
        if !rows.is_empty() {
            let _ = writeln!(out, "\n{title}");
            out.push_str(&columns(&rows, 2));
        }
    }
    out.push_str("\nOutcomes, from → to\n");
    let rows: Vec<Vec<String>> = c
        .matrix
        .iter()
        .map(|((a, b), n)| vec![format!("{a} → {b}"), n.to_string()])
        .collect();
    out.push_str(&columns(&rows, 2));
    if c.not_read > 0 {
        let _ = writeln!(
            out,
            "\n{} statements of the designs are not read by one of the two rulesets.",
            c.not_read
        );
    }
    let count = |t: Turn| c.of(t).count();
    let _ = writeln!(
        out,
        "\n{} newly broken, {} newly undecided, {} no longer broken, {} newly decided",
        count(Turn::Breaks),
        count(Turn::Opens),
        count(Turn::Passes),
        count(Turn::Settles)
    );
    let _ = writeln!(out, "\n{}", super::cautions::ALWAYS);
    out
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
