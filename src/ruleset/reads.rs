//! Which facts the expressions of a ruleset read, and which rules so rest on a fact.

use std::collections::BTreeSet;

use super::{Derivation, Requirement, Rule, Ruleset};
use crate::expression::{Compiled, ObjectTerm, Over, ReadFact, TermKind};
use crate::vocabulary::{FactIx, KindId};

/// Facts, in the order of their kinds.
pub type Facts = BTreeSet<(KindId, FactIx)>;

/// A rule that rests on a fact.
#[derive(Clone, Copy, Debug)]
pub struct Reader<'a> {
    /// The rule.
    pub rule: &'a Rule,
    /// Its own text names the fact; else something it names is worked out from it.
    pub named: bool,
}

impl Rule {
    /// The facts that its `where` and its requirement name.
    #[must_use]
    pub fn reads(&self) -> Facts {
        let mut all = Facts::new();
        let require: Vec<&Compiled> = match &self.require {
            Requirement::One(c) => vec![c],
            Requirement::Ways(ways) => ways.iter().map(|w| &w.condition).collect(),
        };
        for c in self.where_.iter().chain(require) {
            add_reads(c, &mut all);
        }
        all
    }
}

impl Derivation {
    /// The facts that its formula names.
    #[must_use]
    pub fn reads(&self) -> Facts {
        let mut all = Facts::new();
        add_reads(&self.formula, &mut all);
        all
    }
}

impl Ruleset {
    /// The rules that rest on a fact, in order of their ids.
    #[must_use]
    pub fn readers(&self, kind: KindId, fact: FactIx) -> Vec<Reader<'_>> {
        let carriers = self.worked_out_from(kind, fact);
        self.rules
            .iter()
            .filter_map(|rule| {
                let reads = rule.reads();
                let named = reads.contains(&(kind, fact));
                (named || !reads.is_disjoint(&carriers)).then_some(Reader { rule, named })
            })
            .collect()
    }

    /// The facts that are worked out from a fact, itself or through others.
    fn worked_out_from(&self, kind: KindId, fact: FactIx) -> Facts {
        let mut formulas: Vec<((KindId, FactIx), Facts)> = Vec::new();
        for k in self.vocabulary.kind_ids() {
            for f in self.vocabulary.kind(k).fact_ids() {
                if let Some(d) = self.derivation(k, f) {
                    formulas.push(((k, f), d.reads()));
                }
            }
        }
        let mut found = Facts::new();
        let mut stack = vec![(kind, fact)];
        while let Some(next) = stack.pop() {
            for (derived, reads) in &formulas {
                if reads.contains(&next) && found.insert(*derived) {
                    stack.push(*derived);
                }
            }
        }
        found
    }
}

fn add_reads(c: &Compiled, into: &mut Facts) {
    for term in &c.terms {
        match &term.kind {
            TermKind::Read { object, fact, .. } => {
                add_steps(object, into);
                add_fact(fact, into);
            }
            TermKind::Object(o) | TermKind::ObjectPresent(o) | TermKind::IsKind(o, _) => {
                add_steps(o, into);
            }
            TermKind::SameObject(a, b) => {
                add_steps(a, into);
                add_steps(b, into);
            }
            TermKind::Aggregate {
                over: Over::Collection(o, fact),
                ..
            } => {
                add_steps(o, into);
                add_fact(fact, into);
            }
            _ => {}
        }
    }
}

fn add_steps(object: &ObjectTerm, into: &mut Facts) {
    if let ObjectTerm::Step(before, fact) = object {
        add_steps(before, into);
        add_fact(fact, into);
    }
}

fn add_fact(fact: &ReadFact, into: &mut Facts) {
    into.extend(fact.by_kind.iter().copied());
}
