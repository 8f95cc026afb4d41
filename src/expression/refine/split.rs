//! How a box is split: discrete leaves, monotone ones, thresholds, the widest.

use super::super::derivative::derivatives;
use super::super::program::{LeafKind, Op, Reg};
use super::super::val::{Flags, Presence, Val};
use super::Cone;
use super::Refiner;
use super::values::{bits_of, cut_at, middle};
use crate::quantity::{Interval, TruthSet, boundary_le};

impl Refiner<'_> {
    pub(super) fn split_discrete(
        &self,
        cone: &Cone,
        values: &[Val],
        live: &[usize],
    ) -> Option<(usize, Vec<Val>)> {
        let count = |i: &&usize| -> u32 {
            let v = values[**i];
            match self.leaf(cone.leaves[**i].id).kind {
                LeafKind::Number => u32::MAX,
                LeafKind::Members(_) => 2,
                _ => v.bits.count_ones(),
            }
        };
        let best = live.iter().min_by_key(count)?;
        let leaf = self.leaf(cone.leaves[*best].id);
        let v = values[*best];
        let parts: Vec<Val> = match leaf.kind {
            LeafKind::Number => {
                // A number that may be absent is split into "absent" and "present".
                let i = live.iter().copied().find(|i| {
                    values[*i].bits == Presence::EITHER
                        && self.leaf(cone.leaves[*i].id).kind == LeafKind::Number
                })?;
                let mut present = values[i];
                present.bits = Presence::PRESENT;
                let absent = Val::ABSENT.flagged(values[i].flags);
                return Some((i, vec![present, absent]));
            }
            LeafKind::Members(_) => {
                let open = v.bits & (v.bits >> 32) & 0xffff_ffff;
                let word = open.trailing_zeros();
                let mut inside = v;
                inside.bits &= !(1 << (32 + word));
                let mut outside = v;
                outside.bits &= !(1 << word);
                vec![inside, outside]
            }
            _ if v.bits.count_ones() <= 8 => {
                bits_of(v.bits).map(|b| Val { bits: 1 << b, ..v }).collect()
            }
            _ => {
                let all: Vec<u32> = bits_of(v.bits).collect();
                let half = all.len() / 2;
                let set = |list: &[u32]| Val {
                    bits: list.iter().fold(0, |s, b| s | 1 << b),
                    ..v
                };
                vec![set(&all[..half]), set(&all[half..])]
            }
        };
        Some((*best, parts))
    }

    /// How the two sides of each comparison move apart with each live leaf.
    fn signs(
        &mut self,
        cone: &Cone,
        live: &[usize],
        atoms: &[(Reg, Reg, Reg)],
    ) -> Vec<Vec<Interval>> {
        let mut slopes = std::mem::take(&mut self.slopes);
        slopes.resize(self.program.ops.len(), Interval::point(0.0));
        let mut signs = vec![vec![Interval::point(0.0); live.len()]; atoms.len()];
        for (column, i) in live.iter().enumerate() {
            let by = cone.leaves[*i].reg;
            if self.is_spent() {
                break;
            }
            self.work += cone.ops.len() as u64;
            derivatives(self.program, &self.vals, &cone.ops, by, &mut slopes);
            let get = |r: Reg| {
                if r == by {
                    Interval::point(1.0)
                } else {
                    slopes[r.ix()]
                }
            };
            for (row, (_, a, b)) in atoms.iter().enumerate() {
                signs[row][column] = get(*a).sub(get(*b));
            }
            for r in &cone.ops {
                slopes[r.ix()] = Interval::point(0.0);
            }
        }
        self.slopes = slopes;
        signs
    }

    /// Comparisons whose direction does not change over the box are judged at its corners.
    pub(super) fn by_monotony(
        &mut self,
        cone: &Cone,
        values: &[Val],
        live: &[usize],
    ) -> Option<(bool, Flags)> {
        if live.len() > 12 {
            return None;
        }
        let atoms: Vec<(Reg, Reg, Reg)> = cone
            .ops
            .iter()
            .filter(|r| self.vals[r.ix()].as_truth() == TruthSet::U)
            .filter(|r| !self.vals[r.ix()].flags.any(Flags::UNSOUND))
            .filter_map(|r| match self.program.ops[r.ix()] {
                Op::Le(a, b, _) | Op::Lt(a, b, _) => Some((*r, a, b)),
                _ => None,
            })
            .collect();
        if atoms.is_empty() || atoms.len() > 16 {
            return None;
        }
        let signs = self.signs(cone, live, &atoms);
        let mut settled: Vec<(Reg, Val)> = Vec::new();
        for ((atom, _, _), row) in atoms.iter().zip(&signs) {
            if self.is_spent() {
                break;
            }
            let (mut most, mut least) = (values.to_vec(), values.to_vec());
            let mut pinned = false;
            for (i, slope) in live.iter().zip(row) {
                let v = values[*i];
                let end = |x: f64| Val { lo: x, hi: x, ..v };
                if slope.lo == 0.0 && slope.hi == 0.0 {
                    let x = if v.lo.is_finite() { v.lo } else { v.hi };
                    if x.is_finite() {
                        most[*i] = end(x);
                        least[*i] = end(x);
                        pinned = true;
                    }
                } else if slope.lo >= 0.0 || slope.hi <= 0.0 {
                    let (low, high) = if slope.lo >= 0.0 {
                        (v.lo, v.hi)
                    } else {
                        (v.hi, v.lo)
                    };
                    if high.is_finite() {
                        most[*i] = end(high);
                        pinned = true;
                    }
                    if low.is_finite() {
                        least[*i] = end(low);
                        pinned = true;
                    }
                }
            }
            if !pinned {
                continue;
            }
            self.run(cone, &most);
            let at_most = self.vals[atom.ix()];
            self.run(cone, &least);
            let at_least = self.vals[atom.ix()];
            if at_most.as_truth() == TruthSet::T {
                settled.push((*atom, at_most));
            } else if at_least.as_truth() == TruthSet::F {
                settled.push((*atom, at_least));
            }
        }
        if settled.is_empty() {
            return None;
        }
        self.run(cone, values);
        self.work += cone.ops.len() as u64;
        self.stale = true;
        for r in &cone.ops {
            match settled.iter().find(|(a, _)| a == r) {
                Some((_, val)) => self.vals[r.ix()] = *val,
                None => self.refill(*r),
            }
        }
        let root = self.vals[cone.root.ix()];
        root.as_truth().decided().map(|truth| (truth, root.flags))
    }

    pub(super) fn split_number(
        &self,
        cone: &Cone,
        values: &[Val],
        live: &[usize],
    ) -> Option<(usize, Vec<Val>)> {
        // The threshold of a comparison with something that does not vary is an exact cut.
        for r in &cone.ops {
            let Some((a, b, floor)) = self.program.ops[r.ix()].compares() else {
                continue;
            };
            if self.vals[r.ix()].as_truth() != TruthSet::U {
                continue;
            }
            let floor = self.program.consts[floor as usize].lo;
            for i in live {
                let reg = cone.leaves[*i].reg;
                let other = if a == reg { b } else { a };
                if a != reg && b != reg {
                    continue;
                }
                let c = self.vals[other.ix()];
                if !c.is_number_point() || !c.lo.is_finite() {
                    continue;
                }
                // `x <= c` and `c < x` change after the boundary of `x <= c`; `c <= x` and `x < c`
                // before that of `c <= x`.
                let strict = matches!(self.program.ops[r.ix()], Op::Lt(..));
                let cut = if (a == reg) != strict {
                    boundary_le(c.lo, floor)
                } else {
                    crate::quantity::boundary_ge(c.lo, floor).next_down()
                };
                let v = values[*i];
                if v.lo <= cut && cut < v.hi {
                    return Some((*i, cut_at(v, cut)));
                }
            }
        }
        self.widest(cone, values, live)
    }

    pub(super) fn bisect(&self, cone: &Cone, values: &[Val]) -> Option<(usize, Vec<Val>)> {
        let all: Vec<usize> = (0..values.len()).collect();
        self.widest(cone, values, &all)
    }

    pub(super) fn widest(
        &self,
        cone: &Cone,
        values: &[Val],
        among: &[usize],
    ) -> Option<(usize, Vec<Val>)> {
        let width = |i: usize| {
            let (v, start) = (values[i], self.leaf(cone.leaves[i].id).set);
            if !(v.hi - v.lo).is_finite() {
                return 2.0;
            }
            let whole = start.hi - start.lo;
            if whole.is_finite() && whole > 0.0 {
                (v.hi - v.lo) / whole
            } else {
                (v.hi - v.lo) / v.lo.abs().max(v.hi.abs()).max(1e-300)
            }
        };
        let best = among
            .iter()
            .copied()
            .filter(|i| self.leaf(cone.leaves[*i].id).kind == LeafKind::Number)
            .filter(|i| values[*i].lo < values[*i].hi)
            .max_by(|a, b| width(*a).total_cmp(&width(*b)).then(b.cmp(a)))?;
        let v = values[best];
        let plausible = self.leaf(cone.leaves[best].id).plausible;
        let cut = middle(v.lo, v.hi, plausible);
        (v.lo <= cut && cut < v.hi).then(|| (best, cut_at(v, cut)))
    }
}
