//! Between which values the rules take a reading.
//!
//! Limits are certified from outside: each value beyond one breaks a rule whatever the other
//! readings are.

use std::collections::BTreeSet;

use super::super::residual::{Engine, each_bit};
use crate::check::show_val;
use crate::expression::{LeafId, LeafKind, Presence, SetWords, Val};
use crate::ruleset::Ruleset;
use crate::vocabulary::Fact;

/// Steps of a bisection.
const STEPS: usize = 120;

/// One end of what is accepted, in SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// The last value that no rule breaks at.
    pub at: f64,
    /// The rule that breaks beyond it.
    pub rule: String,
}

/// What one severity of rules accepts of a reading.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Accepted {
    /// For a number: the least and the greatest value.
    pub low: Option<Side>,
    /// See `low`.
    pub high: Option<Side>,
    /// For words and yes or no: what must be read, and the rules that ask for it.
    pub words: Option<(String, Vec<String>)>,
}

/// What some verdicts accept of a reading, the other readings left open.
pub(super) fn accepted(
    engine: &mut Engine<'_>,
    leaf: LeafId,
    fact: &Fact,
    verdicts: &[usize],
    expected: Option<(f64, f64)>,
    ruleset: &Ruleset,
) -> Accepted {
    let mut out = Accepted::default();
    let set = engine.residual.written[leaf.0 as usize];
    let breaks = |engine: &mut Engine<'_>, v: usize, val: Val| engine.fails(v, &[(leaf, val)]);
    match engine.residual.leaf(leaf).kind {
        LeafKind::Number => {
            let plausible = engine.residual.leaf(leaf).plausible;
            let (low_end, high_end) = (set.lo, set.hi);
            let stretch = |lo: f64, hi: f64| Val {
                lo,
                hi,
                bits: Presence::PRESENT,
                ..set
            };
            // A value from which to look for the limits: the expected one, else one that passes.
            let mut starts: Vec<f64> = Vec::new();
            if let Some((low, high)) = expected {
                starts.extend([low, f64::midpoint(low, high), high]);
            }
            let (from, to) = (plausible.0.max(low_end), plausible.1.min(high_end));
            starts.extend((0..=16).map(|k| from + (to - from) * f64::from(k) / 16.0));
            for v in verdicts {
                let Some(start) = starts
                    .iter()
                    .copied()
                    .find(|x| x.is_finite() && !breaks(engine, *v, stretch(*x, *x)))
                else {
                    continue;
                };
                let mut narrow = |up: bool| {
                    let beyond = |y: f64| {
                        if up {
                            stretch(y, high_end)
                        } else {
                            stretch(low_end, y)
                        }
                    };
                    let far = far_end(start, if up { high_end } else { low_end }, up);
                    if !breaks(engine, *v, beyond(far)) {
                        return None;
                    }
                    let (mut good, mut bad) = (start, far);
                    for _ in 0..STEPS {
                        let middle = f64::midpoint(good, bad);
                        if (bad - good).abs() <= 1e-9 * good.abs() {
                            break;
                        }
                        if breaks(engine, *v, beyond(middle)) {
                            bad = middle;
                        } else {
                            good = middle;
                        }
                    }
                    Some(good)
                };
                // A limit that no reading comes near is none.
                let low = narrow(false).filter(|x| *x >= plausible.0);
                let high = narrow(true).filter(|x| *x <= plausible.1);
                let rule = &engine.residual.rule(*v).id;
                keep(&mut out.low, low, rule, |new, old| new > old);
                keep(&mut out.high, high, rule, |new, old| new < old);
            }
        }
        LeafKind::Truth | LeafKind::Choice => {
            let mut bits = 0_u64;
            let mut all = 0_u64;
            let mut rules = BTreeSet::new();
            for bit in each_bit(set.bits) {
                all |= bit;
                let val = Val { bits: bit, ..set };
                let by = verdicts.iter().find(|v| breaks(engine, **v, val));
                match by {
                    Some(v) => {
                        rules.insert(engine.residual.rule(*v).id.clone());
                    }
                    None => bits |= bit,
                }
            }
            if bits != 0 && bits != all {
                let text = show_val(&Val { bits, ..set }, fact, &ruleset.vocabulary);
                out.words = Some((text, rules.into_iter().collect()));
            }
        }
        LeafKind::Members(count) => {
            let mut needed = 0_u64;
            let mut rules = BTreeSet::new();
            for i in 0..count.min(32) {
                let without = set.bits & !(1_u64 << i);
                let val = Val {
                    bits: without,
                    ..set
                };
                for v in verdicts {
                    if breaks(engine, *v, val) {
                        needed |= 1 << i;
                        rules.insert(engine.residual.rule(*v).id.clone());
                    }
                }
            }
            if needed != 0 {
                let known = SetWords::known(needed, u32::from(count));
                let text = show_val(&Val::bits(known), fact, &ruleset.vocabulary);
                out.words = Some((text, rules.into_iter().collect()));
            }
        }
    }
    out
}

/// A value far beyond any reading, towards the end of the domain.
fn far_end(start: f64, end: f64, up: bool) -> f64 {
    if end.is_finite() {
        return end;
    }
    let far = start.abs().max(1.0) * 1e9;
    if up { far } else { -far }
}

fn keep(side: &mut Option<Side>, new: Option<f64>, rule: &str, tighter: impl Fn(f64, f64) -> bool) {
    let Some(at) = new else { return };
    if side.as_ref().is_none_or(|s| tighter(at, s.at)) {
        *side = Some(Side {
            at,
            rule: rule.to_owned(),
        });
    }
}
