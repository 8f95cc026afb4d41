//! What a mend may change: facts the designer chooses on what is new or altered, each with the
//! values it may take instead.

use rustc_hash::{FxHashMap, FxHashSet};

use super::super::residual::{Place, Residual, all_written, can_be_free};
use super::editable::is_of_network;
use super::graft::Graft;
use crate::check::What;
use crate::design::model::{Design, Possible};
use crate::design::tree::Origin;
use crate::expression::{LeafId, LeafKind, Presence, SetWords, Val};
use crate::quantity::{TruthSet, Unit};
use crate::ruleset::{Ruleset, Toward};
use crate::source::Span;
use crate::vocabulary::{Fact, FactIx, FactType, Settler};

/// One place of the text that may be changed, and the leaves that follow it: several, where a
/// `define` or a repetition is used more than once.
#[derive(Clone, Debug)]
pub(super) struct Knob {
    pub(super) place: Place,
    pub(super) span: Span,
    pub(super) leaves: Vec<LeafId>,
    pub(super) now: Val,
    pub(super) options: Options,
    pub(super) group: usize,
    pub(super) cost: f64,
    /// Written as `?`.
    pub(super) unknown: bool,
}

/// Values a knob may take.
#[derive(Clone, Debug)]
pub(super) enum Options {
    /// These, nearest to what is written first.
    Fixed(Vec<Val>),
    /// Any number of an interval.
    Number { lo: f64, hi: f64, unit: Unit },
    /// Parts from stock, by the bit of the alternative.
    Parts(Vec<(u64, String, f64)>),
}

impl Options {
    /// All of them; none, if they are without number.
    pub(super) fn each(&self) -> Option<Vec<Val>> {
        match self {
            Self::Fixed(all) => Some(all.clone()),
            Self::Parts(parts) => Some(parts.iter().map(|(bit, ..)| Val::bits(*bit)).collect()),
            Self::Number { .. } => None,
        }
    }
}

/// What counts as one change: a cable, a device, another part; else one fact.
#[derive(Clone, Debug)]
pub(super) struct Group {
    pub(super) name: String,
    pub(super) knobs: Vec<usize>,
}

/// Facts to open, before linking; `shared` are places that cannot be edited.
pub(super) fn changeable(
    ruleset: &Ruleset,
    design: &Design,
    shared: &FxHashSet<Span>,
) -> Vec<Place> {
    let v = &ruleset.vocabulary;
    let mut all = Vec::new();
    for (place, written) in all_written(design) {
        let object = design.object(place.object);
        if !object.is_of_works() || shared.contains(&written.span) {
            continue;
        }
        let fact = v.fact(object.kind, place.fact);
        if fact.name == "status" || may_cost(ruleset, design, place, fact).is_none() {
            continue;
        }
        let free = match &written.value {
            Possible::PerLine(_) => false,
            Possible::Unknown => matches!(
                fact.ty,
                FactType::Quantity { .. }
                    | FactType::Choice { .. }
                    | FactType::YesNo
                    | FactType::Some { .. }
            ),
            value => can_be_free(ruleset, fact, value),
        };
        if free {
            all.push(place);
        }
    }
    all
}

/// What changing a fact costs; none where it is not the designer's to change. A maker's fact is
/// changed by choosing another article, where the ruleset gives that a cost.
fn may_cost(ruleset: &Ruleset, design: &Design, place: Place, fact: &Fact) -> Option<f64> {
    let kind = design.object(place.object).kind;
    let said = ruleset.mending.of(kind, place.fact).is_some();
    let own = fact.settled_by == Settler::Designer || fact.settled_by == Settler::Maker && said;
    let own = own && !is_of_network(ruleset, design, place.object);
    own.then(|| ruleset.mending.cost(kind, place.fact))
        .flatten()
}

/// The knobs and groups of a linked design.
pub(super) fn knobs(residual: &Residual, grafts: &[Graft]) -> (Vec<Knob>, Vec<Group>) {
    let ruleset = &residual.ruleset;
    let v = &ruleset.vocabulary;
    let mut all: Vec<Knob> = Vec::new();
    let mut groups: Vec<Group> = Vec::new();
    let mut by_span: FxHashMap<Span, usize> = FxHashMap::default();
    let mut by_key: FxHashMap<(Span, Option<FactIx>), usize> = FxHashMap::default();
    let free = residual.free.iter();
    let mut free: Vec<(Place, &Vec<LeafId>)> = free.map(|(place, l)| (*place, l)).collect();
    free.sort_by_key(|(place, _)| *place);
    for (place, leaves) in free {
        let Some(first) = leaves.first() else {
            continue;
        };
        let object = residual.design.object(place.object);
        let Some(written) = object.written(place.fact) else {
            continue;
        };
        if let Some(k) = by_span.get(&written.span) {
            all[*k].leaves.extend(leaves);
            continue;
        }
        // What is asked of an article is no value of the job's text.
        if written.origin == Some(Origin::Required) {
            continue;
        }
        let fact = v.fact(object.kind, place.fact);
        let Some(cost) = may_cost(ruleset, &residual.design, place, fact) else {
            continue;
        };
        let now = residual.written[first.0 as usize];
        let said = ruleset.mending.of(object.kind, place.fact);
        let usual = said.map_or(&[][..], |c| c.among.as_slice());
        let toward = said.map_or(Toward::Either, |c| c.toward);
        let unkeyed = written.key == written.span;
        let sayable = |word: &str| {
            let short = v.short.get(&object.kind);
            !unkeyed || short.is_none_or(|s| s.may_be_unkeyed(place.fact, word))
        };
        let may = |bits: u64| {
            let word = fact
                .words()
                .and_then(|w| w.get(bits.trailing_zeros() as usize));
            let cost = ruleset.mending.cost_of_word(object.kind, place.fact, bits);
            cost.is_some() && word.is_none_or(|w| sayable(w))
        };
        let Some(options) = options(residual, *first, fact, now, (usual, toward), may) else {
            continue;
        };
        // Facts of one part change together: another cable, another device.
        let article = object.owner.is_some() || fact.settled_by == Settler::Maker;
        let (key, name) = if article {
            (None, residual.design.label(place.object))
        } else {
            (Some(place.fact), residual.label(place))
        };
        let key = (object.span, key);
        let group = *by_key.entry(key).or_insert_with(|| {
            groups.push(Group {
                name,
                knobs: Vec::new(),
            });
            groups.len() - 1
        });
        groups[group].knobs.push(all.len());
        by_span.insert(written.span, all.len());
        let set = residual.leaf(*first).set;
        all.push(Knob {
            place,
            span: written.span,
            leaves: leaves.clone(),
            now,
            options,
            group,
            cost,
            unknown: now == set && !residual.leaf(*first).is_point(&now),
        });
    }
    grafted(residual, grafts, (&mut all, &mut groups), &mut by_span);
    (all, groups)
}

/// Adds what may be put in from stock, each where it is written that nothing is there.
fn grafted(
    residual: &Residual,
    grafts: &[Graft],
    (all, groups): (&mut Vec<Knob>, &mut Vec<Group>),
    by_span: &mut FxHashMap<Span, usize>,
) {
    let mut alternatives: FxHashMap<Place, LeafId> = FxHashMap::default();
    for (leaf, info) in (0..).map(LeafId).zip(&residual.infos) {
        if info.what == What::Alternative {
            alternatives.entry(Place::of(info)).or_insert(leaf);
        }
    }
    for graft in grafts {
        let Some(leaf) = alternatives.get(&graft.place).copied() else {
            continue;
        };
        let Some(written) = residual.written_at(graft.place) else {
            continue;
        };
        if let Some(k) = by_span.get(&written.span) {
            all[*k].leaves.push(leaf);
            continue;
        }
        groups.push(Group {
            name: residual.label(graft.place),
            knobs: vec![all.len()],
        });
        by_span.insert(written.span, all.len());
        let parts = graft.parts.iter().enumerate();
        let parts = parts.map(|(i, (text, cost))| (1_u64 << (i + 1), text.clone(), *cost));
        all.push(Knob {
            place: graft.place,
            span: written.span,
            leaves: vec![leaf],
            now: Val::bits(1),
            options: Options::Parts(parts.collect()),
            group: groups.len() - 1,
            cost: 0.0,
            unknown: graft.unknown,
        });
    }
}

/// What stands for "no part put in": as written, each alternative is possible.
pub(super) fn untaken(knobs: &[Knob]) -> Vec<(LeafId, Val)> {
    let parts = knobs
        .iter()
        .filter(|k| matches!(k.options, Options::Parts(_)));
    parts
        .flat_map(|k| k.leaves.iter().map(|l| (*l, k.now)))
        .collect()
}

/// Whether a number lies in the direction that a change may take.
fn leads(toward: Toward, x: f64, (lo, hi): (f64, f64)) -> bool {
    match toward {
        Toward::Either => true,
        Toward::Less => x <= hi,
        Toward::More => x >= lo,
    }
}

fn options(
    residual: &Residual,
    leaf: LeafId,
    fact: &Fact,
    now: Val,
    (usual, toward): (&[f64], Toward),
    may: impl Fn(u64) -> bool,
) -> Option<Options> {
    let l = residual.leaf(leaf);
    let (pl, ph) = l.plausible;
    let fixed = |mut all: Vec<Val>| {
        all.retain(|v| *v != now);
        (!all.is_empty()).then_some(Options::Fixed(all))
    };
    let nearest = |mut all: Vec<f64>| {
        all.sort_by(|a, b| (a - now.lo).abs().total_cmp(&(b - now.lo).abs()));
        all.into_iter().map(Val::number).collect()
    };
    // What is not known yet may come out either way.
    let toward = if now == l.set { Toward::Either } else { toward };
    match (&fact.ty, l.kind) {
        (FactType::Quantity { .. }, LeafKind::Choice) => {
            let series = residual.ruleset.data.series.get(fact.series?.0 as usize)?;
            let at = series
                .get(now.bits.trailing_zeros() as usize)
                .copied()
                .unwrap_or(pl);
            let mut members: Vec<(usize, f64)> = series
                .iter()
                .copied()
                .enumerate()
                .filter(|(i, m)| {
                    l.domain.bits >> i & 1 != 0
                        && pl * (1.0 - 1e-9) <= *m
                        && *m <= ph * (1.0 + 1e-9)
                        && (usual.is_empty() || usual.iter().any(|u| (u - m).abs() <= 1e-9 * m))
                        && leads(toward, *m, (at, at))
                })
                .collect();
            let far = |m: f64| libm::log(m / at).abs();
            members.sort_by(|a, b| far(a.1).total_cmp(&far(b.1)));
            let bits = members.into_iter().map(|(i, _)| Val::bits(1 << i));
            fixed(bits.collect())
        }
        (FactType::Quantity { whole: true, .. }, _) => {
            let (lo, hi) = (pl.max(l.set.lo).ceil(), ph.min(l.set.hi).floor());
            if hi - lo > 16.0 || lo > hi {
                return None;
            }
            let all = (0..=16).map(|n| lo + f64::from(n));
            fixed(nearest(all.filter(|x| *x <= hi).collect()))
        }
        (FactType::Quantity { .. }, LeafKind::Number) if !usual.is_empty() => {
            let mut all = usual.to_vec();
            all.retain(|x| l.set.lo <= *x && *x <= l.set.hi);
            all.retain(|x| leads(toward, *x, (now.lo, now.hi)));
            fixed(nearest(all))
        }
        (FactType::Quantity { unit, .. }, LeafKind::Number) => {
            let (mut lo, mut hi) = (pl.max(l.set.lo), ph.min(l.set.hi));
            match toward {
                Toward::Either => {}
                Toward::Less => hi = hi.min(now.hi),
                Toward::More => lo = lo.max(now.lo),
            }
            let settled = now.bits == Presence::PRESENT || now == l.set;
            (settled && lo <= hi).then(|| Options::Number {
                lo,
                hi,
                unit: unit.clone(),
            })
        }
        (FactType::Choice { words, .. }, _) => {
            let at = now.bits.trailing_zeros() as usize;
            let mut ids: Vec<usize> = (0..words.len()).collect();
            ids.sort_by_key(|i| i.abs_diff(at));
            let bits = ids.into_iter().map(|i| 1_u64 << i);
            fixed(bits.filter(|bits| may(*bits)).map(Val::bits).collect())
        }
        (FactType::YesNo, _) => fixed(vec![Val::truth(TruthSet::T), Val::truth(TruthSet::F)]),
        (FactType::Some { words }, _) if words.len() <= 4 => {
            let n = u32::try_from(words.len()).ok()?;
            let sets = (1..1_u64 << n).map(|set| Val::bits(SetWords::known(set, n)));
            fixed(sets.collect())
        }
        _ => None,
    }
}

/// A value of a knob as a design writes it.
pub(super) fn value_text(residual: &Residual, knob: &Knob, val: &Val) -> String {
    if let Options::Parts(parts) = &knob.options {
        return parts
            .iter()
            .find(|(bit, ..)| *bit == val.bits)
            .map_or_else(|| "none".to_owned(), |(_, text, _)| text.clone());
    }
    let v = &residual.ruleset.vocabulary;
    let fact = residual.fact_at(knob.place);
    let Some(leaf) = knob.leaves.first() else {
        return String::new();
    };
    if let (FactType::Quantity { unit, .. }, Some(s)) = (&fact.ty, fact.series)
        && residual.leaf(*leaf).kind == LeafKind::Choice
    {
        return match v.series(s).members.get(val.bits.trailing_zeros() as usize) {
            Some(m) => m.shown(unit),
            None => "none".to_owned(),
        };
    }
    crate::check::show_val(val, fact, v)
}
