//! Whether things are there: said so, taken out by the works, or one of several that may be taken.

use super::link::{Linker, Obj, What};
use crate::design::model::{ObjectId, Possible, Written};
use crate::expression::{Op, Reg};
use crate::quantity::TruthSet;
use crate::vocabulary::{FactIx, PRESENT};

impl Linker<'_> {
    /// Whether it is a thing that the works take out.
    pub(super) fn goes(&self, o: &Obj) -> bool {
        matches!(o, Obj::One(id) if self.design.object(*id).goes())
    }

    /// Whether what a path leads to is there once the work is done: nothing, where it certainly is.
    pub(super) fn present(&mut self, o: &Obj) -> Option<Reg> {
        match o {
            Obj::Absent => Some(self.truth(false)),
            Obj::One(_) if self.goes(o) => Some(self.truth(false)),
            Obj::One(id) => self.presence(*id),
            Obj::Pick(selector, all) => {
                let there: Vec<Option<Reg>> = all.iter().map(|o| self.present(o)).collect();
                if there.iter().all(Option::is_none) {
                    return None;
                }
                let yes = self.truth(true);
                let there: Vec<Reg> = there.into_iter().map(|r| r.unwrap_or(yes)).collect();
                Some(self.pick(*selector, &there))
            }
            _ => None,
        }
    }

    /// Whether a thing is there at all: nothing, where it certainly is.
    pub(super) fn presence(&mut self, id: ObjectId) -> Option<Reg> {
        if !self.design.doubted {
            return None;
        }
        let o = self.design.object(id);
        let Some(ix) = self.ruleset.vocabulary.kind(o.kind).fact_named(PRESENT) else {
            return o.owner.and_then(|whole| self.presence(whole));
        };
        let there = self.fact(id, ix, None);
        (self.truth_of(there) != TruthSet::T).then_some(there)
    }

    /// Whether a part, and each that it stands in, is the one that is taken of several: nothing, where it
    /// certainly is.
    pub(super) fn taken(&mut self, id: ObjectId) -> Option<Reg> {
        let whole = self.design.object(id).owner?;
        let around = self.taken(whole);
        let facts = (0_u16..).map(FactIx).zip(&self.design.object(whole).facts);
        let facts = facts.filter_map(|(ix, w)| Some((ix, w.as_deref()?)));
        let leads = facts.clone().find(|(_, w)| w.value.leads_to(id));
        let taken = match leads {
            Some((
                ix,
                Written {
                    value: Possible::OneOf(_),
                    ..
                },
            )) => {
                let part = self.object_fact(whole, ix);
                let leads = self.leads_to(&part, id);
                leads.unwrap_or_else(|| Some(self.truth(false)))
            }
            // One of several in its place of a list.
            Some((
                ix,
                Written {
                    value: Possible::List(_),
                    ..
                },
            )) => {
                let (members, _) = self.members_of(whole, ix);
                let leads = members.iter().find_map(|(m, _)| self.leads_to(m, id));
                leads.unwrap_or_else(|| Some(self.truth(false)))
            }
            Some(_) => None,
            // Beside `?` it is one of what may be there.
            None => {
                let (v, kind) = (&self.ruleset.vocabulary, self.kind(whole));
                let may_be = |ix: &FactIx| {
                    let target = v.fact(kind, *ix).target();
                    target.is_some_and(|target| v.fits(self.kind(id), target))
                };
                let mut open = facts.filter(|(_, w)| w.value == Possible::Unknown);
                let ix = open.find_map(|(ix, _)| may_be(&ix).then_some(ix));
                ix.map(|ix| self.doubt(whole, ix, What::Fact))
            }
        };
        self.both(around, taken)
    }

    /// Where all of some conditions hold; nothing, where there are none.
    pub(super) fn both(&mut self, a: Option<Reg>, b: Option<Reg>) -> Option<Reg> {
        match (a, b) {
            (Some(a), Some(b)) => Some(self.push(Op::And(a, b))),
            (one, other) => one.or(other),
        }
    }

    /// Where any of some conditions holds; nothing, where there are none.
    pub(super) fn either(&mut self, a: Option<Reg>, b: Option<Reg>) -> Option<Reg> {
        match (a, b) {
            (Some(a), Some(b)) => Some(self.push(Op::Or(a, b))),
            (one, other) => one.or(other),
        }
    }
}
