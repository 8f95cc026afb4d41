//! Interval derivatives with respect to one leaf: which way a calculation moves.

use super::program::{Op, Program, Reg};
use super::val::{Presence, Val};
use crate::quantity::{Interval, TruthSet};

const ZERO: Interval = Interval::ZERO;
/// Grows, by how much is not known.
const UP: Interval = Interval::NON_NEGATIVE;
const DOWN: Interval = Interval::at_most(0.0);

fn is_zero(i: Interval) -> bool {
    i == ZERO
}

fn times(a: Interval, b: Interval) -> Interval {
    if is_zero(a) || is_zero(b) {
        ZERO
    } else {
        a.mul(b)
    }
}

/// Fills `out[i]` with an enclosure of the derivative of the operation `ops[i]` by the leaf in
/// `by`. `ops` are ascending and hold everything that depends on it; `slot` maps a register to
/// its place in `out`. Truths and choices get zero if they do not depend on the leaf, else
/// "anything".
pub(super) fn derivatives(
    program: &Program,
    vals: &[Val],
    ops: &[Reg],
    by: Reg,
    out: &mut [Interval],
) {
    for reg in ops {
        let get = |r: Reg| {
            if r == by {
                Interval { lo: 1.0, hi: 1.0 }
            } else {
                out.get(r.ix()).copied().unwrap_or(ZERO)
            }
        };
        let d = one(program, vals, program.ops[reg.ix()], &get);
        if let Some(slot) = out.get_mut(reg.ix()) {
            *slot = d;
        }
    }
}

fn one(program: &Program, vals: &[Val], op: Op, d: &impl Fn(Reg) -> Interval) -> Interval {
    let v = |r: Reg| vals[r.ix()].as_interval();
    let arg = |first: u32, i: u32| program.args[(first + i) as usize];
    match op {
        Op::Leaf(_) | Op::Const(_) => ZERO,
        Op::Add(a, b) => d(a).add(d(b)),
        Op::Sub(a, b) => d(a).sub(d(b)),
        Op::Mul(a, b) => times(d(a), v(b)).add(times(v(a), d(b))),
        Op::Div(a, b) => {
            let (da, db) = (d(a), d(b));
            if is_zero(da) && is_zero(db) {
                return ZERO;
            }
            let vb = v(b);
            if vb.lo <= 0.0 && vb.hi >= 0.0 {
                return Interval::ALL;
            }
            let first = if is_zero(da) { Some(ZERO) } else { da.div(vb) };
            let second = if is_zero(db) {
                Some(ZERO)
            } else {
                times(v(a), db).div(vb.mul(vb))
            };
            match (first, second) {
                (Some(x), Some(y)) => x.sub(y),
                _ => Interval::ALL,
            }
        }
        Op::Neg(a) => d(a).neg(),
        Op::Power(a, n) => {
            let inner = v(a).powi(n - 1).unwrap_or(Interval::ALL);
            times(times(Interval::point(f64::from(n)), inner), d(a))
        }
        Op::Sqrt(a) => {
            let i = v(a);
            let at = |x: f64| {
                if x > 0.0 {
                    0.5 / libm::sqrt(x)
                } else {
                    f64::INFINITY
                }
            };
            let low = at(i.hi) * (1.0 - 1e-12);
            times(Interval::new(low, at(i.lo) * (1.0 + 1e-12)), d(a))
        }
        Op::Ln(a) | Op::Exp(a) | Op::Round(a, ..) | Op::NextUp(a, _) | Op::NextDown(a, _) => {
            times(UP, d(a))
        }
        Op::Sin(a) => times(v(a).cos(), d(a)),
        Op::Cos(a) => times(v(a).sin().neg(), d(a)),
        Op::Acos(a) => times(DOWN, d(a)),
        Op::Abs(a) => {
            let i = v(a);
            if i.lo >= 0.0 {
                d(a)
            } else if i.hi <= 0.0 {
                d(a).neg()
            } else {
                times(Interval::new(-1.0, 1.0), d(a))
            }
        }
        Op::Min(a, b) | Op::Max(a, b) => d(a).hull(d(b)),
        Op::If(c, a, b) => match vals[c.ix()].as_truth() {
            TruthSet::T => d(a),
            TruthSet::F => d(b),
            _ if is_zero(d(c)) => d(a).hull(d(b)),
            _ => Interval::ALL,
        },
        Op::Pick(s, first, count) => {
            if !is_zero(d(s)) {
                return Interval::ALL;
            }
            let mut all: Option<Interval> = None;
            for i in (0..count).filter(|i| vals[s.ix()].bits >> i & 1 != 0) {
                let di = d(arg(first, i));
                all = Some(all.map_or(di, |x| x.hull(di)));
            }
            all.unwrap_or(ZERO)
        }
        Op::Otherwise(a, b) => match vals[a.ix()].bits & Presence::EITHER {
            Presence::PRESENT => d(a),
            Presence::ABSENT => d(b),
            _ => d(a).hull(d(b)),
        },
        Op::LargestTwo(first, count) => {
            let (mut lo, mut hi) = (0.0_f64, 0.0_f64);
            for i in 0..count {
                let di = d(arg(first, i));
                lo = lo.min(2.0 * di.lo);
                hi = hi.max(2.0 * di.hi);
            }
            Interval::new(lo, hi)
        }
        Op::OpenPen(first) => {
            let loads = (2..5).any(|i| !is_zero(d(arg(first, i))));
            if loads {
                return Interval::ALL;
            }
            let up = [0, 1, 5].map(|i| times(UP, d(arg(first, i))));
            let down = times(DOWN, d(arg(first, 6)));
            up.into_iter().fold(down, Interval::add)
        }
        Op::BehindSource(first) => {
            if !is_zero(d(arg(first, 1))) {
                return Interval::ALL;
            }
            [0, 2, 3]
                .map(|i| times(UP, d(arg(first, i))))
                .into_iter()
                .fold(ZERO, Interval::add)
        }
        _ => {
            let mut depends = false;
            op.operands(&program.args, |r| depends |= !is_zero(d(r)));
            if depends { Interval::ALL } else { ZERO }
        }
    }
}
