//! A notice: what somebody outside is told, and what of it is still open or in the way.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::ToldFact;
use crate::check::{Finding, Outcome};
use crate::ruleset::Severity;

use super::columns::{broken, columns};
use super::markup::Page;

/// Characters of a value on one line.
const WIDTH: usize = 70;

/// Said below all.
const AFTER: &str = "The form of the receiver, local codes and the judgement of a qualified person decide what is sent.";

/// What stands above a notice, and what is in its way.
#[derive(Debug)]
pub struct Notice<'a> {
    /// The receiver: `network operator`.
    pub to: &'a str,
    /// The installation.
    pub installation: &'a str,
    /// The ruleset and its edition.
    pub rules: &'a str,
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

fn by_thing(facts: &[ToldFact]) -> Vec<(String, Vec<&ToldFact>)> {
    let mut all: Vec<(String, Vec<&ToldFact>)> = Vec::new();
    let mut last: Option<(&str, &str)> = None;
    for f in facts {
        let key = (f.kind.as_str(), f.of.as_str());
        match all.last_mut() {
            Some((_, list)) if last == Some(key) => list.push(f),
            _ => {
                let name = if f.kind == f.of {
                    f.kind.clone()
                } else {
                    format!("{} {}", f.kind, f.of)
                };
                let label = f
                    .label
                    .as_ref()
                    .map_or(String::new(), |l| format!(" \"{l}\""));
                all.push((format!("{name}{label}"), vec![f]));
            }
        }
        last = Some(key);
    }
    all
}

/// A notice in plain text.
#[must_use]
pub fn text(n: &Notice<'_>) -> String {
    let mut out = format!(
        "FOR THE {}  {}\nRules: {}\n",
        n.to.to_uppercase(),
        n.installation,
        n.rules
    );
    for (thing, facts) in by_thing(n.facts) {
        let _ = writeln!(out, "\n  {thing}");
        let mut rows = Vec::new();
        for f in facts {
            let value = f.value.as_deref().unwrap_or("______________");
            for (i, line) in broken(value, WIDTH).into_iter().enumerate() {
                let first = i == 0;
                rows.push(vec![
                    if first { f.fact.clone() } else { String::new() },
                    line,
                ]);
            }
        }
        out.push_str(&columns(&rows, 4));
    }
    let remarks = n.remarks();
    if !remarks.is_empty() {
        out.push_str("\nTo settle with it\n");
    }
    for (word, f) in remarks {
        let _ = writeln!(out, "  {word}: {} ({})", f.message, f.rule);
        for h in &f.help {
            let _ = writeln!(out, "      {h}");
        }
    }
    let _ = writeln!(out, "\n{AFTER}");
    out
}

/// A notice for programs, schema `amperule-notice-1`.
#[must_use]
pub fn json(path: &str, n: &Notice<'_>) -> Value {
    json!({
        "schema": "amperule-notice-1",
        "path": path,
        "to": n.to,
        "installation": n.installation,
        "rules": n.rules,
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

const STYLE: &str = "body{font:15px/1.45 Georgia,serif;margin:2rem auto;max-width:46rem;padding:0 1rem;color:#1c2422}\
h1{font-size:1.5rem;margin:0}h2{font-size:1.1rem;margin:1.6rem 0 .3rem}p{margin:.3rem 0}\
.warn{border-left:4px solid #9a5b00;padding:.2rem .6rem;background:#fdf6ea;margin:.5rem 0}\
table{border-collapse:collapse;width:100%}td,th{border:1px solid #b9c4c0;padding:.35rem .5rem;vertical-align:top;text-align:left}\
th{font-weight:normal;width:48%}.means{font-size:.86rem;color:#4b5753;display:block}\
@media print{body{margin:0;max-width:none}tr{break-inside:avoid}h2{break-after:avoid}}";

/// A notice as a page that prints well.
#[must_use]
pub fn html(n: &Notice<'_>) -> String {
    let title = format!("For the {}: {}", n.to, n.installation);
    let mut page = Page::new(&title, STYLE);
    page.put("<p>Rules: {}</p>\n", &[n.rules]);
    for (thing, facts) in by_thing(n.facts) {
        page.put("<h2>{}</h2>\n<table>\n", &[&thing]);
        for f in facts {
            page.put(
                "<tr><th>{}<span class=\"means\">{}</span></th><td>",
                &[&f.fact, &f.means],
            );
            match &f.value {
                Some(value) => page.put("{}", &[value]),
                None => page.put("&nbsp;", &[]),
            }
            page.put("</td></tr>\n", &[]);
        }
        page.put("</table>\n", &[]);
    }
    let remarks = n.remarks();
    if !remarks.is_empty() {
        page.put("<h2>To settle with it</h2>\n", &[]);
    }
    for (word, f) in remarks {
        page.put(
            "<p class=\"warn\">{}: {} ({})",
            &[word, &f.message, &f.rule],
        );
        for h in &f.help {
            page.put("<span class=\"means\">{}</span>", &[h]);
        }
        page.put("</p>\n", &[]);
    }
    page.end(AFTER)
}
