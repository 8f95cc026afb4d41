//! Findings as JSON, schema `amperule-check-1`.

use serde_json::{Value, json};

use crate::check::{FigureValue, Finding, Outcome, Report, Standing, Totals, WitnessValue};
use crate::source::{Label, Problem, Sources, Weight};

use super::FileReport;
use super::baseline::{Against, SCHEMA};

/// What stands before the files.
#[must_use]
pub fn head() -> String {
    let tool = json!({"name": "amperule", "version": env!("CARGO_PKG_VERSION")});
    let caution = super::cautions::json();
    format!("{{\"schema\": \"{SCHEMA}\", \"tool\": {tool}, \"caution\": {caution}, \"files\": [\n")
}

/// What stands after the files: what they come to, and how they compare with an earlier report.
#[must_use]
pub fn tail(totals: &Totals, against: Option<Against>) -> String {
    let mut all = json!({
        "files": totals.files(),
        "worst": totals.worst.word(),
        "worst-judged": totals.worst_judged.map(Standing::word),
    });
    for s in Standing::ALL.into_iter().rev() {
        all[s.word()] = json!(totals.of(s));
    }
    if let Some(a) = against {
        all["known"] = json!(a.known);
        all["gone"] = json!(a.gone);
    }
    format!("\n], \"totals\": {all}}}\n")
}

/// One design.
#[must_use]
pub fn file(file: &FileReport<'_>, all: bool) -> String {
    let nothing = Report::default();
    let r = file.report.unwrap_or(&nothing);
    let mut counts = json!({});
    for ((o, s), n) in &r.counts.0 {
        counts[o.word()][s.word()] = json!(n);
    }
    let told = |f: &&Finding| all || !matches!(f.outcome, Outcome::Met | Outcome::NotApplicable);
    let findings = r.findings.iter().filter(told);
    let figure = |f: &FigureValue| {
        json!({
            "fact": f.fact,
            "subject": f.subject.label,
            "low": number(f.unit.from_si(f.low)),
            "high": number(f.unit.from_si(f.high)),
            "unit": f.unit.text(),
            "limit": f.limit.map(|(x, _)| number(f.unit.from_si(x))),
            "margin": f.margin().map(number),
        })
    };
    let ruleset = file.ruleset.map(|r| {
        json!({
            "id": r.id,
            "edition": r.edition.id,
            "patches": r.patches,
            "hash": r.hash,
            "other-editions": r.other_editions,
            "notes": r.notes,
        })
    });
    json!({
        "path": file.path,
        "ruleset": ruleset,
        "stage": file.stage.word(),
        "assumed": r.assumed,
        "required": r.required,
        "problems": file.problems.iter().map(|p| problem(p, file.sources)).collect::<Vec<_>>(),
        "counts": counts,
        "findings": findings.map(|f| finding(f, file.sources)).collect::<Vec<_>>(),
        "figures": r.figures.iter().map(figure).collect::<Vec<_>>(),
    })
    .to_string()
}

/// A number without the last digits that binary fractions add; infinity has no place in JSON.
pub(crate) fn number(x: f64) -> Value {
    if !x.is_finite() {
        return Value::Null;
    }
    let text = format!("{x:.12e}");
    text.parse::<f64>().map_or(Value::Null, |y| json!(y))
}

fn label(l: &Label, sources: &Sources) -> Value {
    let place = sources.position(l.span);
    json!({
        "file": sources.get(l.span.file).map(|f| f.name().to_owned()),
        "start": l.span.start,
        "end": l.span.end,
        "line": place.map(|p| p.line),
        "column": place.map(|p| p.column),
        "text": l.text,
    })
}

/// One mistake or caution about what is written.
#[must_use]
pub fn problem(p: &Problem, sources: &Sources) -> Value {
    json!({
        "code": p.code,
        "weight": if p.weight == Weight::Error { "error" } else { "caution" },
        "message": p.message,
        "labels": p.labels.iter().map(|l| label(l, sources)).collect::<Vec<_>>(),
        "help": p.help,
    })
}

/// What came of one rule for one subject.
#[must_use]
pub fn finding(f: &Finding, sources: &Sources) -> Value {
    let witness = |w: &[WitnessValue]| -> Value {
        let value = |v: &WitnessValue| json!({"fact": v.fact, "value": v.value});
        w.iter().map(value).collect()
    };
    json!({
        "rule": f.rule,
        "title": f.title,
        "outcome": f.outcome.word(),
        "severity": f.severity.word(),
        "reason": f.reason.map(|r| r.word()),
        "stage": f.stage.word(),
        "clause": f.clause,
        "source": f.source,
        "confidence": f.confidence.word(),
        "subject": f.subject.label,
        "message": f.message,
        "labels": f.labels.iter().map(|l| label(l, sources)).collect::<Vec<_>>(),
        "missing": f.missing.iter().map(|m| json!({
            "of": m.of,
            "fact": m.fact,
            "means": m.means,
            "settled-by": m.settled_by,
            "passes": m.passes,
            "breaks": m.breaks,
        })).collect::<Vec<_>>(),
        "witnesses": f.witnesses.as_ref().map(|(y, n)| json!({"passes": witness(y), "breaks": witness(n)})),
        "help": f.help,
        "ways": f.ways.iter().map(|w| json!({
            "name": w.name,
            "condition": w.condition,
            "state": w.state,
        })).collect::<Vec<_>>(),
        "assumed": f.assumed,
        "follows-from": f.follows_from.as_ref().map(|(rule, subject)| json!({"rule": rule, "subject": subject.label})),
        "departure": f.departure,
        "fingerprint": f.fingerprint,
    })
}
