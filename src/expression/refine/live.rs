//! Which leaves can still matter in a box.

use super::super::program::{Op, Reg};
use super::super::val::{Flags, Presence};
use super::{Cone, Refiner};
use crate::quantity::TruthSet;

impl Refiner<'_> {
    /// Indices (into the cone's leaves) of the leaves that can still matter, after a run: only
    /// undecided truths are walked, only possible branches. Also whether each numeric one occurs
    /// once.
    pub(super) fn live(&mut self, cone: &Cone) -> (Vec<usize>, bool) {
        self.work += cone.ops.len() as u64;
        let round = self.next_round();
        self.mark[cone.root.ix()] = round;
        self.paths[cone.root.ix()] = 1;
        for r in cone.ops.iter().rev() {
            if self.mark[r.ix()] != round {
                continue;
            }
            let count = self.paths[r.ix()];
            let op = self.program.ops[r.ix()];
            // Marks of what is not in the cone are not looked at.
            let visit = |this: &mut Self, o: Reg| {
                if this.mark[o.ix()] == round {
                    this.paths[o.ix()] = this.paths[o.ix()].saturating_add(count);
                } else {
                    this.mark[o.ix()] = round;
                    this.paths[o.ix()] = count;
                }
            };
            match op {
                Op::And(a, b) | Op::Or(a, b) => {
                    for o in [a, b] {
                        if self.vals[o.ix()].as_truth() == TruthSet::U {
                            visit(self, o);
                        }
                    }
                }
                Op::If(c, a, b) => {
                    let t = self.vals[c.ix()].as_truth();
                    if t != TruthSet::F {
                        visit(self, a);
                    }
                    if t != TruthSet::T {
                        visit(self, b);
                    }
                    if t == TruthSet::U {
                        visit(self, c);
                    }
                }
                Op::Pick(s, first, n) => {
                    let bits = self.vals[s.ix()].bits;
                    for i in (0..n).filter(|i| bits >> i & 1 != 0) {
                        let o = self.program.args[(first + i) as usize];
                        visit(self, o);
                    }
                    if bits.count_ones() > 1 {
                        visit(self, s);
                    }
                }
                Op::Otherwise(a, b) => {
                    let bits = self.vals[a.ix()].bits;
                    visit(self, a);
                    if bits & Presence::ABSENT != 0 {
                        visit(self, b);
                    }
                }
                // What is multiplied by nothing does not matter.
                Op::Mul(..) if self.is_sure_point(*r) => {}
                _ => {
                    let args = &self.program.args;
                    op.operands(args, |o| visit(self, o));
                }
            }
        }
        let mut once = true;
        let mut live = Vec::new();
        for (i, l) in cone.leaves.iter().enumerate() {
            let leaf = self.leaf(l.id);
            if self.mark[l.reg.ix()] == round && !leaf.is_point(&self.vals[l.reg.ix()]) {
                live.push(i);
                once &= self.paths[l.reg.ix()] == 1;
            }
        }
        (live, once)
    }

    fn is_sure_point(&self, r: Reg) -> bool {
        let val = &self.vals[r.ix()];
        val.is_number_point() && !val.flags.any(Flags::UNSOUND)
    }
}
