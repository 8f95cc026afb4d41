//! How far one fact can go before a verdict changes, and which rule stops it.
//!
//! A bound is the end of the largest connected stretch around the written value over which set
//! evaluation certifies every verdict that holds now: verdicts are not monotone, so what lies beyond
//! a bound may hold again, and is then reported.

use std::sync::Arc;

use super::called::Called;
use super::residual::{Engine, Place, Residual, can_be_free};
use crate::check::Subject;
use crate::design::model::{Design, Status};
use crate::expression::{Budget, LeafId, LeafKind, Presence, Val};
use crate::quantity::{TruthSet, Unit};
use crate::ruleset::{Ruleset, Severity, Stage};
use crate::source::Span;
use crate::vocabulary::{Fact, FactIx, FactType, Settler};

/// Steps of a bisection: enough to come within one part in 10¹² of a bound.
const STEPS: usize = 48;
/// Steps where a bound is only shown with a few digits.
const FEW_STEPS: usize = 26;
/// Objects of a design up to which a check looks for margins.
const MOST_OBJECTS: usize = 1500;
/// Boxes of a verdict where a bound is only shown: more of them hardly ever make it longer.
const FEW_BOXES: Budget = Budget(8);
/// Whole numbers that are tried one by one; what lies farther is looked at as one range.
const MOST_WHOLE: u32 = 64;
/// Doublings while looking for the first value that breaks.
const DOUBLINGS: usize = 60;

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
    /// Beyond the stop the rule holds again from here on.
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
    /// The fact.
    pub place: Place,
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
    /// Only the members of a series exist.
    pub series: bool,
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
    /// The fact.
    pub place: Place,
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
    /// Operations that were linked, worked out again or looked at: what looking for them cost.
    pub work: u64,
}

/// The facts of a design that can be bounded: written quantities, choices and yes-or-no facts of
/// the designer and the site. `named` picks by `fact` or `object.fact`; all, if it is empty.
#[must_use]
pub fn bounded_facts(ruleset: &Ruleset, design: &Design, named: &[String]) -> Vec<Place> {
    let named: Vec<Called<'_>> = named.iter().map(|n| Called::new(n)).collect();
    let mut all = Vec::new();
    for id in design.ids() {
        let object = design.object(id);
        if object.phantom || object.status == Status::ToGo {
            continue;
        }
        let kind = ruleset.vocabulary.kind(object.kind);
        for (ix, slot) in (0_u16..).zip(&object.facts) {
            let Some(written) = slot else { continue };
            let fact = kind.fact(FactIx(ix));
            let asked = if named.is_empty() {
                matches!(fact.ty, FactType::Quantity { .. }) && fact.name != "status"
            } else {
                named.iter().any(|n| n.is(ruleset, design, id, fact))
            };
            if asked && can_be_free(ruleset, fact, &written.value) {
                all.push(Place {
                    object: id,
                    fact: FactIx(ix),
                });
            }
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
    let residual = Residual::new(ruleset, design, facts, stage);
    let mut engine = residual.engine();
    if brief {
        engine.budget = FEW_BOXES;
    }
    let now: Vec<TruthSet> = (0..residual.verdicts.len())
        .map(|v| engine.truth(v, &[]))
        .collect();
    let mut out = AllBounds {
        undecided: now.iter().filter(|t| **t == TruthSet::U).count(),
        ..AllBounds::default()
    };
    let mut least = brief.then(Least::default);
    for place in facts {
        let Some(leaves) = residual.free.get(place) else {
            continue;
        };
        for leaf in leaves.clone() {
            let fact = residual.fact(leaf);
            // A margin is told for what holds and is no mere advice.
            let depending: Vec<usize> = engine
                .by_leaf(leaf)
                .into_iter()
                .filter(|v| {
                    !brief
                        || now[*v] == TruthSet::T && residual.rule(*v).severity != Severity::Advice
                })
                .collect();
            match (&fact.ty, residual.leaf(leaf).kind) {
                (FactType::Quantity { unit, .. }, _) => {
                    let found = quantity(
                        &mut engine,
                        (*place, leaf),
                        unit,
                        (&depending, &now),
                        least.as_mut(),
                    );
                    out.bounds.extend(found);
                }
                (_, LeafKind::Choice | LeafKind::Truth) => {
                    if let Some(c) = words(&mut engine, *place, leaf, &depending, &now) {
                        out.choices.push(c);
                    }
                }
                _ => {}
            }
        }
    }
    out.work = residual.program.ops.len() as u64 + engine.work();
    out
}

fn span_of(residual: &Residual, place: Place) -> Span {
    let object = residual.design.object(place.object);
    object
        .facts
        .get(place.fact.0 as usize)
        .and_then(Option::as_ref)
        .map_or(object.head, |w| w.span)
}

fn quantity(
    engine: &mut Engine<'_>,
    (place, leaf): (Place, LeafId),
    unit: &Unit,
    (depending, now): (&[usize], &[TruthSet]),
    mut least: Option<&mut Least>,
) -> Option<Bound> {
    let residual = engine.residual;
    let fact = residual.fact(leaf);
    let info = residual.info(leaf);
    let series = residual.leaf(leaf).kind == LeafKind::Choice;
    let whole = matches!(fact.ty, FactType::Quantity { whole: true, .. });
    let brief = least.is_some();
    let ends = ends(residual, leaf)?;
    let set = residual.leaf(leaf).domain;
    let way = |up| Way {
        leaf,
        up,
        near: if up { ends.0 } else { ends.1 },
        from: if up { ends.1 } else { ends.0 },
        end: if up { set.hi } else { set.lo },
        brief,
    };
    let mut end = |up: bool| {
        let mut way = way(up);
        if series || whole {
            let all = beside(residual, &way);
            let found = steps(engine, &way, &all, depending, now);
            match all.last() {
                Some((last, _)) if whole && found == End::Free && *last != way.end => {
                    (way.near, way.from) = (*last, *last);
                }
                _ => return found,
            }
        }
        let Some(least) = &mut least else {
            return stretch(engine, &way, depending, now);
        };
        if least.has_more(engine, &way, depending) {
            return End::Free;
        }
        let end = stretch(engine, &way, depending, now);
        if let End::Stopped(s) = &end {
            least.note(&way, s.last);
        }
        end
    };
    let (mut low, mut high) = (end(false), end(true));
    if whole {
        // Between whole numbers nothing can be written.
        if let End::Stopped(s) = &mut low {
            s.last = (s.last - 1e-9).ceil();
        }
        if let End::Stopped(s) = &mut high {
            s.last = (s.last + 1e-9).floor();
        }
    }
    let cures = [false, true]
        .into_iter()
        .filter(|_| !brief)
        .flat_map(|up| cures(engine, &way(up), series || whole, depending, now))
        .collect();
    Some(Bound {
        place,
        line: info.line,
        of: residual.design.label(place.object),
        fact: fact.name.clone(),
        settled_by: settler(residual, place, fact),
        unit: unit.clone(),
        written: ends,
        span: span_of(residual, place),
        low,
        high,
        cures,
        series,
    })
}

/// Who settles a fact: what is found as it is, is the site's.
#[must_use]
pub fn settler(residual: &Residual, place: Place, fact: &Fact) -> Settler {
    let object = residual.design.object(place.object);
    if fact.settled_by == Settler::Designer && object.status == Status::Existing {
        Settler::Site
    } else {
        fact.settled_by
    }
}

/// Least and greatest value as written; none of what is no number, or has no end.
fn ends(residual: &Residual, leaf: LeafId) -> Option<(f64, f64)> {
    let written = residual.written[leaf.0 as usize];
    if residual.leaf(leaf).kind == LeafKind::Choice {
        let all = members(residual, leaf)?;
        let words = written.bits & !Presence::NO_WORD;
        let last = words.checked_ilog2()?;
        let first = words.trailing_zeros();
        return Some((*all.get(first as usize)?, *all.get(last as usize)?));
    }
    let number = written.bits == Presence::PRESENT;
    let ends = number && written.lo.is_finite() && written.hi.is_finite();
    ends.then_some((written.lo, written.hi))
}

fn members(residual: &Residual, leaf: LeafId) -> Option<&[f64]> {
    let series = residual.fact(leaf).series?;
    residual
        .ruleset
        .data
        .series
        .get(series.0 as usize)
        .map(Vec::as_slice)
}

/// The next values of a fact that has none in between, ever farther from what is written: members
/// of its series, or so many whole numbers.
fn beside(residual: &Residual, way: &Way) -> Vec<(f64, Val)> {
    let domain = residual.leaf(way.leaf).domain;
    let beyond = |x: f64| if way.up { x > way.from } else { x < way.from };
    if let Some(all) = members(residual, way.leaf) {
        let mut found: Vec<(f64, Val)> = (0..)
            .zip(all)
            .filter(|(k, x)| domain.bits >> k & 1 != 0 && beyond(**x))
            .map(|(k, x)| (*x, Val::bits(1 << k)))
            .collect();
        if !way.up {
            found.reverse();
        }
        return found;
    }
    let written = residual.written[way.leaf.0 as usize];
    (1..=MOST_WHOLE)
        .map(|k| {
            let k = f64::from(k);
            let x = if way.up { way.from + k } else { way.from - k };
            (
                x,
                Val {
                    lo: x,
                    hi: x,
                    ..written
                },
            )
        })
        .take_while(|(x, _)| (domain.lo..=domain.hi).contains(x))
        .collect()
}

fn stop(engine: &Engine<'_>, verdict: usize, last: f64) -> Stop {
    let rule = engine.residual.rule(verdict);
    Stop {
        last,
        rule: rule.id.clone(),
        title: rule.title.clone(),
        severity: rule.severity,
        subject: engine.residual.subject(verdict),
        clause: rule.origin.clause.clone(),
        breaks: true,
        again_from: None,
    }
}

/// Goes from value to value until a verdict that holds now does not.
fn steps(
    engine: &mut Engine<'_>,
    way: &Way,
    all: &[(f64, Val)],
    depending: &[usize],
    now: &[TruthSet],
) -> End {
    let mut good = way.from;
    for (x, val) in all {
        let with = [(way.leaf, *val)];
        for v in depending {
            if now[*v] == TruthSet::T && !engine.holds(*v, &with) {
                let mut s = stop(engine, *v, good);
                s.breaks = engine.fails(*v, &with);
                return End::Stopped(s);
            }
        }
        good = *x;
    }
    End::Free
}

/// A direction in which a number goes.
struct Way {
    leaf: LeafId,
    up: bool,
    /// Where what is certified begins.
    near: f64,
    from: f64,
    end: f64,
    brief: bool,
}

impl Way {
    /// What is certified and everything up to `x`.
    fn reach(&self, engine: &Engine<'_>, x: f64) -> [(LeafId, Val); 1] {
        let w = engine.residual.written[self.leaf.0 as usize];
        let (lo, hi) = if self.up {
            (self.near, x)
        } else {
            (x, self.near)
        };
        let v = Val { lo, hi, ..w };
        [(self.leaf, v)]
    }

    fn point(&self, engine: &Engine<'_>, x: f64) -> [(LeafId, Val); 1] {
        let w = engine.residual.written[self.leaf.0 as usize];
        [(self.leaf, Val { lo: x, hi: x, ..w })]
    }

    /// Places away from the written value: ever farther, to the end.
    fn away(&self, growth: f64) -> Vec<f64> {
        let mut step = (self.from.abs() * 0.05).max(1e-9);
        let mut x = self.from;
        let mut all = Vec::new();
        for _ in 0..DOUBLINGS {
            x = if self.up { x + step } else { x - step };
            if (self.up && x >= self.end) || (!self.up && x <= self.end) {
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
struct Least(Vec<f64>);

impl Least {
    /// Whether all goes on to hold up to where more room is left than any report shows.
    fn has_more(&self, engine: &mut Engine<'_>, way: &Way, depending: &[usize]) -> bool {
        let Some(room) = self.0.get(MOST_MARGINS - 1) else {
            return false;
        };
        // A little farther, so that of several with the same room each is told.
        let far = way.from.abs() * room * (1.0 + 1e-5);
        let x = if way.up {
            way.from + far
        } else {
            way.from - far
        };
        if (way.up && x >= way.end) || (!way.up && x <= way.end) {
            return false;
        }
        let with = way.reach(engine, x);
        depending.iter().all(|v| engine.holds(*v, &with))
    }

    fn note(&mut self, way: &Way, last: f64) {
        let room = ((last - way.from) / way.from).abs();
        if room >= LEAST_ROOM {
            let at = self.0.partition_point(|r| *r <= room);
            self.0.insert(at, room);
            self.0.truncate(MOST_MARGINS);
        }
    }
}

/// The value between two where something changes, on the side of `good`.
fn narrow(mut good: f64, mut bad: f64, steps: usize, mut holds: impl FnMut(f64) -> bool) -> f64 {
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

fn stretch(engine: &mut Engine<'_>, way: &Way, depending: &[usize], now: &[TruthSet]) -> End {
    let mut end = way.end;
    let mut stopped: Option<usize> = None;
    for v in depending.iter().filter(|v| now[**v] == TruthSet::T) {
        // Most verdicts go one way: the far end alone tells that the whole is not certain, for a
        // small part of what refining the whole costs.
        let over = |engine: &mut Engine<'_>, x: f64| {
            let (with, far) = (way.reach(engine, x), way.point(engine, x));
            if engine.plain(*v, &with) == TruthSet::T {
                return true;
            }
            let breaks = x.is_finite() && engine.plain(*v, &far) == TruthSet::F;
            !breaks && engine.holds(*v, &with)
        };
        if over(engine, end) {
            continue;
        }
        // The first place, ever farther, up to which it is not certain any more.
        let mut good = way.from;
        let mut bad = end;
        for x in way.away(2.0) {
            if (way.up && x >= end) || (!way.up && x <= end) {
                break;
            }
            if over(engine, x) {
                good = x;
            } else {
                bad = x;
                break;
            }
        }
        if !bad.is_finite() {
            continue;
        }
        let steps = if way.brief { FEW_STEPS } else { STEPS };
        end = narrow(good, bad, steps, |x| over(engine, x));
        stopped = Some(*v);
    }
    let Some(v) = stopped else { return End::Free };
    let mut s = stop(engine, v, end);
    if way.brief {
        return End::Stopped(s);
    }
    // One part in a million further: a point that fails shows that the bound is tight.
    let beyond = |share: f64| {
        let step = (end.abs() * share).max(1e-12);
        if way.up { end + step } else { end - step }
    };
    let at = |engine: &mut Engine<'_>, x: f64| {
        let with = way.point(engine, x);
        engine.holds(v, &with)
    };
    let past = way.point(engine, beyond(1e-6));
    s.breaks = engine.fails(v, &past);
    if s.breaks {
        let far = Way { from: end, ..*way };
        let mut bad = beyond(1e-6);
        for x in far.away(1.5) {
            if at(engine, x) {
                s.again_from = Some(narrow(x, bad, STEPS, |y| at(engine, y)));
                break;
            }
            bad = x;
        }
    }
    End::Stopped(s)
}

/// The first values in a direction for which what is broken now would hold.
fn cures(
    engine: &mut Engine<'_>,
    way: &Way,
    stepwise: bool,
    depending: &[usize],
    now: &[TruthSet],
) -> Vec<Cure> {
    let tried: Vec<(f64, Val)> = if stepwise {
        beside(engine.residual, way)
    } else {
        let points = way.away(1.5).into_iter();
        points.map(|x| (x, way.point(engine, x)[0].1)).collect()
    };
    let mut cures = Vec::new();
    for v in depending.iter().filter(|v| now[**v] == TruthSet::F) {
        let mut holds = |val: Val| engine.holds(*v, &[(way.leaf, val)]);
        let Some(at) = tried.iter().position(|(_, val)| holds(*val)) else {
            continue;
        };
        let good = tried[at].0;
        let from = if stepwise {
            good
        } else {
            let bad = at.checked_sub(1).map_or(way.from, |k| tried[k].0);
            narrow(good, bad, STEPS, |y| {
                engine.holds(*v, &way.point(engine, y))
            })
        };
        cures.push(Cure {
            rule: engine.residual.rule(*v).id.clone(),
            subject: engine.residual.subject(*v),
            from,
            upward: way.up,
        });
    }
    cures
}

fn words(
    engine: &mut Engine<'_>,
    place: Place,
    leaf: LeafId,
    depending: &[usize],
    now: &[TruthSet],
) -> Option<Choices> {
    let residual = engine.residual;
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
        let with = [(leaf, Val::bits(bits))];
        let broken = depending
            .iter()
            .find(|v| now[**v] == TruthSet::T && !engine.holds(**v, &with));
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
        place,
        of: residual.design.label(place.object),
        fact: fact.name.clone(),
        settled_by: settler(residual, place, fact),
        written: name(written.bits),
        span: span_of(residual, place),
        fine,
        breaking,
    })
}
