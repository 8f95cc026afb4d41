//! Workings as text, JSON, and a calculation sheet that can be handed in.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{Working, WorkingStep};
use crate::source::{Sources, visible_line};

use super::json as to_json;
use super::markup::Page;

/// Said below all.
pub const AFTER: &str =
    "Figures of what is written; a qualified person answers for them, and local codes decide.";

/// Steps that work something out. What only carries a value along the feed, as `fed-from.U0` for
/// `U0`, is left out: its source stands beside each input.
fn told(w: &Working) -> Vec<&WorkingStep> {
    let last = w.steps.len().saturating_sub(1);
    let carries = |s: &WorkingStep| {
        let fact = s.what.split(' ').next().unwrap_or_default();
        let from = s.formula.rsplit('.').next().unwrap_or_default();
        let from = from.split('[').next().unwrap_or_default();
        s.formula.contains('.') && !s.formula.contains(' ') && from == fact
    };
    let kept = |(i, s): (usize, &'_ WorkingStep)| i == last || !carries(s);
    let all = w.steps.iter().enumerate();
    all.filter(|(i, s)| kept((*i, s))).map(|(_, s)| s).collect()
}

/// Whether the numbers say more than formula and result.
fn numbers_say_more(s: &WorkingStep) -> bool {
    s.numbers != s.formula && s.numbers != s.result
}

/// Clause, or where the formula was seen.
fn cited(s: &WorkingStep) -> Option<&String> {
    s.clause.as_ref().or(s.source.as_ref())
}

/// One working on a terminal.
#[must_use]
pub fn text(w: &Working, sources: &Sources) -> String {
    let mut out = format!("{} of {} = {}\n", w.fact, w.subject, w.result);
    for (i, s) in told(w).into_iter().enumerate() {
        let _ = writeln!(out, "\n  {}. {} ({})", i + 1, s.what, s.means);
        let _ = writeln!(out, "     {}", s.formula);
        if numbers_say_more(s) {
            let _ = writeln!(out, "     = {}", s.numbers);
        }
        let _ = writeln!(out, "     = {}", s.result);
        for input in &s.inputs {
            let mut line = format!("       {} = {}", input.name, input.value);
            if let Some(p) = input.span.and_then(|s| sources.place(s)) {
                let _ = write!(line, "  [{}]", visible_line(&p));
            }
            if let Some(src) = &input.source {
                let _ = write!(line, "  [{src}]");
            }
            let _ = writeln!(out, "{line}");
        }
        if let Some(c) = cited(s) {
            let _ = writeln!(out, "     {c}");
        }
    }
    out.push('\n');
    out
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

const STYLE: &str = "body{font:15px/1.45 Georgia,serif;margin:2rem auto;max-width:56rem;padding:0 1rem;color:#1c2422}\
h1{font-size:1.5rem;margin:0}h2{font-size:1.15rem;margin:2.2rem 0 .2rem;border-bottom:2px solid #1f5f4e;padding-bottom:.2rem}\
p{margin:.3rem 0}.step{display:grid;grid-template-columns:2rem 1fr 15rem;gap:0 1rem;padding:.5rem 0;border-bottom:1px solid #d5dcd9;break-inside:avoid}\
.means,.cite,.in{font-size:.86rem;color:#4b5753}.sum{font-family:ui-monospace,monospace;font-size:.9rem;overflow-wrap:anywhere}\
.result{font-weight:bold}.in{grid-column:2/4;margin:.2rem 0 0;padding:0;list-style:none}.in code{font-size:.86rem}\
.warn{border-left:4px solid #9a5b00;padding:.2rem .6rem;background:#fdf6ea;margin-top:1.5rem}\
@media (max-width:40rem){.step{grid-template-columns:1.6rem 1fr}.cite{grid-column:2}.in{grid-column:2}}\
@media print{body{margin:0;max-width:none}h2{break-after:avoid}}";

/// What stands above a calculation sheet.
#[derive(Clone, Debug)]
pub struct Above<'a> {
    /// The installation.
    pub installation: &'a str,
    /// The design file.
    pub path: &'a str,
    /// Ruleset, edition and hash.
    pub rules: &'a str,
}

/// Workings as a page that prints well.
#[must_use]
pub fn html(above: &Above<'_>, all: &[Working], sources: &Sources) -> String {
    let title = format!("Calculations: {}", above.installation);
    let mut page = Page::new(&title, STYLE);
    page.put("<p>{}, by {}</p>\n", &[above.path, above.rules]);
    for w in all {
        page.put(
            "<h2>{} of {} = {}</h2>\n",
            &[&w.fact, &w.subject, &w.result],
        );
        for (i, s) in told(w).into_iter().enumerate() {
            step(&mut page, i + 1, s, sources);
        }
    }
    page.put("<p class=\"warn\">{}</p>\n", &[AFTER]);
    page.end(super::cautions::ALWAYS)
}

fn step(page: &mut Page, number: usize, s: &WorkingStep, sources: &Sources) {
    page.put(
        "<div class=\"step\"><div>{}</div><div><div>{} <span class=\"means\">{}</span></div><div class=\"sum\">{}</div>",
        &[&number.to_string(), &s.what, &s.means, &s.formula],
    );
    if numbers_say_more(s) {
        page.put("<div class=\"sum\">= {}</div>", &[&s.numbers]);
    }
    page.put(
        "<div class=\"sum result\">= {}</div></div><div class=\"cite\">{}</div>",
        &[&s.result, cited(s).map_or("", String::as_str)],
    );
    if !s.inputs.is_empty() {
        page.put("<ul class=\"in\">", &[]);
        for i in &s.inputs {
            page.put("<li><code>{} = {}</code>", &[&i.name, &i.value]);
            let place = i.span.and_then(|s| sources.place(s));
            for more in place.iter().chain(&i.source) {
                page.put(" {}", &[more]);
            }
            page.put("</li>", &[]);
        }
        page.put("</ul>", &[]);
    }
    page.put("</div>\n", &[]);
}
