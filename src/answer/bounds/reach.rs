//! One fact goes in one direction until a verdict that holds now does not: step by step, one whole
//! number after the other, or by bisection.

use super::{Cure, End, LEAST_ROOM, MOST_MARGINS, Stop};
use crate::answer::residual::Engine;
use crate::expression::{LeafId, Val};
use crate::quantity::TruthSet;

/// Steps of a bisection: enough to come within one part in 10¹² of a bound.
const STEPS: usize = 48;
/// Steps where a bound is only shown with a few digits.
const FEW_STEPS: usize = 26;
/// The share of what is left behind a value that breaks in which no bound is looked for.
const CLOSE: f64 = 1e-9;
/// Whole numbers that are tried one after the other.
const WHOLE_STEPS: u32 = 64;
/// Doublings while looking for the first value that breaks.
const DOUBLINGS: usize = 60;

/// The same value for all of some leaves.
pub(super) fn same(leaves: &[LeafId], val: Val) -> Vec<(LeafId, Val)> {
    leaves.iter().map(|l| (*l, val)).collect()
}

/// Whether a rule that is met again there is met, and not only beside the point.
fn still_applies(engine: &mut Engine<'_>, verdict: usize, with: &[(LeafId, Val)]) -> bool {
    engine.applies(verdict, with) != TruthSet::F
}

fn stop(engine: &Engine<'_>, verdict: usize, last: f64, breaks: bool) -> Stop {
    let rule = engine.residual.rule(verdict);
    Stop {
        last,
        rule: rule.id.clone(),
        title: rule.texts.title.clone(),
        severity: rule.severity,
        subject: engine.residual.subject(verdict),
        clause: rule.texts.origin.clause.clone(),
        breaks,
        again_from: None,
    }
}

/// Goes from member to member of a series, from one that is written, until a verdict that holds now
/// does not.
pub(super) fn steps(
    engine: &mut Engine<'_>,
    leaves: &[LeafId],
    (all, written): (&[f64], f64),
    order: impl Iterator<Item = usize>,
    held: &[usize],
) -> End {
    let domain = engine.residual.leaf(leaves[0]).domain.bits;
    let mut good = written;
    for k in order {
        if domain >> k & 1 == 0 {
            continue;
        }
        let with = same(leaves, Val::bits(1 << k));
        if let Some(v) = held.iter().find(|v| !engine.holds(**v, &with)) {
            let breaks = engine.fails(*v, &with);
            return End::Stopped(stop(engine, *v, good, breaks));
        }
        good = all.get(k).copied().unwrap_or(good);
    }
    End::Free
}

pub(super) fn series_cures(
    engine: &mut Engine<'_>,
    leaves: &[LeafId],
    all: &[f64],
    broken: &[usize],
) -> Vec<Cure> {
    let leaf = leaves[0];
    let domain = engine.residual.leaf(leaf).domain.bits;
    let at = engine.residual.written[leaf.0 as usize]
        .bits
        .trailing_zeros() as usize;
    let mut cures = Vec::new();
    for v in broken {
        let above: Vec<usize> = (at + 1..all.len()).collect();
        let below: Vec<usize> = (0..at).rev().collect();
        for (order, upward) in [(above, true), (below, false)] {
            let nearest = order.into_iter().find(|k| {
                let with = same(leaves, Val::bits(1 << k));
                domain >> k & 1 != 0 && engine.holds(*v, &with) && still_applies(engine, *v, &with)
            });
            let from = nearest.and_then(|k| all.get(k));
            cures.extend(from.map(|from| cure(engine, *v, *from, upward)));
        }
    }
    cures
}

fn cure(engine: &Engine<'_>, verdict: usize, from: f64, upward: bool) -> Cure {
    Cure {
        rule: engine.residual.rule(verdict).id.clone(),
        subject: engine.residual.subject(verdict),
        from,
        upward,
    }
}

/// A direction in which a number goes.
pub(super) struct Way<'l> {
    pub(super) leaves: &'l [LeafId],
    /// As written.
    pub(super) written: Val,
    /// Only whole numbers can be written.
    pub(super) whole: bool,
    pub(super) up: bool,
    pub(super) from: f64,
    pub(super) end: f64,
    pub(super) brief: bool,
}

impl Way<'_> {
    /// The written values and everything up to `x`.
    fn reach(&self, x: f64) -> Vec<(LeafId, Val)> {
        let w = self.written;
        let v = if self.up {
            Val { hi: x, ..w }
        } else {
            Val { lo: x, ..w }
        };
        same(self.leaves, v)
    }

    fn point(&self, x: f64) -> Vec<(LeafId, Val)> {
        let w = self.written;
        same(self.leaves, Val { lo: x, hi: x, ..w })
    }

    /// So much farther than a number.
    fn beyond(&self, x: f64, step: f64) -> f64 {
        if self.up { x + step } else { x - step }
    }

    /// Whether a number lies at the end or past it.
    fn is_at_end(&self, x: f64) -> bool {
        x == self.end || self.is_past(x)
    }

    /// Whether a number lies beyond the end.
    fn is_past(&self, x: f64) -> bool {
        (self.up && x > self.end) || (!self.up && x < self.end)
    }

    /// Places away from the written value: ever farther, to the end; of whole numbers one after the
    /// other.
    fn away(&self, growth: f64) -> Vec<f64> {
        if self.whole {
            let all = (1..=WHOLE_STEPS).map(|n| self.beyond(self.from, f64::from(n)));
            return all.filter(|x| !self.is_past(*x)).collect();
        }
        let mut step = (self.from.abs() * 0.05).max(1e-9);
        let mut x = self.from;
        let mut all = Vec::new();
        for _ in 0..DOUBLINGS {
            x = self.beyond(x, step);
            if self.is_at_end(x) {
                break;
            }
            all.push(x);
            step *= growth;
        }
        if self.end.is_finite() {
            all.push(self.end);
        }
        all
    }
}

/// The least rooms that were found so far, as shares of the written values, ascending.
#[derive(Default)]
pub(super) struct Least(Vec<f64>);

impl Least {
    /// Whether all goes on to hold up to where more room is left than any report shows.
    pub(super) fn has_more(&self, engine: &mut Engine<'_>, way: &Way<'_>, held: &[usize]) -> bool {
        if way.whole {
            return false;
        }
        let Some(room) = self.0.get(MOST_MARGINS - 1) else {
            return false;
        };
        // A little farther, so that of several with the same room each is told.
        let far = way.from.abs() * room * (1.0 + 1e-5);
        let x = way.beyond(way.from, far);
        if way.is_at_end(x) {
            return false;
        }
        let with = way.reach(x);
        held.iter().all(|v| engine.holds(*v, &with))
    }

    pub(super) fn note(&mut self, way: &Way<'_>, last: f64) {
        let room = ((last - way.from) / way.from).abs();
        if room >= LEAST_ROOM {
            let at = self.0.partition_point(|r| *r <= room);
            self.0.insert(at, room);
            self.0.truncate(MOST_MARGINS);
        }
    }
}

/// The value between two where something changes, on the side of `good`.
pub(in crate::answer) fn narrow(
    mut good: f64,
    mut bad: f64,
    steps: usize,
    mut holds: impl FnMut(f64) -> bool,
) -> f64 {
    for _ in 0..steps {
        let middle = good + (bad - good) / 2.0;
        if middle == good || middle == bad {
            break;
        }
        if holds(middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    good
}

/// The first whole number at which a verdict that holds now does not.
fn whole_stretch(engine: &mut Engine<'_>, way: &Way<'_>, held: &[usize]) -> End {
    let places = way.away(1.0);
    let mut last = way.from;
    for (n, x) in places.iter().enumerate() {
        let at = way.point(*x);
        let Some(v) = held.iter().find(|v| !engine.holds(**v, &at)) else {
            last = *x;
            continue;
        };
        let breaks = engine.fails(*v, &at);
        let mut s = stop(engine, *v, last, breaks);
        if breaks && !way.brief {
            let mut further = places.iter().skip(n + 1).copied();
            let again = further.find(|x| engine.holds(*v, &way.point(*x)));
            s.again_from = again.filter(|x| still_applies(engine, *v, &way.point(*x)));
        }
        return End::Stopped(s);
    }
    // Farther than numbers are counted one by one, all that is left is looked at together.
    let mut rest = way.point(last);
    for (_, val) in &mut rest {
        (val.lo, val.hi) = (last.min(way.end), last.max(way.end));
    }
    let mut held = held.iter();
    match held.find(|v| last != way.end && !engine.holds(**v, &rest)) {
        None => End::Free,
        Some(v) => End::Stopped(stop(engine, *v, last, false)),
    }
}

/// Whether a verdict is certain for all from the written value to `x`.
fn is_certain(engine: &mut Engine<'_>, way: &Way<'_>, verdict: usize, x: f64) -> bool {
    let with = way.reach(x);
    if engine.plain(verdict, &with) == TruthSet::T {
        return true;
    }
    // Most verdicts go one way: the far end alone tells that the whole is not certain, for a small
    // part of what refining the whole costs.
    let breaks = x.is_finite() && engine.plain(verdict, &way.point(x)) == TruthSet::F;
    !breaks && engine.holds(verdict, &with)
}

/// Whether a verdict plainly holds for one value.
fn holds_at(engine: &mut Engine<'_>, way: &Way<'_>, verdict: usize, x: f64) -> bool {
    engine.plain(verdict, &way.point(x)) == TruthSet::T
}

/// Up to where a verdict is certain, between a value where it is and one where it is not.
fn edge(engine: &mut Engine<'_>, way: &Way<'_>, verdict: usize, (good, bad): (f64, f64)) -> f64 {
    let steps = if way.brief { FEW_STEPS } else { STEPS };
    // Mostly it is where the value itself breaks the rule. Values find the place for far less than
    // sets do, and one look at all up to it certifies it.
    let broken = narrow(good, bad, steps, |x| holds_at(engine, way, verdict, x));
    if !is_certain(engine, way, verdict, broken) {
        return narrow(good, broken, steps, |x| is_certain(engine, way, verdict, x));
    }
    let past = broken + (bad - broken) * CLOSE;
    if is_certain(engine, way, verdict, past) {
        // What else is open kept single values from being told.
        return narrow(past, bad, steps, |x| is_certain(engine, way, verdict, x));
    }
    broken
}

pub(super) fn stretch(engine: &mut Engine<'_>, way: &Way<'_>, held: &[usize]) -> End {
    if way.whole {
        return whole_stretch(engine, way, held);
    }
    let mut end = way.end;
    let mut stopped: Option<usize> = None;
    for v in held {
        if is_certain(engine, way, *v, end) {
            continue;
        }
        let mut places = way.away(2.0);
        places.retain(|x| if way.up { *x < end } else { *x > end });
        // The first place, ever farther, up to which it is not certain any more: that of the first
        // value which breaks it, if all before is certain.
        let broken = places.iter().position(|x| !holds_at(engine, way, *v, *x));
        let mut before = places.get(..broken.unwrap_or(places.len()));
        before = before.filter(|b| b.last().is_some_and(|x| is_certain(engine, way, *v, *x)));
        let before = before.unwrap_or_default();
        let mut good = before.last().copied().unwrap_or(way.from);
        let mut bad = end;
        for x in places.iter().skip(before.len()) {
            if is_certain(engine, way, *v, *x) {
                good = *x;
            } else {
                bad = *x;
                break;
            }
        }
        if !bad.is_finite() {
            continue;
        }
        end = edge(engine, way, *v, (good, bad));
        stopped = Some(*v);
    }
    let Some(v) = stopped else { return End::Free };
    if way.brief {
        return End::Stopped(stop(engine, v, end, true));
    }
    // One part in a million further: a point that fails shows that the bound is tight.
    let beyond = way.beyond(end, (end.abs() * 1e-6).max(1e-12));
    let breaks = engine.fails(v, &way.point(beyond));
    let mut s = stop(engine, v, end, breaks);
    if breaks {
        let far = Way { from: end, ..*way };
        let again = first(engine, &far, v, beyond);
        s.again_from = again.filter(|x| still_applies(engine, v, &way.point(*x)));
    }
    End::Stopped(s)
}

pub(super) fn number_cures(engine: &mut Engine<'_>, way: &Way<'_>, broken: &[usize]) -> Vec<Cure> {
    let mut cures = Vec::new();
    for v in broken {
        let from = first(engine, way, *v, way.from);
        let from = from.filter(|x| still_applies(engine, *v, &way.point(*x)));
        cures.extend(from.map(|from| cure(engine, *v, from, way.up)));
    }
    cures
}

/// The first value on a way, behind one that breaks it, at which a verdict holds.
fn first(engine: &mut Engine<'_>, way: &Way<'_>, verdict: usize, mut bad: f64) -> Option<f64> {
    let mut holds = |x: f64| engine.holds(verdict, &way.point(x));
    for x in way.away(1.5) {
        if holds(x) {
            let whole = way.whole;
            return Some(if whole {
                x
            } else {
                narrow(x, bad, STEPS, holds)
            });
        }
        bad = x;
    }
    None
}
