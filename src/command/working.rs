//! `amperule working`: calculations line by line.

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use crate::answer::{Working, worked_facts, working};
use crate::check::installation_name;
use crate::report::{json as to_json, render_problems};
use crate::source::{Problem, Sources};

use super::check::{Format, Reading};
use super::read::{Read, read};
use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct WorkingOf {
    /// A design file
    file: PathBuf,
    /// A derived fact: `Zs`, `ev.Zs`, `circuit.Zs`; the key figures, if none is named
    fact: Option<String>,
    #[command(flatten)]
    reading: Reading,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

impl WorkingOf {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let r = read(&self.file, &self.reading.wanted(), &self.reading.shelf());
        if r.problems.iter().any(Problem::is_error) {
            let text = render_problems(&r.problems, &r.sources, out.style());
            out.text(&text);
        }
        let Read {
            ruleset: Some(ruleset),
            design: Some(design),
            ..
        } = &r
        else {
            return exit::FAILED;
        };
        let facts = worked_facts(ruleset, design, self.fact.as_deref());
        if facts.is_empty() {
            let name = self.fact.clone().unwrap_or_default();
            let names = ruleset
                .vocabulary
                .kinds
                .iter()
                .flat_map(|k| k.facts.iter().map(|f| f.name.as_str()));
            let p = Problem::error(
                "unknown-fact",
                format!("nothing of this design is worked out under the name `{name}`"),
            )
            .did_you_mean(&name, names);
            let text = render_problems(&[p], &Sources::default(), out.style());
            out.note(text.trim_end());
            return exit::FAILED;
        }
        let all: Vec<Working> = facts
            .into_iter()
            .map(|(o, f)| working(ruleset, design, o, f))
            .collect();
        match self.format {
            Format::Text => {
                let name = installation_name(ruleset, design);
                out.line(&format!(
                    "Calculations for {name}\n{}, by {} [{} {}]\n",
                    r.path, ruleset.edition.title, ruleset.id, ruleset.hash
                ));
                for w in &all {
                    out.text(&text(w, &r.sources));
                }
                out.line(
                    "Figures of what is written; a qualified person answers for them, and local codes decide.",
                );
            }
            Format::Json => {
                let list: Vec<_> = all.iter().map(|w| as_json(w, &r.sources)).collect();
                out.line(
                    &json!({"schema": "amperule-working-1", "path": r.path, "workings": list})
                        .to_string(),
                );
            }
        }
        if r.problems.iter().any(Problem::is_error) {
            exit::FAILED
        } else {
            exit::CLEAN
        }
    }
}

fn text(w: &Working, sources: &Sources) -> String {
    let mut out = format!("{} of {} = {}\n", w.fact, w.subject, w.result);
    for (i, s) in w.steps.iter().enumerate() {
        let _ = writeln!(out, "\n  {}. {} ({})", i + 1, s.what, s.means);
        let _ = writeln!(out, "     {}", s.formula);
        if s.numbers != s.formula && s.numbers != s.result {
            let _ = writeln!(out, "     = {}", s.numbers);
        }
        let _ = writeln!(out, "     = {}", s.result);
        for input in &s.inputs {
            let mut line = format!("       {} = {}", input.name, input.value);
            if let Some(p) = input.span.and_then(|s| sources.place(s)) {
                let _ = write!(line, "  [{p}]");
            }
            if let Some(src) = &input.source {
                let _ = write!(line, "  [{src}]");
            }
            let _ = writeln!(out, "{line}");
        }
        match (&s.clause, &s.source) {
            (Some(c), _) => {
                let _ = writeln!(out, "     {c}");
            }
            (None, Some(src)) => {
                let _ = writeln!(out, "     {src}");
            }
            _ => {}
        }
    }
    out.push('\n');
    out
}

fn as_json(w: &Working, sources: &Sources) -> serde_json::Value {
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
