//! The answers to one open question after which the rules that it alone decides are met.

use super::bounds::narrow;
use super::residual::{Engine, each_bit};
use crate::expression::{LeafId, LeafKind, Presence, Val};
use crate::quantity::TruthSet;

/// Steps of a bisection.
const STEPS: usize = 40;

/// Values that pass.
#[derive(Clone, Debug, PartialEq)]
pub enum Passing {
    /// None was found.
    Nothing,
    /// A connected stretch, in SI units.
    Numbers(f64, f64),
    /// Words or members, as a set.
    Bits(u64),
}

/// Values of a leaf, the others as written, for which all of some verdicts are met. A stretch of
/// numbers is certified by set evaluation, so no value of it breaks one. What is required must be
/// kept: an answer that only takes the rule's condition away does not count, or the advice would be
/// to answer so that nothing is required.
pub fn passing(
    engine: &mut Engine<'_>,
    leaf: LeafId,
    verdicts: &[usize],
    seeds: &[Val],
) -> Passing {
    let l = engine.residual.leaf(leaf);
    let set = engine.residual.written[leaf.0 as usize];
    let met = |engine: &mut Engine<'_>, val: Val| {
        verdicts.iter().all(|v| {
            let with = [(leaf, val)];
            engine.holds(*v, &with) && engine.applies(*v, &with) != TruthSet::F
        })
    };
    match l.kind {
        LeafKind::Choice | LeafKind::Truth => {
            let good = each_bit(set.bits).filter(|bits| met(engine, Val { bits: *bits, ..set }));
            match good.fold(0, |all, bit| all | bit) {
                0 => Passing::Nothing,
                bits => Passing::Bits(bits),
            }
        }
        LeafKind::Members(_) => Passing::Nothing,
        LeafKind::Number => {
            let point = |x: f64| Val {
                lo: x,
                hi: x,
                bits: Presence::PRESENT,
                ..set
            };
            let mut places: Vec<f64> = seeds
                .iter()
                .filter(|v| v.bits == Presence::PRESENT)
                .map(|v| v.lo)
                .collect();
            let (pl, ph) = (l.plausible.0.max(set.lo), l.plausible.1.min(set.hi));
            for k in 0..=8 {
                places.push(pl + (ph - pl) * f64::from(k) / 8.0);
            }
            let Some(x) = places
                .into_iter()
                .filter(|x| x.is_finite() && set.lo <= *x && *x <= set.hi)
                .find(|x| met(engine, point(*x)))
            else {
                return Passing::Nothing;
            };
            let reach = |engine: &mut Engine<'_>, up: bool| {
                let end = if up { set.hi } else { set.lo };
                let over = |engine: &mut Engine<'_>, y: f64| {
                    let val = Val {
                        lo: if up { x } else { y },
                        hi: if up { y } else { x },
                        ..point(x)
                    };
                    met(engine, val)
                };
                if over(engine, end) {
                    return end;
                }
                let mut good = x;
                let bad = if end.is_finite() {
                    end
                } else {
                    let mut step = x.abs().max(1.0);
                    let mut y = x;
                    for _ in 0..60 {
                        y = if up { y + step } else { y - step };
                        if !over(engine, y) {
                            break;
                        }
                        good = y;
                        step *= 2.0;
                    }
                    y
                };
                narrow(good, bad, STEPS, |y| over(engine, y))
            };
            let (lo, hi) = (reach(engine, false), reach(engine, true));
            Passing::Numbers(lo, hi)
        }
    }
}
