//! The residual program: all verdicts of a design linked once with some facts free, then read
//! again and again for other values of these.
//!
//! A free fact is linked as its whole domain, so whatever linking decides holds for every value;
//! a verdict then depends only on the operations in its cone. "As written" is one assignment
//! among others.

mod engine;

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::check::{Known, LeafInfo, Linked, Subject, Verdict, What};
use crate::design::model::{Design, Object, ObjectId, Possible, Written};
use crate::expression::{Leaf, LeafId, LeafKind, Presence, Program, SetWords, Val};
use crate::quantity::TruthSet;
use crate::ruleset::{Rule, Ruleset, Stage};
use crate::vocabulary::{Fact, FactIx, FactType};

pub use engine::Engine;

/// A fact of an object.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    /// The object.
    pub object: ObjectId,
    /// Its fact.
    pub fact: FactIx,
}

impl Place {
    /// Where a leaf comes from.
    #[must_use]
    pub const fn of(info: &LeafInfo) -> Self {
        Self {
            object: info.object,
            fact: info.fact,
        }
    }
}

/// What is written of an object, fact by fact.
pub(super) fn written_facts(object: &Object) -> impl Iterator<Item = (FactIx, &Written)> {
    let slots = (0_u16..).map(FactIx).zip(&object.facts);
    slots.filter_map(|(fact, slot)| Some((fact, slot.as_deref()?)))
}

/// A name that stands for so many things, which one place in the text says.
pub(super) fn with_all(name: String, things: usize) -> String {
    match things {
        0 | 1 => name,
        n => format!("{name} and all that share its line, {n} in all"),
    }
}

/// What is written in a design, object by object.
pub(super) fn all_written(design: &Design) -> impl Iterator<Item = (Place, &Written)> {
    design.ids().flat_map(move |object| {
        let written = written_facts(design.object(object));
        written.map(move |(fact, w)| (Place { object, fact }, w))
    })
}

/// Values of some leaves; the others are as written.
pub type Assignment = [(LeafId, Val)];

/// All verdicts of a design, linked with some facts free.
#[derive(Debug)]
pub struct Residual {
    /// The ruleset.
    pub ruleset: Arc<Ruleset>,
    /// The design with its free facts opened.
    pub design: Arc<Design>,
    /// The program.
    pub program: Program,
    /// Where each leaf comes from.
    pub infos: Vec<LeafInfo>,
    /// The verdicts.
    pub verdicts: Vec<Verdict>,
    /// The leaves as written.
    pub written: Vec<Val>,
    /// The leaves of each free fact: one, or one for each line.
    pub free: FxHashMap<Place, Vec<LeafId>>,
}

/// The bits of a set, each alone, the lowest first.
pub(super) fn each_bit(set: u64) -> impl Iterator<Item = u64> {
    let all = (0..u64::BITS).map(|i| 1_u64 << i);
    all.filter(move |bit| set & bit != 0)
}

/// Whether a fact that is written can be made free: what it is must be one leaf, and what is
/// written must be a set of that leaf's values.
#[must_use]
pub fn can_be_free(ruleset: &Ruleset, fact: &Fact, value: &Possible) -> bool {
    match value {
        Possible::PerLine(lines) => lines
            .iter()
            .flatten()
            .all(|v| as_val(ruleset, fact, v).is_some()),
        v => as_val(ruleset, fact, v).is_some(),
    }
}

/// A written value as a set of values of its fact's leaf.
fn as_val(ruleset: &Ruleset, fact: &Fact, value: &Possible) -> Option<Val> {
    let member = |x: f64| {
        let series = fact.series?;
        let all = ruleset.data.series.get(series.0 as usize)?;
        all.iter().position(|m| (m - x).abs() <= 1e-9 * m.abs())
    };
    let is_word = fact.series.is_some() || matches!(fact.ty, FactType::Choice { .. });
    match (&fact.ty, value) {
        (_, Possible::OneOf(list)) if is_word => {
            let bits = |p| as_val(ruleset, fact, p).map(|v| v.bits);
            let all: Option<Vec<u64>> = list.iter().map(bits).collect();
            Some(Val::bits(all?.into_iter().fold(0, |a, b| a | b)))
        }
        (_, Possible::Absent) if is_word => Some(Val::bits(Presence::NO_WORD)),
        (FactType::Quantity { .. }, Possible::Number(i)) => match fact.series {
            None => Some(Val::interval(*i)),
            Some(_) if i.is_point() => Some(Val::bits(1 << member(i.lo)?)),
            Some(s) => {
                let all = ruleset.data.series.get(s.0 as usize)?;
                let bits = all
                    .iter()
                    .enumerate()
                    .filter(|(_, m)| i.lo <= **m && **m <= i.hi)
                    .fold(0_u64, |b, (k, _)| b | 1 << k);
                (bits != 0).then_some(Val::bits(bits))
            }
        },
        (FactType::Quantity { .. }, Possible::Absent) => Some(Val::ABSENT),
        (FactType::Choice { .. }, Possible::Words(set)) => Some(Val::words(*set)),
        (FactType::Some { words }, Possible::Members(set)) => Some(Val::bits(SetWords::known(
            set.bits(),
            u32::try_from(words.len()).ok()?,
        ))),
        (FactType::YesNo, Possible::Truth(t)) => Some(Val::truth(TruthSet::of(*t))),
        _ => None,
    }
}

impl Residual {
    /// All verdicts of a design with every fact as it is written.
    #[must_use]
    pub fn new(ruleset: &Arc<Ruleset>, design: &Arc<Design>, linked: Linked) -> Self {
        let Linked { known, verdicts } = linked;
        let Known {
            mut program,
            leaves: infos,
            ..
        } = known;
        program.finish();
        Self {
            ruleset: Arc::clone(ruleset),
            design: Arc::clone(design),
            written: program.leaves.iter().map(|l| l.set).collect(),
            program,
            infos,
            verdicts,
            free: FxHashMap::default(),
        }
    }

    /// The same without the operations of what is met for all values of the leaves: it stays so.
    #[must_use]
    pub fn pruned(mut self) -> Self {
        let (mut settled, mut needed) = (Vec::new(), Vec::new());
        for verdict in &self.verdicts {
            needed.extend(verdict.applies);
            match self.program.val(verdict.root).as_truth() {
                TruthSet::T => settled.push(verdict.root),
                _ => needed.push(verdict.root),
            }
        }
        let places = self.program.keep(&settled, &needed);
        for verdict in &mut self.verdicts {
            verdict.moved(&places);
        }
        self.program.finish();
        self
    }

    /// Links a design with some of its written facts free. Facts that cannot be free stay as written.
    #[must_use]
    pub fn of(ruleset: &Arc<Ruleset>, design: Design, free: &[Place], stage: Stage) -> Self {
        let mut all = Self::opened(ruleset, design, free, stage);
        all.rewrite(&[]);
        all
    }

    /// The same, whose registers hold what is so for all values, until it is told which its leaves
    /// have ([`Self::rewrite`]).
    #[must_use]
    pub fn opened(ruleset: &Arc<Ruleset>, design: Design, free: &[Place], stage: Stage) -> Self {
        let mut opened = design;
        let mut as_written: FxHashMap<(Place, Option<u8>), Val> = FxHashMap::default();
        for place in free {
            let Some(object) = opened.objects.get_mut(place.object.0 as usize) else {
                continue;
            };
            let fact = ruleset.vocabulary.fact(object.kind, place.fact);
            let Some(Some(now)) = object.facts.get_mut(place.fact.0 as usize) else {
                continue;
            };
            match &now.value {
                Possible::PerLine(lines) => {
                    for (l, v) in (0_u8..).zip(lines) {
                        if let Some(val) = v.as_ref().and_then(|v| as_val(ruleset, fact, v)) {
                            as_written.insert((*place, Some(l)), val);
                        }
                    }
                }
                Possible::Unknown => {}
                v => match as_val(ruleset, fact, v) {
                    Some(val) => {
                        as_written.insert((*place, None), val);
                    }
                    None => continue,
                },
            }
            now.value = Possible::Unknown;
        }
        let opened = Arc::new(opened);
        let linked = Linked::new(ruleset, &opened, stage, false, None);
        let mut all = Self::new(ruleset, &opened, linked).pruned();
        let mut leaves: FxHashMap<Place, Vec<LeafId>> = FxHashMap::default();
        let free: rustc_hash::FxHashSet<Place> = free.iter().copied().collect();
        for (ix, info) in (0_u32..).zip(&all.infos) {
            let place = Place::of(info);
            if info.what != What::Fact || info.inner.is_some() || !free.contains(&place) {
                continue;
            }
            // Whether a value was measured is a leaf of its own, which no value of the fact fills.
            let kind = all.program.leaves.get(ix as usize).map(|l| l.kind);
            let object = opened.object(place.object);
            let ty = &ruleset.vocabulary.fact(object.kind, place.fact).ty;
            if kind == Some(LeafKind::Truth) && !matches!(ty, FactType::YesNo) {
                continue;
            }
            leaves.entry(place).or_default().push(LeafId(ix));
            let val = as_written
                .get(&(place, info.line))
                .or_else(|| as_written.get(&(place, None)));
            if let (Some(val), Some(slot)) = (val, all.written.get_mut(ix as usize)) {
                *slot = *val;
            }
        }
        all.free = leaves;
        all
    }

    /// Takes other values of some leaves for those as written.
    pub fn rewrite(&mut self, leaves: &Assignment) {
        for (id, val) in leaves {
            self.written[id.0 as usize] = *val;
        }
        self.program.fill(&self.written, &self.ruleset.data);
    }

    /// A leaf.
    #[must_use]
    pub fn leaf(&self, id: LeafId) -> &Leaf {
        &self.program.leaves[id.0 as usize]
    }

    /// Where a leaf comes from.
    #[must_use]
    pub fn info(&self, id: LeafId) -> &LeafInfo {
        &self.infos[id.0 as usize]
    }

    /// The fact of a leaf that stands for a fact of a known object.
    #[must_use]
    pub fn fact(&self, id: LeafId) -> &Fact {
        self.fact_at(Place::of(self.info(id)))
    }

    /// The fact at a place.
    #[must_use]
    pub fn fact_at(&self, place: Place) -> &Fact {
        let kind = self.design.object(place.object).kind;
        self.ruleset.vocabulary.fact(kind, place.fact)
    }

    /// What is written at a place.
    #[must_use]
    pub fn written_at(&self, place: Place) -> Option<&Written> {
        self.design.object(place.object).written(place.fact)
    }

    /// How messages name a place: `length of cables 1 of ev`.
    #[must_use]
    pub fn label(&self, place: Place) -> String {
        let of = self.design.label(place.object);
        format!("{} of {of}", self.fact_at(place).name)
    }

    /// The rule of a verdict.
    #[must_use]
    pub fn rule(&self, verdict: usize) -> &Rule {
        &self.ruleset.rules[self.verdicts[verdict].rule]
    }

    /// The subject of a verdict.
    #[must_use]
    pub fn subject(&self, verdict: usize) -> Subject {
        Subject::new(&self.design, self.verdicts[verdict].subject)
    }
}
