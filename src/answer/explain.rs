//! What a rule reads: the written facts at the end of every path, through all derivations.

use std::collections::{BTreeMap, BTreeSet};

use crate::expression::{Compiled, ReadFact, TermKind};
use crate::ruleset::{Requirement, Rule, Ruleset};
use crate::vocabulary::{FactIx, KindId, Settler};

/// A fact that a rule reads, itself or through derivations.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadBy {
    /// The kind.
    pub kind: String,
    /// The fact.
    pub fact: String,
    /// Its meaning.
    pub means: String,
    /// Who settles it.
    pub settled_by: Settler,
    /// The rule's own text names it; else a derivation does.
    pub named: bool,
    /// It is worked out, unless it is written.
    pub derived: bool,
}

/// The facts a rule rests on: first those it names, then what these are worked out from.
#[must_use]
pub fn facts_read(ruleset: &Ruleset, rule: &Rule) -> Vec<ReadBy> {
    let mut named: BTreeSet<(KindId, FactIx)> = BTreeSet::new();
    let mut conditions: Vec<&Compiled> = rule.where_.iter().collect();
    match &rule.require {
        Requirement::One(c) => conditions.push(c),
        Requirement::Ways(ways) => conditions.extend(ways.iter().map(|w| &w.condition)),
    }
    for c in conditions {
        reads(c, &mut named);
    }
    let mut all: BTreeMap<(KindId, FactIx), bool> = named.iter().map(|k| (*k, true)).collect();
    let mut stack: Vec<(KindId, FactIx)> = named.into_iter().collect();
    while let Some((kind, fact)) = stack.pop() {
        let Some(d) = ruleset.derivation(kind, fact) else {
            continue;
        };
        let mut inside = BTreeSet::new();
        reads(&d.formula, &mut inside);
        for key in inside {
            if let std::collections::btree_map::Entry::Vacant(e) = all.entry(key) {
                e.insert(false);
                stack.push(key);
            }
        }
    }
    let v = &ruleset.vocabulary;
    let mut list: Vec<ReadBy> = all
        .into_iter()
        // Collections are never written: they are what refers to the object.
        .filter(|((k, f), _)| v.fact(*k, *f).writable)
        .map(|((k, f), named)| {
            let fact = v.fact(k, f);
            ReadBy {
                kind: v.kind(k).name.clone(),
                fact: fact.name.clone(),
                means: fact.means.clone(),
                settled_by: fact.settled_by,
                named,
                derived: ruleset.derivation(k, f).is_some(),
            }
        })
        .collect();
    list.sort_by(|a, b| (!a.named, &a.kind, &a.fact).cmp(&(!b.named, &b.kind, &b.fact)));
    list
}

fn reads(c: &Compiled, into: &mut BTreeSet<(KindId, FactIx)>) {
    use crate::expression::{ObjectTerm, Over};
    fn object(o: &ObjectTerm, into: &mut BTreeSet<(KindId, FactIx)>) {
        if let ObjectTerm::Step(before, fact) = o {
            object(before, into);
            add(fact, into);
        }
    }
    fn add(fact: &ReadFact, into: &mut BTreeSet<(KindId, FactIx)>) {
        into.extend(fact.by_kind.iter().copied());
    }
    for term in c.terms.iter() {
        match &term.kind {
            TermKind::Read {
                object: o, fact, ..
            } => {
                object(o, into);
                add(fact, into);
            }
            TermKind::Object(o) | TermKind::ObjectPresent(o) | TermKind::IsKind(o, _) => {
                object(o, into);
            }
            TermKind::SameObject(a, b) => {
                object(a, into);
                object(b, into);
            }
            TermKind::Aggregate {
                over: Over::Collection(o, fact),
                ..
            } => {
                object(o, into);
                add(fact, into);
            }
            _ => {}
        }
    }
}
