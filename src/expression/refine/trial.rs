//! Other values for a few leaves, on top of those as written: only what stands above these leaves
//! is worked out again, and only as far as somebody asks.

use std::rc::Rc;

use super::super::program::{LeafId, Op, Reg, Users};
use super::super::val::Val;
use super::{Cone, ConeLeaf, Refiner};

/// The leaves that have other values, and what is known of the registers above them.
pub(super) struct Trial {
    users: Users,
    /// The round in which a register was found to stand above the leaves, or was last worked out.
    stamp: Vec<u32>,
    round: u32,
    /// The round of these leaves.
    found: u32,
    /// The round of their present values.
    now: u32,
    /// Leaves that have another value than as written, ascending.
    leaves: Vec<(LeafId, Val)>,
    /// The same as it was given, while it is that: most are asked of many verdicts in turn.
    given: Option<Vec<(LeafId, Val)>>,
    /// All registers above them, the leaves' own too.
    closure: Vec<Reg>,
    /// Registers that hold another value than as written.
    touched: Vec<Reg>,
    /// What was read last, for reading it again with other values of the same leaves.
    last: Option<Read>,
}

impl Trial {
    /// Whether a register stands above the leaves.
    fn is_above(&self, reg: Reg) -> bool {
        self.stamp[reg.ix()] >= self.found
    }

    /// Whether it does and was not worked out for their present values.
    fn is_stale(&self, reg: Reg) -> bool {
        self.is_above(reg) && self.stamp[reg.ix()] != self.now
    }
}

/// A register that was read.
struct Read {
    root: Reg,
    /// The operations between the leaves and it, ascending; none, as long as it was read once.
    ops: Option<Vec<Reg>>,
    /// What varies under it.
    cone: Option<Rc<Cone>>,
}

impl Refiner<'_> {
    fn trial(&mut self) -> &mut Trial {
        let n = self.program.ops.len();
        let program = self.program;
        self.trial.get_or_insert_with(|| {
            Box::new(Trial {
                users: Users::of(program),
                stamp: vec![0; n],
                round: 1,
                found: 1,
                now: 1,
                leaves: Vec::new(),
                given: None,
                closure: Vec::new(),
                touched: Vec::new(),
                last: None,
            })
        })
    }

    /// Gives some leaves other values, all others the ones as written; of a leaf that is named
    /// twice the last value counts.
    pub fn assign(&mut self, with: &[(LeafId, Val)]) {
        if self.trial().given.as_deref() == Some(with) {
            return;
        }
        let mut wanted: Vec<(LeafId, Val)> = with.to_vec();
        if wanted.len() > 1 {
            wanted.reverse();
            wanted.sort_by_key(|(id, _)| *id);
            wanted.dedup_by_key(|(id, _)| *id);
        }
        wanted.retain(|(id, val)| *val != self.base[self.leaf(*id).reg.ix()]);
        let trial = self.trial();
        trial.given = Some(with.to_vec());
        if trial.leaves == wanted {
            return;
        }
        let same = trial.leaves.len() == wanted.len()
            && trial.leaves.iter().zip(&wanted).all(|(a, b)| a.0 == b.0);
        trial.leaves = wanted;
        if !same {
            self.look_above();
        }
        self.put_leaves();
    }

    /// The registers that stand above a leaf, as it is written; nothing is to be read before other
    /// values are assigned.
    pub fn reach(&mut self, leaf: LeafId) -> &[Reg] {
        let val = self.base[self.leaf(leaf).reg.ix()];
        let trial = self.trial();
        if !matches!(trial.leaves.as_slice(), [(l, _)] if *l == leaf) {
            trial.leaves = vec![(leaf, val)];
            trial.given = None;
            self.look_above();
            self.put_leaves();
        }
        &self.trial().closure
    }

    /// Takes all values back.
    pub fn release(&mut self) {
        if self.trial.is_some() {
            self.assign(&[]);
        }
    }

    /// Makes the values assigned those from which others depart.
    pub fn settle(&mut self) {
        let Some(mut trial) = self.trial.take() else {
            return;
        };
        let mut closure = std::mem::take(&mut trial.closure);
        closure.sort_unstable();
        let varies = trial
            .leaves
            .iter()
            .any(|(id, val)| !self.leaf(*id).is_point(val));
        for r in &closure {
            if trial.is_stale(*r) {
                self.fill(&mut trial, *r);
            }
        }
        let base = self.base.to_mut();
        for r in closure {
            base[r.ix()] = self.vals[r.ix()];
            self.depends[r.ix()] |= varies;
        }
        trial.touched.clear();
        trial.leaves.clear();
        trial.given = None;
        self.trial = Some(trial);
        self.look_above();
    }

    /// The value of a register before anything is tried.
    #[must_use]
    pub fn settled(&self, reg: Reg) -> Val {
        self.base[reg.ix()]
    }

    /// Restores what was worked out for other leaves, then finds what stands above the present
    /// ones.
    fn look_above(&mut self) {
        let program = self.program;
        let Some(trial) = self.trial.as_deref_mut() else {
            return;
        };
        for r in trial.touched.drain(..) {
            self.vals[r.ix()] = self.base[r.ix()];
        }
        trial.last = None;
        trial.round += 1;
        trial.found = trial.round;
        trial.closure.clear();
        for (id, _) in &trial.leaves {
            let reg = program.leaves[id.0 as usize].reg;
            trial.stamp[reg.ix()] = trial.found;
            trial.closure.push(reg);
        }
        let mut next = 0;
        while let Some(r) = trial.closure.get(next).copied() {
            next += 1;
            for user in trial.users.of_register(r) {
                if !trial.is_above(*user) {
                    trial.stamp[user.ix()] = trial.found;
                    trial.closure.push(*user);
                }
            }
        }
        self.work += trial.closure.len() as u64;
    }

    fn put_leaves(&mut self) {
        let Some(trial) = self.trial.as_deref_mut() else {
            return;
        };
        let first = trial.touched.is_empty();
        trial.round += 1;
        trial.now = trial.round;
        for (id, val) in &trial.leaves {
            let reg = self.program.leaves[id.0 as usize].reg;
            self.vals[reg.ix()] = *val;
            trial.stamp[reg.ix()] = trial.now;
            if first {
                trial.touched.push(reg);
            }
        }
    }

    /// Whether a register stands above the leaves that have other values.
    pub fn is_touched(&self, reg: Reg) -> bool {
        self.trial
            .as_deref()
            .is_some_and(|t| t.is_above(reg) && !t.leaves.is_empty())
    }

    /// The value of a register for the values assigned.
    pub fn read(&mut self, root: Reg) -> Val {
        let Some(mut trial) = self.trial.take() else {
            return self.base[root.ix()];
        };
        if trial.is_stale(root) {
            let again = matches!(&trial.last, Some(l) if l.root == root);
            if !again {
                trial.last = Some(Read {
                    root,
                    ops: None,
                    cone: None,
                });
                self.work_out(&mut trial, root);
            } else {
                let ops = match trial.last.as_mut().and_then(|l| l.ops.take()) {
                    Some(ops) => ops,
                    None => self.between(&trial, root),
                };
                for r in &ops {
                    if trial.is_stale(*r) {
                        self.fill(&mut trial, *r);
                    }
                }
                if let Some(last) = &mut trial.last {
                    last.ops = Some(ops);
                }
            }
        }
        self.trial = Some(trial);
        self.vals[root.ix()]
    }

    fn fill(&mut self, trial: &mut Trial, r: Reg) {
        self.refill(r);
        self.work += 1;
        if trial.stamp[r.ix()] == trial.found {
            trial.touched.push(r);
        }
        trial.stamp[r.ix()] = trial.now;
    }

    /// Works out a register and what it needs of those above the leaves.
    fn work_out(&mut self, trial: &mut Trial, root: Reg) {
        let mut stack = std::mem::take(&mut self.stack);
        stack.push(root);
        while let Some(r) = stack.last().copied() {
            let before = stack.len();
            if trial.is_stale(r) {
                self.program.ops[r.ix()].operands(&self.program.args, |o| {
                    if trial.is_stale(o) {
                        stack.push(o);
                    }
                });
                if stack.len() > before {
                    continue;
                }
                self.fill(trial, r);
            }
            stack.pop();
        }
        self.stack = stack;
    }

    /// The operations between the leaves and a register, ascending.
    fn between(&mut self, trial: &Trial, root: Reg) -> Vec<Reg> {
        let mut ops = self.below(root, |_, r| trial.is_above(r));
        ops.retain(|r| !matches!(self.program.ops[r.ix()], Op::Leaf(_)));
        ops
    }

    /// The operations and leaves under a register that vary: those that stand above the leaves
    /// with other values, and those above leaves that are more than one value as written.
    pub fn varying(&mut self, root: Reg) -> Rc<Cone> {
        let Some(mut trial) = self.trial.take() else {
            return Rc::new(self.cone(root));
        };
        let last = trial.last.as_mut().filter(|l| l.root == root);
        let cone = match last.as_ref().and_then(|l| l.cone.clone()) {
            Some(cone) => cone,
            None => {
                let (stamp, first) = (&trial.stamp, trial.found);
                let found = self.below(root, |this, r| {
                    this.depends[r.ix()] || stamp[r.ix()] >= first
                });
                Rc::new(self.parted(root, found))
            }
        };
        if let Some(last) = last {
            last.cone = Some(Rc::clone(&cone));
        }
        self.trial = Some(trial);
        cone
    }

    /// Operations and leaves apart.
    pub(super) fn parted(&self, root: Reg, found: Vec<Reg>) -> Cone {
        let (mut ops, mut leaves) = (Vec::new(), Vec::new());
        for r in found {
            match self.program.ops[r.ix()] {
                Op::Leaf(id) => leaves.push(ConeLeaf { id, reg: r }),
                _ => ops.push(r),
            }
        }
        Cone { root, ops, leaves }
    }
}
