//! Between which values the rules take a reading.
//!
//! Limits are certified from outside: each value beyond one breaks a rule whatever the other
//! readings are.

use std::collections::BTreeSet;

use super::super::residual::{Engine, each_bit};
use crate::check::show_val;
use crate::expression::{LeafId, LeafKind, Presence, SetWords, Val};
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

/// A reading and the verdicts that may break at it, the other readings left open.
struct Tried<'e, 'r> {
    engine: &'e mut Engine<'r>,
    leaf: LeafId,
    verdicts: &'e [usize],
    /// All that it can be.
    set: Val,
}

/// What some verdicts accept of a reading, the other readings left open.
pub(super) fn accepted(
    engine: &mut Engine<'_>,
    leaf: LeafId,
    fact: &Fact,
    verdicts: &[usize],
    expected: Option<(f64, f64)>,
) -> Accepted {
    let residual = engine.residual;
    let mut tried = Tried {
        engine,
        leaf,
        verdicts,
        set: residual.written[leaf.0 as usize],
    };
    let words = match residual.leaf(leaf).kind {
        LeafKind::Number => return tried.numbers(expected),
        LeafKind::Truth | LeafKind::Choice => tried.words(),
        LeafKind::Members(count) => tried.members(u32::from(count)),
    };
    Accepted {
        words: words.map(|(val, rules)| {
            let text = show_val(&val, fact, &residual.ruleset.vocabulary);
            (text, rules.into_iter().collect())
        }),
        ..Accepted::default()
    }
}

impl Tried<'_, '_> {
    fn breaks(&mut self, verdict: usize, val: Val) -> bool {
        self.engine.fails(verdict, &[(self.leaf, val)])
    }

    fn rule(&self, verdict: usize) -> String {
        self.engine.residual.rule(verdict).id.clone()
    }

    fn stretch(&self, lo: f64, hi: f64) -> Val {
        Val {
            lo,
            hi,
            bits: Presence::PRESENT,
            ..self.set
        }
    }

    fn numbers(&mut self, expected: Option<(f64, f64)>) -> Accepted {
        let mut out = Accepted::default();
        let plausible = self.engine.residual.leaf(self.leaf).plausible;
        // A value from which to look for the limits: the expected one, else one that passes.
        let mut starts: Vec<f64> = Vec::new();
        if let Some((low, high)) = expected {
            starts.extend([low, f64::midpoint(low, high), high]);
        }
        let (from, to) = (plausible.0.max(self.set.lo), plausible.1.min(self.set.hi));
        starts.extend((0..=16).map(|k| from + (to - from) * f64::from(k) / 16.0));
        starts.retain(|x| x.is_finite());
        for v in self.verdicts {
            let passes = |x: &&f64| !self.breaks(*v, self.stretch(**x, **x));
            let Some(start) = starts.iter().find(passes).copied() else {
                continue;
            };
            // A limit that no reading comes near is none.
            let low = self.limit(*v, start, false);
            let high = self.limit(*v, start, true);
            let rule = self.rule(*v);
            let (low, high) = (
                low.filter(|x| *x >= plausible.0),
                high.filter(|x| *x <= plausible.1),
            );
            keep(&mut out.low, low, &rule, |new, old| new > old);
            keep(&mut out.high, high, &rule, |new, old| new < old);
        }
        out
    }

    /// The last value on one side of one that passes, beyond which all others break a verdict.
    fn limit(&mut self, verdict: usize, start: f64, up: bool) -> Option<f64> {
        let (low_end, high_end) = (self.set.lo, self.set.hi);
        let mut breaks_beyond = |y: f64| {
            let (lo, hi) = if up { (y, high_end) } else { (low_end, y) };
            let beyond = self.stretch(lo, hi);
            self.breaks(verdict, beyond)
        };
        let far = far_end(start, if up { high_end } else { low_end }, up);
        if !breaks_beyond(far) {
            return None;
        }
        let (mut good, mut bad) = (start, far);
        for _ in 0..STEPS {
            let middle = f64::midpoint(good, bad);
            if (bad - good).abs() <= 1e-9 * good.abs() {
                break;
            }
            if breaks_beyond(middle) {
                bad = middle;
            } else {
                good = middle;
            }
        }
        Some(good)
    }

    /// Words that break nothing, where others do, and the rules that those break.
    fn words(&mut self) -> Option<(Val, BTreeSet<String>)> {
        let mut bits = 0_u64;
        let mut rules = BTreeSet::new();
        for bit in each_bit(self.set.bits) {
            let val = Val {
                bits: bit,
                ..self.set
            };
            match self.verdicts.iter().find(|v| self.breaks(**v, val)) {
                Some(v) => {
                    rules.insert(self.rule(*v));
                }
                None => bits |= bit,
            }
        }
        let some = bits != 0 && bits != self.set.bits;
        some.then_some((Val { bits, ..self.set }, rules))
    }

    /// Members of a set that must be read, and the rules that break without them.
    fn members(&mut self, count: u32) -> Option<(Val, BTreeSet<String>)> {
        let mut needed = 0_u64;
        let mut rules = BTreeSet::new();
        for i in 0..count.min(32) {
            let val = Val {
                bits: self.set.bits & !(1_u64 << i),
                ..self.set
            };
            for v in self.verdicts {
                if self.breaks(*v, val) {
                    needed |= 1 << i;
                    rules.insert(self.rule(*v));
                }
            }
        }
        (needed != 0).then(|| (Val::bits(SetWords::known(needed, count)), rules))
    }
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
