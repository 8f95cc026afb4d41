//! A survey as text, JSON, and a form to take along.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{Question, Survey};
use crate::ruleset::Severity;
use crate::source::Sources;
use crate::vocabulary::Settler;

use super::cautions;
use super::markup::{escape, page};

/// Rules named with each question on a terminal.
const MOST_RULES: usize = 3;

/// What the questions of one settler are headed by.
#[must_use]
pub fn heading(settler: Settler) -> &'static str {
    match settler {
        Settler::Site => "To see on site",
        Settler::Network => "To ask the network operator",
        Settler::Test => "To measure",
        Settler::Designer => "To choose in the design",
        Settler::Maker => "To look up in makers' data",
        Settler::Client => "To ask the client",
        Settler::Installer => "To settle while installing",
        Settler::Authority => "To ask an authority",
    }
}

/// What a person is reminded of before they do it.
#[must_use]
pub const fn caution(settler: Settler) -> Option<&'static str> {
    match settler {
        Settler::Site => Some(cautions::OPENING),
        Settler::Test => Some(cautions::TESTING),
        _ => None,
    }
}

fn groups(survey: &Survey) -> Vec<(Settler, Vec<&Question>)> {
    Settler::ALL
        .into_iter()
        .map(|s| {
            let of: Vec<&Question> = survey
                .questions
                .iter()
                .filter(|q| q.settled_by == s)
                .collect();
            (s, of)
        })
        .filter(|(_, q)| !q.is_empty())
        .collect()
}

/// A survey on a terminal.
#[must_use]
pub fn text(path: &str, survey: &Survey, sources: &Sources) -> String {
    let mut out = String::new();
    let total: usize = survey.undecided.iter().map(|(_, n)| n).sum();
    if total == 0 {
        let _ = writeln!(
            out,
            "{path}: nothing is undecided at this stage; there is nothing to ask"
        );
        left_out(&mut out, survey);
        let _ = writeln!(out, "\n{}", cautions::ALWAYS);
        return out;
    }
    let _ = writeln!(
        out,
        "{path}: {} questions; {total} verdicts wait for them ({})",
        survey.questions.len(),
        survey
            .undecided
            .iter()
            .map(|(s, n)| format!("{n} {s}"))
            .collect::<Vec<_>>()
            .join(", ")
    );
    for (settler, questions) in groups(survey) {
        let _ = writeln!(out, "\n{} ({})", heading(settler), questions.len());
        if let Some(c) = caution(settler) {
            let _ = writeln!(out, "  {c}");
        }
        let mut last = String::new();
        for q in questions {
            if q.of != last {
                let at = sources
                    .get(q.span.file)
                    .map(|f| format!(" (line {})", f.position(q.span.from()).line))
                    .unwrap_or_default();
                let _ = writeln!(out, "\n  {}{at}", q.of);
                last.clone_from(&q.of);
            }
            let _ = writeln!(out, "    {}: {}; {}", q.asked, q.means, q.answer);
            if let Some(a) = &q.ask {
                let _ = writeln!(out, "      how: {a}");
            }
            if let Some(k) = &q.known {
                let _ = writeln!(out, "      known so far: {k}");
            }
            if let Some(p) = &q.passes {
                let _ = writeln!(out, "      passes with: {p}");
            }
            // Whether all is listed says little: what is looked for in the list does.
            let looked_for = q.waiting.iter().filter(|_| q.rest);
            for open in looked_for.filter_map(|w| w.open.as_ref()) {
                let _ = writeln!(out, "      {open}");
            }
            let names: Vec<&str> = q
                .waiting
                .iter()
                .take(MOST_RULES)
                .map(|w| w.rule.as_str())
                .collect();
            let more = q.waiting.len().saturating_sub(MOST_RULES);
            let more = if more > 0 {
                format!(" and {more} more")
            } else {
                String::new()
            };
            let _ = writeln!(out, "      for: {}{more}", names.join(", "));
        }
    }
    if survey.left > 0 {
        let _ = writeln!(
            out,
            "\n{} undecided verdicts are not looked into, since there is a limit to the work: answer\nwhat is asked here, and survey again.",
            survey.left
        );
    }
    if !survey.stuck.is_empty() {
        let _ = writeln!(
            out,
            "\nNo answer settles these; the ruleset lacks a figure or nothing can be computed:"
        );
        for (rule, subject) in &survey.stuck {
            let _ = writeln!(out, "  {rule} for {subject}");
        }
    }
    left_out(&mut out, survey);
    let _ = writeln!(out, "\n{}", cautions::ALWAYS);
    out
}

/// What no answer settles, since these rules do not judge it.
fn left_out(out: &mut String, survey: &Survey) {
    if survey.left_out.is_empty() {
        return;
    }
    out.push_str("\nNot judged by these rules; have it judged elsewhere, and record it as `judged-elsewhere ID { … }`:\n");
    for l in &survey.left_out {
        let _ = writeln!(
            out,
            "  {}, of {} ({}; {})",
            l.what, l.subject, l.rule, l.severity
        );
    }
}

/// A survey, schema `amperule-survey-1`.
#[must_use]
pub fn json(path: &str, survey: &Survey, sources: &Sources) -> Value {
    let questions: Vec<Value> = survey
        .questions
        .iter()
        .map(|q| {
            json!({
                "of": q.of,
                "asked": q.asked,
                "means": q.means,
                "how": q.ask,
                "answer": q.answer,
                "words": q.words,
                "unit": q.unit,
                "settled-by": q.settled_by.word(),
                "known": q.known,
                "passes": q.passes,
                "line": sources.position(q.span).map(|p| p.line),
                "file": sources.get(q.span.file).map(|f| f.name().to_owned()),
                "waiting": q.waiting.iter().map(|w| json!({
                    "rule": w.rule,
                    "title": w.title,
                    "subject": w.subject.label,
                    "severity": w.severity.word(),
                    "alone": w.alone,
                })).collect::<Vec<_>>(),
            })
        })
        .collect();
    json!({
        "schema": "amperule-survey-1",
        "path": path,
        "undecided": survey.undecided.iter().map(|(s, n)| (s.word().to_owned(), json!(n))).collect::<serde_json::Map<_, _>>(),
        "questions": questions,
        "left-out": survey.left_out.iter().map(|l| json!({
            "rule": l.rule,
            "what": l.what,
            "subject": l.subject.label,
            "severity": l.severity.word(),
        })).collect::<Vec<_>>(),
        "caution": cautions::json(),
        "left": survey.left,
        "stuck": survey.stuck.iter().map(|(r, s)| json!({"rule": r, "subject": s.label})).collect::<Vec<_>>(),
    })
}

/// What a form says above the questions.
#[derive(Clone, Debug, Default)]
pub struct SheetHead {
    /// The installation.
    pub installation: String,
    /// The ruleset and its edition.
    pub rules: String,
    /// Facts that are known, for filling in: object, fact, value.
    pub known: Vec<(String, String, String)>,
}

/// Whether a question can only be answered after others: it belongs to a part that is not known.
fn weight(q: &Question) -> &'static str {
    let breach = q.waiting.iter().any(|w| w.severity == Severity::Breach);
    if breach { "must" } else { "useful" }
}

/// A word that may be ticked in place of filling in a line: that there is none, or that all is
/// listed.
fn instead(q: &Question) -> Option<&'static str> {
    if q.rest {
        Some("yes, all")
    } else if q.answer.ends_with(", or none") {
        Some("none")
    } else {
        None
    }
}

/// A form in plain text.
#[must_use]
pub fn sheet_text(head: &SheetHead, survey: &Survey) -> String {
    let mut out = format!(
        "SITE QUESTIONS  {}\nRules: {}\nVisited on ____________  by ____________________\n",
        head.installation, head.rules
    );
    if !head.known.is_empty() {
        out.push_str("\nKnown already, to be confirmed\n");
        for (of, fact, value) in &head.known {
            let _ = writeln!(out, "  [ ] {fact} of {of}: {value}");
        }
    }
    for (settler, questions) in groups(survey) {
        let _ = writeln!(out, "\n{}", heading(settler));
        if let Some(c) = caution(settler) {
            let _ = writeln!(out, "  ! {c}");
        }
        let mut last = String::new();
        for q in questions {
            if q.of != last {
                let _ = writeln!(out, "\n  {}", q.of);
                last.clone_from(&q.of);
            }
            let mark = if weight(q) == "must" { "*" } else { " " };
            let _ = writeln!(out, "  {mark} {} ({})", q.asked, q.means);
            if let Some(a) = &q.ask {
                let _ = writeln!(out, "      {a}");
            }
            if q.words.is_empty() {
                let unit = q.unit.as_deref().unwrap_or("");
                let instead = instead(q).map_or(String::new(), |w| format!("   [ ] {w}"));
                let line = format!("      ______________ {unit}{instead}");
                let _ = writeln!(out, "{}", line.trim_end());
            } else {
                let boxes: Vec<String> = q.words.iter().map(|w| format!("[ ] {w}")).collect();
                let _ = writeln!(out, "      {}", boxes.join("   "));
            }
            if let Some(k) = &q.known {
                let _ = writeln!(out, "      known so far: {k}");
            }
        }
    }
    out.push_str("\n* a requirement waits for it; the others are for cautions and advice.\n");
    left_out(&mut out, survey);
    let _ = writeln!(out, "\n{}", cautions::ALWAYS);
    out
}

const STYLE: &str = "body{font:15px/1.45 Georgia,serif;margin:2rem auto;max-width:46rem;padding:0 1rem;color:#1c2422}\
h1{font-size:1.5rem;margin:0}h2{font-size:1.15rem;margin:2rem 0 .2rem;border-bottom:2px solid #1f5f4e;padding-bottom:.2rem}\
h3{font-size:1rem;margin:1.1rem 0 .3rem}p{margin:.3rem 0}.warn{border-left:4px solid #9a5b00;padding:.2rem .6rem;background:#fdf6ea}\
table{border-collapse:collapse;width:100%}td,th{border:1px solid #b9c4c0;padding:.35rem .5rem;vertical-align:top;text-align:left}\
th{font-weight:normal;width:48%}.how,.known{font-size:.86rem;color:#4b5753;display:block}.must::after{content:' *';color:#9a1f1f}\
.unit{float:right;color:#4b5753}label{display:inline-block;margin-right:1rem;white-space:nowrap}\
@media print{body{margin:0;max-width:none}tr{break-inside:avoid}h2,h3{break-after:avoid}}";

/// A form as a page that prints well.
#[must_use]
pub fn sheet_html(head: &SheetHead, survey: &Survey) -> String {
    let mut out = page(&format!("Site questions: {}", head.installation), STYLE);
    let _ = writeln!(
        out,
        "<p>Rules: {}</p>\n<table><tr><th>Visited on</th><td></td></tr><tr><th>By</th><td></td></tr></table>",
        escape(&head.rules)
    );
    if !head.known.is_empty() {
        out.push_str("<h2>Known already, to be confirmed</h2>\n<table>\n");
        for (of, fact, value) in &head.known {
            let _ = writeln!(
                out,
                "<tr><th>{} of {}</th><td>{} <span class=\"unit\">\u{2610}</span></td></tr>",
                escape(fact),
                escape(of),
                escape(value)
            );
        }
        out.push_str("</table>\n");
    }
    for (settler, questions) in groups(survey) {
        let _ = writeln!(out, "<h2>{}</h2>", heading(settler));
        if let Some(c) = caution(settler) {
            let _ = writeln!(out, "<p class=\"warn\">{}</p>", escape(c));
        }
        let mut last: Option<&str> = None;
        for q in &questions {
            if last != Some(q.of.as_str()) {
                if last.is_some() {
                    out.push_str("</table>\n");
                }
                let _ = writeln!(out, "<h3>{}</h3>\n<table>", escape(&q.of));
                last = Some(&q.of);
            }
            let _ = write!(
                out,
                "<tr><th><span class=\"{}\">{}</span><span class=\"how\">{}</span>",
                weight(q),
                escape(&q.asked),
                escape(&q.means)
            );
            if let Some(a) = &q.ask {
                let _ = write!(out, "<span class=\"how\">{}</span>", escape(a));
            }
            out.push_str("</th><td>");
            if q.words.is_empty() {
                let _ = write!(
                    out,
                    "<span class=\"unit\">{}</span>&nbsp;",
                    escape(q.unit.as_deref().unwrap_or(""))
                );
                if let Some(w) = instead(q) {
                    let _ = write!(out, "<label>\u{2610} {w}</label>");
                }
            } else {
                for w in &q.words {
                    let _ = write!(out, "<label>\u{2610} {}</label> ", escape(w));
                }
            }
            if let Some(k) = &q.known {
                let _ = write!(
                    out,
                    "<span class=\"known\">known so far: {}</span>",
                    escape(k)
                );
            }
            out.push_str("</td></tr>\n");
        }
        if last.is_some() {
            out.push_str("</table>\n");
        }
    }
    out.push_str("<p>* a requirement waits for it; the others are for cautions and advice.</p>\n");
    if !survey.left_out.is_empty() {
        out.push_str("<h2>Not judged by these rules</h2>\n<ul>\n");
        for l in &survey.left_out {
            let text = format!("{}, of {} ({}; {})", l.what, l.subject, l.rule, l.severity);
            let _ = writeln!(out, "<li>{}</li>", escape(&text));
        }
        out.push_str("</ul>\n");
    }
    out.push_str(&cautions::html());
    out.push_str("</body></html>\n");
    out
}
