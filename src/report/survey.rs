//! A survey as text, JSON, and a form to take along.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{Asked, Question, Survey};
use crate::ruleset::Severity;
use crate::source::Sources;
use crate::vocabulary::{LINES, Settler};

use super::{cautions, plural};

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
        "{path}: {}{}; {} for them ({})",
        plural(survey.questions.len(), "question", "questions"),
        following(survey),
        plural(total, "verdict waits", "verdicts wait"),
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
            if q.of_all() != last {
                let at = sources
                    .get(q.span.file)
                    .map(|f| format!(" (line {})", f.position(q.span.from()).line))
                    .unwrap_or_default();
                last = q.of_all();
                let _ = writeln!(out, "\n  {last}{at}");
            }
            let _ = writeln!(
                out,
                "    {}: {}; {}",
                titled(&q.label, &q.asked),
                q.means,
                q.answer
            );
            let holds: Vec<&str> = q.holds().iter().map(|i| i.asked.as_str()).collect();
            if !holds.is_empty() {
                let _ = writeln!(out, "      with: {}", holds.join(", "));
            }
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
            for (of, p) in q
                .inside
                .iter()
                .filter_map(|i| Some((i, i.passes.as_ref()?)))
            {
                let _ = writeln!(out, "      {} passes with: {p}", of.asked);
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
    if !survey.later.is_empty() {
        let _ = writeln!(
            out,
            "\n{} more may follow when these are answered: `amperule survey --full {path}`",
            survey.later.len()
        );
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

/// What people call a fact with its own word behind it, which some labels hold already.
#[must_use]
pub fn titled(label: &str, word: &str) -> String {
    let behind = format!("({word})");
    match label.contains(&behind) {
        true => label.to_owned(),
        false => format!("{label} {behind}"),
    }
}

/// How many questions may follow from the answers.
fn following(survey: &Survey) -> String {
    match survey.later.len() {
        0 => String::new(),
        n => format!(", {n} more may follow"),
    }
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

/// One question on a terminal, without what it is answered with.
#[must_use]
pub fn question(q: &Asked) -> String {
    let of = match q.also.len() {
        0 => q.of.clone(),
        n => format!("{} and {n} more like it", q.of),
    };
    let mut out = format!("{of}: {}\n  {}", titled(&q.label, &q.fact), q.means);
    if !q.lines.is_empty() {
        let lines: Vec<&str> = q.lines.iter().map(|l| line_name(*l)).collect();
        let _ = write!(out, "; asked for {}", lines.join(", "));
    }
    out.push('\n');
    let inside: Vec<&str> = q.inside.iter().map(|i| i.label.as_str()).collect();
    if !inside.is_empty() {
        let _ = writeln!(out, "  with: {}", inside.join(", "));
    }
    if let Some(how) = &q.how {
        let _ = writeln!(out, "  how: {how}");
    }
    for open in &q.open {
        let _ = writeln!(out, "  {open}");
    }
    if let Some(known) = &q.known {
        let _ = writeln!(out, "  known so far: {known}");
    }
    if let Some(passes) = &q.passes {
        let _ = writeln!(out, "  passes with: {passes}");
    }
    let _ = writeln!(out, "  expected: {}", q.answer);
    out
}

fn line_name(line: u8) -> &'static str {
    LINES.get(usize::from(line)).copied().unwrap_or("L1")
}

/// One question as JSON, with what matters inside a part.
fn one(q: &Question, sources: &Sources) -> Value {
    json!({
        "of": q.of,
        "also": q.also,
        "asked": q.asked,
        "label": q.label,
        "means": q.means,
        "how": q.ask,
        "answer": q.answer,
        "words": q.words,
        "unit": q.unit,
        "lines": q.lines.iter().map(|l| line_name(*l)).collect::<Vec<_>>(),
        "settled-by": q.settled_by.word(),
        "known": q.known,
        "passes": q.passes,
        "inside": q.inside.iter().map(|i| one(i, sources)).collect::<Vec<_>>(),
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
}

/// A survey, schema `amperule-survey-1`.
#[must_use]
pub fn json(path: &str, survey: &Survey, sources: &Sources) -> Value {
    let each = |all: &[Question]| all.iter().map(|q| one(q, sources)).collect::<Vec<_>>();
    json!({
        "schema": "amperule-survey-1",
        "path": path,
        "undecided": survey.undecided.iter().map(|(s, n)| (s.word().to_owned(), json!(n))).collect::<serde_json::Map<_, _>>(),
        "questions": each(&survey.questions),
        "later": each(&survey.later),
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

/// Where an answer is filled in: boxes to tick, or a line.
fn blank(q: &Question) -> String {
    if q.words.is_empty() {
        let unit = q.unit.as_deref().unwrap_or("");
        let instead = instead(q).map_or(String::new(), |w| format!("   [ ] {w}"));
        let line = format!("______________ {unit}{instead}");
        line.trim_end().to_owned()
    } else {
        let boxes: Vec<String> = q.words.iter().map(|w| format!("[ ] {w}")).collect();
        boxes.join("   ")
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
            if q.of_all() != last {
                last = q.of_all();
                let _ = writeln!(out, "\n  {last}");
            }
            let mark = if weight(q) == "must" { "*" } else { " " };
            let _ = writeln!(out, "  {mark} {} ({})", q.asked, q.means);
            if let Some(a) = &q.ask {
                let _ = writeln!(out, "      {a}");
            }
            let holds = q.holds();
            if holds.is_empty() {
                let _ = writeln!(out, "      {}", blank(q));
            } else if let Some(word) = instead(q) {
                let _ = writeln!(out, "      [ ] {word}, or");
            }
            for inside in holds {
                let _ = writeln!(out, "      {}: {}", inside.asked, blank(inside));
            }
            if let Some(k) = &q.known {
                let _ = writeln!(out, "      known so far: {k}");
            }
        }
    }
    out.push_str("\n* a requirement waits for it; the others are for cautions and advice.\n");
    if !survey.later.is_empty() {
        let _ = writeln!(
            out,
            "{} more may follow when these are answered; `survey --full` puts them on the form too.",
            survey.later.len()
        );
    }
    left_out(&mut out, survey);
    let _ = writeln!(out, "\n{}", cautions::ALWAYS);
    out
}
