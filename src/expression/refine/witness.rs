//! Witnesses: points of both kinds.

use super::super::program::{Op, Reg};
use super::super::val::Val;
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
        (val.as_truth() == TruthSet::of(truth)).then(|| Witness::of(cone, point))
    }

    /// Looks for assignments of both kinds: ends of the sets first, then mixtures in a fixed
    /// order.
    pub(super) fn find_witnesses(
        &mut self,
        cone: &Cone,
        values: &[Val],
        turns: u32,
        d: &mut Decision,
    ) {
        let mut seed = 0x9e37_79b9_7f4a_7c15_u64;
        for turn in 0..turns {
            if d.yes.is_some() && d.no.is_some() || self.is_spent() {
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
            self.work += cone.leaves.len() as u64;
            let val = self.run(cone, &point);
            let (slot, truth) = match val.as_truth() {
                TruthSet::T => (&mut d.yes, true),
                TruthSet::F => (&mut d.no, false),
                _ => continue,
            };
            if slot.is_none() {
                *slot = self.replay(cone, point, truth);
            }
        }
    }

    /// Tries the point of a box that takes each comparison as far as it goes towards making the
    /// root true, and the one against it: where each number occurs once, these are the points at
    /// which the bounds of set evaluation are attained.
    pub(super) fn aim(&mut self, cone: &Cone, values: &[Val], d: &mut Decision) {
        for truth in [true, false] {
            let slot = if truth { &mut d.yes } else { &mut d.no };
            if slot.is_none() {
                self.run(cone, values);
                let point = self.aimed(cone, values, truth);
                *slot = self.replay(cone, point, truth);
            }
        }
    }

    /// The point that a walk from the root leads to; registers hold the box.
    fn aimed(&mut self, cone: &Cone, values: &[Val], truth: bool) -> Vec<Val> {
        let round = self.next_round();
        // Which way a register is to go: 1 up or true, 2 down or false, 3 both or not known.
        let mut ways = std::mem::take(&mut self.paths);
        self.mark[cone.root.ix()] = round;
        ways[cone.root.ix()] = if truth { 1 } else { 2 };
        for r in cone.ops.iter().rev() {
            if self.mark[r.ix()] != round {
                continue;
            }
            let way = ways[r.ix()];
            let turned = match way {
                1 => 2,
                2 => 1,
                _ => 3,
            };
            let sign = |o: Reg, way: u32, other: u32| {
                let v = self.vals[o.ix()].as_interval();
                if v.lo >= 0.0 {
                    way
                } else if v.hi <= 0.0 {
                    other
                } else {
                    3
                }
            };
            let mark = &mut self.mark;
            let mut send = |o: Reg, way: u32| {
                if mark[o.ix()] == round {
                    ways[o.ix()] |= way;
                } else {
                    mark[o.ix()] = round;
                    ways[o.ix()] = way;
                }
            };
            match self.program.ops[r.ix()] {
                Op::Le(a, b, _) | Op::Lt(a, b, _) => {
                    send(a, turned);
                    send(b, way);
                }
                Op::Sub(a, b) => {
                    send(a, way);
                    send(b, turned);
                }
                Op::Mul(a, b) => {
                    let (x, y) = (sign(b, way, turned), sign(a, way, turned));
                    send(a, x);
                    send(b, y);
                }
                Op::Div(a, b) => {
                    let (x, y) = (sign(b, way, turned), sign(a, turned, way));
                    send(a, x);
                    send(b, y);
                }
                Op::Not(a) | Op::Neg(a) | Op::Acos(a) => send(a, turned),
                Op::Add(..)
                | Op::And(..)
                | Op::Or(..)
                | Op::Min(..)
                | Op::Max(..)
                | Op::Otherwise(..)
                | Op::Sqrt(_)
                | Op::Ln(_)
                | Op::Exp(_)
                | Op::Round(..)
                | Op::NextUp(..)
                | Op::NextDown(..)
                | Op::LargestTwo(..) => {
                    self.program.ops[r.ix()].operands(&self.program.args, |o| send(o, way));
                }
                Op::If(c, a, b) => {
                    send(c, 3);
                    send(a, way);
                    send(b, way);
                }
                Op::Pick(s, first, n) => {
                    let list = first as usize..(first + n) as usize;
                    for o in self.program.args.get(list).unwrap_or(&[]) {
                        send(*o, way);
                    }
                    send(s, 3);
                }
                op => op.operands(&self.program.args, |o| send(o, 3)),
            }
        }
        let point = cone
            .leaves
            .iter()
            .zip(values)
            .map(|(l, v)| {
                let up = self.mark[l.reg.ix()] == round && ways[l.reg.ix()] == 1;
                one_value(self.leaf(l.id), v, up)
            })
            .collect();
        self.paths = ways;
        point
    }
}
