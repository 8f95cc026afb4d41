//! `amperule rules table`: what a ruleset encodes, from which clause and source, and what it leaves
//! out, as Markdown.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::expression::{Limit, Table};
use crate::report::template;
use crate::ruleset::{
    Assumption, Confidence, Derivation, LeftOut, Origin, Rule, Ruleset, Severity,
};
use crate::vocabulary::{Fact, Later};
use serde::de::DeserializeOwned;

use super::{Which, show_problems};
use crate::command::{Answer, Failure, Output, exit};

/// Writes the table of one edition, or of all.
pub(super) fn table(which: &Which, out: &mut Output) -> Answer {
    let library = which.library();
    let mut rulesets: Vec<Arc<Ruleset>> = Vec::new();
    for edition in which.editions() {
        let loaded = library.load(&which.request(edition));
        show_problems(&loaded.files, &loaded.problems, out);
        rulesets.push(loaded.ruleset.ok_or_else(Failure::default)?);
    }
    let Some(newest) = rulesets.last() else {
        return Ok(exit::FAILED);
    };
    out.text(&page(which, newest, &rulesets));
    Ok(exit::CLEAN)
}

template! {
    /// The page with all tables.
    fn page(which: &'a Which, newest: &'a Ruleset, all: &'a [Arc<Ruleset>]) = "rules_table.md"
    with sections: Vec<Section> = vec![
        rules(all),
        limits(all),
        tables(all),
        derivations(all),
        assumptions(all),
        withdrawn(all),
        left_out(all),
    ];
}

/// How many rules there are of each severity.
fn severities(r: &Ruleset) -> String {
    let count = |s: Severity| r.judging().filter(|r| r.severity == s).count();
    Severity::ALL
        .map(|s| format!("{} {s}", count(s)))
        .join(", ")
}

/// How many rules there are of each confidence.
fn confidences(r: &Ruleset) -> String {
    let count = |c: Confidence| r.judging().filter(|r| r.confidence == c).count();
    Confidence::ALL
        .map(|c| format!("{} {}", count(c), c.word()))
        .join(", ")
}

/// The name of a ruleset as a shell needs it.
fn quoted(rules: &str) -> String {
    if rules.contains(' ') {
        format!("'{rules}'")
    } else {
        rules.to_owned()
    }
}

/// Cells, and the editions in which they stand so.
type Row = (Vec<String>, Vec<usize>);

/// One table of the page; a row that is alike in several editions stands once.
struct Section {
    title: &'static str,
    intro: &'static str,
    /// The heads of its columns, with ` | ` between them.
    columns: &'static str,
    rows: Vec<Row>,
}

impl Section {
    fn new(
        [title, intro, columns]: [&'static str; 3],
        all: &[Arc<Ruleset>],
        rows_of: impl Fn(&Ruleset) -> Vec<Vec<String>>,
    ) -> Self {
        let mut rows: Vec<Row> = Vec::new();
        let mut known: FxHashMap<Vec<String>, usize> = FxHashMap::default();
        for (edition, r) in all.iter().enumerate() {
            for cells in rows_of(r) {
                let at = *known.entry(cells).or_insert_with_key(|cells| {
                    rows.push((cells.clone(), Vec::new()));
                    rows.len() - 1
                });
                rows[at].1.push(edition);
            }
        }
        Self {
            title,
            intro,
            columns,
            rows,
        }
    }
}

fn in_order(section: &Section) -> Vec<&Row> {
    let mut rows: Vec<&Row> = section.rows.iter().collect();
    rows.sort_by(|a, b| (a.0.first(), &a.1).cmp(&(b.0.first(), &b.1)));
    rows
}

/// A text that cannot end its cell.
fn cell(text: &str) -> String {
    text.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .replace('|', "\\|")
}

/// The editions in which a row holds: `all`, or stretches of them.
fn span(held: &[usize], editions: &[Arc<Ruleset>]) -> String {
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
    let name = |i: usize| editions.get(i).map_or("", |r| r.edition.id.as_str());
    let told = stretches.into_iter().map(|(a, b)| match a == b {
        true => name(a).to_owned(),
        false => format!("{} .. {}", name(a), name(b)),
    });
    told.collect::<Vec<_>>().join(", ")
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

/// A name as code.
fn code(name: &str) -> String {
    format!("`{name}`")
}

fn rules(all: &[Arc<Ruleset>]) -> Section {
    let row = |rule: &Rule| {
        let [clause, source, mut layer] = cited(&rule.texts.origin);
        if let Some((by, _)) = &rule.texts.amended {
            layer.push_str(&format!(", amended by {by}"));
        }
        let severity = rule.severity.to_string();
        let (stage, confidence) = (rule.stage.to_string(), rule.confidence.word().to_owned());
        let (id, title) = (code(&rule.id), rule.texts.title.clone());
        vec![
            id, title, clause, source, layer, severity, stage, confidence,
        ]
    };
    let text = [
        "Rules",
        "Each requirement that is judged.",
        "rule | requirement | clause | source | layer | severity | stage | confidence",
    ];
    Section::new(text, all, |r| r.judging().map(row).collect())
}

fn limits(all: &[Arc<Ruleset>]) -> Section {
    let row = |l: &Limit| {
        let layer = match &l.replaced {
            Some((was, layer)) if !was.is_empty() => format!("{}, was {was} in {layer}", l.layer),
            _ => l.layer.clone(),
        };
        let [clause, source] = [&l.clause, &l.source].map(|text| or_none(text.as_ref()));
        vec![
            code(&l.name),
            l.text.clone(),
            l.means.clone(),
            clause,
            source,
            layer,
        ]
    };
    let text = [
        "Limits",
        "Named figures that rules and formulas use.",
        "limit | value | meaning | clause | source | layer",
    ];
    Section::new(text, all, |r| r.limits.all.iter().map(row).collect())
}

fn tables(all: &[Arc<Ruleset>]) -> Section {
    let row = |t: &Table| vec![code(&t.name), t.title.clone(), t.source.clone()];
    let text = [
        "Tables",
        "Tables of figures; where the clause is known, the source stands in brackets.",
        "table | what it gives | clause and source",
    ];
    Section::new(text, all, |r| {
        r.data.tables.iter().map(|t| row(t)).collect()
    })
}

/// A row for each fact of which a ruleset says something, one list for each kind.
fn facts<T: DeserializeOwned>(
    r: &Ruleset,
    said: &[Vec<Option<Later<T>>>],
    row: impl Fn(&Fact, &T) -> Option<(String, Origin)>,
) -> Vec<Vec<String>> {
    let mut all = Vec::new();
    for (kind, said) in r.vocabulary.kinds.iter().zip(said) {
        for (fact, said) in kind.facts.iter().zip(said) {
            if let Some((text, origin)) = said.as_deref().and_then(|said| row(fact, said)) {
                let [clause, source, layer] = cited(&origin);
                let name = code(&format!("{}.{}", kind.name, fact.name));
                all.push(vec![name, text, clause, source, layer]);
            }
        }
    }
    all
}

fn derivations(all: &[Arc<Ruleset>]) -> Section {
    let row = |fact: &Fact, d: &Derivation| {
        let cited = d.origin.clause.is_some() || d.origin.source.is_some();
        cited.then(|| (fact.texts.means.clone(), Origin::clone(&d.origin)))
    };
    let text = [
        "Formulas",
        "Derived facts that cite a clause or a source; those that only carry a value along the feed or \
         join others are left away here.",
        "fact | meaning | clause | source | layer",
    ];
    Section::new(text, all, |r| facts(r, &r.derivations, row))
}

fn assumptions(all: &[Arc<Ruleset>]) -> Section {
    let row = |_: &Fact, a: &Assumption| Some((a.text.clone(), a.origin.clone()));
    let text = [
        "Assumptions",
        "What is taken where a design says nothing; every report lists those it used.",
        "fact | assumed | clause | source | layer",
    ];
    Section::new(text, all, |r| facts(r, &r.assumptions, row))
}

fn withdrawn(all: &[Arc<Ruleset>]) -> Section {
    let text = [
        "Withdrawn rules",
        "Rules of a lower layer that a higher one takes back.",
        "rule | layer | why",
    ];
    Section::new(text, all, |r| {
        let all = r.withdrawn.iter();
        all.map(|(id, layer, why)| vec![code(id), layer.clone(), why.clone()])
            .collect()
    })
}

fn left_out(all: &[Arc<Ruleset>]) -> Section {
    let text = [
        "Left out",
        "What the references state and nothing above encodes; where it has an id, every report says so of a design \
         that it matters for.",
        "what | clause | why | layer | told as",
    ];
    Section::new(text, all, |r| {
        let row = |l: &LeftOut| {
            let (what, clause) = (l.what.clone(), l.clause.clone());
            vec![what, clause, l.why.clone(), l.layer.clone(), told_as(r, l)]
        };
        r.left_out.iter().map(row).collect()
    })
}

/// The id and weight under which a report tells what is left out.
fn told_as(r: &Ruleset, left_out: &LeftOut) -> String {
    let told = left_out.id.as_ref().and_then(|id| r.rule(id));
    told.map_or_else(String::new, |rule| {
        format!("`{}`, {}", rule.id, rule.severity)
    })
}
