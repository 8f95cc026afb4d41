//! Readings to take: what each should come out as, and between which values the rules take it.
//!
//! Every thing that can be tested gets a record whose readings are all free, and the verdicts are
//! linked with them. A reading is asked for where a verdict breaks without it, or where one turns on
//! it.

use std::collections::BTreeSet;
use std::sync::Arc;

use rustc_hash::{FxHashMap, FxHashSet};

use super::super::residual::{Engine, Place, Residual, written_facts};
use super::super::survey::words;
use super::accepted::{Accepted, accepted};
use crate::check::Linker;
use crate::design::model::{Design, Object, ObjectId, Possible, Status, Written};
use crate::expression::{Flags, Presence};
use crate::quantity::{TruthSet, Unit};
use crate::ruleset::{Ruleset, Severity, Stage};
use crate::vocabulary::{Fact, FactIx, FactType, KindId, NameRole, Settler};

/// One reading to take.
#[derive(Clone, Debug)]
pub struct ToRead {
    /// What is tested.
    pub object: ObjectId,
    /// The same, as messages name it.
    pub of: String,
    /// What it is: `circuit`.
    pub kind: String,
    /// The kind that holds the reading.
    pub record: KindId,
    /// The reading, by its place in the vocabulary.
    pub fact: FactIx,
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
    /// The same in SI units, for a number.
    pub read_at: Option<(f64, f64)>,
}

/// A design with a record for everything that can be tested, of each kind with its fact for what was
/// tested; with the readings, and of what each would be taken.
fn opened(
    ruleset: &Ruleset,
    design: &Design,
    records: &[(KindId, FactIx)],
) -> (Design, Vec<(Place, ObjectId)>) {
    let mut opened = design.clone();
    let mut free = Vec::new();
    for (record, of) in records {
        opened.closed.push(*record);
        for (object, filled) in tested(ruleset, design, *record, *of) {
            let Ok(id) = u32::try_from(opened.objects.len()).map(ObjectId) else {
                break;
            };
            let (new, places) = open_record(ruleset, design, *record, *of, object, &filled);
            let place = |fact| (Place { object: id, fact }, object);
            free.extend(places.into_iter().map(place));
            opened.objects.push(new);
        }
    }
    (opened, free)
}

/// The readings to take of a design, and those taken: of these, too, what is asked.
pub(super) fn to_read(ruleset: &Arc<Ruleset>, design: &Design) -> Vec<ToRead> {
    let mut records: Vec<(KindId, FactIx)> = Vec::new();
    for e in &ruleset.expectations {
        if !records.contains(&(e.record, e.of)) {
            records.push((e.record, e.of));
        }
    }
    let mut all = yet_to_read(ruleset, design, &records);
    let mut taken = taken(&records, &mut Linker::new(ruleset, design));
    if !taken.is_empty() {
        let before = yet_to_read(
            ruleset,
            &without_readings(ruleset, design, &records),
            &records,
        );
        for r in &mut taken {
            let same = |b: &&ToRead| (b.object, b.record, b.fact) == (r.object, r.record, r.fact);
            if let Some(asked) = before.iter().find(same) {
                r.needed = asked.needed;
                r.rules.clone_from(&asked.rules);
                r.required.clone_from(&asked.required);
                r.usual.clone_from(&asked.usual);
            }
        }
    }
    all.extend(taken);
    all.sort_by_key(|r| (r.object, r.fact));
    all
}

/// A design as it was before anything was read.
fn without_readings(ruleset: &Ruleset, design: &Design, records: &[(KindId, FactIx)]) -> Design {
    let mut before = design.clone();
    for object in &mut before.objects {
        let Some((_, of)) = records.iter().find(|(record, _)| *record == object.kind) else {
            continue;
        };
        let kind = ruleset.vocabulary.kind(object.kind);
        for ((ix, slot), fact) in (0_u16..)
            .map(FactIx)
            .zip(&mut object.facts)
            .zip(&kind.facts)
        {
            if ix != *of && is_reading(fact) {
                *slot = None;
            }
        }
    }
    before
}

/// Whether a fact of a record is read by those who test.
fn is_reading(fact: &Fact) -> bool {
    fact.settled_by == Settler::Test && fact.writable
}

/// The readings that are not taken yet.
fn yet_to_read(
    ruleset: &Arc<Ruleset>,
    design: &Design,
    records: &[(KindId, FactIx)],
) -> Vec<ToRead> {
    let mut bare = design.clone();
    bare.closed
        .extend(records.iter().map(|(record, _)| *record));
    let broken = broken_without(ruleset, bare);
    let (opened, free) = opened(ruleset, design, records);
    let places: Vec<Place> = free.iter().map(|(p, _)| *p).collect();
    let residual = Residual::of(ruleset, opened, &places, Stage::Verify);
    let mut engine = residual.engine();
    let mut about: FxHashMap<ObjectId, Vec<usize>> = FxHashMap::default();
    for (v, verdict) in residual.verdicts.iter().enumerate() {
        about.entry(verdict.subject).or_default().push(v);
    }
    let mut readers: FxHashMap<(KindId, FactIx), FxHashSet<&str>> = FxHashMap::default();
    let mut linker = Linker::new(ruleset, design);
    let mut all: Vec<ToRead> = Vec::new();
    for (place, object) in &free {
        // A reading that rules only ask to be taken has no leaf.
        let leaf = match residual.free.get(place).map(Vec::as_slice) {
            None => None,
            Some([leaf]) => Some(*leaf),
            Some(_) => continue,
        };
        let touching = leaf.map_or_else(Vec::new, |leaf| engine.by_leaf(leaf));
        let turning: Vec<usize> = touching
            .iter()
            .filter(|v| engine.truth(**v, &[]) == TruthSet::U)
            .copied()
            .collect();
        let kind = residual.design.object(place.object).kind;
        let resting = readers.entry((kind, place.fact)).or_insert_with(|| {
            let all = ruleset.readers(kind, place.fact);
            all.iter().map(|r| r.rule.id.as_str()).collect()
        });
        let asks = |v: &usize| resting.contains(residual.rule(*v).id.as_str());
        let own = about.get(object).map_or(&[][..], Vec::as_slice);
        let asking = own.iter().filter(|v| asks(v));
        let needing: Vec<usize> = asking
            .chain(&touching)
            .copied()
            .filter(|v| {
                let verdict = &residual.verdicts[*v];
                residual.rule(*v).severity == Severity::Breach
                    && broken.contains(&(verdict.rule, verdict.subject))
            })
            .collect();
        let works = matches!(design.object(*object).status, Status::New | Status::Altered);
        let fact = ruleset.vocabulary.fact(kind, place.fact);
        let expected = expected(&mut linker, (kind, place.fact), *object);
        // Rules that judge a reading wherever it is taken do not ask for it everywhere.
        let own = turning
            .iter()
            .any(|v| residual.verdicts[*v].subject == *object);
        let always = always(ruleset, design, (kind, place.fact), *object);
        let worth = works && (own || expected.is_some() && !turning.is_empty());
        if needing.is_empty() && !worth && !always {
            continue;
        }
        let accepted = |engine: &mut Engine<'_>, breach: bool| {
            let some: Vec<usize> = turning
                .iter()
                .filter(|v| (residual.rule(**v).severity == Severity::Breach) == breach)
                .copied()
                .collect();
            let all = leaf.map(|leaf| accepted(engine, leaf, fact, &some, expected));
            all.unwrap_or_default()
        };
        let required = accepted(&mut engine, true);
        let usual = accepted(&mut engine, false);
        let verdicts = needing.iter().chain(&turning);
        let rules: BTreeSet<String> = verdicts.map(|v| residual.rule(*v).id.clone()).collect();
        all.push(ToRead {
            words: words(fact),
            needed: !needing.is_empty(),
            rules: rules.into_iter().collect(),
            expected,
            required,
            usual,
            ..ToRead::of(ruleset, design, *object, (kind, place.fact))
        });
    }
    all
}

impl ToRead {
    /// A reading of a thing, of which nothing is said yet.
    fn of(
        ruleset: &Ruleset,
        design: &Design,
        object: ObjectId,
        (record, ix): (KindId, FactIx),
    ) -> Self {
        let v = &ruleset.vocabulary;
        let fact = v.fact(record, ix);
        Self {
            object,
            of: design.label(object),
            kind: v.kind(design.object(object).kind).name.clone(),
            record,
            fact: ix,
            reading: fact.name.clone(),
            means: fact.texts.means.clone(),
            unit: fact.unit().cloned(),
            words: Vec::new(),
            needed: false,
            rules: Vec::new(),
            expected: None,
            required: Accepted::default(),
            usual: Accepted::default(),
            read: None,
            read_at: None,
        }
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
    let records = records_of(design, record, of);
    let mut all = Vec::new();
    for id in design.ids() {
        let object = design.object(id);
        if !object.stays() || object.owner.is_some() {
            continue;
        }
        if fits(object.kind) {
            let records = records.get(&id).into_iter().flatten();
            let filled = records.flat_map(|r| written_facts(design.object(*r)));
            all.push((id, filled.map(|(ix, _)| ix).collect()));
        }
    }
    all
}

/// The records of each thing that has some.
fn records_of(design: &Design, record: KindId, of: FactIx) -> FxHashMap<ObjectId, Vec<ObjectId>> {
    let mut all: FxHashMap<ObjectId, Vec<ObjectId>> = FxHashMap::default();
    for r in design.of_kind(record) {
        let leads = design.object(r).written(of);
        if let Some(Possible::Object(object)) = leads.map(|w| &w.value) {
            all.entry(*object).or_default().push(r);
        }
    }
    all
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
        Some(Box::new(Written {
            value,
            origin: None,
            span: tested.head,
            key: tested.head,
        }))
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
            if !read || usual || !is_reading(fact) || filled.contains(&FactIx(ix)) {
                return None;
            }
            open.push(FactIx(ix));
            written(Possible::Unknown)
        })
        .collect();
    let name = tested.name.clone();
    let new = Object {
        scope: tested.scope,
        facts,
        ..Object::silent(record, 0, name, tested.span, tested.head)
    };
    (new, open)
}

/// The verdicts that are not met as long as no more is read.
fn broken_without(ruleset: &Arc<Ruleset>, bare: Design) -> FxHashSet<(usize, ObjectId)> {
    let residual = Residual::of(ruleset, bare, &[], Stage::Verify);
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

/// Whether a reading is taken even of what stands already.
fn always(
    ruleset: &Ruleset,
    design: &Design,
    (record, reads): (KindId, FactIx),
    object: ObjectId,
) -> bool {
    let kind = design.object(object).kind;
    let mut all = ruleset.expectations.iter();
    all.any(|e| e.always && (e.record, e.reads, e.kind) == (record, reads, kind))
}

/// What a reading should come out as.
fn expected(
    linker: &mut Linker<'_>,
    (record, reads): (KindId, FactIx),
    object: ObjectId,
) -> Option<(f64, f64)> {
    let kind = linker.design.object(object).kind;
    let mut all = linker.ruleset.expectations.iter();
    let e = all.find(|e| (e.record, e.reads, e.kind) == (record, reads, kind))?;
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

/// What was read already, beside what was to be expected.
fn taken(records: &[(KindId, FactIx)], linker: &mut Linker<'_>) -> Vec<ToRead> {
    let (ruleset, design) = (linker.ruleset, linker.design);
    let mut all = Vec::new();
    for (record, of) in records {
        let kind = ruleset.vocabulary.kind(*record);
        debug_assert!(matches!(kind.name_role, NameRole::Reference(_)));
        for r in design.of_kind(*record) {
            let entry = design.object(r);
            let Some(Possible::Object(object)) = entry.written(*of).map(|w| &w.value) else {
                continue;
            };
            for (ix, w) in written_facts(entry) {
                let fact = kind.fact(ix);
                if ix == *of || !is_reading(fact) {
                    continue;
                }
                let Some(read) = super::as_designed::shown(ruleset, design, fact, &w.value) else {
                    continue;
                };
                all.push(ToRead {
                    expected: expected(linker, (*record, ix), *object),
                    read: Some(read),
                    read_at: match &w.value {
                        Possible::Number(i) => Some((i.lo, i.hi)),
                        _ => None,
                    },
                    ..ToRead::of(ruleset, design, *object, (*record, ix))
                });
            }
        }
    }
    all
}
