//! Which facts the expressions of a ruleset read, and which rules so rest on a fact.

use std::collections::BTreeSet;

use super::{Derivation, Piece, Requirement, Rule, Ruleset};
use crate::expression::{Compiled, ObjectTerm, Over, ReadFact, TermKind};
use crate::source::{Problem, Span};
use crate::vocabulary::{FactIx, KindId, Settler};

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

/// A limit or a table of a ruleset, and whether anything reads it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Figures {
    /// What it is and its name: ``limit `Cmin` ``.
    pub what: String,
    /// Where it is stated.
    pub at: Span,
    /// A rule, a derivation or a text reads it.
    pub read: bool,
}

impl Figures {
    /// What is said of one that nothing reads.
    #[must_use]
    pub fn unread(&self) -> Problem {
        Problem::caution("nothing-reads", format!("nothing reads the {}", self.what))
            .at(self.at, "")
            .help("take it out, or correct its name if it was to replace another")
    }
}

impl Rule {
    /// All its expressions, those in its texts too.
    fn expressions(&self) -> Vec<&Compiled> {
        let mut all: Vec<&Compiled> = self.where_.as_deref().into_iter().collect();
        let said = &*self.texts;
        all.extend(&said.point_at);
        all.extend(self.conditions());
        let texts = [Some(&said.message), said.open.as_ref(), said.help.as_ref()];
        for piece in texts.into_iter().flatten().flat_map(|t| &t.pieces) {
            if let Piece::Value(c, _) = piece {
                all.push(c);
            }
        }
        all
    }

    /// The same, to be changed.
    pub(super) fn expressions_mut(&mut self) -> Vec<&mut Compiled> {
        let mut all: Vec<&mut Compiled> = Vec::new();
        all.extend(self.where_.as_deref_mut());
        match &mut self.require {
            Requirement::One(c) => all.push(c),
            Requirement::Ways(ways) => all.extend(ways.iter_mut().map(|w| &mut *w.condition)),
            Requirement::LeftOut => {}
        }
        let said = &mut *self.texts;
        all.extend(&mut said.point_at);
        let texts = [
            Some(&mut said.message),
            said.open.as_mut(),
            said.help.as_mut(),
        ];
        for piece in texts.into_iter().flatten().flat_map(|t| &mut t.pieces) {
            if let Piece::Value(c, _) = piece {
                all.push(c);
            }
        }
        all
    }

    /// The facts that its `where` and its requirement name.
    #[must_use]
    pub fn reads(&self) -> Facts {
        let mut all = Facts::new();
        for c in self.where_.as_deref().into_iter().chain(self.conditions()) {
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
    /// The limits and tables that it and its patches state, each with whether anything reads it.
    /// An ancestor's may be left unread by what replaces its readers.
    #[must_use]
    pub fn figures_read(&self) -> Vec<Figures> {
        let (mut limits, mut tables) = (BTreeSet::new(), BTreeSet::new());
        let rules = self.rules.iter().flat_map(Rule::expressions);
        let derived = self.derivations.iter().flatten().flatten();
        let shown = self.figures.iter().filter_map(|f| f.where_.as_deref());
        for c in rules.chain(derived.map(|d| &d.formula)).chain(shown) {
            for term in &c.terms {
                match &term.kind {
                    TermKind::Limit(id) => drop(limits.insert(id.0)),
                    TermKind::Lookup(id, _) => drop(tables.insert(id.0)),
                    _ => {}
                }
            }
        }
        let own = |layer: &String| *layer == self.id || self.patches.contains(layer);
        let limits = (0..).zip(&self.limits.all).map(|(i, l)| {
            let what = format!("limit `{}`", l.name);
            (what, l.span, &l.layer, limits.contains(&i))
        });
        let stated = self.tables.stated.iter().zip(&self.data.tables);
        let tables = (0..).zip(stated).map(|(i, ((at, layer), t))| {
            let what = format!("table `{}`", t.name);
            (what, *at, layer, tables.contains(&i))
        });
        let all = limits.chain(tables).filter(|(_, _, layer, _)| own(layer));
        all.map(|(what, at, _, read)| Figures { what, at, read })
            .collect()
    }

    /// The readings that a rule names: what was tested decides it, and the design no more.
    pub fn readings_in(&self, rule: &Rule) -> impl Iterator<Item = (KindId, FactIx)> {
        let records: BTreeSet<KindId> = self.expectations.iter().map(|e| e.record).collect();
        let read = move |(kind, fact): &(KindId, FactIx)| {
            let fact = self.vocabulary.fact(*kind, *fact);
            records.contains(kind) && fact.settled_by == Settler::Test
        };
        rule.reads().into_iter().filter(read)
    }

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
