//! Readings to take: what each should come out as, and between which values the rules take it.
//!
//! Every thing that can be tested gets a record whose readings are all free, and the verdicts are
//! linked with them. A reading is asked for where a verdict breaks without it, or where one turns on
//! it. Its limits are certified from outside: each value beyond a limit breaks a rule whatever the
//! other readings are.

use rustc_hash::{FxHashMap, FxHashSet};

use super::super::explain::facts_read;
use super::super::residual::{Engine, Place, Residual};
use crate::check::{Linker, show_val};
use crate::design::model::{Design, Object, ObjectId, Possible, Status, Written};
use crate::expression::{Flags, LeafId, LeafKind, Presence, SetWords, Val};
use crate::quantity::{TruthSet, Unit};
use crate::ruleset::{Ruleset, Severity, Stage};
use crate::vocabulary::{Fact, FactIx, FactType, KindId, NameRole, Settler};

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

impl Accepted {
    /// Whether nothing is refused.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.low.is_none() && self.high.is_none() && self.words.is_none()
    }
}

/// One reading to take.
#[derive(Clone, Debug)]
pub struct ToRead {
    /// What is tested.
    pub object: ObjectId,
    /// The same, as messages name it.
    pub of: String,
    /// What it is: `circuit`.
    pub kind: String,
    /// The reading.
    pub reading: String,
    /// What it is.
    pub means: String,
    /// Its unit, for a number.
    pub unit: Option<Unit>,
    /// Words to choose from, for another.
    pub words: Vec<String>,
    /// A requirement breaks without it.
    pub needed: bool,
    /// The rules that turn on it.
    pub rules: Vec<String>,
    /// What it should come out as, in SI units, worked out from the design.
    pub expected: Option<(f64, f64)>,
    /// What requirements accept.
    pub required: Accepted,
    /// What is accepted without a second look: what cautions and advice accept.
    pub usual: Accepted,
    /// What was read already.
    pub read: Option<String>,
}

/// The readings to take of a design.
pub(super) fn to_read(ruleset: &Ruleset, design: &Design) -> Vec<ToRead> {
    let mut records: Vec<(KindId, FactIx)> = Vec::new();
    for e in &ruleset.expectations {
        if !records.contains(&(e.record, e.of)) {
            records.push((e.record, e.of));
        }
    }
    let mut bare = design.clone();
    let mut opened = design.clone();
    let mut free: Vec<(Place, ObjectId)> = Vec::new();
    for (record, of) in &records {
        bare.closed.push(*record);
        opened.closed.push(*record);
        for (object, filled) in tested(ruleset, design, *record, *of) {
            let Ok(id) = u32::try_from(opened.objects.len()) else {
                break;
            };
            let (new, places) = open_record(ruleset, design, *record, *of, object, &filled);
            free.extend(places.into_iter().map(|fact| {
                let place = Place {
                    object: ObjectId(id),
                    fact,
                };
                (place, object)
            }));
            opened.objects.push(new);
        }
    }
    let broken = broken_without(ruleset, &bare);
    let places: Vec<Place> = free.iter().map(|(p, _)| *p).collect();
    let residual = Residual::new(ruleset, &opened, &places, Stage::Verify);
    let mut engine = residual.engine();
    let by_leaf = engine.by_leaf();
    let mut asking = Asking {
        ruleset,
        read: FxHashMap::default(),
    };
    let mut linker = Linker::new(ruleset, design);
    let mut all: Vec<ToRead> = Vec::new();
    for (place, object) in &free {
        let Some([leaf]) = residual.free.get(place).map(Vec::as_slice) else {
            continue;
        };
        let turning: Vec<usize> = by_leaf.get(leaf).map_or(Vec::new(), |all| {
            let turns = |v: &&usize| engine.truth(**v, &[]) == TruthSet::U;
            all.iter().filter(turns).copied().collect()
        });
        let touching: Vec<&usize> = by_leaf.get(leaf).into_iter().flatten().collect();
        let kind = residual.design.object(place.object).kind;
        // A rule that only asks whether it was read has no leaf for it.
        let mut asks = |v: &usize| {
            let verdict = &residual.verdicts[*v];
            verdict.subject == *object && asking.reads(verdict.rule, kind, place.fact)
        };
        let mut needing: Vec<usize> = (0..residual.verdicts.len())
            .filter(|v| {
                let verdict = &residual.verdicts[*v];
                residual.rule(*v).severity == Severity::Breach
                    && broken.contains(&(verdict.rule, verdict.subject))
                    && (asks(v) || touching.contains(&v))
            })
            .collect();
        let works = matches!(design.object(*object).status, Status::New | Status::Altered);
        if needing.is_empty() && (turning.is_empty() || !works) {
            continue;
        }
        let fact = ruleset.vocabulary.fact(kind, place.fact);
        let expected = expected(ruleset, design, &mut linker, kind, place.fact, *object);
        let accepted = |engine: &mut Engine<'_>, breach: bool| {
            let some: Vec<usize> = turning
                .iter()
                .filter(|v| (residual.rule(**v).severity == Severity::Breach) == breach)
                .copied()
                .collect();
            accepted(engine, *leaf, fact, &some, expected, ruleset)
        };
        let required = accepted(&mut engine, true);
        let usual = accepted(&mut engine, false);
        let needed = !needing.is_empty();
        needing.extend(turning);
        let mut rules: Vec<String> = needing
            .iter()
            .map(|v| residual.rule(*v).id.clone())
            .collect();
        rules.sort();
        rules.dedup();
        all.push(ToRead {
            object: *object,
            of: design.describe(*object),
            kind: ruleset
                .vocabulary
                .kind(design.object(*object).kind)
                .name
                .clone(),
            reading: fact.name.clone(),
            means: fact.means.clone(),
            unit: fact.unit().cloned(),
            words: words(fact),
            needed,
            rules,
            expected,
            required,
            usual,
            read: None,
        });
    }
    all.extend(taken(ruleset, design, &records, &mut linker));
    all.sort_by_key(|r| r.object);
    all
}

/// Which facts each rule reads, looked up once.
struct Asking<'r> {
    ruleset: &'r Ruleset,
    read: FxHashMap<usize, FxHashSet<(KindId, FactIx)>>,
}

impl Asking<'_> {
    fn reads(&mut self, rule: usize, kind: KindId, fact: FactIx) -> bool {
        let ruleset = self.ruleset;
        let all = self.read.entry(rule).or_insert_with(|| {
            let v = &ruleset.vocabulary;
            facts_read(ruleset, &ruleset.rules[rule])
                .iter()
                .filter_map(|f| {
                    let k = v.kind_named(&f.kind)?;
                    Some((k, v.kind(k).fact_named(&f.fact)?))
                })
                .collect()
        });
        all.contains(&(kind, fact))
    }
}

/// Things that can be tested, with the readings that are taken of them.
fn tested(
    ruleset: &Ruleset,
    design: &Design,
    record: KindId,
    of: FactIx,
) -> Vec<(ObjectId, Vec<FactIx>)> {
    let v = &ruleset.vocabulary;
    let Some(target) = v.fact(record, of).target() else {
        return Vec::new();
    };
    let kinds = &v.kind(target).any_of;
    let fits = |k: KindId| k == target || kinds.contains(&k);
    let mut all = Vec::new();
    for id in design.ids() {
        let object = design.object(id);
        if object.phantom || object.owner.is_some() || object.status == Status::ToGo {
            continue;
        }
        if fits(object.kind) {
            let mut filled = Vec::new();
            for r in records_of(design, record, of, id) {
                filled.extend(
                    (0_u16..)
                        .zip(&design.object(r).facts)
                        .filter(|(_, f)| f.is_some())
                        .map(|(ix, _)| FactIx(ix)),
                );
            }
            all.push((id, filled));
        }
    }
    all
}

fn records_of(design: &Design, record: KindId, of: FactIx, object: ObjectId) -> Vec<ObjectId> {
    design
        .of_kind(record)
        .filter(|r| {
            let facts = &design.object(*r).facts;
            let leads = facts.get(of.0 as usize).and_then(Option::as_ref);
            leads.is_some_and(|w| w.value == Possible::Object(object))
        })
        .collect()
}

/// A record of a thing, all its readings open that are not taken yet.
fn open_record(
    ruleset: &Ruleset,
    design: &Design,
    record: KindId,
    of: FactIx,
    object: ObjectId,
    filled: &[FactIx],
) -> (Object, Vec<FactIx>) {
    let kind = ruleset.vocabulary.kind(record);
    let tested = design.object(object);
    let written = |value| {
        Some(Written {
            value,
            origin: None,
            span: tested.head,
            key: tested.head,
        })
    };
    let mut open = Vec::new();
    let facts = (0_u16..)
        .zip(&kind.facts)
        .map(|(ix, fact)| {
            if FactIx(ix) == of {
                return written(Possible::Object(object));
            }
            let read = matches!(
                fact.ty,
                FactType::Quantity { .. }
                    | FactType::YesNo
                    | FactType::Choice { .. }
                    | FactType::Some { .. }
            );
            // Conditions of a test, as the temperature of the conductors, have a usual value.
            let usual = ruleset.assumption(record, FactIx(ix)).is_some();
            if !fact.writable
                || !read
                || usual
                || fact.settled_by != Settler::Test
                || filled.contains(&FactIx(ix))
            {
                return None;
            }
            open.push(FactIx(ix));
            written(Possible::Unknown)
        })
        .collect();
    let new = Object {
        kind: record,
        name: tested.name.clone(),
        named: false,
        label: None,
        owner: None,
        facts,
        closed: Vec::new(),
        status: Status::New,
        present: None,
        evidence: None,
        span: tested.span,
        head: tested.head,
        phantom: false,
    };
    (new, open)
}

/// The verdicts that are not met as long as no more is read.
fn broken_without(ruleset: &Ruleset, bare: &Design) -> FxHashSet<(usize, ObjectId)> {
    let residual = Residual::new(ruleset, bare, &[], Stage::Verify);
    let mut engine = residual.engine();
    (0..residual.verdicts.len())
        .filter(|v| {
            residual.rule(*v).stage == Stage::Verify && engine.truth(*v, &[]) != TruthSet::T
        })
        .map(|v| {
            let verdict = &residual.verdicts[v];
            (verdict.rule, verdict.subject)
        })
        .collect()
}

/// What a reading should come out as.
fn expected(
    ruleset: &Ruleset,
    design: &Design,
    linker: &mut Linker<'_>,
    record: KindId,
    reads: FactIx,
    object: ObjectId,
) -> Option<(f64, f64)> {
    let kind = design.object(object).kind;
    let e = ruleset
        .expectations
        .iter()
        .find(|e| (e.record, e.reads, e.kind) == (record, reads, kind))?;
    let mut number = |ix| {
        let reg = linker.fact(object, ix, None);
        let val = linker.program.val(reg);
        let sound = val.bits == Presence::PRESENT && !val.flags.any(Flags::UNSOUND);
        (sound && val.lo.is_finite() && val.hi.is_finite()).then_some((val.lo, val.hi))
    };
    let (low, high) = number(e.fact)?;
    match e.up_to {
        None => Some((low, high)),
        Some(ix) => {
            let (other_low, other_high) = number(ix)?;
            Some((low.min(other_low), high.max(other_high)))
        }
    }
}

fn words(fact: &Fact) -> Vec<String> {
    match &fact.ty {
        FactType::Choice { words, .. } | FactType::Some { words } => words.as_ref().clone(),
        FactType::YesNo => vec!["yes".to_owned(), "no".to_owned()],
        _ => Vec::new(),
    }
}

/// What some verdicts accept of a reading, the other readings left open.
fn accepted(
    engine: &mut Engine<'_>,
    leaf: LeafId,
    fact: &Fact,
    verdicts: &[usize],
    expected: Option<(f64, f64)>,
    ruleset: &Ruleset,
) -> Accepted {
    let mut out = Accepted::default();
    let set = engine.residual.written[leaf.0 as usize];
    let breaks = |engine: &mut Engine<'_>, v: usize, val: Val| {
        engine.truth(v, &[(leaf, val)]) == TruthSet::F
    };
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
                let (low, high) = (narrow(false), narrow(true));
                let rule = &engine.residual.rule(*v).id;
                keep(&mut out.low, low, rule, |new, old| new > old);
                keep(&mut out.high, high, rule, |new, old| new < old);
            }
        }
        LeafKind::Truth | LeafKind::Choice => {
            let mut bits = 0_u64;
            let mut all = 0_u64;
            let mut rules = Vec::new();
            for bit in (0..64).map(|i| 1_u64 << i).filter(|b| set.bits & b != 0) {
                all |= bit;
                let val = Val { bits: bit, ..set };
                let by = verdicts.iter().find(|v| breaks(engine, **v, val));
                match by {
                    Some(v) => rules.push(engine.residual.rule(*v).id.clone()),
                    None => bits |= bit,
                }
            }
            if bits != 0 && bits != all {
                rules.sort();
                rules.dedup();
                let text = show_val(&Val { bits, ..set }, fact, &ruleset.vocabulary);
                out.words = Some((text, rules));
            }
        }
        LeafKind::Members(count) => {
            let mut needed = 0_u64;
            let mut rules = Vec::new();
            for i in 0..count.min(32) {
                let without = set.bits & !(1_u64 << i);
                let val = Val {
                    bits: without,
                    ..set
                };
                for v in verdicts {
                    if breaks(engine, *v, val) {
                        needed |= 1 << i;
                        rules.push(engine.residual.rule(*v).id.clone());
                    }
                }
            }
            if needed != 0 {
                rules.sort();
                rules.dedup();
                let known = SetWords::known(needed, u32::from(count));
                let text = show_val(&Val::bits(known), fact, &ruleset.vocabulary);
                out.words = Some((text, rules));
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

/// What was read already, beside what was to be expected.
fn taken(
    ruleset: &Ruleset,
    design: &Design,
    records: &[(KindId, FactIx)],
    linker: &mut Linker<'_>,
) -> Vec<ToRead> {
    let mut all = Vec::new();
    for (record, of) in records {
        let kind = ruleset.vocabulary.kind(*record);
        debug_assert!(matches!(kind.name_role, NameRole::Reference(_)));
        for r in design.of_kind(*record) {
            let facts = &design.object(r).facts;
            let Some(Possible::Object(object)) = facts
                .get(of.0 as usize)
                .and_then(Option::as_ref)
                .map(|w| &w.value)
            else {
                continue;
            };
            for (ix, slot) in (0_u16..).zip(facts) {
                let fact = kind.fact(FactIx(ix));
                let Some(w) = slot else { continue };
                if FactIx(ix) == *of || fact.settled_by != Settler::Test || !fact.writable {
                    continue;
                }
                let Some(read) = super::as_designed::shown(ruleset, design, fact, &w.value) else {
                    continue;
                };
                all.push(ToRead {
                    object: *object,
                    of: design.describe(*object),
                    kind: ruleset
                        .vocabulary
                        .kind(design.object(*object).kind)
                        .name
                        .clone(),
                    reading: fact.name.clone(),
                    means: fact.means.clone(),
                    unit: fact.unit().cloned(),
                    words: Vec::new(),
                    needed: false,
                    rules: Vec::new(),
                    expected: expected(ruleset, design, linker, *record, FactIx(ix), *object),
                    required: Accepted::default(),
                    usual: Accepted::default(),
                    read: Some(read),
                });
            }
        }
    }
    all
}
