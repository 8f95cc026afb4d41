//! How far one fact can go before a verdict changes, and which rule stops it.
//!
//! A bound is the end of the largest connected stretch around the written value over which set
//! evaluation certifies every verdict that holds now: verdicts are not monotone, so what lies beyond
//! a bound may hold again, and is then reported.

mod reach;

use std::sync::Arc;

use rustc_hash::{FxHashMap, FxHashSet};

use super::called::Called;
use super::residual::{Engine, Place, Residual, all_written, can_be_free, with_all};
use crate::check::Subject;
use crate::design::model::{Design, Possible, Status};
use crate::expression::{Budget, Fuel, LeafId, LeafKind, Presence, Val};
use crate::quantity::{TruthSet, Unit};
use crate::ruleset::{Ruleset, Severity, Stage};
use crate::source::Span;
use crate::vocabulary::{FactIx, FactType, Member, Settler};
pub(super) use reach::narrow;
use reach::{Least, Way, number_cures, same, series_cures, steps, stretch};

/// Objects of a design up to which a check looks for margins.
const MOST_OBJECTS: usize = 1500;
/// Boxes of a verdict where a bound is only shown: more of them hardly ever make it longer.
const FEW_BOXES: Budget = Budget(8);
/// What looking for margins may cost.
const MARGINS: Fuel = Fuel(40_000_000);
/// What looking for all bounds may cost.
const ALL: Fuel = Fuel(600_000_000);

/// The rule that stops a fact.
#[derive(Clone, Debug, PartialEq)]
pub struct Stop {
    /// The last value that is certified, in SI units.
    pub last: f64,
    /// The rule.
    pub rule: String,
    /// Its title.
    pub title: String,
    /// How its failure weighs.
    pub severity: Severity,
    /// Its subject.
    pub subject: Subject,
    /// Standard, edition, clause.
    pub clause: Option<String>,
    /// Right beyond the stop the rule breaks as a point; else it only ceases to be certain.
    pub breaks: bool,
    /// Beyond the stop the rule holds again from here on, and still applies.
    pub again_from: Option<f64>,
}

/// One end of a bound.
#[derive(Clone, Debug, PartialEq)]
pub enum End {
    /// Nothing stops it before the end of what the fact may be.
    Free,
    /// A rule stops it.
    Stopped(Stop),
}

/// A rule that is broken now and would hold for other values of the fact.
#[derive(Clone, Debug, PartialEq)]
pub struct Cure {
    /// The rule.
    pub rule: String,
    /// Its subject.
    pub subject: Subject,
    /// The first value at which it holds, in SI units.
    pub from: f64,
    /// It holds from there upward; else downward.
    pub upward: bool,
}

/// How far a quantity can go.
#[derive(Clone, Debug)]
pub struct Bound {
    /// The line of a per-line fact.
    pub line: Option<u8>,
    /// The object, as messages name it.
    pub of: String,
    /// The fact's name.
    pub fact: String,
    /// Who settles it.
    pub settled_by: Settler,
    /// Its unit.
    pub unit: Unit,
    /// As written, in SI units.
    pub written: (f64, f64),
    /// Where it stands.
    pub span: Span,
    /// Downward.
    pub low: End,
    /// Upward.
    pub high: End,
    /// Rules that are broken now and that this fact could mend.
    pub cures: Vec<Cure>,
    /// The members of its series, where only they exist.
    pub series: Vec<Member>,
}

impl Bound {
    /// The room to the nearer stop as a share of the written value.
    #[must_use]
    pub fn room(&self) -> Option<f64> {
        let (lo, hi) = self.written;
        let share = |end: &End, from: f64| match end {
            End::Free => None,
            End::Stopped(s) if from != 0.0 => Some(((s.last - from) / from).abs()),
            End::Stopped(_) => None,
        };
        match (share(&self.low, lo), share(&self.high, hi)) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }
}

/// Words of a choice that leave every verdict that holds now as it is, and those that break one.
#[derive(Clone, Debug)]
pub struct Choices {
    /// The object, as messages name it.
    pub of: String,
    /// The fact's name.
    pub fact: String,
    /// Who settles it.
    pub settled_by: Settler,
    /// As written.
    pub written: String,
    /// Where it stands.
    pub span: Span,
    /// Other words that break nothing.
    pub fine: Vec<String>,
    /// Other words and the first rule each breaks, with its subject.
    pub breaking: Vec<(String, String, Subject)>,
}

/// Bounds of a design.
#[derive(Clone, Debug, Default)]
pub struct AllBounds {
    /// Quantities.
    pub bounds: Vec<Bound>,
    /// Choices.
    pub choices: Vec<Choices>,
    /// Verdicts that are undecided as written and so bound nothing.
    pub undecided: usize,
    /// Facts that were not looked at any more: there is a limit to what all may cost.
    pub left: usize,
    /// Operations that were linked, worked out again or looked at: what looking for them cost.
    pub work: u64,
}

/// The facts of a design that can be bounded: written quantities, choices and yes-or-no facts of
/// the designer and the site. `named` picks by `fact` or `object.fact`; all, if it is empty.
#[must_use]
pub fn bounded_facts(ruleset: &Ruleset, design: &Design, named: &[String]) -> Vec<Place> {
    let named: Vec<Called<'_>> = named.iter().map(|n| Called::new(n)).collect();
    let mut all = Vec::new();
    for (place, written) in all_written(design) {
        let object = design.object(place.object);
        if !object.stays() {
            continue;
        }
        let fact = ruleset.vocabulary.fact(object.kind, place.fact);
        let asked = if named.is_empty() {
            matches!(fact.ty, FactType::Quantity { .. }) && fact.name != "status"
        } else {
            let mut named = named.iter();
            named.any(|n| n.is(ruleset, design, place.object, fact))
        };
        if asked && can_be_free(ruleset, fact, &written.value) {
            all.push(place);
        }
    }
    all
}

/// The facts whose value may turn out other than written: lengths, impedances, demands; no nominal
/// values, no makers' data, no word of the network. Their bounds are margins worth telling.
fn drifting_facts(ruleset: &Ruleset, design: &Design) -> Vec<Place> {
    let mut all = bounded_facts(ruleset, design, &[]);
    all.retain(|p| {
        let fact = ruleset
            .vocabulary
            .fact(design.object(p.object).kind, p.fact);
        let FactType::Quantity { unit, whole, .. } = &fact.ty else {
            return false;
        };
        let counts = *whole || unit.text().is_empty() || unit.text() == "1";
        let told = matches!(
            fact.settled_by,
            Settler::Designer | Settler::Site | Settler::Test | Settler::Installer
        );
        told && !fact.exact && fact.series.is_none() && !counts && !unit.is_affine()
    });
    all
}

/// Bounds of some facts of a design.
#[must_use]
pub fn bounds(ruleset: &Arc<Ruleset>, design: &Design, facts: &[Place], stage: Stage) -> AllBounds {
    search(ruleset, design, facts, stage, false)
}

/// Facts of which a report shows the margin: those with the least room.
pub const MOST_MARGINS: usize = 3;
/// What stands right at its limit by design says nothing about a slip.
pub const LEAST_ROOM: f64 = 1e-6;

/// Margins for a report: of the facts that may drift the ends with the least room, with the digits
/// that are shown, and without looking for what would mend or hold again. Ends that have more room
/// are told as free. None of a design so large that nobody would read them.
#[must_use]
pub fn margins(ruleset: &Arc<Ruleset>, design: &Design, stage: Stage) -> AllBounds {
    if design.objects.len() > MOST_OBJECTS {
        return AllBounds::default();
    }
    let facts = drifting_facts(ruleset, design);
    search(ruleset, design, &facts, stage, true)
}

fn search(
    ruleset: &Arc<Ruleset>,
    design: &Design,
    facts: &[Place],
    stage: Stage,
    brief: bool,
) -> AllBounds {
    let lines = lines_of(design, facts);
    let mut free = facts.to_vec();
    free.extend(lines.values().flatten());
    free.sort_unstable();
    free.dedup();
    let residual = Residual::of(ruleset, design.clone(), &free, stage);
    let mut engine = residual.engine();
    let work = if brief { MARGINS } else { ALL };
    if brief {
        engine.budget = FEW_BOXES;
    }
    let now = engine.as_written(work);
    engine.limit(work);
    let mut out = AllBounds {
        undecided: now.iter().filter(|t| **t == TruthSet::U).count(),
        ..AllBounds::default()
    };
    let mut least = brief.then(Least::default);
    let mut told: FxHashSet<(Span, FactIx)> = FxHashSet::default();
    for place in facts {
        let line = (span_of(&residual, *place), place.fact);
        let together = lines.get(&line);
        if together.is_some() && !told.insert(line) {
            continue;
        }
        let together = together.map_or(std::slice::from_ref(place), |all| all);
        let leaves = together.iter().filter_map(|p| residual.free.get(p));
        let leaves: Vec<LeafId> = leaves.flatten().copied().collect();
        if leaves.is_empty() {
            continue;
        }
        for moved in moved_together(design, *place, &leaves) {
            let leaf = moved[0];
            let before = (out.bounds.len(), out.choices.len());
            let fact = residual.fact(leaf);
            // A margin is told for what holds and is no mere advice.
            let mut held = engine.by_leaves(moved);
            let mut broken = held.clone();
            held.retain(|v| {
                let advice = residual.rule(*v).severity == Severity::Advice;
                now[*v] == TruthSet::T && !(brief && advice)
            });
            broken.retain(|v| now[*v] == TruthSet::F && !brief);
            match (&fact.ty, residual.leaf(leaf).kind) {
                (FactType::Quantity { unit, .. }, _) => {
                    let found = quantity(
                        &mut engine,
                        (together, moved),
                        unit,
                        (&held, &broken),
                        least.as_mut(),
                    );
                    out.bounds.extend(found);
                }
                (_, LeafKind::Choice | LeafKind::Truth) => {
                    if let Some(c) = words(&mut engine, together, moved, &held) {
                        out.choices.push(c);
                    }
                }
                _ => {}
            }
            if engine.is_spent() {
                // What the limit cut short is no bound of the fact.
                out.bounds.truncate(before.0);
                out.choices.truncate(before.1);
                out.left += 1;
            }
        }
    }
    if brief && engine.is_spent() {
        // The least room of some says nothing of the others.
        out = AllBounds::default();
    }
    out.work = residual.program.ops.len() as u64 + engine.work();
    out
}

/// Facts that one place in the text stands for, by a `define` or a repetition: they move together.
/// Of these with some facts among them.
fn lines_of(design: &Design, facts: &[Place]) -> FxHashMap<(Span, FactIx), Vec<Place>> {
    let of = |place: &Place| design.object(place.object).written(place.fact);
    let asked: FxHashMap<_, _> = facts
        .iter()
        .filter_map(|p| Some(((of(p)?.span, p.fact), &of(p)?.value)))
        .collect();
    let mut all: FxHashMap<_, Vec<Place>> = FxHashMap::default();
    for (place, written) in all_written(design) {
        let line = (written.span, place.fact);
        // What differs by the number of the one that is being made moves alone, and so does a line.
        let alike = asked
            .get(&line)
            .is_some_and(|value| **value == written.value)
            && !matches!(written.value, Possible::PerLine(_));
        if alike && design.object(place.object).stays() {
            all.entry(line).or_default().push(place);
        }
    }
    all.retain(|_, places| places.len() > 1);
    all
}

/// What a bound is of.
fn label_of(residual: &Residual, together: &[Place]) -> String {
    let first = together.first().map(|p| residual.design.label(p.object));
    with_all(first.unwrap_or_default(), together.len())
}

/// The leaves of a fact that move together: all, if it is written once for all lines; else each
/// alone.
fn moved_together<'l>(
    design: &Design,
    place: Place,
    leaves: &'l [LeafId],
) -> impl Iterator<Item = &'l [LeafId]> {
    let written = design.object(place.object).written(place.fact);
    let apart = written.is_some_and(|w| matches!(w.value, Possible::PerLine(_)));
    leaves.chunks(if apart { 1 } else { leaves.len().max(1) })
}

fn span_of(residual: &Residual, place: Place) -> Span {
    let head = residual.design.object(place.object).head;
    residual.written_at(place).map_or(head, |w| w.span)
}

fn quantity(
    engine: &mut Engine<'_>,
    (together, leaves): (&[Place], &[LeafId]),
    unit: &Unit,
    (held, broken): (&[usize], &[usize]),
    mut least: Option<&mut Least>,
) -> Option<Bound> {
    let residual = engine.residual;
    let (place, leaf) = (*together.first()?, *leaves.first()?);
    let written = residual.written[leaf.0 as usize];
    let fact = residual.fact(leaf);
    let line = residual.info(leaf).line.filter(|_| leaves.len() == 1);
    let series = residual.leaf(leaf).kind == LeafKind::Choice;
    let (low, high, ends, cures);
    if series {
        let all = members(residual, leaf)?;
        // Of what is written as absent there is no member to go from.
        let words = written.bits & !Presence::NO_WORD;
        let last = words.checked_ilog2()? as usize;
        let first = words.trailing_zeros() as usize;
        ends = (*all.get(first)?, *all.get(last)?);
        let below = (0..first).rev();
        low = steps(engine, leaves, (&all, ends.0), below, held);
        let above = last + 1..all.len();
        high = steps(engine, leaves, (&all, ends.1), above, held);
        cures = series_cures(engine, leaves, &all, broken);
    } else {
        if written.bits != Presence::PRESENT || !written.lo.is_finite() || !written.hi.is_finite() {
            return None;
        }
        let set = residual.leaf(leaf).domain;
        ends = (written.lo, written.hi);
        let brief = least.is_some();
        let way = |up| Way {
            leaves,
            written,
            whole: matches!(fact.ty, FactType::Quantity { whole: true, .. }),
            up,
            from: if up { written.hi } else { written.lo },
            end: if up { set.hi } else { set.lo },
            brief,
        };
        let mut end = |up: bool| {
            let way = way(up);
            let Some(least) = &mut least else {
                return stretch(engine, &way, held);
            };
            if least.has_more(engine, &way, held) {
                return End::Free;
            }
            let end = stretch(engine, &way, held);
            if let End::Stopped(s) = &end {
                least.note(&way, s.last);
            }
            end
        };
        (low, high) = (end(false), end(true));
        cures = [false, true]
            .into_iter()
            .filter(|_| !brief)
            .flat_map(|up| number_cures(engine, &way(up), broken))
            .collect();
    }
    Some(Bound {
        line,
        of: label_of(residual, together),
        fact: fact.name.clone(),
        settled_by: settler(residual, place),
        unit: unit.clone(),
        written: ends,
        span: span_of(residual, place),
        low,
        high,
        cures,
        series: fact.series.filter(|_| series).map_or(Vec::new(), |s| {
            residual.ruleset.vocabulary.series(s).members.clone()
        }),
    })
}

/// Who settles a fact: what is found as it is, is the site's.
#[must_use]
pub fn settler(residual: &Residual, place: Place) -> Settler {
    let fact = residual.fact_at(place);
    let object = residual.design.object(place.object);
    if fact.settled_by == Settler::Designer && object.status == Status::Existing {
        Settler::Site
    } else {
        fact.settled_by
    }
}

fn members(residual: &Residual, leaf: LeafId) -> Option<Vec<f64>> {
    let series = residual.fact(leaf).series?;
    residual.ruleset.data.series.get(series.0 as usize).cloned()
}

fn words(
    engine: &mut Engine<'_>,
    together: &[Place],
    leaves: &[LeafId],
    held: &[usize],
) -> Option<Choices> {
    let residual = engine.residual;
    let (place, leaf) = (*together.first()?, *leaves.first()?);
    let fact = residual.fact(leaf);
    let v = &residual.ruleset.vocabulary;
    let written = residual.written[leaf.0 as usize];
    let name = |bits: u64| crate::check::show_val(&Val::bits(bits), fact, v);
    let all: Vec<u64> = match &fact.ty {
        FactType::Choice { words, .. } => (0..words.len()).map(|i| 1 << i).collect(),
        FactType::YesNo => vec![1, 2],
        _ => return None,
    };
    let (mut fine, mut breaking) = (Vec::new(), Vec::new());
    for bits in all {
        if bits & written.bits != 0 {
            continue;
        }
        let with = same(leaves, Val::bits(bits));
        let broken = held.iter().find(|v| !engine.holds(**v, &with));
        match broken {
            None => fine.push(name(bits)),
            Some(b) => breaking.push((
                name(bits),
                residual.rule(*b).id.clone(),
                residual.subject(*b),
            )),
        }
    }
    Some(Choices {
        of: label_of(residual, together),
        fact: fact.name.clone(),
        settled_by: settler(residual, place),
        written: name(written.bits),
        span: span_of(residual, place),
        fine,
        breaking,
    })
}
