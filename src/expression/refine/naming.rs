//! The leaves that could decide a verdict, and the values worth trying.

use super::super::program::{LeafId, LeafKind};
use super::super::val::{Presence, SetWords, Val};
use super::fuel::NAMING;
use super::values::{bits_of, middle, replaced};
use super::{Budget, Cone, Named, Refiner};
use crate::quantity::TruthSet;

impl Refiner<'_> {
    /// The leaves of which some value, the others as written, decides; `?` before ranges before
    /// tolerances. If none does alone, the first pair that does.
    pub fn deciding(&mut self, cone: &Cone, budget: Budget) -> Vec<Named> {
        let start = self.written(cone);
        self.run(cone, &start);
        let (mut live, _) = self.live(cone);
        self.restore(cone);
        live.sort_by_key(|i| {
            let l = self.leaf(cone.leaves[*i].id);
            (l.source, cone.leaves[*i].reg)
        });
        live.truncate(24);
        // What naming may cost, in boxes: large cones get fewer tries, never more time.
        let mut fuel = NAMING.tries(cone, 16);
        let mut named: Vec<Named> = Vec::new();
        for i in &live {
            let mut n = Named {
                leaf: cone.leaves[*i].id,
                yes: None,
                no: None,
            };
            for candidate in self.candidates(cone, &start, *i) {
                if n.yes.is_some() && n.no.is_some() || fuel == 0 || self.is_spent() {
                    break;
                }
                let allowed = Budget(budget.0.min(fuel));
                let d = self.decide_within(cone, replaced(&start, *i, candidate), allowed);
                fuel = fuel.saturating_sub(d.boxes.max(1));
                match d.truth {
                    TruthSet::T => n.yes = n.yes.or(Some(candidate)),
                    TruthSet::F => n.no = n.no.or(Some(candidate)),
                    _ => {}
                }
            }
            if n.yes.is_some() || n.no.is_some() {
                named.push(n);
                if named.len() >= 6 {
                    return named;
                }
            }
        }
        if !named.is_empty() {
            return named;
        }
        live.truncate(8);
        for (k, i) in live.iter().enumerate() {
            for j in live.iter().skip(k + 1) {
                for a in self.candidates(cone, &start, *i).into_iter().take(4) {
                    let with_a = replaced(&start, *i, a);
                    for b in self.candidates(cone, &start, *j).into_iter().take(4) {
                        if fuel == 0 || self.is_spent() {
                            return Vec::new();
                        }
                        let allowed = Budget(budget.0.min(fuel));
                        let d = self.decide_within(cone, replaced(&with_a, *j, b), allowed);
                        fuel = fuel.saturating_sub(d.boxes.max(1));
                        if d.truth != TruthSet::U {
                            let held = d.truth == TruthSet::T;
                            let name = |leaf, v| Named {
                                leaf,
                                yes: held.then_some(v),
                                no: (!held).then_some(v),
                            };
                            return vec![name(cone.leaves[*i].id, a), name(cone.leaves[*j].id, b)];
                        }
                    }
                }
            }
        }
        Vec::new()
    }

    /// Values of a leaf that are worth trying.
    pub(super) fn candidates(&self, cone: &Cone, start: &[Val], i: usize) -> Vec<Val> {
        let leaf = self.leaf(cone.leaves[i].id);
        let v = start[i];
        match leaf.kind {
            LeafKind::Choice | LeafKind::Truth => bits_of(v.bits)
                .take(24)
                .map(|b| Val { bits: 1 << b, ..v })
                .collect(),
            LeafKind::Members(n) => {
                let mut all = Vec::new();
                let free = v.bits & (v.bits >> 32) & 0xffff_ffff;
                let fixed = v.bits & 0xffff_ffff & !free;
                let n = u32::from(n);
                for pattern in 0..1_u64 << n.min(4) {
                    let set = (pattern & free) | fixed;
                    all.push(Val {
                        bits: SetWords::known(set, n),
                        ..v
                    });
                }
                all.dedup();
                all
            }
            LeafKind::Number => {
                let (pl, ph) = leaf.plausible;
                let (lo, hi) = (pl.max(v.lo), ph.min(v.hi));
                let mut all: Vec<Val> = Vec::new();
                for x in [v.lo, v.hi, lo, hi, middle(lo, hi, leaf.plausible)] {
                    if x.is_finite() && v.lo <= x && x <= v.hi {
                        let val = v.at(x);
                        if !all.contains(&val) {
                            all.push(val);
                        }
                    }
                }
                if v.bits & Presence::ABSENT != 0 {
                    all.push(Val::ABSENT);
                }
                all
            }
        }
    }

    /// The leaves a register depends on that matter for its present value, most uncertain first.
    pub fn live_leaves(&mut self, cone: &Cone) -> Vec<LeafId> {
        let start = self.written(cone);
        self.run(cone, &start);
        let (live, _) = self.live(cone);
        self.restore(cone);
        let mut ids: Vec<LeafId> = live.iter().map(|i| cone.leaves[*i].id).collect();
        ids.sort_by_key(|id| (self.leaf(*id).source, *id));
        ids
    }
}
