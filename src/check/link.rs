//! Linking: the rules' typed trees and one design become one flat register program, evaluated
//! while it is built. Every written fact is one leaf; every derived fact one register for each
//! object, so that all rules share it.

use std::ops::{Deref, DerefMut};
use std::sync::Arc;

use rustc_hash::{FxHashMap, FxHashSet};

use crate::design::model::{Design, ObjectId, Possible};
use crate::expression::{Flags, LeafKind, LeafSource, Program, Reg, TermId, Val};
use crate::ruleset::{Assumption, Ruleset};
use crate::source::limits::{FEEDS, OPERATIONS};
use crate::vocabulary::{FactIx, KindId};

/// What a path leads to.
#[derive(Clone, Debug)]
pub enum Obj {
    /// A known object.
    One(ObjectId),
    /// One of several, by a selector.
    Pick(Reg, Arc<Vec<Obj>>),
    /// An object of which nothing is known.
    Unknown(u32),
    /// Known to be absent.
    Absent,
    /// Written wrongly.
    Poison,
}

/// An object of which nothing is known: what a reference with `?` leads to.
#[derive(Clone, Debug)]
pub struct Frame {
    /// Its kind, which may be abstract.
    pub kind: KindId,
    /// The written object whose fact leads here.
    pub owner: ObjectId,
    /// That fact.
    pub fact: FactIx,
}

/// What a leaf stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A fact of an object.
    Fact,
    /// Which of several alternatives a fact is.
    Alternative,
    /// Whether further members of a collection exist.
    Rest,
    /// A template parameter.
    Parameter(u16),
}

/// Where a leaf comes from.
#[derive(Clone, Copy, Debug)]
pub struct LeafInfo {
    /// The object; for an unknown one, the object that refers to it.
    pub object: ObjectId,
    /// The fact; for an unknown object, the reference.
    pub fact: FactIx,
    /// The kind and fact that are read, if the object is unknown.
    pub inner: Option<(KindId, FactIx)>,
    /// The line of a per-line fact.
    pub line: Option<u8>,
    /// What it stands for.
    pub what: What,
}

impl LeafInfo {
    /// What is asked inside an unknown part; what would be worked out there is not asked, the part is.
    #[must_use]
    pub fn asked_inside(&self, ruleset: &Ruleset) -> Option<(KindId, FactIx)> {
        self.inner
            .filter(|(kind, fact)| ruleset.derivation(*kind, *fact).is_none())
    }
}

/// One recorded term of a derivation, for workings.
#[derive(Clone, Debug)]
pub struct Step {
    /// The term.
    pub term: TermId,
    /// Its register.
    pub reg: Reg,
}

/// A member of a collection, and whether it is one (none: certainly).
pub(super) type Member = (Obj, Option<Reg>);

/// The members of a collection, and the object and fact of which further members may exist.
pub(super) type Listed = (Vec<Member>, Option<(ObjectId, FactIx)>);

/// All objects of a kind, each with what its reference leads to.
#[derive(Debug, Default)]
pub(super) struct Leads {
    /// In the order of the objects.
    pub(super) all: Vec<(ObjectId, Obj)>,
    /// Of each object those that lead just there, as indices.
    pub(super) certain: FxHashMap<ObjectId, Vec<usize>>,
    /// Those that may lead to one of several, or anywhere.
    pub(super) open: Vec<usize>,
    /// Whether one is written wrongly, and leads nobody knows where.
    pub(super) lost: bool,
}

/// Key of a fact of an object, with the line of one that has a value for each line.
pub type FactKey = (ObjectId, FactIx, Option<u8>);

/// What the registers of one derived fact were, term by term.
#[derive(Clone, Debug, Default)]
pub struct Trace {
    /// The terms in the order in which they were filled.
    pub steps: Vec<Step>,
    /// Derived facts that it read, in order.
    pub reads: Vec<FactKey>,
}

/// What a linker has come to know of a design: who keeps it can go on from there.
#[derive(Debug, Default)]
pub struct Known {
    /// The program.
    pub program: Program,
    /// Where each leaf comes from.
    pub leaves: Vec<LeafInfo>,
    /// Unknown objects.
    pub frames: Vec<Frame>,
    /// Assumptions that were used: object and fact.
    pub assumed: Vec<(ObjectId, FactIx)>,
    /// The same, to be found at once.
    assumed_seen: FxHashSet<(ObjectId, FactIx)>,
    /// The one object of a kind, if there is just one.
    only: FxHashMap<KindId, Option<ObjectId>>,
    /// Traces of derived facts, if they are kept.
    pub traces: Option<FxHashMap<FactKey, Trace>>,
    pub(super) facts: FxHashMap<FactKey, Reg>,
    pub(super) objects: FxHashMap<(ObjectId, FactIx), Obj>,
    pub(super) unknown: FxHashMap<(u32, FactIx, KindId, Option<u8>), Reg>,
    pub(super) unknown_objects: FxHashMap<(u32, FactIx, KindId), Obj>,
    pub(super) reverse: FxHashMap<(KindId, FactIx), Arc<Leads>>,
    /// Members of collections that were read, and where there may be more.
    pub(super) lists: FxHashMap<(ObjectId, FactIx), Listed>,
    pub(super) parameters: FxHashMap<u16, Reg>,
    /// How many members there are that are not listed.
    pub(super) rests: FxHashMap<(ObjectId, FactIx), Reg>,
    pub(super) busy: FxHashSet<FactKey>,
    pub(super) stack: Vec<FactKey>,
    /// Terms that are being linked, one inside the other, and whether they were too many.
    pub(super) depth: usize,
    pub(super) too_deep: bool,
    pub(super) truths: [Option<Reg>; 2],
}

impl Known {
    /// Whether it has more operations than one design may take, or goes through more things.
    #[must_use]
    pub fn is_too_large(&self) -> bool {
        self.program.ops.len() > OPERATIONS || self.too_deep
    }

    /// Whether what is linked from here on cannot be computed: there is room for what messages and
    /// free facts take beside the verdicts, and no more.
    pub(super) fn is_full(&self) -> bool {
        self.program.ops.len() > 2 * OPERATIONS || self.too_deep
    }
}

/// Builds the program of one design.
pub struct Linker<'a> {
    pub(crate) ruleset: &'a Ruleset,
    pub(crate) design: &'a Design,
    pub(super) known: Known,
}

impl Deref for Linker<'_> {
    type Target = Known;

    fn deref(&self) -> &Known {
        &self.known
    }
}

impl DerefMut for Linker<'_> {
    fn deref_mut(&mut self) -> &mut Known {
        &mut self.known
    }
}

impl<'a> Linker<'a> {
    /// A linker for one design under one ruleset.
    #[must_use]
    pub fn new(ruleset: &'a Ruleset, design: &'a Design) -> Self {
        Self::over(ruleset, design, Known::default())
    }

    /// The same, that goes on from what is known of just this design and ruleset.
    pub(super) const fn over(ruleset: &'a Ruleset, design: &'a Design, known: Known) -> Self {
        Self {
            ruleset,
            design,
            known,
        }
    }

    /// Keeps traces from now on.
    pub fn keep_traces(&mut self) {
        self.traces = Some(FxHashMap::default());
    }

    /// The register of a fact of an object.
    pub fn fact(&mut self, object: ObjectId, fact: FactIx, line: Option<u8>) -> Reg {
        let key = (object, fact, line);
        if let (Some(traces), Some(top)) = (&mut self.known.traces, self.known.stack.last())
            && self
                .ruleset
                .derivation(self.design.object(object).kind, fact)
                .is_some()
        {
            let reads = &mut traces.entry(*top).or_default().reads;
            if !reads.contains(&key) {
                reads.push(key);
            }
        }
        if let Some(reg) = self.facts.get(&key) {
            return *reg;
        }
        if !self.busy.insert(key) {
            // A formula that needs its own value; loading a ruleset refuses these, so this only
            // stands guard.
            return self.not_computable();
        }
        let reg = self.link_fact(key, line);
        self.busy.remove(&key);
        self.facts.insert(key, reg);
        reg
    }

    /// Notes that an assumption is used.
    pub(super) fn note_assumed(&mut self, object: ObjectId, fact: FactIx) {
        if self.assumed_seen.insert((object, fact)) {
            self.assumed.push((object, fact));
        }
    }

    /// What holds of an object where nothing is written for a fact.
    pub(super) fn assumption(&mut self, of: ObjectId, fact: FactIx) -> Option<&'a Assumption> {
        let ruleset = self.ruleset;
        let found = ruleset.assumption(self.kind(of), fact)?;
        (!found.only || self.is_left(of, fact)).then_some(found)
    }

    /// Whether a thing is the only one of its kind, or the one that all others hang on: of boards the
    /// one that hangs on the supply. Not where something else could be what it hangs on: a circuit or
    /// transformer that is not behind it, and that nothing is said to hang on.
    fn is_left(&self, of: ObjectId, fact: FactIx) -> bool {
        let design = self.design;
        let v = &self.ruleset.vocabulary;
        let along = v.fact(self.kind(of), fact);
        let to = |id: ObjectId| {
            let object = design.object(id);
            let ix = v.kind(object.kind).fact_named(&along.name)?;
            match object.written(ix)?.value {
                Possible::Object(next) => Some(next),
                _ => None,
            }
        };
        let behind = |id: ObjectId| {
            let up = std::iter::successors(Some(id), |id| to(*id));
            up.take(FEEDS + 1).any(|id| id == of)
        };
        if !design.of_kind(self.kind(of)).all(behind) {
            return false;
        }
        let hangs_somewhere = |id: ObjectId| {
            let object = design.object(id);
            let fits = along.target().is_some_and(|t| v.fits(object.kind, t));
            fits && !object.phantom && v.kind(object.kind).fact_named(&along.name).is_some()
        };
        let is_named = |id: ObjectId| {
            let mut facts = design
                .ids()
                .flat_map(|o| design.object(o).facts.iter().flatten());
            facts.any(|w| w.value.leads_to(id))
        };
        let mut others = design
            .ids()
            .filter(|id| hangs_somewhere(*id) && !behind(*id));
        others.all(is_named)
    }

    /// The one object of a kind; none, if there are more or fewer.
    pub(super) fn only_one(&mut self, kind: KindId) -> Option<ObjectId> {
        let design = self.design;
        *self.only.entry(kind).or_insert_with(|| {
            let mut all = design.of_kind(kind);
            match (all.next(), all.next()) {
                (Some(one), None) => Some(one),
                _ => None,
            }
        })
    }

    /// A leaf with what it may be, all there is, and the ends of what is plausible.
    pub(super) fn leaf(
        &mut self,
        kind: LeafKind,
        (set, domain): (Val, Val),
        plausible: (f64, f64),
        source: LeafSource,
        at: LeafInfo,
    ) -> Reg {
        let (id, reg) = self.program.leaf(kind, set, domain, plausible, source);
        debug_assert_eq!(id.0 as usize, self.leaves.len());
        self.leaves.push(at);
        reg
    }

    /// A value of which nothing can be said.
    pub(super) fn not_computable(&mut self) -> Reg {
        self.program.constant(Val::any(Flags::NOT_COMPUTABLE))
    }

    pub(super) fn kind(&self, object: ObjectId) -> KindId {
        self.design.object(object).kind
    }
}
