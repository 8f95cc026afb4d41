//! Witnesses: points of both kinds.

use super::super::program::Val;
use super::values::{any_value, one_value};
use super::{Cone, Decision, Refiner, Witness};
use crate::quantity::TruthSet;

impl Refiner<'_> {
    /// A point of a box, at an end of the written set where the box reaches it.
    pub(super) fn point_in(&self, cone: &Cone, values: &[Val], start: &[Val]) -> Vec<Val> {
        cone.leaves
            .iter()
            .zip(values.iter().zip(start))
            .map(|(l, (v, s))| {
                let leaf = self.leaf(l.id);
                one_value(leaf, v, v.hi == s.hi && v.lo != s.lo)
            })
            .collect()
    }

    /// Keeps an assignment as a witness if, as a point, it gives this truth.
    pub(super) fn replay(&mut self, cone: &Cone, point: Vec<Val>, truth: bool) -> Option<Witness> {
        let val = self.run(cone, &point);
        let wanted = if truth { TruthSet::T } else { TruthSet::F };
        (val.as_truth() == wanted).then(|| {
            Witness(
                cone.leaves
                    .iter()
                    .zip(point)
                    .map(|(l, v)| (l.id, v))
                    .collect(),
            )
        })
    }

    /// Looks for assignments of both kinds: ends of the sets first, then mixtures in a fixed
    /// order.
    pub(super) fn find_witnesses(&mut self, cone: &Cone, values: &[Val], d: &mut Decision) {
        let mut seed = 0x9e37_79b9_7f4a_7c15_u64;
        for turn in 0..128_u32 {
            if d.yes.is_some() && d.no.is_some() {
                return;
            }
            let point: Vec<Val> = cone
                .leaves
                .iter()
                .zip(values)
                .map(|(l, v)| {
                    seed ^= seed << 13;
                    seed ^= seed >> 7;
                    seed ^= seed << 17;
                    let r = match turn {
                        0 => 0,
                        1 => 1,
                        _ => seed >> 11,
                    };
                    any_value(self.leaf(l.id), v, r)
                })
                .collect();
            let val = self.run(cone, &point);
            let (slot, truth) = match val.as_truth() {
                TruthSet::T => (&mut d.yes, true),
                TruthSet::F => (&mut d.no, false),
                _ => continue,
            };
            if slot.is_none() {
                let witness = self.replay(cone, point, truth);
                if truth {
                    d.yes = witness;
                } else {
                    d.no = witness;
                }
            }
        }
    }
}
