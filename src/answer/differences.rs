//! Everything in which two rulesets differ that can turn a verdict: rules, and what rules rest on.

use std::collections::{BTreeMap, BTreeSet};

use crate::check::one_line;
use crate::expression::KeyType;
use crate::ruleset::{Requirement, Rule, Ruleset};
use crate::source::words;
use crate::vocabulary::{Fact, FactType, Vocabulary};

words! {
    /// What became of something between two rulesets.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
    pub enum Fate {
        /// Only in the second.
        New = "new",
        /// Only in the first.
        Withdrawn = "withdrawn",
        /// In both, and not alike.
        Amended = "amended",
    }
}

words! {
    /// What is stated otherwise.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
    pub enum Stated {
        /// A rule, with another condition, severity, stage or clause.
        Rule = "rule",
        /// Something that is told as not judged.
        LeftOut = "left-out",
        /// A named figure.
        Limit = "limit",
        /// A table.
        Table = "table",
        /// The formula of a fact.
        Formula = "formula",
        /// What is taken where a design says nothing.
        Assumption = "assumption",
        /// The values that exist of something.
        Series = "series",
        /// A fact: which values it takes, and what its silence means.
        Fact = "fact",
    }
}

/// One thing that two rulesets state differently.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// What sort of thing.
    pub of: Stated,
    /// Its name.
    pub name: String,
    /// What became of it.
    pub fate: Fate,
    /// What it is.
    pub title: String,
    /// As the first states it.
    pub before: Option<String>,
    /// As the second states it.
    pub after: Option<String>,
}

/// One thing as a ruleset states it: what it is, and what of it can turn a verdict.
struct Statement {
    title: String,
    text: String,
    /// The cells of a table, which are counted and not repeated.
    cells: BTreeMap<String, String>,
}

impl Statement {
    fn new(title: &str, text: &str) -> Self {
        Self {
            title: title.to_owned(),
            text: one_line(text),
            cells: BTreeMap::new(),
        }
    }
}

/// Everything in which two rulesets differ that can turn a verdict.
#[must_use]
pub fn differences(from: &Ruleset, to: &Ruleset) -> Vec<Difference> {
    let (mut a, mut b) = (statements(from), statements(to));
    let keys: BTreeSet<(Stated, String)> = a.keys().chain(b.keys()).cloned().collect();
    let mut all = Vec::new();
    for key in keys {
        let (x, y) = (a.remove(&key), b.remove(&key));
        let (fate, title) = match (&x, &y) {
            (None, Some(y)) => (Fate::New, y.title.clone()),
            (Some(x), None) => (Fate::Withdrawn, x.title.clone()),
            (Some(x), Some(y)) if x.text != y.text || x.cells != y.cells => {
                (Fate::Amended, amended(x, y))
            }
            _ => continue,
        };
        let (of, name) = key;
        all.push(Difference {
            of,
            name,
            fate,
            title,
            before: x.map(|s| s.text).filter(|t| !t.is_empty()),
            after: y.map(|s| s.text).filter(|t| !t.is_empty()),
        });
    }
    all
}

/// What something is that is stated otherwise: of a table with how many of its figures are other.
fn amended(x: &Statement, y: &Statement) -> String {
    let cells: BTreeSet<&String> = x.cells.keys().chain(y.cells.keys()).collect();
    let other = |k: &&&String| x.cells.get(**k) != y.cells.get(**k);
    match cells.iter().filter(other).count() {
        0 => y.title.clone(),
        n => format!("{}: {n} of {} figures", y.title, cells.len()),
    }
}

/// All that a ruleset states, by sort and name.
fn statements(r: &Ruleset) -> BTreeMap<(Stated, String), Statement> {
    let mut all = BTreeMap::new();
    let mut add = |of: Stated, name: &str, title: &str, text: String| {
        all.insert((of, name.to_owned()), Statement::new(title, &text));
    };
    for rule in &r.rules {
        let of = if rule.is_left_out() {
            Stated::LeftOut
        } else {
            Stated::Rule
        };
        add(of, &rule.id, &rule.texts.title, rule_text(r, rule));
    }
    for l in &r.limits.all {
        // Told as it is written; the value decides, so that `3 %` and `0.03` are alike.
        let value = l.value.map_or_else(String::new, |v| {
            crate::quantity::format_quantity(v, &l.unit, 9)
        });
        add(Stated::Limit, &l.name, &l.means, value);
    }
    for s in &r.vocabulary.series {
        let members: Vec<String> = s
            .members
            .iter()
            .map(|m| crate::quantity::format_quantity(m.value, &s.unit, 9))
            .collect();
        add(Stated::Series, &s.name, "", members.join(", "));
    }
    for k in r.vocabulary.kind_ids() {
        let kind = r.vocabulary.kind(k);
        for (ix, fact) in kind.fact_ids().zip(&kind.facts) {
            let name = format!("{}.{}", kind.name, fact.name);
            if let Some(d) = r.derivation(k, ix) {
                let wins = match d.unless_written {
                    true => " (unless written)",
                    false => "",
                };
                let text = format!("{}{wins}", d.formula.text());
                add(Stated::Formula, &name, &fact.texts.means, text);
            }
            if let Some(a) = r.assumption(k, ix) {
                add(Stated::Assumption, &name, &fact.texts.means, a.text.clone());
            }
            let text = fact_text(&r.vocabulary, kind, fact);
            add(Stated::Fact, &name, &fact.texts.means, text);
        }
    }
    for t in &r.data.tables {
        let keys = t.keys.iter().map(|k| match &k.ty {
            KeyType::Number(_, between, beyond) => {
                format!("{}, between rows {between}, beyond them {beyond}", k.name)
            }
            KeyType::Word(_) => k.name.clone(),
        });
        let keys: Vec<String> = keys.collect();
        let mut s = Statement::new(&t.title, &keys.join(", "));
        s.cells = t.cells();
        all.insert((Stated::Table, t.name.clone()), s);
    }
    all
}

/// What of a rule can turn its verdict, and its clause.
fn rule_text(r: &Ruleset, rule: &Rule) -> String {
    let mut parts = vec![format!("each {}", r.vocabulary.kind(rule.each).name)];
    if let Some(w) = &rule.where_ {
        parts.push(format!("where {}", w.text()));
    }
    match &rule.require {
        Requirement::One(c) => parts.push(format!("require {}", c.text())),
        Requirement::Ways(ways) => {
            parts.extend(
                ways.iter()
                    .map(|w| format!("way {}: {}", w.name, w.condition.text())),
            );
        }
        Requirement::LeftOut => {}
    }
    parts.push(format!("{} at stage {}", rule.severity, rule.stage));
    parts.extend(rule.texts.origin.clause.clone());
    parts.join("; ")
}

/// Which values a fact takes, and what its silence means.
fn fact_text(v: &Vocabulary, kind: &crate::vocabulary::Kind, fact: &Fact) -> String {
    let mut parts = Vec::new();
    match &fact.ty {
        FactType::Quantity { unit, per_line, .. } => {
            parts.push(unit.text().to_owned());
            parts.extend(per_line.then(|| "per line".to_owned()));
        }
        FactType::Choice { words, .. } | FactType::Some { words } => {
            parts.push(format!("one of {}", words.join(" ")));
        }
        _ => parts.extend(fact.target().map(|k| v.kind(k).name.clone())),
    }
    let d = &fact.domain;
    if *d != crate::vocabulary::Bounds::ALL {
        parts.push(format!("from {} to {}", d.lo, d.hi));
    }
    parts.extend(fact.series.map(|s| format!("series {}", v.series(s).name)));
    parts.extend(fact.optional.then(|| "may be none".to_owned()));
    if fact.open != crate::vocabulary::Openness::Closed {
        parts.push("may not all be listed".to_owned());
    }
    if let Some(of) = fact.inherits {
        let of = kind.facts.get(of.0 as usize);
        parts.extend(of.map(|f| format!("as of its {}", f.name)));
    }
    parts.join(", ")
}
