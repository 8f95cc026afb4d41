//! The residual program: all verdicts of a design linked once with some facts free, then read
//! again and again for other values of these.
//!
//! A free fact is linked as its whole domain, so whatever linking decides holds for every value;
//! a verdict then depends only on the operations in its cone. "As written" is one assignment
//! among others.

use rustc_hash::FxHashMap;

use crate::check::{LeafInfo, Linker, Verdict, What, link_verdicts};
use crate::design::model::{Design, ObjectId, Possible};
use crate::expression::{
    Budget, Cone, Flags, Leaf, LeafId, Presence, Program, Refiner, Reg, SetWords, Val,
};
use crate::quantity::TruthSet;
use crate::ruleset::{Ruleset, Stage};
use crate::vocabulary::{Fact, FactIx, FactType};

/// A fact of an object.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    /// The object.
    pub object: ObjectId,
    /// Its fact.
    pub fact: FactIx,
}

/// Values of some leaves; the others are as written.
pub type Assignment = [(LeafId, Val)];

/// All verdicts of a design, linked with some facts free.
#[derive(Debug)]
pub struct Residual<'r> {
    /// The ruleset.
    pub ruleset: &'r Ruleset,
    /// The design with its free facts opened.
    pub design: Design,
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
    match (&fact.ty, value) {
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
        (FactType::Quantity { .. }, Possible::OneOf(list)) if fact.series.is_some() => {
            let mut bits = 0;
            for p in list {
                bits |= as_val(ruleset, fact, p)?.bits;
            }
            Some(Val::bits(bits))
        }
        (FactType::Quantity { .. }, Possible::Absent) if fact.series.is_some() => {
            Some(Val::bits(Presence::NO_WORD))
        }
        (FactType::Quantity { .. }, Possible::Absent) => Some(Val::ABSENT),
        (FactType::Choice { .. }, Possible::Words(set)) => Some(Val::words(*set)),
        (FactType::Choice { .. }, Possible::Absent) => Some(Val::bits(Presence::NO_WORD)),
        (FactType::Choice { .. }, Possible::OneOf(list)) => {
            let mut bits = 0;
            for p in list {
                bits |= as_val(ruleset, fact, p)?.bits;
            }
            Some(Val::bits(bits))
        }
        (FactType::Some { words }, Possible::Members(set)) => Some(Val::bits(SetWords::known(
            set.bits(),
            u32::try_from(words.len()).ok()?,
        ))),
        (FactType::YesNo, Possible::Truth(t)) => Some(Val::truth(TruthSet::of(*t))),
        _ => None,
    }
}

impl<'r> Residual<'r> {
    /// Links a design with some of its written facts free. Facts that cannot be free stay as written.
    #[must_use]
    pub fn new(ruleset: &'r Ruleset, design: &Design, free: &[Place], stage: Stage) -> Self {
        let mut opened = design.clone();
        let mut as_written: FxHashMap<(Place, Option<u8>), Val> = FxHashMap::default();
        for place in free {
            let object = design.object(place.object);
            let fact = ruleset.vocabulary.fact(object.kind, place.fact);
            let now = object
                .facts
                .get(place.fact.0 as usize)
                .and_then(Option::as_ref);
            match now.map(|w| &w.value) {
                Some(Possible::PerLine(lines)) => {
                    for (l, v) in (0_u8..).zip(lines) {
                        if let Some(val) = v.as_ref().and_then(|v| as_val(ruleset, fact, v)) {
                            as_written.insert((*place, Some(l)), val);
                        }
                    }
                }
                Some(Possible::Unknown) => {}
                Some(v) => match as_val(ruleset, fact, v) {
                    Some(val) => {
                        as_written.insert((*place, None), val);
                    }
                    None => continue,
                },
                None => continue,
            }
            if let Some(Some(w)) = opened
                .objects
                .get_mut(place.object.0 as usize)
                .and_then(|o| o.facts.get_mut(place.fact.0 as usize))
            {
                w.value = Possible::Unknown;
            }
        }
        let mut linker = Linker::new(ruleset, &opened);
        let verdicts = link_verdicts(&mut linker, ruleset, &opened, stage);
        let Linker {
            program,
            leaves: infos,
            ..
        } = linker;
        let mut written: Vec<Val> = program.leaves.iter().map(|l| l.set).collect();
        let mut leaves: FxHashMap<Place, Vec<LeafId>> = FxHashMap::default();
        let wanted: rustc_hash::FxHashSet<Place> = free.iter().copied().collect();
        for (ix, info) in (0_u32..).zip(&infos) {
            let place = Place {
                object: info.object,
                fact: info.fact,
            };
            if info.what != What::Fact || info.inner.is_some() || !wanted.contains(&place) {
                continue;
            }
            leaves.entry(place).or_default().push(LeafId(ix));
            let val = as_written
                .get(&(place, info.line))
                .or_else(|| as_written.get(&(place, None)));
            if let (Some(val), Some(slot)) = (val, written.get_mut(ix as usize)) {
                *slot = *val;
            }
        }
        Self {
            ruleset,
            design: opened,
            program,
            infos,
            verdicts,
            written,
            free: leaves,
        }
    }

    /// A reader of the verdicts.
    #[must_use]
    pub fn engine(&self) -> Engine<'_> {
        Engine {
            refiner: Refiner::new(&self.program, &self.ruleset.data),
            residual: self,
            cones: vec![None; self.verdicts.len()],
            applies: FxHashMap::default(),
            // One less than a verdict's: a try looks for no witnesses, which cost most and which
            // nobody reads here.
            budget: Budget(Budget::default().0 - 1),
        }
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
    pub fn fact(&self, id: LeafId) -> &'r Fact {
        let info = self.info(id);
        let kind = self.design.object(info.object).kind;
        self.ruleset.vocabulary.fact(kind, info.fact)
    }

    /// The rule of a verdict.
    #[must_use]
    pub fn rule(&self, verdict: usize) -> &'r crate::ruleset::Rule {
        &self.ruleset.rules[self.verdicts[verdict].rule]
    }

    /// The subject of a verdict, as messages name it.
    #[must_use]
    pub fn subject(&self, verdict: usize) -> String {
        self.design.describe(self.verdicts[verdict].subject)
    }
}

/// What a verdict came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// T, F, or U where it is not decided.
    pub truth: TruthSet,
    /// Why it may be less than it seems.
    pub flags: Flags,
}

/// Reads verdicts of a [`Residual`] for assignments of its leaves.
pub struct Engine<'a> {
    /// The residual program.
    pub residual: &'a Residual<'a>,
    refiner: Refiner<'a>,
    cones: Vec<Option<Cone>>,
    applies: FxHashMap<Reg, Cone>,
    /// Boxes for each verdict.
    pub budget: Budget,
}

impl Engine<'_> {
    /// The cone of a verdict.
    pub fn cone(&mut self, verdict: usize) -> &Cone {
        let root = self.residual.verdicts[verdict].root;
        let refiner = &mut self.refiner;
        self.cones[verdict].get_or_insert_with(|| refiner.cone(root))
    }

    /// Whether a verdict depends on a leaf.
    pub fn depends(&mut self, verdict: usize, leaf: LeafId) -> bool {
        self.cone(verdict).leaves.iter().any(|l| l.id == leaf)
    }

    /// The verdicts that depend on each leaf, in order.
    pub fn by_leaf(&mut self) -> FxHashMap<LeafId, Vec<usize>> {
        let mut all: FxHashMap<LeafId, Vec<usize>> = FxHashMap::default();
        for v in 0..self.residual.verdicts.len() {
            for l in &self.cone(v).leaves {
                all.entry(l.id).or_default().push(v);
            }
        }
        all
    }

    /// The values of a cone's leaves under an assignment.
    fn values(residual: &Residual<'_>, cone: &Cone, with: &Assignment) -> Vec<Val> {
        cone.leaves
            .iter()
            .map(|l| {
                with.iter()
                    .rev()
                    .find(|(id, _)| *id == l.id)
                    .map_or_else(|| residual.written[l.id.0 as usize], |(_, v)| *v)
            })
            .collect()
    }

    /// The verdict over all installations that fit an assignment.
    pub fn told(&mut self, verdict: usize, with: &Assignment) -> Told {
        self.cone(verdict);
        let Some(cone) = &self.cones[verdict] else {
            return Told {
                truth: TruthSet::U,
                flags: Flags::NONE,
            };
        };
        let values = Self::values(self.residual, cone, with);
        let root = self.refiner.run(cone, &values);
        let truth = root.as_truth();
        let points = || {
            let mut all = cone.leaves.iter().zip(&values);
            all.all(|(l, v)| self.residual.leaf(l.id).is_point(v))
        };
        // Of points there is nothing to refine.
        if truth != TruthSet::U || points() {
            self.refiner.restore(cone);
            return Told {
                truth,
                flags: root.flags,
            };
        }
        let d = self.refiner.decide_within(cone, values, self.budget);
        Told {
            truth: d.truth,
            flags: root.flags.with(d.flags),
        }
    }

    /// The truth of a verdict under an assignment.
    pub fn truth(&mut self, verdict: usize, with: &Assignment) -> TruthSet {
        self.told(verdict, with).truth
    }

    /// The truth of a verdict by plain set evaluation, without refinement: quick and never wrong
    /// where it decides.
    pub fn plain(&mut self, verdict: usize, with: &Assignment) -> TruthSet {
        self.cone(verdict);
        let Some(cone) = &self.cones[verdict] else {
            return TruthSet::U;
        };
        let values = Self::values(self.residual, cone, with);
        let truth = self.refiner.run(cone, &values).as_truth();
        self.refiner.restore(cone);
        truth
    }

    /// Whether a verdict's rule applies at all under an assignment.
    pub fn applies(&mut self, verdict: usize, with: &Assignment) -> TruthSet {
        let Some(reg) = self.residual.verdicts[verdict].applies else {
            return TruthSet::T;
        };
        if !self.applies.contains_key(&reg) {
            let cone = self.refiner.cone(reg);
            self.applies.insert(reg, cone);
        }
        let Some(cone) = self.applies.get(&reg) else {
            return TruthSet::U;
        };
        let values = Self::values(self.residual, cone, with);
        let truth = self.refiner.run(cone, &values).as_truth();
        self.refiner.restore(cone);
        truth
    }

    /// The leaves that can still matter for a verdict as written, most uncertain first.
    pub fn live(&mut self, verdict: usize) -> Vec<LeafId> {
        self.cone(verdict);
        match &self.cones[verdict] {
            Some(cone) => self.refiner.live_leaves(cone),
            None => Vec::new(),
        }
    }

    /// The leaves of which some value decides a verdict as written, or the first pair that does.
    pub fn deciding(&mut self, verdict: usize, budget: Budget) -> Vec<crate::expression::Named> {
        self.cone(verdict);
        match &self.cones[verdict] {
            Some(cone) => self.refiner.deciding(cone, budget),
            None => Vec::new(),
        }
    }
}
