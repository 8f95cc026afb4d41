//! The residual program: all verdicts of a design linked once with some facts free, then read
//! again and again for other values of these.
//!
//! A free fact is linked as its whole domain, so whatever linking decides holds for every value;
//! a verdict then depends only on the operations in its cone. "As written" is one assignment
//! among others.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::check::{Known, LeafInfo, Linked, Subject, Verdict, What};
use crate::design::model::{Design, Object, ObjectId, Possible, Written};
use crate::expression::{
    Asked, Budget, Cone, Flags, Fuel, Leaf, LeafId, LeafKind, Op, Presence, Program, Refiner, Reg,
    SetWords, Val,
};
use crate::quantity::TruthSet;
use crate::ruleset::{Rule, Ruleset, Stage};
use crate::vocabulary::{Fact, FactIx, FactType};

/// What reading one verdict once may cost: of a large one fewer boxes are tried, but so many at least.
const READING: Fuel = Fuel(100_000);
const FEWEST: u32 = 8;

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

    /// A reader of the verdicts.
    #[must_use]
    pub fn engine(&self) -> Engine<'_> {
        Engine {
            refiner: Refiner::new(&self.program, &self.ruleset.data),
            residual: self,
            roots: FxHashMap::default(),
            as_written: vec![None; self.verdicts.len()],
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

/// What a verdict came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// T, F, or U where it is not decided.
    pub truth: TruthSet,
    /// Why it may be less than it seems.
    pub flags: Flags,
}

impl Told {
    fn of(val: Val) -> Self {
        Self {
            truth: val.as_truth(),
            flags: val.flags,
        }
    }
}

/// Reads verdicts of a [`Residual`] for assignments of its leaves.
pub struct Engine<'a> {
    /// The residual program.
    pub residual: &'a Residual,
    refiner: Refiner<'a>,
    /// The verdicts of each register that is the root of some.
    roots: FxHashMap<Reg, Vec<usize>>,
    /// Verdicts as written that were told, with the boxes they were allowed.
    as_written: Vec<Option<(u32, Told)>>,
    /// Boxes for each verdict.
    pub budget: Budget,
}

impl Engine<'_> {
    /// The verdicts that depend on a leaf, in order.
    pub fn by_leaf(&mut self, leaf: LeafId) -> Vec<usize> {
        if self.roots.is_empty() {
            for (v, verdict) in self.residual.verdicts.iter().enumerate() {
                self.roots.entry(verdict.root).or_default().push(v);
            }
        }
        let above = self.refiner.reach(leaf).iter();
        let mut all: Vec<usize> = above
            .filter_map(|r| self.roots.get(r))
            .flatten()
            .copied()
            .collect();
        all.sort_unstable();
        all
    }

    /// The verdicts that depend on any of some leaves, in order.
    pub fn by_leaves(&mut self, leaves: &[LeafId]) -> Vec<usize> {
        let mut all: Vec<usize> = leaves.iter().flat_map(|l| self.by_leaf(*l)).collect();
        all.sort_unstable();
        all.dedup();
        all
    }

    /// Operations evaluated or looked at so far.
    #[must_use]
    pub const fn work(&self) -> u64 {
        self.refiner.work()
    }

    /// Each verdict as written, told within its share of what all of them may cost.
    pub fn as_written(&mut self, work: Fuel) -> Vec<TruthSet> {
        let count = self.residual.verdicts.len();
        self.refiner.share_out(work, count);
        let tell = |v| {
            self.refiner.next_share();
            self.truth(v, &[])
        };
        let all = (0..count).map(tell).collect();
        self.limit(Fuel(u64::MAX));
        all
    }

    /// Shares out what looking into so many verdicts may cost.
    pub fn share_out(&mut self, all: Fuel, verdicts: usize) {
        self.refiner.share_out(all, verdicts);
    }

    /// Begins with the next of these verdicts.
    pub fn next_share(&mut self) {
        self.refiner.next_share();
    }

    /// Limits what is asked from now on to so many operations in all.
    pub const fn limit(&mut self, all: Fuel) {
        self.refiner.limit(all);
    }

    /// Whether these are spent: what is not decided stays so.
    #[must_use]
    pub const fn is_spent(&self) -> bool {
        self.refiner.is_spent()
    }

    /// Takes an assignment as the one that is looked at.
    pub fn assign(&mut self, with: &Assignment) {
        self.refiner.assign(with);
    }

    /// Whether a verdict depends on what the assignment that is looked at changes.
    #[must_use]
    pub fn moves(&self, verdict: usize) -> bool {
        self.refiner
            .is_touched(self.residual.verdicts[verdict].root)
    }

    /// Whether a verdict that fails as written fails by more under an assignment: one of its
    /// comparisons does.
    pub fn worsens(&mut self, verdict: usize, with: &Assignment) -> bool {
        self.refiner.assign(with);
        let mut open = vec![self.residual.verdicts[verdict].root];
        while let Some(reg) = open.pop() {
            if !self.refiner.is_touched(reg) {
                continue;
            }
            match self.residual.program.ops[reg.ix()] {
                Op::And(a, b) => open.extend([a, b]),
                // The one side that changes decides, where the other stays as it was.
                Op::Or(a, b) if self.refiner.is_touched(a) != self.refiner.is_touched(b) => {
                    open.extend([a, b]);
                }
                Op::Le(a, b, _) | Op::Lt(a, b, _) => {
                    let before = self.refiner.settled(a).lo - self.refiner.settled(b).hi;
                    let after = self.refiner.read(a).lo - self.refiner.read(b).hi;
                    if after > 0.0 && after > before * (1.0 + 1e-9) {
                        return true;
                    }
                }
                _ => {}
            }
        }
        false
    }

    /// The verdict over all installations that fit an assignment.
    pub fn told(&mut self, verdict: usize, with: &Assignment) -> Told {
        self.tell(Asked::All, verdict, with)
    }

    /// Whether a verdict holds under an assignment: told sooner than which of the others it is.
    pub fn holds(&mut self, verdict: usize, with: &Assignment) -> bool {
        self.tell(Asked::Holds, verdict, with).truth == TruthSet::T
    }

    /// Whether a verdict fails under an assignment.
    pub fn fails(&mut self, verdict: usize, with: &Assignment) -> bool {
        self.tell(Asked::Fails, verdict, with).truth == TruthSet::F
    }

    /// Whether a verdict fails as it is written, by as many boxes as a try may take, however large
    /// it is.
    pub fn fails_in_full(&mut self, verdict: usize) -> bool {
        let root = self.residual.verdicts[verdict].root;
        let natural = self.refiner.settled(root).as_truth();
        if natural != TruthSet::U {
            return natural == TruthSet::F;
        }
        self.refiner.release();
        let cone = self.refiner.cone(root);
        let values = self.values(&cone);
        let (refiner, boxes) = (&mut self.refiner, self.budget);
        let d = refiner.tell_within(&cone, &values, boxes, Asked::Fails);
        d.truth == TruthSet::F
    }

    /// As much of a verdict as is asked.
    fn tell(&mut self, asked: Asked, verdict: usize, with: &Assignment) -> Told {
        let root = self.residual.verdicts[verdict].root;
        if !with.is_empty() {
            self.refiner.assign(with);
        }
        if with.is_empty() || !self.refiner.is_touched(root) {
            return self.told_as_written(verdict, root);
        }
        let val = self.refiner.read(root);
        if val.as_truth() != TruthSet::U {
            return Told::of(val);
        }
        let cone = self.refiner.varying(root);
        self.refine(val, &cone, asked)
    }

    /// Whether a verdict can still come to hold under an assignment: not where it fails, nor where
    /// something is not to be computed for some of what is open and the rest fails.
    pub fn may_hold(&mut self, verdict: usize, with: &Assignment) -> bool {
        let root = self.residual.verdicts[verdict].root;
        self.refiner.assign(with);
        let val = self.refiner.read(root);
        if val.as_truth() != TruthSet::U {
            return val.as_truth() == TruthSet::T;
        }
        let cone = self.refiner.varying(root);
        let all = Budget::default();
        // Of a very large verdict it would cost more than it tells.
        if !val.flags.any(Flags::UNSOUND) || READING.tries(&cone, FEWEST) < all.0 {
            return !self.fails(verdict, with);
        }
        let values = self.values(&cone);
        let d = self.refiner.tell_within(&cone, &values, all, Asked::All);
        d.truth != TruthSet::F && (d.yes.is_some() || d.no.is_none() || d.exhausted)
    }

    /// Makes an assignment the one from which others depart.
    pub fn settle(&mut self, with: &Assignment) {
        self.refiner.assign(with);
        for (v, told) in self.as_written.iter_mut().enumerate() {
            if told.is_some() && self.refiner.is_touched(self.residual.verdicts[v].root) {
                *told = None;
            }
        }
        self.refiner.settle();
    }

    fn told_as_written(&mut self, verdict: usize, root: Reg) -> Told {
        let val = self.refiner.settled(root);
        if val.as_truth() != TruthSet::U {
            return Told::of(val);
        }
        match self.as_written[verdict] {
            Some((boxes, told)) if boxes == self.budget.0 => told,
            _ => {
                self.refiner.release();
                let cone = self.refiner.cone(root);
                let told = self.refine(val, &cone, Asked::All);
                self.as_written[verdict] = Some((self.budget.0, told));
                told
            }
        }
    }

    /// The values of the leaves of a cone as they are assigned.
    fn values(&self, cone: &Cone) -> Vec<Val> {
        let leaves = cone.leaves.iter();
        leaves.map(|l| self.refiner.val(l.reg)).collect()
    }

    /// Splits what varies until it is decided.
    fn refine(&mut self, root: Val, cone: &Cone, asked: Asked) -> Told {
        let values = self.values(cone);
        let mut all = cone.leaves.iter().zip(&values);
        // Of points there is nothing to refine.
        if all.all(|(l, v)| self.residual.leaf(l.id).is_point(v)) {
            return Told::of(root);
        }
        let budget = Budget(self.budget.0.min(READING.tries(cone, FEWEST)));
        let d = self.refiner.tell_within(cone, &values, budget, asked);
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
        self.refiner.assign(with);
        self.refiner
            .read(self.residual.verdicts[verdict].root)
            .as_truth()
    }

    /// Whether a verdict's rule applies at all under an assignment.
    pub fn applies(&mut self, verdict: usize, with: &Assignment) -> TruthSet {
        let Some(reg) = self.residual.verdicts[verdict].applies else {
            return TruthSet::T;
        };
        self.refiner.assign(with);
        self.refiner.read(reg).as_truth()
    }

    /// The leaves that can still matter for a verdict as written, most uncertain first.
    pub fn live(&mut self, verdict: usize) -> Vec<LeafId> {
        self.refiner.release();
        let cone = self.refiner.cone(self.residual.verdicts[verdict].root);
        self.refiner.live_leaves(&cone)
    }

    /// The leaves of which some value decides a verdict as written, or the first pair that does.
    pub fn deciding(&mut self, verdict: usize, budget: Budget) -> Vec<crate::expression::Named> {
        self.refiner.release();
        let cone = self.refiner.cone(self.residual.verdicts[verdict].root);
        self.refiner.deciding(&cone, budget)
    }
}
