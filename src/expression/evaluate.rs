//! One operation over sets of values: the first, outer approximation of a verdict.

use super::program::{Data, Op, Program, Reg};
use super::table::Table;
use super::val::{Flags, Presence, SetWords, Val};
use crate::physics;
use crate::quantity::{Interval, TruthSet, le, lt};
use crate::vocabulary::WordSet;

/// Choices of members that one look-up goes through; where there are more, what lies between the
/// members is looked up, too, and refining decides.
const MOST_LOOK_UPS: u32 = 256;

/// Evaluates one operation on registers; never panics, never yields a NaN.
#[inline(always)]
fn evaluate(op: &Op, vals: &[Val], program: &Program, data: &Data) -> Val {
    let at = |r: Reg| vals[r.ix()];
    match *op {
        Op::Leaf(id) => program.leaves[id.0 as usize].set,
        Op::Const(ix) => program.consts[ix as usize],
        Op::Add(a, b) => two(at(a), at(b), |a, b| Some(a.add(b))),
        Op::Sub(a, b) => two(at(a), at(b), |a, b| Some(a.sub(b))),
        Op::Mul(a, b) => two(at(a), at(b), |a, b| Some(a.mul(b))),
        Op::Div(a, b) => two(at(a), at(b), Interval::div),
        Op::Min(a, b) => two(at(a), at(b), |a, b| Some(a.min(b))),
        Op::Max(a, b) => two(at(a), at(b), |a, b| Some(a.max(b))),
        Op::Neg(a) => one(at(a), |a| Some(a.neg())),
        Op::Power(a, n) => one(at(a), |a| a.powi(n)),
        Op::Sqrt(a) => clipped(at(a), 0.0, f64::INFINITY, Interval::sqrt),
        // Of nought there is none: the least number above it begins what there is.
        Op::Ln(a) => clipped(at(a), f64::from_bits(1), f64::INFINITY, Interval::ln),
        Op::Exp(a) => one(at(a), |a| Some(a.exp())),
        Op::Sin(a) => one(at(a), |a| Some(a.sin())),
        Op::Cos(a) => one(at(a), |a| Some(a.cos())),
        Op::Acos(a) => clipped(at(a), -1.0, 1.0, Interval::acos),
        Op::Abs(a) => one(at(a), |a| Some(a.abs())),
        Op::Round(a, step, mode) => {
            let step = program.consts[step as usize].lo;
            one(at(a), |a| Some(a.round_to(step, mode)))
        }
        Op::Le(a, b, f) => compare(at(a), at(b), program.consts[f as usize].lo, le),
        Op::Lt(a, b, f) => compare(at(a), at(b), program.consts[f as usize].lo, lt),
        Op::Equal(a, b, f) => compare(at(a), at(b), program.consts[f as usize].lo, |a, b, f| {
            le(a, b, f).and(le(b, a, f))
        }),
        Op::Same(a, b) => {
            let (a, b) = (at(a), at(b));
            let meet = a.bits & b.bits != 0;
            let differ = !(a.bits == b.bits && a.bits.count_ones() == 1);
            atom(TruthSet::new(meet, differ), a.flags.with(b.flags))
        }
        Op::Among(a, set) => {
            let (a, set) = (at(a), program.consts[set as usize].bits);
            atom(
                TruthSet::new(a.bits & set != 0, a.bits & !set != 0),
                a.flags,
            )
        }
        Op::Has(a, word) => {
            let a = at(a);
            atom(SetWords::has(a.bits, word), a.flags)
        }
        Op::MemberOf(a, b) => {
            let (a, b) = (at(a), at(b));
            let (within, without) = (b.bits & 0xffff_ffff, b.bits >> 32);
            let (within, without) = (a.bits & within != 0, a.bits & (without | !0xffff_ffff) != 0);
            atom(TruthSet::new(within, without), a.flags.with(b.flags))
        }
        Op::Present(a) => {
            let a = at(a);
            atom(
                TruthSet::new(
                    a.bits & Presence::PRESENT != 0,
                    a.bits & Presence::ABSENT != 0,
                ),
                a.flags,
            )
        }
        Op::WordPresent(a) => {
            let a = at(a);
            atom(
                TruthSet::new(
                    a.bits & !Presence::NO_WORD != 0,
                    a.bits & Presence::NO_WORD != 0,
                ),
                a.flags,
            )
        }
        Op::Not(a) => {
            let a = at(a);
            Val::truth(a.as_truth().not()).flagged(a.flags)
        }
        Op::And(a, b) => logic(at(a), at(b), TruthSet::F, TruthSet::and),
        Op::Or(a, b) => logic(at(a), at(b), TruthSet::T, TruthSet::or),
        Op::If(c, a, b) => {
            let c = at(c);
            match c.as_truth() {
                TruthSet::T => at(a).flagged(c.flags.only(Flags::ASSUMED)),
                TruthSet::F => at(b).flagged(c.flags.only(Flags::ASSUMED)),
                _ => at(a).union(at(b)).flagged(c.flags),
            }
        }
        Op::Pick(s, first, count) => {
            let list = program.operands(first, count).iter();
            apart(chosen(at(s), list.map(|r| at(*r))))
        }
        Op::Otherwise(a, b) => apart(otherwise(at(a), at(b))),
        Op::Member(s, series) => apart(members(at(s), data, series.0)),
        Op::NextUp(a, series) => apart(step(at(a), data, series.0, true)),
        Op::NextDown(a, series) => apart(step(at(a), data, series.0, false)),
        Op::Lookup(table, first, count) => apart(match data.tables.get(table.0 as usize) {
            Some(t) => looked_up(t, program.operands(first, count), vals, program, data),
            None => Val::any(Flags::GAP),
        }),
        Op::LargestTwo(first, count) => {
            let list = program.operands(first, count);
            apart(largest_two(list.iter().map(|r| at(*r))))
        }
        Op::NeutralCurrent(first) => apart(neutral_current(program.operands(first, 3), vals)),
        Op::OpenPen(first) => apart(open_pen(program.operands(first, 7), vals)),
        Op::BehindSource(first) => apart(behind_source(program.operands(first, 4), vals)),
    }
}

/// What a longer operation came to, taken apart: else all results would be passed on in memory.
#[inline(always)]
const fn apart(val: Val) -> Val {
    let Val {
        lo,
        hi,
        bits,
        flags,
    } = val;
    Val {
        lo,
        hi,
        bits,
        flags,
    }
}

/// All values of the alternatives that a selector allows.
fn chosen(selector: Val, alternatives: impl Iterator<Item = Val>) -> Val {
    let words = selector.as_words();
    let possible = alternatives.enumerate().filter(|(i, _)| words.has(*i));
    let all = possible.fold(Val::EMPTY, |all, (_, val)| all.union(val));
    all.flagged(selector.flags)
}

/// A number, or another where there is none.
#[inline(never)]
fn otherwise(a: Val, b: Val) -> Val {
    match a.bits & Presence::EITHER {
        Presence::PRESENT => a,
        Presence::ABSENT => b.flagged(a.flags),
        _ => {
            let mut both = a.union(b);
            both.bits = Presence::PRESENT | (b.bits & Presence::ABSENT);
            both
        }
    }
}

/// The members of a series that a selector allows.
#[inline(never)]
fn members(selector: Val, data: &Data, series: u16) -> Val {
    let members = data.series.get(series as usize).map_or(&[][..], |m| m);
    let all = chosen(selector, members.iter().map(|m| Val::number(*m)));
    if selector.bits & Presence::NO_WORD != 0 {
        all.union(Val::ABSENT)
    } else {
        all
    }
}

/// A look-up in a table; keys that are choices are looked up member by member, as far as there is
/// room.
#[inline(never)]
fn looked_up(t: &Table, regs: &[Reg], vals: &[Val], program: &Program, data: &Data) -> Val {
    let mut room = MOST_LOOK_UPS;
    let mut each = [false; 8];
    for (r, each) in regs.iter().zip(&mut each) {
        let members = match program.ops[r.ix()] {
            Op::Member(s, _) | Op::Pick(s, ..) => vals[s.ix()].bits.count_ones(),
            _ => 1,
        };
        *each = members > 1 && members <= room;
        if *each {
            room /= members;
        }
    }
    t.look_up_each(regs.iter().map(|r| vals[r.ix()]), |key, n| {
        let wanted = each.get(key).copied().unwrap_or(false);
        let reg = regs.get(key).filter(|_| wanted)?;
        member(*reg, n, vals, program, data)
    })
}

#[inline(never)]
fn neutral_current(list: &[Reg], vals: &[Val]) -> Val {
    let (i, flags) = arguments(list, vals);
    Val::interval(physics::neutral_current_set(i(0), i(1), i(2))).flagged(flags)
}

#[inline(never)]
fn open_pen(list: &[Reg], vals: &[Val]) -> Val {
    let (i, flags) = arguments(list, vals);
    let touch = physics::open_pen_voltage_set(i(0), i(1), i(2), i(3), i(4), i(5), i(6));
    let partly = physics::open_pen_leaves_out([0, 1, 2, 3, 4, 5, 6].map(i));
    match touch {
        Some(v) if !partly => Val::interval(v).flagged(flags),
        Some(v) => Val::interval(v).flagged(flags.with(Flags::NOT_COMPUTABLE)),
        None => Val::any(flags.with(Flags::NOT_COMPUTABLE)),
    }
}

#[inline(never)]
fn behind_source(list: &[Reg], vals: &[Val]) -> Val {
    let (i, flags) = arguments(list, vals);
    Val::interval(physics::behind_source_set(i(0), i(1), i(2), i(3))).flagged(flags)
}

/// The arguments of a function, by their places, and what to beware of in any of them.
fn arguments<'v>(list: &'v [Reg], vals: &'v [Val]) -> (impl Fn(usize) -> Interval + 'v, Flags) {
    let flags = list.iter().map(|r| vals[r.ix()].flags);
    let flags = flags.fold(Flags::NONE, Flags::with);
    (move |i: usize| vals[list[i].ix()].as_interval(), flags)
}

/// The ends of a number that is there.
#[inline]
const fn ends(a: Val) -> Interval {
    Interval { lo: a.lo, hi: a.hi }
}

#[inline]
fn two(a: Val, b: Val, f: impl Fn(Interval, Interval) -> Option<Interval>) -> Val {
    let flags = a.flags.with(b.flags);
    if (a.bits | b.bits) == Presence::PRESENT {
        return match f(ends(a), ends(b)) {
            Some(i) => Val::interval(i).flagged(flags),
            None => Val::any(flags.with(Flags::NOT_COMPUTABLE)),
        };
    }
    partly(a.bits, b.bits, || f(a.as_interval(), b.as_interval())).flagged(flags)
}

/// Arithmetic where an operand may be absent: absent only if it must be.
#[cold]
fn partly(a: u64, b: u64, f: impl Fn() -> Option<Interval>) -> Val {
    if a == Presence::ABSENT || b == Presence::ABSENT {
        return Val::ABSENT;
    }
    let mut val = f().map_or(Val::any(Flags::NOT_COMPUTABLE), Val::interval);
    val.bits = Presence::EITHER;
    val
}

#[inline]
fn one(a: Val, f: impl Fn(Interval) -> Option<Interval>) -> Val {
    two(a, Val::number(0.0), |a, _| f(a))
}

/// A function that is defined on part of the numbers: outside there is no value.
#[inline]
fn clipped(a: Val, lo: f64, hi: f64, f: impl Fn(Interval) -> Option<Interval>) -> Val {
    let val = one(a, f);
    if a.lo < lo || a.hi > hi {
        val.flagged(Flags::NOT_COMPUTABLE)
    } else {
        val
    }
}

#[inline]
fn atom(truth: TruthSet, flags: Flags) -> Val {
    if flags.any(Flags::UNSOUND) {
        Val::truth(TruthSet::U).flagged(flags)
    } else {
        Val::truth(truth).flagged(flags)
    }
}

#[inline]
fn compare(a: Val, b: Val, floor: f64, f: impl Fn(Interval, Interval, f64) -> TruthSet) -> Val {
    let flags = a.flags.with(b.flags);
    if (a.bits | b.bits) != Presence::PRESENT {
        // Comparing what may not be there says nothing; a guard must decide first.
        return Val::truth(TruthSet::U).flagged(flags.with(Flags::NOT_COMPUTABLE));
    }
    atom(f(ends(a), ends(b), floor), flags)
}

/// Kleene logic; a side that decides alone leaves the doubts of the other behind.
#[inline]
fn logic(a: Val, b: Val, deciding: TruthSet, f: impl Fn(TruthSet, TruthSet) -> TruthSet) -> Val {
    let (ta, tb) = (a.as_truth(), b.as_truth());
    if ta == deciding {
        return a;
    }
    if tb == deciding {
        return b;
    }
    Val::truth(f(ta, tb)).flagged(a.flags.with(b.flags))
}

/// The member at a place of a choice of numbers; none of what is no choice.
fn member(reg: Reg, n: usize, vals: &[Val], program: &Program, data: &Data) -> Option<Val> {
    let chosen = |s: Reg| {
        let words = vals[s.ix()].as_words();
        (0..=WordSet::MOST).filter(move |i| words.has(*i)).nth(n)
    };
    match program.ops[reg.ix()] {
        Op::Member(s, series) => {
            let i = chosen(s)?;
            let value = data.series.get(series.0 as usize)?.get(i);
            Some(
                value
                    .map_or(Val::ABSENT, |m| Val::number(*m))
                    .flagged(vals[s.ix()].flags),
            )
        }
        Op::Pick(s, first, count) => {
            let i = u32::try_from(chosen(s)?).ok().filter(|i| *i < count)?;
            Some(vals[program.args.get((first + i) as usize)?.ix()].flagged(vals[s.ix()].flags))
        }
        _ => None,
    }
}

#[inline(never)]
fn step(a: Val, data: &Data, series: u16, up: bool) -> Val {
    let members = data.series.get(series as usize).map_or(&[][..], |m| m);
    let find = |x: f64| -> Option<f64> {
        let slack = 1e-9 * x.abs();
        if up {
            members.iter().copied().find(|m| *m >= x - slack)
        } else {
            members.iter().rev().copied().find(|m| *m <= x + slack)
        }
    };
    if a.bits != Presence::PRESENT {
        return partly(a.bits, Presence::PRESENT, || Some(Interval::ALL)).flagged(a.flags);
    }
    match (find(a.lo), find(a.hi)) {
        (Some(lo), Some(hi)) => Val::interval(Interval::new(lo, hi)).flagged(a.flags),
        (Some(lo), None) => Val::interval(Interval::new(lo, f64::INFINITY))
            .flagged(a.flags.with(Flags::NOT_COMPUTABLE)),
        (None, Some(hi)) => Val::interval(Interval::new(f64::NEG_INFINITY, hi))
            .flagged(a.flags.with(Flags::NOT_COMPUTABLE)),
        (None, None) => Val::any(a.flags.with(Flags::NOT_COMPUTABLE)),
    }
}

fn largest_two(members: impl Iterator<Item = Val>) -> Val {
    let (mut lo, mut hi) = ([0.0_f64; 2], [0.0_f64; 2]);
    let mut flags = Flags::NONE;
    let insert = |top: &mut [f64; 2], x: f64| {
        if x > top[0] {
            top[1] = top[0];
            top[0] = x;
        } else if x > top[1] {
            top[1] = x;
        }
    };
    for m in members {
        flags = flags.with(m.flags);
        let i = m.as_interval();
        insert(&mut lo, i.lo);
        insert(&mut hi, i.hi);
    }
    let sum = Interval::new(lo[0], hi[0]).add(Interval::new(lo[1], hi[1]));
    Val::interval(sum).flagged(flags)
}

impl Program {
    /// Adds an operation, fills its register and gives its number. What is worked out from constants
    /// is one.
    pub fn push(&mut self, op: Op, data: &Data) -> Reg {
        let val = evaluate(&op, &self.vals, self, data);
        let mut varies = matches!(op, Op::Leaf(_));
        op.operands(&self.args, |r| {
            varies |= !matches!(self.ops[r.ix()], Op::Const(_));
        });
        if !varies {
            return self.constant(val);
        }
        self.add(op, val)
    }

    /// Fills all registers again, some leaves having other values than those they were linked with.
    pub fn fill(&mut self, leaves: &[Val], data: &Data) {
        let mut vals = std::mem::take(&mut self.vals);
        for (leaf, val) in self.leaves.iter().zip(leaves) {
            vals[leaf.reg.ix()] = *val;
        }
        for (op, reg) in self.ops.iter().zip((0..).map(Reg)) {
            if !matches!(op, Op::Leaf(_)) {
                self.refill(reg, &mut vals, data);
            }
        }
        self.vals = vals;
    }

    /// Fills one register again from those of its operands.
    #[inline]
    pub fn refill(&self, reg: Reg, vals: &mut [Val], data: &Data) {
        let val = evaluate(&self.ops[reg.ix()], vals, self, data);
        vals[reg.ix()].put(val);
    }

    /// The same; whether that changed it.
    #[inline]
    pub(super) fn moves(&self, reg: Reg, vals: &mut [Val], data: &Data) -> bool {
        let val = evaluate(&self.ops[reg.ix()], vals, self, data);
        let old = &mut vals[reg.ix()];
        let moves = !old.is_same(&val);
        if moves {
            old.put(val);
        }
        moves
    }
}
