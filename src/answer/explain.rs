//! What a rule reads: the written facts at the end of every path, through all derivations.

use std::collections::BTreeMap;

use crate::ruleset::{Rule, Ruleset};
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
    let named = rule.reads();
    let mut all: BTreeMap<(KindId, FactIx), bool> = named.iter().map(|k| (*k, true)).collect();
    let mut stack: Vec<(KindId, FactIx)> = named.into_iter().collect();
    while let Some((kind, fact)) = stack.pop() {
        let Some(d) = ruleset.derivation(kind, fact) else {
            continue;
        };
        for key in d.reads() {
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
                means: fact.texts.means.clone(),
                settled_by: fact.settled_by,
                named,
                derived: ruleset.derivation(k, f).is_some(),
            }
        })
        .collect();
    list.sort_by(|a, b| (!a.named, &a.kind, &a.fact).cmp(&(!b.named, &b.kind, &b.fact)));
    list
}
