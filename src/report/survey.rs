//! A survey as text, JSON, and a form to take along.

use serde_json::{Value, json};

use crate::answer::{Asked, Question, Survey};
use crate::ruleset::Severity;
use crate::session::Installation;
use crate::source::Sources;
use crate::vocabulary::{LINES, Settler};

use super::markup::template;
use super::{cautions, plural, some_of};

/// Rules named with each question on a terminal.
const MOST_RULES: usize = 3;

/// What the questions of one settler are headed by.
#[must_use]
pub fn heading(settler: Settler, network_operator: &str) -> String {
    let text = match settler {
        Settler::Site => "To see on site",
        Settler::Network => return format!("To ask the {network_operator}"),
        Settler::Test => "To measure",
        Settler::Designer => "To choose in the design",
        Settler::Maker => "To look up in makers' data",
        Settler::Client => "To ask the client",
        Settler::Installer => "To settle while installing",
        Settler::Authority => "To ask an authority",
    };
    text.to_owned()
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

/// The questions that one settles, by the things that they are asked of.
struct Group<'a> {
    heading: String,
    caution: Option<&'static str>,
    count: usize,
    /// What it is, and what is asked of it.
    things: Vec<(String, Vec<&'a Question>)>,
}

fn groups(survey: &Survey) -> Vec<Group<'_>> {
    let group = |settler: Settler| {
        let mut things: Vec<(String, Vec<&Question>)> = Vec::new();
        let own = survey.questions.iter().filter(|q| q.settled_by == settler);
        for q in own.clone() {
            match things.last_mut() {
                Some((of, questions)) if *of == q.of_all() => questions.push(q),
                _ => things.push((q.of_all(), vec![q])),
            }
        }
        Group {
            heading: heading(settler, &survey.network_operator),
            caution: caution(settler),
            count: own.count(),
            things,
        }
    };
    let all = Settler::ALL.into_iter().map(group);
    all.filter(|g| g.count > 0).collect()
}

template! {
    /// A survey on a terminal.
    pub fn text(path: &'a str, survey: &'a Survey, sources: &'a Sources) = "survey.txt"
    with groups: Vec<Group<'a>> = groups(survey);
}

/// ` (line 24)`, where the first of some questions stands in a text.
fn line(questions: &[&Question], sources: &Sources) -> String {
    let at = questions.first().and_then(|q| sources.position(q.span));
    at.map_or_else(String::new, |at| format!(" (line {})", at.line))
}

/// How many questions there are, and how many verdicts wait for them.
fn total(survey: &Survey) -> String {
    let following = match survey.later.len() {
        0 => String::new(),
        n => format!(", {n} more may follow"),
    };
    let each = survey.undecided.iter().map(|(s, n)| format!("{n} {s}"));
    let waiting = survey.undecided.iter().map(|(_, n)| n).sum();
    format!(
        "{}{following}; {} for them ({})",
        plural(survey.questions.len(), "question", "questions"),
        plural(waiting, "verdict waits", "verdicts wait"),
        each.collect::<Vec<_>>().join(", ")
    )
}

/// The rules that wait for an answer, the first few by name.
fn waiting(q: &Question) -> String {
    let mut named: Vec<&str> = Vec::new();
    for w in &q.waiting {
        // One rule waits for it of several things.
        if !named.contains(&w.rule.as_str()) {
            named.push(&w.rule);
        }
    }
    some_of(&named, MOST_RULES)
}

/// What is looked for in a list of which it is asked whether it is complete, the first few.
fn looked_for(q: &Question) -> Vec<String> {
    let open = q.waiting.iter().filter_map(|w| w.open.clone());
    let all: Vec<String> = open.filter(|_| q.rest).collect();
    first_few(&all)
}

/// What is open and waits for a list, in full where it says what to write; of what only says what is
/// not known, the first few, and how many more there are.
pub(super) fn first_few(all: &[String]) -> Vec<String> {
    let (bare, telling): (Vec<&String>, _) = all.iter().partition(|s| s.starts_with("whether "));
    let more = bare.len().saturating_sub(MOST_RULES);
    let some = telling.into_iter().chain(bare.into_iter().take(MOST_RULES));
    let more = (more > 0).then(|| format!("and {more} more like these"));
    some.cloned().chain(more).collect()
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

template! {
    /// One question on a terminal, with the form of its answer.
    pub fn question(q: &'a Asked) = "question.txt"
}

/// Line conductors by their names.
fn lines(of: &[u8]) -> Vec<&'static str> {
    let name = |l: &u8| LINES.get(usize::from(*l)).copied().unwrap_or("L1");
    of.iter().map(name).collect()
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
        "lines": lines(&q.lines),
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

/// Whether a requirement waits for it.
fn must(q: &Question) -> bool {
    q.waiting.iter().any(|w| w.severity == Severity::Breach)
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

template! {
    /// A form in plain text.
    pub fn sheet_text(installation: &'a Installation, survey: &'a Survey) = "survey_form.txt"
    with known: Vec<(String, String, String)> = installation.known_facts();
    with groups: Vec<Group<'a>> = groups(survey);
}
