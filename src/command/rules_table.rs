//! `amperule rules table`: what a ruleset encodes, from which clause and source, and what it leaves
//! out, as Markdown.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::ruleset::{Confidence, LeftOut, Origin, Ruleset, Severity};

use super::rules::{Which, show_problems};
use super::{Answer, Output, exit};

/// Writes the table of one edition, or of all.
pub(super) fn table(which: &Which, out: &mut Output) -> Answer {
    let library = which.library();
    let mut rulesets: Vec<Arc<Ruleset>> = Vec::new();
    for edition in which.editions() {
        let loaded = library.load(&which.request(edition));
        show_problems(&loaded, &loaded.problems, out);
        match loaded.ruleset {
            Some(r) => rulesets.push(r),
            None => return Ok(exit::FAILED),
        }
    }
    let Some(newest) = rulesets.last() else {
        return Ok(exit::FAILED);
    };
    head(which, newest, &rulesets, out);
    let sections = [
        rules(&rulesets),
        limits(&rulesets),
        tables(&rulesets),
        derivations(&rulesets),
        assumptions(&rulesets),
        withdrawn(&rulesets),
        left_out(&rulesets),
    ];
    let editions: Vec<String> = rulesets.iter().map(|r| r.edition.id.clone()).collect();
    for section in &sections {
        section.write(&editions, out);
    }
    Ok(exit::CLEAN)
}

fn head(which: &Which, newest: &Ruleset, all: &[Arc<Ruleset>], out: &mut Output) {
    let edition = which
        .edition_named()
        .map_or_else(String::new, |e| format!(" --edition {e}"));
    let text = format!("# What `{}` encodes: {}", which.rules, newest.title);
    out.line(&text);
    out.line("");
    out.line(&format!(
        "Written by `amperule rules table --rules {}{edition}`, not by hand. It says what is judged, by which clause \
         and figure, how sure its encoder is, and, at the end, what is left out and why. The texts of the \
         standards themselves are not repeated.",
        quoted(&which.rules)
    ));
    out.line("");
    let titles: Vec<String> = all
        .iter()
        .map(|r| format!("`{}` ({})", r.edition.id, r.edition.title))
        .collect();
    out.line(&format!("Editions: {}.", titles.join(", ")));
    out.line("");
    let count =
        |test: &dyn Fn(&crate::ruleset::Rule) -> bool| newest.judging().filter(|r| test(r)).count();
    let severities: Vec<String> = Severity::ALL
        .iter()
        .map(|s| format!("{} {s}", count(&|r| r.severity == *s)))
        .collect();
    let confidences: Vec<String> = Confidence::ALL
        .iter()
        .map(|c| format!("{} {}", count(&|r| r.confidence == *c), c.word()))
        .collect();
    out.line(&format!(
        "In edition `{}`: {} rules; by severity {}; by confidence {}.",
        newest.edition.id,
        newest.judging().count(),
        severities.join(", "),
        confidences.join(", ")
    ));
}

/// The name of a ruleset as a shell needs it.
fn quoted(rules: &str) -> String {
    if rules.contains(' ') {
        format!("'{rules}'")
    } else {
        rules.to_owned()
    }
}

/// One table of the page; a row that is alike in several editions stands once.
struct Section {
    title: &'static str,
    intro: &'static str,
    columns: Vec<&'static str>,
    rows: Vec<(Vec<String>, Vec<usize>)>,
    known: FxHashMap<Vec<String>, usize>,
}

impl Section {
    fn new(title: &'static str, intro: &'static str, columns: &[&'static str]) -> Self {
        Self {
            title,
            intro,
            columns: columns.to_vec(),
            rows: Vec::new(),
            known: FxHashMap::default(),
        }
    }

    fn add(&mut self, edition: usize, cells: Vec<String>) {
        if let Some(at) = self.known.get(&cells) {
            if let Some((_, editions)) = self.rows.get_mut(*at) {
                editions.push(edition);
            }
            return;
        }
        self.known.insert(cells.clone(), self.rows.len());
        self.rows.push((cells, vec![edition]));
    }

    fn write(&self, editions: &[String], out: &mut Output) {
        out.line("");
        out.line(&format!("## {} ({})", self.title, self.rows.len()));
        out.line("");
        out.line(self.intro);
        if self.rows.is_empty() {
            return;
        }
        out.line("");
        let spans = editions.len() > 1;
        let last = if spans { " editions |" } else { "" };
        out.line(&format!("| {} |{last}", self.columns.join(" | ")));
        out.line(&format!(
            "|{}{}",
            "---|".repeat(self.columns.len()),
            if spans { "---|" } else { "" }
        ));
        let mut rows: Vec<&(Vec<String>, Vec<usize>)> = self.rows.iter().collect();
        rows.sort_by(|a, b| (a.0.first(), &a.1).cmp(&(b.0.first(), &b.1)));
        for (cells, held) in rows {
            let cells: Vec<String> = cells.iter().map(|c| cell(c)).collect();
            let held = if spans {
                format!(" {} |", span(held, editions))
            } else {
                String::new()
            };
            out.line(&format!("| {} |{held}", cells.join(" | ")));
        }
    }
}

/// A text that cannot end its cell.
fn cell(text: &str) -> String {
    text.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .replace('|', "\\|")
}

/// The editions in which a row holds: `all`, or stretches of them.
fn span(held: &[usize], editions: &[String]) -> String {
    if held.len() == editions.len() {
        return "all".to_owned();
    }
    let mut stretches: Vec<(usize, usize)> = Vec::new();
    for e in held {
        match stretches.last_mut() {
            Some((_, end)) if *end + 1 == *e => *end = *e,
            _ => stretches.push((*e, *e)),
        }
    }
    let name = |i: usize| editions.get(i).map_or("", String::as_str);
    stretches
        .into_iter()
        .map(|(a, b)| {
            if a == b {
                name(a).to_owned()
            } else {
                format!("{} .. {}", name(a), name(b))
            }
        })
        .collect::<Vec<_>>()
        .join(", ")
}

fn or_none(text: Option<&String>) -> String {
    text.map_or_else(|| "none".to_owned(), Clone::clone)
}

fn cited(origin: &Origin) -> [String; 3] {
    [
        or_none(origin.clause.as_ref()),
        or_none(origin.source.as_ref()),
        origin.layer.clone(),
    ]
}

fn rules(all: &[Arc<Ruleset>]) -> Section {
    let mut section = Section::new(
        "Rules",
        "Each requirement that is judged.",
        &[
            "rule",
            "requirement",
            "clause",
            "source",
            "layer",
            "severity",
            "stage",
            "confidence",
        ],
    );
    for (i, r) in all.iter().enumerate() {
        for rule in r.judging() {
            let [clause, source, layer] = cited(&rule.origin);
            let layer = match &rule.amended {
                Some((by, _)) => format!("{layer}, amended by {by}"),
                None => layer,
            };
            section.add(
                i,
                vec![
                    format!("`{}`", rule.id),
                    rule.title.clone(),
                    clause,
                    source,
                    layer,
                    rule.severity.to_string(),
                    rule.stage.to_string(),
                    rule.confidence.word().to_owned(),
                ],
            );
        }
    }
    section
}

fn limits(all: &[Arc<Ruleset>]) -> Section {
    let mut section = Section::new(
        "Limits",
        "Named figures that rules and formulas use.",
        &["limit", "value", "meaning", "clause", "source", "layer"],
    );
    for (i, r) in all.iter().enumerate() {
        for l in &r.limits.all {
            let layer = match &l.replaced {
                Some((was, layer)) if !was.is_empty() => {
                    format!("{}, was {was} in {layer}", l.layer)
                }
                _ => l.layer.clone(),
            };
            section.add(
                i,
                vec![
                    format!("`{}`", l.name),
                    l.text.clone(),
                    l.means.clone(),
                    or_none(l.clause.as_ref()),
                    or_none(l.source.as_ref()),
                    layer,
                ],
            );
        }
    }
    section
}

fn tables(all: &[Arc<Ruleset>]) -> Section {
    let mut section = Section::new(
        "Tables",
        "Tables of figures; where the clause is known, the source stands in brackets.",
        &["table", "what it gives", "clause and source"],
    );
    for (i, r) in all.iter().enumerate() {
        for t in &r.data.tables {
            section.add(
                i,
                vec![format!("`{}`", t.name), t.title.clone(), t.source.clone()],
            );
        }
    }
    section
}

fn derivations(all: &[Arc<Ruleset>]) -> Section {
    let mut section = Section::new(
        "Formulas",
        "Derived facts that cite a clause or a source; those that only carry a value along the feed or \
         join others are left away here.",
        &["fact", "meaning", "clause", "source", "layer"],
    );
    for (i, r) in all.iter().enumerate() {
        for (kind, facts) in r.vocabulary.kinds.iter().zip(&r.derivations) {
            for (fact, derivation) in kind.facts.iter().zip(facts) {
                let Some(d) = derivation else { continue };
                if d.origin.clause.is_none() && d.origin.source.is_none() {
                    continue;
                }
                let [clause, source, layer] = cited(&d.origin);
                section.add(
                    i,
                    vec![
                        format!("`{}.{}`", kind.name, fact.name),
                        fact.means.clone(),
                        clause,
                        source,
                        layer,
                    ],
                );
            }
        }
    }
    section
}

fn assumptions(all: &[Arc<Ruleset>]) -> Section {
    let mut section = Section::new(
        "Assumptions",
        "What is taken where a design says nothing; every report lists those it used.",
        &["fact", "assumed", "clause", "source", "layer"],
    );
    for (i, r) in all.iter().enumerate() {
        for (kind, facts) in r.vocabulary.kinds.iter().zip(&r.assumptions) {
            for (fact, assumption) in kind.facts.iter().zip(facts) {
                let Some(a) = assumption else { continue };
                let [clause, source, layer] = cited(&a.origin);
                section.add(
                    i,
                    vec![
                        format!("`{}.{}`", kind.name, fact.name),
                        a.text.clone(),
                        clause,
                        source,
                        layer,
                    ],
                );
            }
        }
    }
    section
}

fn withdrawn(all: &[Arc<Ruleset>]) -> Section {
    let mut section = Section::new(
        "Withdrawn rules",
        "Rules of a lower layer that a higher one takes back.",
        &["rule", "layer", "why"],
    );
    for (i, r) in all.iter().enumerate() {
        for (id, layer, why) in &r.withdrawn {
            section.add(i, vec![format!("`{id}`"), layer.clone(), why.clone()]);
        }
    }
    section
}

fn left_out(all: &[Arc<Ruleset>]) -> Section {
    let mut section = Section::new(
        "Left out",
        "What the references state and nothing above encodes; where it has an id, every report says so of a design \
         that it matters for.",
        &["what", "clause", "why", "layer", "told as"],
    );
    for (i, r) in all.iter().enumerate() {
        for l in &r.left_out {
            section.add(
                i,
                vec![
                    l.what.clone(),
                    l.clause.clone(),
                    l.why.clone(),
                    l.layer.clone(),
                    told_as(r, l),
                ],
            );
        }
    }
    section
}

/// The id and weight under which a report tells what is left out.
fn told_as(r: &Ruleset, left_out: &LeftOut) -> String {
    let told = left_out.id.as_ref().and_then(|id| r.rule(id));
    told.map_or_else(String::new, |rule| {
        format!("`{}`, {}", rule.id, rule.severity)
    })
}
