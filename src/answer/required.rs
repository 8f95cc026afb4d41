//! `rest: as-required`: what the rules ask of an article that is yet to be bought, as one box of
//! values for all that is not written of it, the same whatever the site turns out to be.
//!
//! The box begins as everything and is only ever made smaller: for each verdict in turn, breaches
//! before cautions, until the verdict is certified to hold for every value in the box and for all
//! that is open besides. What held before holds in the smaller box too, so no order of the verdicts
//! and no limit on the work makes a verdict met that is not; a verdict for which no smaller box is
//! found is left as open as it is. A box that makes a rule not apply, or another fail, is refused;
//! of rules of later stages, too, none may be sure to fail.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::residual::{Engine, Place, Residual, all_written, each_bit};
use crate::check::{show_number, show_val};
use crate::design::model::{Design, ObjectId, Possible, Written};
use crate::design::tree::Origin;
use crate::expression::{Fuel, LeafId, LeafKind, Presence, Val};
use crate::quantity::{Interval, TruthSet};
use crate::ruleset::{Ruleset, Severity, Stage};
use crate::source::Span;
use crate::source::limits::WORK;
use crate::vocabulary::{Fact, FactIx, FactType, WordSet};

/// Halvings that find one side of a range.
const HALVINGS: u32 = 24;
/// Digits of a side that is found.
const DIGITS: i32 = 3;

/// What is asked of one fact, at all places that share it: of the things that one text stands for
/// the same is asked.
struct Asked {
    places: Vec<Place>,
    leaves: Vec<LeafId>,
    kind: LeafKind,
    now: Val,
    plausible: (f64, f64),
    narrowed: bool,
}

/// The facts of articles that are left to the rules, or for which these gave values.
fn asked_of_articles(design: &Design) -> impl Iterator<Item = (Place, &Written)> {
    all_written(design).filter(|(_, w)| w.origin == Some(Origin::Required))
}

/// The design with the box in place of what its articles leave to the rules; none, if no article
/// leaves anything to them.
#[must_use]
pub fn with_box(ruleset: &Arc<Ruleset>, design: &Design, stage: Stage) -> Option<Design> {
    let mut shared: BTreeMap<(Span, FactIx), Vec<Place>> = BTreeMap::new();
    for (place, w) in asked_of_articles(design) {
        if w.value == Possible::Unknown {
            shared.entry((w.span, place.fact)).or_default().push(place);
        }
    }
    if shared.is_empty() {
        return None;
    }
    let free: Vec<Place> = shared.values().flatten().copied().collect();
    let residual = Residual::of(ruleset, design.clone(), &free, Stage::Handover);
    let mut asked: Vec<Asked> = shared
        .into_values()
        .filter_map(|places| {
            let leaves: Vec<LeafId> = places
                .iter()
                .filter_map(|p| residual.free.get(p))
                .flatten()
                .copied()
                .collect();
            let leaf = residual.leaf(*leaves.first()?);
            Some(Asked {
                kind: leaf.kind,
                now: leaf.domain,
                plausible: leaf.plausible,
                places,
                leaves,
                narrowed: false,
            })
        })
        .collect();
    narrow(&residual, &mut asked, stage);
    let mut boxed = design.clone();
    for a in asked.iter().filter(|a| a.narrowed) {
        for place in &a.places {
            let object = &mut boxed.objects[place.object.0 as usize];
            let fact = ruleset.vocabulary.fact(object.kind, place.fact);
            if let Some(Some(w)) = object.facts.get_mut(place.fact.0 as usize) {
                w.value = as_possible(ruleset, fact, &a.now);
            }
        }
    }
    // A try has less work than a verdict: what fails with the box alone is no breach of the site's.
    let as_before = |at| failed(ruleset, &boxed, at).is_subset(&failed(ruleset, design, at));
    (as_before(stage) && as_before(Stage::Handover)).then_some(boxed)
}

/// What fails, by rule and subject.
fn failed(ruleset: &Arc<Ruleset>, design: &Design, stage: Stage) -> BTreeSet<(usize, ObjectId)> {
    let residual = Residual::of(ruleset, design.clone(), &[], stage);
    let mut engine = residual.engine();
    engine.limit(Fuel(WORK));
    let verdicts = residual.verdicts.iter().enumerate();
    let judged = verdicts.filter(|(v, _)| {
        let rule = residual.rule(*v);
        rule.severity != Severity::Advice && !rule.is_left_out()
    });
    let failed = judged.filter(|(v, _)| engine.fails_in_full(*v));
    failed.map(|(_, v)| (v.rule, v.subject)).collect()
}

/// Makes the box smaller for one verdict after the other that is due.
fn narrow(residual: &Residual, asked: &mut [Asked], stage: Stage) {
    let mut engine = residual.engine();
    engine.limit(Fuel(WORK));
    // Breaches before cautions.
    let mut verdicts: BTreeSet<(bool, usize)> = BTreeSet::new();
    for leaf in asked.iter().flat_map(|a| &a.leaves) {
        for v in engine.by_leaf(*leaf) {
            let rule = residual.rule(v);
            if rule.severity != Severity::Advice && !rule.is_left_out() {
                verdicts.insert((rule.severity != Severity::Breach, v));
            }
        }
    }
    let all: Vec<usize> = verdicts.iter().map(|(_, v)| *v).collect();
    let mut failing = all.clone();
    failing.retain(|v| engine.fails(*v, &[]));
    for v in all.iter().filter(|v| residual.rule(**v).stage <= stage) {
        if engine.is_spent() {
            return;
        }
        let with = assignment(asked, None);
        if engine.holds(*v, &with) || engine.fails(*v, &with) {
            continue;
        }
        for i in 0..asked.len() {
            let mut leaves = asked[i].leaves.iter();
            if !leaves.any(|l| engine.by_leaf(*l).contains(v)) {
                continue;
            }
            let Some(smaller) = smaller(&mut engine, asked, i, *v) else {
                continue;
            };
            let with = assignment(asked, Some((i, smaller)));
            let spoiled = all.iter().any(|u| {
                let before = assignment(asked, None);
                let applied = engine.applies(*u, &before);
                let gone = applied != TruthSet::F && engine.applies(*u, &with) == TruthSet::F;
                gone || !failing.contains(u) && engine.fails(*u, &with)
            });
            if !spoiled {
                asked[i].now = smaller;
                asked[i].narrowed = true;
                break;
            }
        }
    }
}

/// The box as values of leaves, with another set for one of its facts.
fn assignment(asked: &[Asked], other: Option<(usize, Val)>) -> Vec<(LeafId, Val)> {
    let mut with = Vec::new();
    for (i, a) in asked.iter().enumerate() {
        let now = other.filter(|(o, _)| *o == i).map_or(a.now, |(_, val)| val);
        with.extend(a.leaves.iter().map(|l| (*l, now)));
    }
    with
}

/// A smaller set of one fact with which a verdict holds and applies, if there is one.
fn smaller(engine: &mut Engine<'_>, asked: &[Asked], i: usize, verdict: usize) -> Option<Val> {
    let a = &asked[i];
    let now = a.now;
    let applied = engine.applies(verdict, &assignment(asked, None));
    let mut holds = |val: Val| {
        let with = assignment(asked, Some((i, val)));
        engine.holds(verdict, &with)
            && (applied == TruthSet::F || engine.applies(verdict, &with) != TruthSet::F)
    };
    match a.kind {
        LeafKind::Choice | LeafKind::Truth => {
            let mut bits = 0;
            for bit in each_bit(now.bits) {
                if holds(Val::bits(bit)) && holds(Val::bits(bits | bit)) {
                    bits |= bit;
                }
            }
            (bits != 0 && bits != now.bits).then_some(Val::bits(bits))
        }
        LeafKind::Number if now.bits == Presence::PRESENT => {
            let low = a.plausible.0.max(now.lo);
            let high = a.plausible.1.min(now.hi);
            if !(low.is_finite() && high.is_finite() && low < high) {
                return None;
            }
            let range = |lo: f64, hi: f64| Val::interval(Interval { lo, hi });
            if holds(range(now.lo, low)) {
                let side = side(low, high, |x| holds(range(now.lo, x)));
                let side = rounded(side, f64::floor);
                return (side > low && holds(range(now.lo, side))).then(|| range(now.lo, side));
            }
            if holds(range(high, now.hi)) {
                let side = side(high, low, |x| holds(range(x, now.hi)));
                let side = rounded(side, f64::ceil);
                return (side < high && holds(range(side, now.hi))).then(|| range(side, now.hi));
            }
            None
        }
        LeafKind::Number | LeafKind::Members(_) => None,
    }
}

/// How far a side can go from where it is good toward where it is not.
fn side(good: f64, bad: f64, mut holds: impl FnMut(f64) -> bool) -> f64 {
    let (mut good, mut bad) = (good, bad);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(good, bad);
        if holds(middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    good
}

/// A number with few digits.
fn rounded(x: f64, round: fn(f64) -> f64) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "the place of the first digit"
    )]
    let place = libm::floor(libm::log10(x.abs())) as i32 + 1 - DIGITS;
    let step = libm::pow(10.0, f64::from(place.abs()));
    // A side that is found is short of the true one by the last halving alone.
    let slack = 1e-6;
    let toward = if round(0.5) > 0.0 {
        1.0 - slack
    } else {
        1.0 + slack
    };
    if place >= 0 {
        round(x / step * toward) * step
    } else {
        round(x * step * toward) / step
    }
}

/// A set of values as a design says it.
fn as_possible(ruleset: &Ruleset, fact: &Fact, val: &Val) -> Possible {
    let members = |each: &dyn Fn(usize) -> Possible, absent: bool| {
        let bits = val.bits & !Presence::NO_WORD;
        let places = (0..u64::BITS as usize).filter(|b| bits >> b & 1 != 0);
        let mut all: Vec<Possible> = places.map(each).collect();
        if absent && val.bits & Presence::NO_WORD != 0 {
            all.push(Possible::Absent);
        }
        match all.len() {
            1 => all.swap_remove(0),
            _ => Possible::OneOf(all),
        }
    };
    match (&fact.ty, fact.series) {
        (FactType::Quantity { .. }, Some(series)) => {
            let all = ruleset.vocabulary.series(series);
            let number = |i: usize| {
                all.members.get(i).map_or(Possible::Unknown, |m| {
                    Possible::Number(Interval::point(m.value))
                })
            };
            members(&number, true)
        }
        (FactType::Quantity { .. }, None) => Possible::Number(val.as_interval()),
        (FactType::YesNo, _) => Possible::Truth(val.as_truth() == TruthSet::T),
        _ if val.bits & Presence::NO_WORD == 0 => Possible::Words(WordSet::from_bits(val.bits)),
        _ => members(&|i| Possible::Words(WordSet::one(i)), true),
    }
}

/// What is asked of articles that are yet to be bought: `standard of device of ev: …`.
#[must_use]
pub fn required(ruleset: &Ruleset, design: &Design) -> Vec<String> {
    let v = &ruleset.vocabulary;
    let mut all = Vec::new();
    for (place, w) in asked_of_articles(design) {
        let fact = v.fact(design.object(place.object).kind, place.fact);
        if let Some(text) = said(ruleset, fact, &w.value) {
            let of = design.label(place.object);
            all.push(format!("{} of {of}: {text}", fact.name));
        }
    }
    all
}

/// A required value as a design writes it; none for a part, which is told fact by fact.
fn said(ruleset: &Ruleset, fact: &Fact, value: &Possible) -> Option<String> {
    let v = &ruleset.vocabulary;
    match value {
        Possible::Number(i) => {
            let number = |x: f64| show_number(&Val::number(x), fact.unit(), 4);
            let text = match (i.lo.is_finite() && i.lo > 0.0, i.hi.is_finite()) {
                (true, true) if i.is_point() => number(i.lo),
                (true, true) => format!("{} .. {}", number(i.lo), number(i.hi)),
                (true, false) => format!("at least {}", number(i.lo)),
                (false, true) => format!("at most {}", number(i.hi)),
                (false, false) => return None,
            };
            Some(text)
        }
        Possible::Words(set) => Some(show_val(&Val::words(*set), fact, v)),
        Possible::Truth(yes) => Some((if *yes { "yes" } else { "no" }).to_owned()),
        Possible::Text(text) => Some(format!("\"{text}\"")),
        Possible::Absent => Some("none".to_owned()),
        Possible::OneOf(all) => {
            let texts: Vec<String> = all.iter().filter_map(|p| said(ruleset, fact, p)).collect();
            (!texts.is_empty()).then(|| texts.join(" | "))
        }
        _ => None,
    }
}
