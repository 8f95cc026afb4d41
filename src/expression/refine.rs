//! The joint verdict: what plain set evaluation leaves open is split until it is decided, until
//! two witnesses show that it is open, or until the budget of boxes is spent.
//!
//! Fixed order, no clock: discrete leaves first, then leaves that occur once (their bounds are
//! attained, so witnesses suffice), ends of monotone leaves, the thresholds of comparisons of a
//! leaf with a constant, bisection.

use super::derivative::derivatives;
use super::evaluate;
use super::program::{
    Data, Flags, Leaf, LeafId, LeafKind, LeafSource, Op, Presence, Program, Reg, SetWords, Val,
};
use crate::quantity::{Interval, TruthSet, boundary_le};

/// What naming the leaves that decide one rule may cost, in operations.
const NAMING_WORK: u32 = 60_000;

/// How many boxes one verdict may cost.
#[derive(Clone, Copy, Debug)]
pub struct Budget(pub u32);

impl Default for Budget {
    fn default() -> Self {
        Self(256)
    }
}

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
    vals: Vec<Val>,
    depends: Vec<bool>,
    mark: Vec<u32>,
    paths: Vec<u32>,
    round: u32,
    slopes: Vec<Interval>,
}

/// What a box turned out to be.
enum Outcome {
    Decided(bool, Flags),
    Split(Vec<Vec<Val>>),
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
                    !leaf.is_point(&leaf.set)
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
            vals: program.vals.clone(),
            depends,
            mark: vec![0; n],
            paths: vec![0; n],
            round: 0,
            slopes: Vec::new(),
        }
    }

    /// Treats a leaf as varying although it is written as one value.
    pub fn vary(&mut self, leaves: &[LeafId]) {
        for id in leaves {
            let reg = self.leaf(*id).reg;
            self.depends[reg.ix()] = true;
        }
        for i in 0..self.program.ops.len() {
            if !self.depends[i] {
                let mut any = false;
                self.program.ops[i].operands(&self.program.args, |r| any |= self.depends[r.ix()]);
                self.depends[i] = any;
            }
        }
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
        let round = self.next_round();
        let mut stack = vec![root];
        let mut found = Vec::new();
        while let Some(r) = stack.pop() {
            if !self.depends[r.ix()] || self.mark[r.ix()] == round {
                continue;
            }
            self.mark[r.ix()] = round;
            found.push(r);
            self.program.ops[r.ix()].operands(&self.program.args, |o| stack.push(o));
        }
        found.sort_unstable();
        let (mut ops, mut leaves) = (Vec::new(), Vec::new());
        for r in found {
            match self.program.ops[r.ix()] {
                Op::Leaf(id) => leaves.push(ConeLeaf { id, reg: r }),
                _ => ops.push(r),
            }
        }
        Cone { root, ops, leaves }
    }

    /// The leaves as written.
    #[must_use]
    pub fn written(&self, cone: &Cone) -> Vec<Val> {
        cone.leaves.iter().map(|l| self.leaf(l.id).set).collect()
    }

    /// Evaluates a cone for a box of leaf values and gives the value of its root. The registers
    /// of the cone keep these values until [`Self::restore`].
    pub fn run(&mut self, cone: &Cone, values: &[Val]) -> Val {
        for (leaf, val) in cone.leaves.iter().zip(values) {
            self.vals[leaf.reg.ix()] = *val;
        }
        for r in &cone.ops {
            let val = evaluate(
                self.program.ops[r.ix()],
                &self.vals,
                self.program,
                self.data,
            );
            self.vals[r.ix()] = val;
        }
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
                    .map_or(self.leaf(l.id).set, |(_, v)| *v)
            })
            .collect()
    }

    /// Reads a register after [`Self::run`].
    #[must_use]
    pub fn val(&self, reg: Reg) -> Val {
        self.vals[reg.ix()]
    }

    /// Puts the registers of a cone back to the values as written.
    pub fn restore(&mut self, cone: &Cone) {
        for l in &cone.leaves {
            self.vals[l.reg.ix()] = self.program.vals[l.reg.ix()];
        }
        for r in &cone.ops {
            self.vals[r.ix()] = self.program.vals[r.ix()];
        }
    }

    /// Decides the truth of a cone's root over all assignments of its leaves as written.
    pub fn decide(&mut self, cone: &Cone, budget: Budget) -> Decision {
        let start = self.written(cone);
        self.decide_within(cone, start, budget)
    }

    /// Decides the truth of a cone's root over a box of leaf values.
    pub fn decide_within(&mut self, cone: &Cone, start: Vec<Val>, budget: Budget) -> Decision {
        let mut d = Decision {
            truth: TruthSet::U,
            flags: Flags::NONE,
            exhausted: false,
            yes: None,
            no: None,
            boxes: 0,
        };
        let (mut some_yes, mut some_no, mut doubt) = (false, false, false);
        let mut stack = vec![start.clone()];
        while let Some(values) = stack.pop() {
            if d.boxes >= budget.0 {
                d.exhausted = true;
                doubt = true;
                break;
            }
            d.boxes += 1;
            match self.judge(cone, &values) {
                Outcome::Decided(truth, flags) => {
                    d.flags = d.flags.with(flags.only(Flags::ASSUMED));
                    let (seen, slot) = if truth {
                        (&mut some_yes, &mut d.yes)
                    } else {
                        (&mut some_no, &mut d.no)
                    };
                    *seen = true;
                    if slot.is_none() {
                        let point = self.point_in(cone, &values, &start);
                        *slot = self.replay(cone, point, truth);
                    }
                }
                Outcome::Split(parts) => stack.extend(parts.into_iter().rev()),
                Outcome::Stuck(flags) => {
                    d.flags = d.flags.with(flags);
                    doubt = true;
                }
                Outcome::Attained if budget.0 < Budget::default().0 => doubt = true,
                Outcome::Attained => {
                    self.find_witnesses(cone, &values, &mut d);
                    if d.yes.is_none() || d.no.is_none() {
                        match self.bisect(cone, &values) {
                            Some(parts) => stack.extend(parts.into_iter().rev()),
                            None => doubt = true,
                        }
                    }
                }
            }
            if d.yes.is_some() && d.no.is_some() {
                break;
            }
        }
        // Only a verdict is worth a search for witnesses; a try with a small budget is not.
        let verdict = budget.0 >= Budget::default().0;
        if verdict && (d.yes.is_none() || d.no.is_none()) && doubt && !d.flags.any(Flags::UNSOUND) {
            self.find_witnesses(cone, &start, &mut d);
        }
        self.restore(cone);
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
        if let Some(parts) = self.split_discrete(cone, values, &live) {
            return Outcome::Split(parts);
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
            Some(parts) => Outcome::Split(parts),
            None => Outcome::Stuck(root.flags),
        }
    }

    /// Indices (into the cone's leaves) of the leaves that can still matter, after a run: only
    /// undecided truths are walked, only possible branches. Also whether each numeric one occurs
    /// once.
    fn live(&mut self, cone: &Cone) -> (Vec<usize>, bool) {
        let round = self.next_round();
        self.mark[cone.root.ix()] = round;
        self.paths[cone.root.ix()] = 1;
        for r in cone.ops.iter().rev() {
            if self.mark[r.ix()] != round {
                continue;
            }
            let count = self.paths[r.ix()];
            let op = self.program.ops[r.ix()];
            let visit = |this: &mut Self, o: Reg| {
                if !this.depends[o.ix()] {
                    return;
                }
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

    fn split_discrete(&self, cone: &Cone, values: &[Val], live: &[usize]) -> Option<Vec<Vec<Val>>> {
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
                return Some(
                    [present, Val::ABSENT.flagged(values[i].flags)]
                        .into_iter()
                        .map(|p| replaced(values, i, p))
                        .collect(),
                );
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
        Some(
            parts
                .into_iter()
                .map(|p| replaced(values, *best, p))
                .collect(),
        )
    }

    /// Comparisons whose direction does not change over the box are judged at its corners.
    fn by_monotony(
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
        // Slopes of every atom by every live leaf.
        let mut slopes = std::mem::take(&mut self.slopes);
        slopes.resize(self.program.ops.len(), Interval::point(0.0));
        let mut signs = vec![vec![Interval::point(0.0); live.len()]; atoms.len()];
        for (column, i) in live.iter().enumerate() {
            let by = cone.leaves[*i].reg;
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
        let mut settled: Vec<(Reg, Val)> = Vec::new();
        for ((atom, _, _), row) in atoms.iter().zip(&signs) {
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
        for r in &cone.ops {
            let val = match settled.iter().find(|(a, _)| a == r) {
                Some((_, val)) => *val,
                None => evaluate(
                    self.program.ops[r.ix()],
                    &self.vals,
                    self.program,
                    self.data,
                ),
            };
            self.vals[r.ix()] = val;
        }
        let root = self.vals[cone.root.ix()];
        match root.as_truth() {
            TruthSet::T => Some((true, root.flags)),
            TruthSet::F => Some((false, root.flags)),
            _ => None,
        }
    }

    fn split_number(&self, cone: &Cone, values: &[Val], live: &[usize]) -> Option<Vec<Vec<Val>>> {
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
                    return Some(cut_at(values, *i, cut));
                }
            }
        }
        self.widest(cone, values, live)
    }

    fn bisect(&self, cone: &Cone, values: &[Val]) -> Option<Vec<Vec<Val>>> {
        let all: Vec<usize> = (0..values.len()).collect();
        self.widest(cone, values, &all)
    }

    fn widest(&self, cone: &Cone, values: &[Val], among: &[usize]) -> Option<Vec<Vec<Val>>> {
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
        (v.lo <= cut && cut < v.hi).then(|| cut_at(values, best, cut))
    }

    /// A point of a box, at an end of the written set where the box reaches it.
    fn point_in(&self, cone: &Cone, values: &[Val], start: &[Val]) -> Vec<Val> {
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
    fn replay(&mut self, cone: &Cone, point: Vec<Val>, truth: bool) -> Option<Witness> {
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
    fn find_witnesses(&mut self, cone: &Cone, values: &[Val], d: &mut Decision) {
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
        let mut fuel =
            (NAMING_WORK / u32::try_from(cone.ops.len() + 1).unwrap_or(u32::MAX)).max(16);
        let mut named: Vec<Named> = Vec::new();
        for i in &live {
            let mut n = Named {
                leaf: cone.leaves[*i].id,
                yes: None,
                no: None,
            };
            for candidate in self.candidates(cone, &start, *i) {
                if n.yes.is_some() && n.no.is_some() || fuel == 0 {
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
                        if fuel == 0 {
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
    fn candidates(&self, cone: &Cone, start: &[Val], i: usize) -> Vec<Val> {
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
                let mut xs = vec![v.lo, v.hi, pl.max(v.lo), ph.min(v.hi)];
                let mid = middle(pl.max(v.lo), ph.min(v.hi), leaf.plausible);
                xs.push(mid);
                let mut all: Vec<Val> = Vec::new();
                for x in xs {
                    if x.is_finite() && v.lo <= x && x <= v.hi {
                        let val = Val {
                            lo: x,
                            hi: x,
                            bits: Presence::PRESENT,
                            flags: v.flags,
                        };
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

    /// How much a leaf is known.
    #[must_use]
    pub fn source(&self, id: LeafId) -> LeafSource {
        self.leaf(id).source
    }
}

fn replaced(values: &[Val], i: usize, with: Val) -> Vec<Val> {
    let mut all = values.to_vec();
    all[i] = with;
    all
}

fn cut_at(values: &[Val], i: usize, cut: f64) -> Vec<Vec<Val>> {
    let v = values[i];
    vec![
        replaced(values, i, Val { hi: cut, ..v }),
        replaced(
            values,
            i,
            Val {
                lo: cut.next_up(),
                ..v
            },
        ),
    ]
}

/// The indices of the bits of a set.
fn bits_of(mut bits: u64) -> impl Iterator<Item = u32> {
    std::iter::from_fn(move || {
        (bits != 0).then(|| {
            let b = bits.trailing_zeros();
            bits &= bits - 1;
            b
        })
    })
}

/// A place to cut: inside what is plausible, where that lies inside.
fn middle(lo: f64, hi: f64, plausible: (f64, f64)) -> f64 {
    let (pl, ph) = plausible;
    if lo < pl && pl < hi && pl.is_finite() && !lo.is_finite() {
        return pl;
    }
    if lo < ph && ph < hi && ph.is_finite() && !hi.is_finite() {
        return ph;
    }
    match (lo.is_finite(), hi.is_finite()) {
        (true, true) => lo + (hi - lo) / 2.0,
        (true, false) => (2.0 * lo).max(1.0),
        (false, true) => (2.0 * hi).min(-1.0),
        (false, false) => 0.0,
    }
}

/// One value of a set: its upper end if asked for, else its lower, where these are finite.
fn one_value(leaf: &Leaf, v: &Val, upper: bool) -> Val {
    any_value(leaf, v, u64::from(upper))
}

/// One value of a set, chosen by a number: 0 the first, 1 the last, else a mixture of ends,
/// plausible ends and middles.
fn any_value(leaf: &Leaf, v: &Val, r: u64) -> Val {
    match leaf.kind {
        LeafKind::Number => {
            if v.bits & Presence::PRESENT == 0
                || (v.bits == Presence::EITHER && r >= 2 && r.is_multiple_of(5))
            {
                return Val::ABSENT.flagged(v.flags);
            }
            let (pl, ph) = leaf.plausible;
            let lo = if v.lo.is_finite() { v.lo } else { pl.min(v.hi) };
            let hi = if v.hi.is_finite() { v.hi } else { ph.max(v.lo) };
            let lo = if lo.is_finite() {
                lo
            } else {
                0.0_f64.min(v.hi)
            };
            let hi = if hi.is_finite() {
                hi
            } else {
                (2.0 * lo).max(1.0)
            };
            let x = match r {
                0 => lo,
                1 => hi,
                _ => match r % 7 {
                    0 | 1 => lo,
                    2 | 3 => hi,
                    4 => pl.clamp(lo, hi.max(lo)),
                    5 => ph.clamp(lo, hi.max(lo)),
                    _ => lo + (hi - lo) * ((r >> 8 & 0xff) as f64 / 255.0),
                },
            };
            let x = x.clamp(v.lo, v.hi);
            Val {
                lo: x,
                hi: x,
                bits: Presence::PRESENT,
                flags: v.flags,
            }
        }
        LeafKind::Choice | LeafKind::Truth => {
            let n = v.bits.count_ones().max(1);
            let k = match r {
                0 => 0,
                1 => n - 1,
                _ => (r % u64::from(n)) as u32,
            };
            let bit = bits_of(v.bits).nth(k as usize).unwrap_or(0);
            Val {
                bits: 1 << bit,
                ..*v
            }
        }
        LeafKind::Members(n) => {
            let free = v.bits & (v.bits >> 32) & 0xffff_ffff;
            let fixed = v.bits & 0xffff_ffff & !free;
            let chosen = match r {
                0 => free,
                1 => 0,
                _ => (r >> 3) & free,
            };
            Val {
                bits: SetWords::known(chosen | fixed, u32::from(n)),
                ..*v
            }
        }
    }
}
