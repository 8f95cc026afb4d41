//! Reads verdicts of a residual program for values of its leaves, and keeps what was told of those as
//! written.

use rustc_hash::FxHashMap;

use super::{Assignment, Residual};
use crate::expression::{Asked, Budget, Cone, Flags, Fuel, LeafId, Op, Refiner, Reg, Val};
use crate::quantity::TruthSet;

/// What reading one verdict once may cost: of a large one fewer boxes are tried, but so many at least.
const READING: Fuel = Fuel(100_000);
const FEWEST: u32 = 8;

impl Residual {
    /// A reader of the verdicts.
    #[must_use]
    pub fn engine(&self) -> Engine<'_> {
        Engine {
            refiner: Refiner::new(&self.program, &self.ruleset.data),
            residual: self,
            roots: FxHashMap::default(),
            as_written: vec![None; self.verdicts.len()],
            // One less than a verdict's: a try looks for no witnesses, which cost most and which
            // nobody reads here.
            budget: Budget(Budget::default().0 - 1),
        }
    }
}

/// What a verdict came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// T, F, or U where it is not decided.
    pub truth: TruthSet,
    /// Why it may be less than it seems.
    pub flags: Flags,
}

impl Told {
    fn of(val: Val) -> Self {
        Self {
            truth: val.as_truth(),
            flags: val.flags,
        }
    }
}

/// Reads verdicts of a [`Residual`] for assignments of its leaves.
pub struct Engine<'a> {
    /// The residual program.
    pub residual: &'a Residual,
    refiner: Refiner<'a>,
    /// The verdicts of each register that is the root of some.
    roots: FxHashMap<Reg, Vec<usize>>,
    /// Verdicts as written that were told, with the boxes they were allowed.
    as_written: Vec<Option<(u32, Told)>>,
    /// Boxes for each verdict.
    pub budget: Budget,
}

impl Engine<'_> {
    /// The verdicts that depend on a leaf, in order.
    pub fn by_leaf(&mut self, leaf: LeafId) -> Vec<usize> {
        if self.roots.is_empty() {
            for (v, verdict) in self.residual.verdicts.iter().enumerate() {
                self.roots.entry(verdict.root).or_default().push(v);
            }
        }
        let above = self.refiner.reach(leaf).iter();
        let mut all: Vec<usize> = above
            .filter_map(|r| self.roots.get(r))
            .flatten()
            .copied()
            .collect();
        all.sort_unstable();
        all
    }

    /// The verdicts that depend on any of some leaves, in order.
    pub fn by_leaves(&mut self, leaves: &[LeafId]) -> Vec<usize> {
        let mut all: Vec<usize> = leaves.iter().flat_map(|l| self.by_leaf(*l)).collect();
        all.sort_unstable();
        all.dedup();
        all
    }

    /// Operations evaluated or looked at so far.
    #[must_use]
    pub const fn work(&self) -> u64 {
        self.refiner.work()
    }

    /// Each verdict as written, told within its share of what all of them may cost.
    pub fn as_written(&mut self, work: Fuel) -> Vec<TruthSet> {
        let count = self.residual.verdicts.len();
        self.refiner.share_out(work, count);
        let tell = |v| {
            self.refiner.next_share();
            self.truth(v, &[])
        };
        let all = (0..count).map(tell).collect();
        self.limit(Fuel(u64::MAX));
        all
    }

    /// Shares out what looking into so many verdicts may cost.
    pub fn share_out(&mut self, all: Fuel, verdicts: usize) {
        self.refiner.share_out(all, verdicts);
    }

    /// Begins with the next of these verdicts.
    pub fn next_share(&mut self) {
        self.refiner.next_share();
    }

    /// Limits what is asked from now on to so many operations in all.
    pub const fn limit(&mut self, all: Fuel) {
        self.refiner.limit(all);
    }

    /// Whether these are spent: what is not decided stays so.
    #[must_use]
    pub const fn is_spent(&self) -> bool {
        self.refiner.is_spent()
    }

    /// Takes an assignment as the one that is looked at.
    pub fn assign(&mut self, with: &Assignment) {
        self.refiner.assign(with);
    }

    /// Whether a verdict depends on what the assignment that is looked at changes.
    #[must_use]
    pub fn moves(&self, verdict: usize) -> bool {
        self.refiner
            .is_touched(self.residual.verdicts[verdict].root)
    }

    /// Whether a verdict that fails as written fails by more under an assignment: one of its
    /// comparisons does.
    pub fn worsens(&mut self, verdict: usize, with: &Assignment) -> bool {
        self.refiner.assign(with);
        let mut open = vec![self.residual.verdicts[verdict].root];
        while let Some(reg) = open.pop() {
            if !self.refiner.is_touched(reg) {
                continue;
            }
            match self.residual.program.ops[reg.ix()] {
                Op::And(a, b) => open.extend([a, b]),
                // The one side that changes decides, where the other stays as it was.
                Op::Or(a, b) if self.refiner.is_touched(a) != self.refiner.is_touched(b) => {
                    open.extend([a, b]);
                }
                Op::Le(a, b, _) | Op::Lt(a, b, _) => {
                    let before = self.refiner.settled(a).lo - self.refiner.settled(b).hi;
                    let after = self.refiner.read(a).lo - self.refiner.read(b).hi;
                    if after > 0.0 && after > before * (1.0 + 1e-9) {
                        return true;
                    }
                }
                _ => {}
            }
        }
        false
    }

    /// The verdict over all installations that fit an assignment.
    pub fn told(&mut self, verdict: usize, with: &Assignment) -> Told {
        self.tell(Asked::All, verdict, with)
    }

    /// Whether a verdict holds under an assignment: told sooner than which of the others it is.
    pub fn holds(&mut self, verdict: usize, with: &Assignment) -> bool {
        self.tell(Asked::Holds, verdict, with).truth == TruthSet::T
    }

    /// Whether a verdict fails under an assignment.
    pub fn fails(&mut self, verdict: usize, with: &Assignment) -> bool {
        self.tell(Asked::Fails, verdict, with).truth == TruthSet::F
    }

    /// Whether a verdict fails as it is written, by as many boxes as a try may take, however large
    /// it is.
    pub fn fails_in_full(&mut self, verdict: usize) -> bool {
        let root = self.residual.verdicts[verdict].root;
        let natural = self.refiner.settled(root).as_truth();
        if natural != TruthSet::U {
            return natural == TruthSet::F;
        }
        self.refiner.release();
        let cone = self.refiner.cone(root);
        let values = self.values(&cone);
        let (refiner, boxes) = (&mut self.refiner, self.budget);
        let d = refiner.tell_within(&cone, &values, boxes, Asked::Fails);
        d.truth == TruthSet::F
    }

    /// As much of a verdict as is asked.
    fn tell(&mut self, asked: Asked, verdict: usize, with: &Assignment) -> Told {
        let root = self.residual.verdicts[verdict].root;
        if !with.is_empty() {
            self.refiner.assign(with);
        }
        if with.is_empty() || !self.refiner.is_touched(root) {
            return self.told_as_written(verdict, root);
        }
        let val = self.refiner.read(root);
        if val.as_truth() != TruthSet::U {
            return Told::of(val);
        }
        let cone = self.refiner.varying(root);
        self.refine(val, &cone, asked)
    }

    /// Whether a verdict can still come to hold under an assignment: not where it fails, nor where
    /// something is not to be computed for some of what is open and the rest fails.
    pub fn may_hold(&mut self, verdict: usize, with: &Assignment) -> bool {
        let root = self.residual.verdicts[verdict].root;
        self.refiner.assign(with);
        let val = self.refiner.read(root);
        if val.as_truth() != TruthSet::U {
            return val.as_truth() == TruthSet::T;
        }
        let cone = self.refiner.varying(root);
        let all = Budget::default();
        // Of a very large verdict it would cost more than it tells.
        if !val.flags.any(Flags::UNSOUND) || READING.tries(&cone, FEWEST) < all.0 {
            return !self.fails(verdict, with);
        }
        let values = self.values(&cone);
        let d = self.refiner.tell_within(&cone, &values, all, Asked::All);
        d.truth != TruthSet::F && (d.yes.is_some() || d.no.is_none() || d.exhausted)
    }

    /// Makes an assignment the one from which others depart.
    pub fn settle(&mut self, with: &Assignment) {
        self.refiner.assign(with);
        for (v, told) in self.as_written.iter_mut().enumerate() {
            if told.is_some() && self.refiner.is_touched(self.residual.verdicts[v].root) {
                *told = None;
            }
        }
        self.refiner.settle();
    }

    fn told_as_written(&mut self, verdict: usize, root: Reg) -> Told {
        let val = self.refiner.settled(root);
        if val.as_truth() != TruthSet::U {
            return Told::of(val);
        }
        match self.as_written[verdict] {
            Some((boxes, told)) if boxes == self.budget.0 => told,
            _ => {
                self.refiner.release();
                let cone = self.refiner.cone(root);
                let told = self.refine(val, &cone, Asked::All);
                self.as_written[verdict] = Some((self.budget.0, told));
                told
            }
        }
    }

    /// The values of the leaves of a cone as they are assigned.
    fn values(&self, cone: &Cone) -> Vec<Val> {
        let leaves = cone.leaves.iter();
        leaves.map(|l| self.refiner.val(l.reg)).collect()
    }

    /// Splits what varies until it is decided.
    fn refine(&mut self, root: Val, cone: &Cone, asked: Asked) -> Told {
        let values = self.values(cone);
        let mut all = cone.leaves.iter().zip(&values);
        // Of points there is nothing to refine.
        if all.all(|(l, v)| self.residual.leaf(l.id).is_point(v)) {
            return Told::of(root);
        }
        let budget = Budget(self.budget.0.min(READING.tries(cone, FEWEST)));
        let d = self.refiner.tell_within(cone, &values, budget, asked);
        Told {
            truth: d.truth,
            flags: root.flags.with(d.flags),
        }
    }

    /// The truth of a verdict under an assignment.
    pub fn truth(&mut self, verdict: usize, with: &Assignment) -> TruthSet {
        self.told(verdict, with).truth
    }

    /// The truth of a verdict by plain set evaluation, without refinement: quick and never wrong
    /// where it decides.
    pub fn plain(&mut self, verdict: usize, with: &Assignment) -> TruthSet {
        self.refiner.assign(with);
        self.refiner
            .read(self.residual.verdicts[verdict].root)
            .as_truth()
    }

    /// Whether a verdict's rule applies at all under an assignment.
    pub fn applies(&mut self, verdict: usize, with: &Assignment) -> TruthSet {
        let Some(reg) = self.residual.verdicts[verdict].applies else {
            return TruthSet::T;
        };
        self.refiner.assign(with);
        self.refiner.read(reg).as_truth()
    }

    /// The leaves that can still matter for a verdict as written, most uncertain first.
    pub fn live(&mut self, verdict: usize) -> Vec<LeafId> {
        self.refiner.release();
        let cone = self.refiner.cone(self.residual.verdicts[verdict].root);
        self.refiner.live_leaves(&cone)
    }

    /// The leaves of which some value decides a verdict as written, or the first pair that does.
    pub fn deciding(&mut self, verdict: usize, budget: Budget) -> Vec<crate::expression::Named> {
        self.refiner.release();
        let cone = self.refiner.cone(self.residual.verdicts[verdict].root);
        self.refiner.deciding(&cone, budget)
    }
}
