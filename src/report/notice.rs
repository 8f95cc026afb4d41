//! A notice: what somebody outside is told, and what of it is still open or in the way.

use serde_json::{Value, json};

use crate::answer::ToldFact;
use crate::check::{Finding, Outcome};
use crate::ruleset::Severity;
use crate::session::Installation;

use super::called;
use super::columns::named;
use super::markup::template;

/// Characters of a value on one line.
const WIDTH: usize = 70;

/// Said below all.
const AFTER: &str = "The form of the receiver, local codes and the judgement of a qualified person decide what is sent.";

/// What stands above a notice, and what is in its way.
#[derive(Debug)]
pub struct Notice<'a> {
    /// The receiver: `network operator`.
    pub to: &'a str,
    /// The installation that it is about.
    pub of: &'a Installation,
    /// What is told.
    pub facts: &'a [ToldFact],
    /// Findings that concern the receiver, met or not.
    pub findings: Vec<&'a Finding>,
}

impl Notice<'_> {
    /// What decides the route or stands in the way: what failed, then what is open.
    fn remarks(&self) -> Vec<(&'static str, &Finding)> {
        let of = |outcome: Outcome, word: &'static str| {
            let all = self.findings.iter();
            all.filter(move |f| f.outcome == outcome)
                .map(move |f| (word, *f))
        };
        of(Outcome::Failed, "to be agreed")
            .chain(of(Outcome::Undecided, "not known"))
            .collect()
    }
}

/// The facts thing by thing, each thing by its kind, name and label.
fn by_thing(facts: &[ToldFact]) -> impl Iterator<Item = (String, &[ToldFact])> {
    let things = facts.chunk_by(|a, b| (&a.kind, &a.of) == (&b.kind, &b.of));
    things.map(|all| {
        let label = all[0].label.as_ref();
        let label = label.map_or(String::new(), |l| format!(" \"{l}\""));
        (called(&all[0].kind, &all[0].of) + &label, all)
    })
}

/// What is told of one thing.
fn told(facts: &[ToldFact]) -> String {
    let value = |f: &'_ ToldFact| {
        f.value
            .clone()
            .unwrap_or_else(|| "______________".to_owned())
    };
    named(facts.iter().map(|f| (f.fact.clone(), value(f))), WIDTH)
}

template! {
    /// A notice in plain text.
    pub fn text(n: &'a Notice<'a>) = "notice.txt"
}

template! {
    /// A notice as a page that prints well.
    pub fn html(n: &'a Notice<'a>) = "notice.html"
    with title: String = format!("For the {}: {}", n.to, n.of.name());
}

/// A notice for programs, schema `amperule-notice-1`.
#[must_use]
pub fn json(path: &str, n: &Notice<'_>) -> Value {
    json!({
        "schema": "amperule-notice-1",
        "path": path,
        "to": n.to,
        "installation": n.of.name(),
        "rules": n.of.ruleset().title(),
        "facts": n.facts.iter().map(|f| json!({
            "kind": f.kind,
            "of": f.of,
            "label": f.label,
            "fact": f.fact,
            "means": f.means,
            "value": f.value,
        })).collect::<Vec<_>>(),
        "to-settle": n.remarks().iter().map(|(_, f)| json!({
            "rule": f.rule,
            "subject": f.subject.label,
            "outcome": f.outcome.word(),
            "breach": f.severity == Severity::Breach,
            "message": f.message,
            "help": f.help,
        })).collect::<Vec<_>>(),
    })
}
