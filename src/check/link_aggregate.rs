//! Aggregates of expressions → registers, with what members that are not listed could add.

use super::link::{Linker, Obj, What};
use super::link_term::{Env, Var};
use crate::design::model::ObjectId;
use crate::expression::{
    Aggregate, Compiled, Flags, LeafKind, LeafSource, Op, Over, Presence, Reg, TermId, Val,
};
use crate::quantity::{Interval, TruthSet};
use crate::vocabulary::FactIx;

/// Members of an aggregate that are combined one after the other.
const IN_A_ROW: usize = 8;

impl Linker<'_> {
    /// Whether a condition holds: no, certainly, or where its register does.
    fn holds(&self, r: Reg) -> Option<Option<Reg>> {
        match self.truth_of(r) {
            TruthSet::T => Some(None),
            TruthSet::F => None,
            _ => Some(Some(r)),
        }
    }

    #[expect(clippy::too_many_arguments, reason = "the parts of one aggregate")]
    pub(super) fn aggregate(
        &mut self,
        c: &Compiled,
        op: Aggregate,
        var: u8,
        over: &Over,
        filter: Option<TermId>,
        body: Option<TermId>,
        unlisted: Interval,
        env: &mut Env,
    ) -> Reg {
        let mut known = true;
        let (members, rest): (Vec<(Var, Option<Reg>)>, _) = match over {
            Over::AllLines => ((0..3).map(|l| (Var::Line(l), None)).collect(), None),
            Over::Lines(set, at) => {
                let set = self.term(c, *set, env);
                let members = (0..3_u8)
                    .filter_map(|l| {
                        let word = at.get(l as usize).copied().flatten()?;
                        let p = self.push(Op::Has(set, word));
                        Some((Var::Line(l), Some(p)))
                    })
                    .collect();
                (members, None)
            }
            Over::Collection(o, fact) => {
                let from = self.object(o, env);
                known = matches!(from, Obj::One(_));
                let (members, rest) = self.members(&from, fact);
                let members = members
                    .into_iter()
                    .map(|(m, p)| (Var::Object(m), p))
                    .collect();
                (members, rest)
            }
        };
        let slot = var as usize;
        let saved = env.vars.clone();
        env.vars.truncate(slot);
        let mut list = Vec::new();
        for (member, presence) in members {
            env.vars.truncate(slot);
            env.vars.push(member);
            let Some(mut cond) = presence.map_or(Some(None), |p| self.holds(p)) else {
                continue;
            };
            if let Some(f) = filter {
                let f = self.term(c, f, env);
                let Some(kept) = self.holds(f) else {
                    continue;
                };
                cond = self.both(cond, kept);
            }
            let lost = matches!(env.vars.last(), Some(Var::Object(Obj::Poison)));
            let value = match body {
                // Of what cannot be read nothing counts, whether it is looked at or not.
                _ if lost && matches!(op, Aggregate::Every | Aggregate::Any) => {
                    self.poisoned_truth()
                }
                _ if lost => {
                    let nothing = Val::number(0.0).flagged(Flags::POISON);
                    self.program.constant(nothing)
                }
                Some(b) => self.term(c, b, env),
                None => self.number(1.0),
            };
            let value = self.conditional(op, cond, value);
            list.push(value);
            // One member decides.
            let done = match op {
                Aggregate::Every => self.truth_of(value) == TruthSet::F,
                Aggregate::Any => self.truth_of(value) == TruthSet::T,
                _ => false,
            };
            if done {
                env.vars = saved;
                return self.together(op, &list).unwrap_or(value);
            }
        }
        env.vars = saved;
        if let Some((object, fact)) = rest {
            // Of what may be one of several things each has members of its own.
            let some = filter.is_some() || !known;
            let r = self.rest((op, some), object, fact, unlisted);
            list.push(r);
        }
        if op == Aggregate::LargestTwo {
            let (first, n) = self.program.counted(&list);
            return self.push(Op::LargestTwo(first, n));
        }
        match (self.together(op, &list), op) {
            (Some(a), _) => a,
            (None, Aggregate::Every) => self.truth(true),
            (None, Aggregate::Any) => self.truth(false),
            (None, Aggregate::Min | Aggregate::Max) => self.program.constant(Val::ABSENT),
            (None, _) => self.number(0.0),
        }
    }

    /// A member's part in an aggregate, if it may not belong.
    fn conditional(&mut self, op: Aggregate, cond: Option<Reg>, value: Reg) -> Reg {
        let Some(cond) = cond else {
            return value;
        };
        match op {
            Aggregate::Every => {
                let not = self.push(Op::Not(cond));
                self.push(Op::Or(not, value))
            }
            Aggregate::Any => self.push(Op::And(cond, value)),
            Aggregate::Min | Aggregate::Max => {
                let nothing = self.program.constant(Val::ABSENT);
                self.push(Op::If(cond, value, nothing))
            }
            _ => {
                let nothing = self.number(0.0);
                self.push(Op::If(cond, value, nothing))
            }
        }
    }

    /// All members together: a few one after the other, many half by half, so that what changes
    /// with one member are only the sums above it.
    fn together(&mut self, op: Aggregate, list: &[Reg]) -> Option<Reg> {
        if list.len() > IN_A_ROW {
            let (low, high) = list.split_at(list.len().next_power_of_two() / 2);
            let (low, high) = (self.together(op, low)?, self.together(op, high)?);
            return Some(self.combine(op, low, high));
        }
        let (first, others) = list.split_first()?;
        Some(
            others
                .iter()
                .fold(*first, |all, r| self.combine(op, all, *r)),
        )
    }

    fn combine(&mut self, op: Aggregate, a: Reg, b: Reg) -> Reg {
        match op {
            Aggregate::Every => self.push(Op::And(a, b)),
            Aggregate::Any => self.push(Op::Or(a, b)),
            Aggregate::Min | Aggregate::Max => {
                let both = self.push(if op == Aggregate::Min {
                    Op::Min(a, b)
                } else {
                    Op::Max(a, b)
                });
                let certain = |r: Reg, this: &Self| this.program.val(r).bits == Presence::PRESENT;
                if certain(a, self) && certain(b, self) {
                    return both;
                }
                // Where one is absent the other stands alone.
                let either = self.push(Op::Otherwise(a, b));
                self.push(Op::Otherwise(both, either))
            }
            _ => self.push(Op::Add(a, b)),
        }
    }

    /// What members that are not listed could contribute.
    fn rest(
        &mut self,
        (op, some): (Aggregate, bool),
        object: ObjectId,
        fact: FactIx,
        unlisted: Interval,
    ) -> Reg {
        // Another sum over the same unlisted members is another unknown number, and so is a count of some
        // of them, but how many a thing has is one question.
        let counted = op == Aggregate::Count && !some;
        if counted && let Some(r) = self.rests.get(&(object, fact)) {
            return *r;
        }
        let reg = match op {
            Aggregate::Every | Aggregate::Any => self.doubt(object, fact, What::Rest),
            _ => {
                let mut set = Val::interval(unlisted);
                if matches!(op, Aggregate::Min | Aggregate::Max) {
                    set.bits = Presence::EITHER;
                }
                let at = super::link_value::info(object, fact, None, What::Rest);
                let source = LeafSource::Unknown;
                self.leaf(LeafKind::Number, (set, set), (0.0, 100.0), source, at)
            }
        };
        if counted {
            self.rests.insert((object, fact), reg);
        }
        reg
    }
}
