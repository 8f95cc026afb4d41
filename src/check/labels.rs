//! Which places a finding points at: facts the rule names, then those whose change alone would
//! decide, then the nearest ones the verdict has read.

use std::collections::VecDeque;

use rustc_hash::{FxHashMap, FxHashSet};

use super::finding::Outcome;
use super::link::{LeafInfo, What};
use super::plain;
use super::settings::Pending;
use super::view::{Lazy, View};
use crate::design::model::{Design, ObjectId, Possible, Written};
use crate::expression::{
    Compiled, Fuel, LeafId, LeafKind, ObjectTerm, Op, Presence, ReadFact, Refiner, Reg, Val,
};
use crate::quantity::TruthSet;
use crate::ruleset::{Requirement, Ruleset};
use crate::source::{Label, Span};
use crate::vocabulary::{FactIx, FactType, KindId};

/// The most places of a finding.
const MOST: usize = 3;

/// What trying other values for one finding may cost.
const WORK: Fuel = Fuel(60_000);

/// Registers behind a condition that are looked through for what is near.
const NEAR: usize = 4000;

impl View<'_> {
    /// The places of a finding, the main one first; `missing` are leaves that could decide.
    pub(super) fn labels(
        &self,
        p: &Pending<'_>,
        outcome: Outcome,
        missing: &[LeafId],
        refiner: &mut Lazy<'_>,
    ) -> Vec<Label> {
        let mut spans: Vec<Span> = Vec::new();
        let subject = self.design.object(p.verdict.subject);
        let inside = |s: &Span| {
            s.file == subject.span.file
                && subject.span.start <= s.start
                && s.end <= subject.span.end
        };
        add(&mut spans, missing.iter().filter_map(|l| self.written(*l)));
        // Parts and references the rule names come after the facts in them that decide.
        let mut parts: Vec<Span> = Vec::new();
        for c in &p.rule.texts.point_at {
            match self.point(c, p.verdict.subject) {
                Some((span, true)) => add(&mut spans, [span]),
                Some((span, false)) => add(&mut parts, [span]),
                None => {}
            }
        }
        let points = p.verdict.said.iter().flat_map(|s| &s.points);
        let points = points.filter_map(|r| self.written(self.direct(*r)?));
        add(&mut spans, points);
        // Of several ways each is linked as far as it is decided: a fact may open one of them and
        // still not hold it, so that what the rule itself names counts more.
        let ways = matches!(p.rule.require, Requirement::Ways(_));
        if outcome == Outcome::Failed && spans.len() < MOST && (spans.is_empty() || !ways) {
            let all: Vec<Span> = self
                .deciders(p.verdict.require, refiner.get())
                .into_iter()
                .filter_map(|l| self.written(l))
                .collect();
            let (first, second): (Vec<Span>, Vec<Span>) = all.into_iter().partition(inside);
            add(&mut spans, first.into_iter().chain(second));
        }
        add(&mut spans, parts);
        // Why it matters here is no mistake to point at.
        if spans.is_empty() && !p.rule.is_left_out() {
            let near = self.nearest(p.verdict.require);
            let near = near.into_iter().filter_map(|l| self.written(l));
            add(&mut spans, near.take(2));
        }
        spans.truncate(MOST);
        // The place that stands in the subject itself leads, but of readings: there what was read does.
        let reads = self.ruleset.readings_in(p.rule).next().is_some();
        if let Some(i) = spans.iter().position(inside).filter(|_| !reads) {
            let first = spans.remove(i);
            spans.insert(0, first);
        }
        if spans.is_empty() {
            spans.push(subject.head);
        }
        spans.into_iter().map(labelled).collect()
    }

    /// Puts the mistakes that keep a rule from being judged before all else: those inside the
    /// subject, or, without any, those elsewhere that the rule rests on.
    pub(super) fn point_at_mistakes(&self, p: &Pending<'_>, labels: &mut Vec<Label>) {
        let subject = self.design.object(p.verdict.subject).span;
        let inside =
            |s: &Span| s.file == subject.file && subject.start <= s.start && s.end <= subject.end;
        let of_rule = self.mistaken.iter();
        let mut all: Vec<Span> = of_rule
            .filter(|(_, rules)| rules.contains(&p.rule.id.as_str()))
            .map(|(span, _)| *span)
            .collect();
        if all.iter().any(inside) {
            all.retain(inside);
        }
        all.truncate(MOST);
        if !all.is_empty() {
            *labels = all.into_iter().map(labelled).collect();
        }
    }

    /// Where a fact that the rule points at is written, and whether it is a plain value; of a part
    /// only the key is shown.
    fn point(&self, c: &Compiled, subject: ObjectId) -> Option<(Span, bool)> {
        let (object, fact) = c.root_term().kind.fact_read()?;
        let w = self.stated(self.follow(object, subject)?, fact)?;
        let plain = !matches!(
            w.value,
            Possible::Object(_) | Possible::List(_) | Possible::OneOf(_)
        );
        Some((if plain { w.key.to(w.span) } else { w.key }, plain))
    }

    fn stated(&self, object: ObjectId, fact: &ReadFact) -> Option<&Written> {
        let o = self.design.object(object);
        let ix = fact.on(o.kind)?;
        o.written(ix)
    }

    /// The written object that a path leads to.
    fn follow(&self, path: &ObjectTerm, subject: ObjectId) -> Option<ObjectId> {
        match path {
            ObjectTerm::Subject => Some(subject),
            ObjectTerm::Var(_) => None,
            ObjectTerm::Step(before, fact) => {
                let from = self.follow(before, subject)?;
                match self.stated(from, fact)?.value {
                    Possible::Object(id) => Some(id),
                    _ => None,
                }
            }
        }
    }

    /// The leaf that a register is, or whose member of a series it is.
    fn direct(&self, reg: Reg) -> Option<LeafId> {
        match self.program.ops.get(reg.ix())? {
            Op::Leaf(id) => Some(*id),
            Op::Member(selector, _) => self.direct(*selector),
            _ => None,
        }
    }

    fn written(&self, leaf: LeafId) -> Option<Span> {
        let info: &LeafInfo = self.leaves.get(leaf.0 as usize)?;
        if matches!(info.what, What::Parameter(_)) {
            return None;
        }
        let o = self.design.object(info.object);
        let w = o.written(info.fact)?;
        Some(
            if matches!(w.value, Possible::Object(_) | Possible::List(_)) {
                w.key
            } else {
                w.key.to(w.span)
            },
        )
    }

    /// Leaves in the order of their distance from a condition; of a conjunction that fails only
    /// what fails is followed.
    fn nearest(&self, root: Reg) -> Vec<LeafId> {
        let mut seen = FxHashSet::default();
        let mut queue = VecDeque::from([root]);
        let mut out = Vec::new();
        while let Some(r) = queue.pop_front() {
            if !seen.insert(r) {
                continue;
            }
            if seen.len() > NEAR {
                break;
            }
            let Some(op) = self.program.ops.get(r.ix()) else {
                continue;
            };
            let fails = |r: &Reg| self.program.val(*r).as_truth() == TruthSet::F;
            match op {
                Op::Leaf(id) => out.push(*id),
                Op::And(a, b) if fails(&r) => {
                    queue.extend([*a, *b].into_iter().filter(|o| fails(o)));
                }
                op => op.operands(&self.program.args, |o| queue.push_back(o)),
            }
        }
        out
    }

    /// Leaves of which another value, all else as written, would make a condition hold.
    fn deciders(&self, root: Reg, refiner: &mut Refiner<'_>) -> Vec<LeafId> {
        let near = self.nearest(root);
        let cone = refiner.cone_over(root, &near);
        let mut fuel = WORK.tries(&cone, 24);
        let mut out = Vec::new();
        for id in near {
            let Some(leaf) = self.program.leaves.get(id.0 as usize) else {
                continue;
            };
            let others: Vec<Val> = match leaf.kind {
                LeafKind::Number => {
                    let mut free = *leaf;
                    free.set = leaf.domain;
                    let mut all = plain::candidates(&free, &self.about(id));
                    all.retain(|v| v.lo != leaf.set.lo);
                    all
                }
                LeafKind::Choice | LeafKind::Truth => (0..62)
                    .filter(|b| leaf.domain.bits >> b & 1 != 0 && leaf.set.bits >> b & 1 == 0)
                    .map(|b| Val {
                        bits: 1 << b,
                        ..leaf.set
                    })
                    .collect(),
                LeafKind::Members(_) => Vec::new(),
            };
            let decides = others.into_iter().any(|val| {
                if fuel == 0 || refiner.is_spent() || val.bits == Presence::ABSENT {
                    return false;
                }
                fuel -= 1;
                refiner.run_with(&cone, &[(id, val)]).as_truth() == TruthSet::T
            });
            if decides {
                out.push(id);
                if out.len() >= 2 * MOST {
                    break;
                }
            }
        }
        out
    }
}

fn labelled(span: Span) -> Label {
    Label {
        span,
        text: String::new(),
    }
}

/// The facts of a design that are written wrongly, each with the rules that rest on it.
pub(super) fn mistaken<'r>(ruleset: &'r Ruleset, design: &Design) -> Vec<(Span, Vec<&'r str>)> {
    let v = &ruleset.vocabulary;
    let mut of_fact: FxHashMap<(KindId, FactIx), Vec<&str>> = FxHashMap::default();
    let mut all = Vec::new();
    for object in &design.objects {
        for (ix, fact) in (0_u16..).zip(&object.facts) {
            let wrong = |w: &Written| w.value.any(&|v| matches!(v, Possible::Poison));
            let Some(w) = fact.as_ref().filter(|w| wrong(w)) else {
                continue;
            };
            let own = (object.kind, FactIx(ix));
            let rules = of_fact.entry(own).or_insert_with(|| {
                // What leads to a thing is found by where each leads.
                let facts = v
                    .kind_ids()
                    .flat_map(|k| v.kind(k).fact_ids().map(move |f| (k, f)));
                let found_by = facts.filter(|(k, f)| {
                    matches!(v.fact(*k, *f).ty, FactType::Reverse { kind, fact } if (kind, fact) == own)
                });
                let readers = [own].into_iter().chain(found_by);
                let readers = readers.flat_map(|(k, f)| ruleset.readers(k, f));
                readers.map(|r| r.rule.id.as_str()).collect()
            });
            all.push((w.key.to(w.span), rules.clone()));
        }
    }
    all
}

/// Adds places, each once.
fn add(spans: &mut Vec<Span>, more: impl IntoIterator<Item = Span>) {
    for span in more {
        if !spans.contains(&span) {
            spans.push(span);
        }
    }
}
