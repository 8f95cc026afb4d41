//! The joint verdict: what plain set evaluation leaves open is split until it is decided, until
//! two witnesses show that it is open, or until the budget of boxes is spent.
//!
//! Fixed order, no clock: discrete leaves first, then leaves that occur once (their bounds are
//! attained, so witnesses suffice), ends of monotone leaves, the thresholds of comparisons of a
//! leaf with a constant, bisection.

mod fuel;
mod live;
mod naming;
mod split;
mod trial;
mod values;
mod witness;

use std::borrow::Cow;

use super::program::{Data, Leaf, LeafId, LeafKind, Op, Program, Reg};
use super::val::{Flags, Presence, Val};
use crate::quantity::{Interval, TruthSet};
use fuel::{Shares, VERDICT};
use trial::Trial;

pub use fuel::{Budget, Fuel};

/// Choices of which the values of one figure are put together.
const MOST_CHOICES: u32 = 64;

/// Points that are tried in a box whose bounds are attained.
const TURNS: u32 = 128;
/// The same, where so many were tried in another box before.
const FEW_TURNS: u32 = 8;

/// A leaf on which a register depends.
#[derive(Clone, Copy, Debug)]
pub struct ConeLeaf {
    /// The leaf.
    pub id: LeafId,
    /// Its register.
    pub reg: Reg,
}

/// The operations and varying leaves on which a register depends: the residual program.
#[derive(Clone, Debug)]
pub struct Cone {
    /// The register in question.
    pub root: Reg,
    /// Operations, ascending.
    pub ops: Vec<Reg>,
    /// Leaves.
    pub leaves: Vec<ConeLeaf>,
}

/// One value for every varying leaf, re-checked as a point.
#[derive(Clone, Debug, PartialEq)]
pub struct Witness(pub Vec<(LeafId, Val)>);

impl Witness {
    /// The leaves of a cone with their values.
    #[must_use]
    pub fn of(cone: &Cone, values: Vec<Val>) -> Self {
        Self(cone.leaves.iter().map(|l| l.id).zip(values).collect())
    }
}

/// What is known of a truth after refinement.
#[derive(Clone, Debug)]
pub struct Decision {
    /// T or F if decided; else U.
    pub truth: TruthSet,
    /// Why it is not decided, where a flag is the reason; whether it rests on assumptions.
    pub flags: Flags,
    /// The budget was spent.
    pub exhausted: bool,
    /// An assignment for which it holds.
    pub yes: Option<Witness>,
    /// An assignment for which it does not.
    pub no: Option<Witness>,
    /// Boxes evaluated.
    pub boxes: u32,
}

/// What is asked of a truth: the less is asked, the sooner it is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asked {
    /// Everything: whether it is decided, and points that show that it is not.
    All,
    /// Whether it holds for all assignments.
    Holds,
    /// Whether it fails for all assignments.
    Fails,
}

/// A leaf that could decide, alone or with another.
#[derive(Clone, Debug, PartialEq)]
pub struct Named {
    /// The leaf.
    pub leaf: LeafId,
    /// A value of it for which the rule holds, if one was found.
    pub yes: Option<Val>,
    /// A value of it for which the rule fails, if one was found.
    pub no: Option<Val>,
}

/// Evaluates parts of a program for other values of its leaves.
pub struct Refiner<'a> {
    program: &'a Program,
    data: &'a Data,
    /// The registers from which trials depart: as written, until other values are settled.
    base: Cow<'a, [Val]>,
    vals: Vec<Val>,
    depends: Vec<bool>,
    mark: Vec<u32>,
    paths: Vec<u32>,
    round: u32,
    slopes: Vec<Interval>,
    trial: Option<Box<Trial>>,
    /// Registers were filled with what does not follow from their operands.
    stale: bool,
    /// Operations evaluated or looked at so far.
    work: u64,
    /// How many there may be in all, for what is asked now.
    until: u64,
    shares: Option<Shares>,
    /// Room that is used again and again.
    stack: Vec<Reg>,
    boxes: Vec<Val>,
    saved: Vec<Val>,
}

/// What a box turned out to be.
enum Outcome {
    Decided(bool, Flags),
    /// One leaf is split, by its index among the cone's leaves.
    Split(usize, Vec<Val>),
    /// Cannot be split further and still says nothing.
    Stuck(Flags),
    /// Each numeric leaf occurs once: its bounds are attained.
    Attained,
}

impl<'a> Refiner<'a> {
    /// A refiner over a program whose registers are filled.
    #[must_use]
    pub fn new(program: &'a Program, data: &'a Data) -> Self {
        let n = program.ops.len();
        let mut depends = vec![false; n];
        for i in 0..n {
            depends[i] = match program.ops[i] {
                Op::Leaf(id) => {
                    let leaf = &program.leaves[id.0 as usize];
                    !leaf.is_point(&program.vals[i])
                }
                op => {
                    let mut any = false;
                    op.operands(&program.args, |r| any |= depends[r.ix()]);
                    any
                }
            };
        }
        Self {
            program,
            data,
            base: Cow::Borrowed(&program.vals),
            vals: program.vals.clone(),
            depends,
            mark: vec![0; n],
            paths: vec![0; n],
            round: 0,
            slopes: Vec::new(),
            trial: None,
            stale: false,
            work: 0,
            until: u64::MAX,
            shares: None,
            stack: Vec::new(),
            boxes: Vec::new(),
            saved: Vec::new(),
        }
    }

    /// Works a register out for the others as they are.
    fn refill(&mut self, reg: Reg) {
        self.program.refill(reg, &mut self.vals, self.data);
    }

    fn leaf(&self, id: LeafId) -> &'a Leaf {
        &self.program.leaves[id.0 as usize]
    }

    fn next_round(&mut self) -> u32 {
        self.round += 1;
        self.round
    }

    /// The operations and leaves on which `root` depends.
    pub fn cone(&mut self, root: Reg) -> Cone {
        let found = self.below(root, |this, r| this.depends[r.ix()]);
        self.parted(root, found)
    }

    /// The operations on which `root` depends and that change with some leaves, be these single
    /// values as written, or with any that is none.
    pub fn cone_over(&mut self, root: Reg, near: &[LeafId]) -> Cone {
        let mut found = self.below(root, |_, _| true);
        // Above a leaf that is looked at stands what had no mark before.
        let round = self.next_round();
        for id in near {
            let reg = self.leaf(*id).reg;
            self.mark[reg.ix()] = round;
        }
        found.retain(|r| {
            let mut any = self.depends[r.ix()] || self.mark[r.ix()] == round;
            let op = self.program.ops[r.ix()];
            op.operands(&self.program.args, |o| any |= self.mark[o.ix()] == round);
            if any {
                self.mark[r.ix()] = round;
            }
            any
        });
        self.parted(root, found)
    }

    /// The operations under `root`, ascending, as far as they are wanted.
    fn below(&mut self, root: Reg, wanted: impl Fn(&Self, Reg) -> bool) -> Vec<Reg> {
        let round = self.next_round();
        let mut stack = std::mem::take(&mut self.stack);
        stack.push(root);
        let mut found = Vec::new();
        while let Some(r) = stack.pop() {
            if self.mark[r.ix()] == round || !wanted(self, r) {
                continue;
            }
            self.mark[r.ix()] = round;
            if self.work + found.len() as u64 >= self.until {
                // Not even to be looked through: as nothing may be spent on it, nothing is decided.
                self.work += found.len() as u64;
                found.clear();
                stack.clear();
                break;
            }
            found.push(r);
            self.program.ops[r.ix()].operands(&self.program.args, |o| stack.push(o));
        }
        self.stack = stack;
        self.work += found.len() as u64;
        found.sort_unstable();
        found
    }

    /// The leaves as written.
    #[must_use]
    pub fn written(&self, cone: &Cone) -> Vec<Val> {
        cone.leaves.iter().map(|l| self.base[l.reg.ix()]).collect()
    }

    /// Evaluates a cone for a box of leaf values and gives the value of its root. The registers
    /// of the cone keep these values until [`Self::restore`]; what no leaf moves since they were
    /// last filled is left as it is.
    pub fn run(&mut self, cone: &Cone, values: &[Val]) -> Val {
        let round = self.next_round();
        let all = std::mem::take(&mut self.stale);
        for (leaf, val) in cone.leaves.iter().zip(values) {
            let i = leaf.reg.ix();
            if !self.vals[i].is_same(val) {
                self.vals[i] = *val;
                self.mark[i] = round;
            }
        }
        let mut evaluated = 0;
        for r in &cone.ops {
            let op = &self.program.ops[r.ix()];
            let mut moved = all;
            op.operands(&self.program.args, |o| moved |= self.mark[o.ix()] == round);
            if !moved {
                continue;
            }
            evaluated += 1;
            if self.program.moves(*r, &mut self.vals, self.data) {
                self.mark[r.ix()] = round;
            }
        }
        self.work += evaluated + cone.ops.len() as u64 / 4;
        self.vals[cone.root.ix()]
    }

    /// Evaluates a cone as it is written, except for some leaves.
    pub fn run_with(&mut self, cone: &Cone, others: &[(LeafId, Val)]) -> Val {
        let values = self.with(cone, others);
        let val = self.run(cone, &values);
        self.restore(cone);
        val
    }

    /// Leaf values as written, except for some.
    #[must_use]
    pub fn with(&self, cone: &Cone, others: &[(LeafId, Val)]) -> Vec<Val> {
        cone.leaves
            .iter()
            .map(|l| {
                others
                    .iter()
                    .find(|(id, _)| *id == l.id)
                    .map_or(self.base[l.reg.ix()], |(_, v)| *v)
            })
            .collect()
    }

    /// Reads a register after [`Self::run`].
    #[must_use]
    pub fn val(&self, reg: Reg) -> Val {
        self.vals[reg.ix()]
    }

    /// All values of a register, its choices taken one by one where it seems not to be computable
    /// over all of them; none, if it is not for some, or where these are many.
    pub fn range(&mut self, root: Reg) -> Option<Val> {
        let cone = self.cone(root);
        let mut boxes = vec![self.written(&cone)];
        let mut all = Val::EMPTY;
        let mut left = MOST_CHOICES;
        while let Some(values) = boxes.pop() {
            let val = self.run(&cone, &values);
            if !val.flags.any(Flags::UNSOUND) {
                all = all.union(val);
                continue;
            }
            let several = |(l, v): (&ConeLeaf, &Val)| {
                self.leaf(l.id).kind == LeafKind::Choice && v.bits.count_ones() > 1
            };
            let split = cone.leaves.iter().zip(&values).position(several);
            let Some((i, v)) = split.and_then(|i| Some((i, *values.get(i)?))) else {
                boxes.clear();
                left = 0;
                break;
            };
            for b in values::bits_of(v.bits) {
                boxes.push(values::replaced(&values, i, Val { bits: 1 << b, ..v }));
            }
            left = left.saturating_sub(v.bits.count_ones());
            if left == 0 {
                break;
            }
        }
        self.restore(&cone);
        (left > 0 && all.bits == Presence::PRESENT).then_some(all)
    }

    /// Puts the registers of a cone back to the values as written.
    pub fn restore(&mut self, cone: &Cone) {
        self.work += cone.ops.len() as u64 / 4;
        for l in &cone.leaves {
            self.vals[l.reg.ix()] = self.base[l.reg.ix()];
        }
        for r in &cone.ops {
            self.vals[r.ix()] = self.base[r.ix()];
        }
    }

    /// Decides the truth of a cone's root over all assignments of its leaves as written.
    pub fn decide(&mut self, cone: &Cone, budget: Budget) -> Decision {
        let start = self.written(cone);
        self.decide_within(cone, start, budget)
    }

    /// Decides the truth of a cone's root over a box of leaf values. The registers are left as they
    /// were.
    pub fn decide_within(&mut self, cone: &Cone, start: Vec<Val>, budget: Budget) -> Decision {
        self.tell_within(cone, &start, budget, Asked::All)
    }

    /// The same, as far as it is asked: a truth that is neither is not looked into further.
    pub fn tell_within(
        &mut self,
        cone: &Cone,
        start: &[Val],
        budget: Budget,
        asked: Asked,
    ) -> Decision {
        let mut saved = std::mem::take(&mut self.saved);
        let all = || {
            cone.leaves
                .iter()
                .map(|l| l.reg)
                .chain(cone.ops.iter().copied())
        };
        saved.clear();
        saved.extend(all().map(|r| self.vals[r.ix()]));
        let decision = self.split_up(cone, start, budget, asked);
        for (r, val) in all().zip(&saved) {
            self.vals[r.ix()] = *val;
        }
        self.stale = false;
        self.saved = saved;
        decision
    }

    fn split_up(&mut self, cone: &Cone, start: &[Val], budget: Budget, asked: Asked) -> Decision {
        let mut d = Decision {
            truth: TruthSet::U,
            flags: Flags::NONE,
            exhausted: false,
            yes: None,
            no: None,
            boxes: 0,
        };
        // What is to be so everywhere is tried at one point first.
        if asked != Asked::All {
            let point = self.point_in(cone, start, start);
            if self.run(cone, &point).as_truth() != TruthSet::of(asked == Asked::Holds) {
                d.boxes = 1;
                return d;
            }
        }
        let (mut some_yes, mut some_no, mut doubt) = (false, false, false);
        // The boxes that are left, one behind the other.
        let width = start.len();
        let mut boxes = std::mem::take(&mut self.boxes);
        boxes.clear();
        boxes.extend_from_slice(start);
        let mut left = 1_usize;
        let mut values = start.to_vec();
        let mut turns = TURNS;
        let most = budget.0.min(VERDICT.tries(cone, 1));
        while left > 0 {
            if d.boxes >= most || self.is_spent() {
                d.exhausted = true;
                doubt = true;
                break;
            }
            left -= 1;
            let at = left * width;
            values.copy_from_slice(boxes.get(at..).unwrap_or(&[]));
            boxes.truncate(at);
            d.boxes += 1;
            let split = match self.judge(cone, &values) {
                Outcome::Decided(truth, flags) => {
                    d.flags = d.flags.with(flags.only(Flags::ASSUMED));
                    let (seen, slot) = if truth {
                        (&mut some_yes, &mut d.yes)
                    } else {
                        (&mut some_no, &mut d.no)
                    };
                    *seen = true;
                    if slot.is_none() && asked == Asked::All {
                        let point = self.point_in(cone, &values, start);
                        *slot = self.replay(cone, point, truth);
                    }
                    None
                }
                Outcome::Split(leaf, parts) => Some((leaf, parts)),
                Outcome::Stuck(flags) => {
                    d.flags = d.flags.with(flags);
                    doubt = true;
                    None
                }
                Outcome::Attained if budget.0 < Budget::default().0 => {
                    doubt = true;
                    None
                }
                Outcome::Attained => {
                    self.find_witnesses(cone, &values, turns, &mut d);
                    if d.yes.is_none() || d.no.is_none() {
                        self.aim(cone, &values, &mut d);
                        turns = FEW_TURNS;
                    }
                    let open = d.yes.is_none() || d.no.is_none();
                    let split = open.then(|| self.bisect(cone, &values)).flatten();
                    doubt |= open && split.is_none();
                    split
                }
            };
            if let Some((leaf, parts)) = split {
                for part in parts.into_iter().rev() {
                    values[leaf] = part;
                    boxes.extend_from_slice(&values);
                    left += 1;
                }
            }
            let told = match asked {
                Asked::All => d.yes.is_some() && d.no.is_some(),
                Asked::Holds => some_no || doubt,
                Asked::Fails => some_yes || doubt,
            };
            if told {
                doubt |= left > 0;
                break;
            }
        }
        self.boxes = boxes;
        // Only a verdict is worth a search for witnesses; a try with a small budget is not.
        let verdict = budget.0 >= Budget::default().0;
        if verdict && (d.yes.is_none() || d.no.is_none()) && doubt && !d.flags.any(Flags::UNSOUND) {
            self.find_witnesses(cone, start, TURNS, &mut d);
        }
        let both = d.yes.is_some() && d.no.is_some() || some_yes && some_no;
        d.truth = if both || doubt {
            TruthSet::U
        } else {
            TruthSet::new(some_yes, some_no)
        };
        d
    }

    fn judge(&mut self, cone: &Cone, values: &[Val]) -> Outcome {
        let root = self.run(cone, values);
        match root.as_truth() {
            TruthSet::T => return Outcome::Decided(true, root.flags),
            TruthSet::F => return Outcome::Decided(false, root.flags),
            _ => {}
        }
        let (live, once) = self.live(cone);
        if let Some((leaf, parts)) = self.split_discrete(cone, values, &live) {
            return Outcome::Split(leaf, parts);
        }
        if live.is_empty() {
            return Outcome::Stuck(root.flags);
        }
        if once && !root.flags.any(Flags::UNSOUND) {
            return Outcome::Attained;
        }
        if let Some((truth, flags)) = self.by_monotony(cone, values, &live) {
            return Outcome::Decided(truth, flags);
        }
        // The monotone pass moved the registers.
        self.run(cone, values);
        match self.split_number(cone, values, &live) {
            Some((leaf, parts)) => Outcome::Split(leaf, parts),
            None => Outcome::Stuck(root.flags),
        }
    }
}
