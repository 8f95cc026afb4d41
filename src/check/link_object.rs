//! Where paths lead: parts, references, collections, and their unknown counterparts.

use std::sync::Arc;

use super::link::{Frame, Leads, Linker, Listed, Obj, What};
use super::link_value::{absent, info, inner, poison};
use crate::design::model::{ObjectId, Possible, Status};
use crate::expression::{Flags, LeafKind, LeafSource, Op, ReadFact, Reg, Val};
use crate::quantity::TruthSet;
use crate::ruleset::Assumed;
use crate::vocabulary::{Fact, FactIx, FactType, KindId, Openness, WordSet};

impl Linker<'_> {
    /// A register that holds yes or no.
    pub(super) fn truth(&mut self, value: bool) -> Reg {
        let slot = usize::from(value);
        if let Some(reg) = self.truths[slot] {
            return reg;
        }
        let reg = self.program.constant(Val::truth(TruthSet::of(value)));
        self.truths[slot] = Some(reg);
        reg
    }

    fn frame(&mut self, kind: KindId, owner: ObjectId, fact: FactIx) -> Obj {
        let id = u32::try_from(self.frames.len()).unwrap_or(u32::MAX);
        self.frames.push(Frame { kind, owner, fact });
        Obj::Unknown(id)
    }

    /// What a part or reference of an object leads to.
    pub(super) fn object_fact(&mut self, object: ObjectId, ix: FactIx) -> Obj {
        if let Some(o) = self.objects.get(&(object, ix)) {
            return o.clone();
        }
        let o = self.link_object(object, ix);
        self.objects.insert((object, ix), o.clone());
        o
    }

    fn link_object(&mut self, object: ObjectId, ix: FactIx) -> Obj {
        let design = self.design;
        let ruleset = self.ruleset;
        let o = design.object(object);
        let fact = ruleset.vocabulary.fact(o.kind, ix);
        let Some(target) = fact.target() else {
            return Obj::Poison;
        };
        if let Some(w) = o.written(ix) {
            return self.possible_object(object, ix, target, &w.value, fact.optional);
        }
        if let Some(d) = ruleset.derivation(o.kind, ix) {
            let mut env = super::link_term::Env::of(Obj::One(object), None);
            return self.root_object(&d.formula, &mut env);
        }
        if let Some(along) = fact.inherits {
            let from = self.object_fact(object, along);
            return self.inherited(&from, &fact.name, target, object, ix);
        }
        if let Some(a) = self.assumption(object, ix) {
            self.note_assumed(object, ix);
            match a.value {
                Assumed::Absent => return Obj::Absent,
                // One of its own kind is itself, and not another that may be there, too.
                Assumed::TheOnly(kind) if kind == o.kind => return Obj::One(object),
                Assumed::TheOnly(kind) => {
                    if let Some(one) = self.only_one(kind) {
                        return Obj::One(one);
                    }
                    return self.frame(target, object, ix);
                }
                _ => {}
            }
        }
        self.unwritten_object(object, ix, target, fact.optional)
    }

    fn unwritten_object(
        &mut self,
        object: ObjectId,
        ix: FactIx,
        target: KindId,
        optional: bool,
    ) -> Obj {
        let frame = self.frame(target, object, ix);
        if !optional {
            return frame;
        }
        let at = info(object, ix, None, What::Fact);
        let selector = self.choice_of(2, LeafSource::Unknown, at);
        Obj::Pick(selector, Arc::new(vec![Obj::Absent, frame]))
    }

    fn inherited(
        &mut self,
        from: &Obj,
        name: &str,
        target: KindId,
        object: ObjectId,
        ix: FactIx,
    ) -> Obj {
        match from {
            Obj::One(id) => {
                let kind = self.kind(*id);
                let v = &self.ruleset.vocabulary;
                // The source of what is inherited may itself be what is meant: a supply is an earth.
                match v.kind(kind).fact_named(name) {
                    Some(f) => self.object_fact(*id, f),
                    None if v.fits(kind, target) => Obj::One(*id),
                    None => self.frame(target, object, ix),
                }
            }
            Obj::Pick(selector, all) => {
                let list = all
                    .iter()
                    .map(|o| self.inherited(o, name, target, object, ix))
                    .collect();
                Obj::Pick(*selector, Arc::new(list))
            }
            Obj::Unknown(_) => self.frame(target, object, ix),
            Obj::Absent => Obj::Absent,
            Obj::Poison => Obj::Poison,
        }
    }

    fn possible_object(
        &mut self,
        object: ObjectId,
        ix: FactIx,
        target: KindId,
        value: &Possible,
        optional: bool,
    ) -> Obj {
        match value {
            // Of a part that the works take out of what stays nothing is left.
            Possible::Object(id)
                if self.goes(&Obj::One(*id))
                    && self.design.object(*id).owner == Some(object)
                    && !self.goes(&Obj::One(object)) =>
            {
                Obj::Absent
            }
            Possible::Object(id) => Obj::One(*id),
            Possible::Absent => Obj::Absent,
            Possible::Unknown => self.unwritten_object(object, ix, target, optional),
            Possible::OneOf(list) => {
                let selector = self.selector(object, ix, None, list.len());
                let all = list
                    .iter()
                    .map(|p| self.possible_object(object, ix, target, p, false))
                    .collect();
                Obj::Pick(selector, Arc::new(all))
            }
            Possible::List(list) => match list.as_slice() {
                [] => Obj::Absent,
                [one] => self.possible_object(object, ix, target, one, optional),
                _ => Obj::Poison,
            },
            _ => Obj::Poison,
        }
    }

    /// What a fact of whatever a path leads to leads to.
    pub(super) fn step(&mut self, from: &Obj, fact: &ReadFact) -> Obj {
        match from {
            // Choices of choices grow with each feed that they go through.
            Obj::Pick(..) if self.is_full() => Obj::Poison,
            Obj::One(id) => match fact.on(self.kind(*id)) {
                Some(ix) => self.object_fact(*id, ix),
                None => Obj::Poison,
            },
            Obj::Pick(selector, all) => {
                let possible = self.program.val(*selector).as_words();
                let list: Vec<Obj> = all
                    .iter()
                    .enumerate()
                    .map(|(i, o)| {
                        if !possible.has(i) {
                            Obj::Absent
                        } else {
                            self.step(o, fact)
                        }
                    })
                    .collect();
                Obj::Pick(*selector, Arc::new(list))
            }
            Obj::Unknown(frame) => {
                let f = self.frames[*frame as usize].clone();
                let Some((kind, ix)) = self.on_frame(f.kind, fact) else {
                    return Obj::Poison;
                };
                let key = (*frame, ix, kind);
                if let Some(o) = self.unknown_objects.get(&key) {
                    return o.clone();
                }
                let target = self.ruleset.vocabulary.fact(kind, ix);
                let (optional, target) = (target.optional, target.target());
                let o = match target {
                    Some(t) => self.unwritten_object(f.owner, f.fact, t, optional),
                    None => Obj::Poison,
                };
                self.unknown_objects.insert(key, o.clone());
                o
            }
            Obj::Absent => Obj::Absent,
            Obj::Poison => Obj::Poison,
        }
    }

    /// The kind and index of a fact on an unknown object: of an abstract kind, the first.
    fn on_frame(&self, kind: KindId, fact: &ReadFact) -> Option<(KindId, FactIx)> {
        fact.on(kind)
            .map(|ix| (kind, ix))
            .or_else(|| fact.by_kind.first().copied())
    }

    /// A fact of an object that may be of several kinds: all that any of them allows. Nothing, where
    /// they allow the same.
    fn on_any(&self, kind: KindId, fact: &ReadFact, first: &Fact) -> Option<Fact> {
        if fact.on(kind).is_some() {
            return None;
        }
        let v = &self.ruleset.vocabulary;
        let mut all = first.clone();
        for other in fact.by_kind.iter().map(|(k, ix)| v.fact(*k, *ix)) {
            let (mine, its) = (&mut all.domain, other.domain);
            (mine.lo_open, mine.hi_open) = (
                (mine.lo < its.lo || its.lo_open) && (its.lo < mine.lo || mine.lo_open),
                (mine.hi > its.hi || its.hi_open) && (its.hi > mine.hi || mine.hi_open),
            );
            (mine.lo, mine.hi) = (mine.lo.min(its.lo), mine.hi.max(its.hi));
            all.optional |= other.optional;
            // Two series have no hull that is one.
            all.series = all.series.filter(|s| other.series == Some(*s));
        }
        let same = |f: &Fact| (f.domain, f.optional, f.series);
        (same(&all) != same(first)).then_some(all)
    }

    /// The value of a fact of whatever a path leads to.
    pub(super) fn read(&mut self, from: &Obj, fact: &ReadFact, line: Option<u8>) -> Reg {
        match from {
            Obj::Pick(..) if self.is_full() => self.not_computable(),
            Obj::One(id) => match fact.on(self.kind(*id)) {
                Some(ix) => self.fact(*id, ix, line),
                None => self.not_computable(),
            },
            Obj::Pick(selector, all) => {
                let possible = self.program.val(*selector).as_words();
                let mut nothing = None;
                let regs: Vec<Reg> = all
                    .iter()
                    .enumerate()
                    .map(|(i, o)| {
                        if !possible.has(i) {
                            *nothing.get_or_insert_with(|| self.program.constant(Val::ABSENT))
                        } else {
                            self.read(o, fact, line)
                        }
                    })
                    .collect();
                self.pick(*selector, &regs)
            }
            Obj::Unknown(frame) => {
                let f = self.frames[*frame as usize].clone();
                let Some((kind, ix)) = self.on_frame(f.kind, fact) else {
                    return self.not_computable();
                };
                let key = (*frame, ix, kind, line);
                if let Some(reg) = self.unknown.get(&key) {
                    return *reg;
                }
                let target = self.ruleset.vocabulary.fact(kind, ix);
                let wide = self.on_any(f.kind, fact, target);
                let at = inner(info(f.owner, f.fact, line, What::Fact), kind, ix);
                let reg = self.unknown_fact(at, wide.as_ref().unwrap_or(target));
                self.unknown.insert(key, reg);
                reg
            }
            Obj::Absent | Obj::Poison => {
                let Some((k, ix)) = fact.by_kind.first() else {
                    return self.program.constant(Val::ABSENT);
                };
                let f = self.ruleset.vocabulary.fact(*k, *ix);
                let val = if matches!(from, Obj::Absent) {
                    absent(f)
                } else {
                    poison(f)
                };
                self.program.constant(val)
            }
        }
    }

    /// Whether a path leads to anything.
    pub(super) fn object_present(&mut self, o: &Obj) -> Reg {
        match o {
            Obj::One(_) => self.present(o).unwrap_or_else(|| self.truth(true)),
            Obj::Unknown(_) => self.truth(true),
            Obj::Absent => self.truth(false),
            Obj::Poison => self.poisoned_truth(),
            Obj::Pick(selector, all) => self.each(*selector, all, |this, o| this.object_present(o)),
        }
    }

    /// Whether an object is of one of these kinds.
    pub(super) fn is_kind(&mut self, o: &Obj, kinds: &[KindId]) -> Reg {
        match o {
            Obj::One(id) => self.truth(kinds.contains(&self.kind(*id))),
            Obj::Unknown(frame) => {
                let f = self.frames[*frame as usize].clone();
                if kinds.contains(&f.kind) {
                    return self.truth(true);
                }
                let k = self.ruleset.vocabulary.kind(f.kind);
                if !k.any_of.iter().any(|k| kinds.contains(k)) {
                    return self.truth(false);
                }
                self.doubt(f.owner, f.fact, What::Fact)
            }
            Obj::Absent => self.truth(false),
            Obj::Poison => self.poisoned_truth(),
            Obj::Pick(selector, all) => self.each(*selector, all, |this, o| this.is_kind(o, kinds)),
        }
    }

    /// Whether two paths lead to the same object.
    pub(super) fn same_object(&mut self, a: &Obj, b: &Obj) -> Reg {
        match (a, b) {
            (Obj::Pick(selector, all), other) | (other, Obj::Pick(selector, all)) => {
                self.each(*selector, all, |this, o| this.same_object(o, other))
            }
            (Obj::One(x), Obj::One(y)) => self.truth(x == y),
            (Obj::Unknown(x), Obj::Unknown(y)) if x == y => self.truth(true),
            (Obj::Poison, _) | (_, Obj::Poison) => self.poisoned_truth(),
            (Obj::Unknown(f), _) | (_, Obj::Unknown(f)) => {
                let f = self.frames[*f as usize].clone();
                self.doubt(f.owner, f.fact, What::Fact)
            }
            _ => self.truth(false),
        }
    }

    /// A truth of which nothing is known.
    pub(super) fn doubt(&mut self, object: ObjectId, fact: FactIx, what: What) -> Reg {
        let set = Val::truth(TruthSet::U);
        let at = info(object, fact, None, what);
        let source = LeafSource::Unknown;
        self.leaf(LeafKind::Truth, (set, set), (0.0, 1.0), source, at)
    }

    /// A truth that rests on a mistake.
    pub(super) fn poisoned_truth(&mut self) -> Reg {
        let unknown = Val::truth(TruthSet::U);
        self.program.constant(unknown.flagged(Flags::POISON))
    }

    /// What an answer about each alternative comes to.
    pub(super) fn each(
        &mut self,
        selector: Reg,
        all: &[Obj],
        of: impl Fn(&mut Self, &Obj) -> Reg,
    ) -> Reg {
        let regs: Vec<Reg> = all.iter().map(|o| of(self, o)).collect();
        self.pick(selector, &regs)
    }

    /// The members of a collection, and the object and fact of which further members may exist.
    pub(super) fn members(&mut self, from: &Obj, fact: &ReadFact) -> Listed {
        match from {
            Obj::One(id) => match fact.on(self.kind(*id)) {
                Some(ix) => {
                    let (mut members, rest) = self.members_of(*id, ix);
                    // Once the work is done, what it takes out is in no list.
                    members.retain(|(m, _)| !self.goes(m) && !matches!(m, Obj::Absent));
                    for (m, p) in &mut members {
                        let there = self.present(m);
                        *p = self.both(*p, there);
                    }
                    (members, rest)
                }
                None => (Vec::new(), None),
            },
            Obj::Pick(selector, all) => {
                let (mut members, mut rest) = (Vec::new(), None);
                let possible = self.program.val(*selector).as_words();
                for (i, o) in all.iter().enumerate() {
                    if !possible.has(i) {
                        continue;
                    }
                    let chosen = self.chosen(*selector, i);
                    let (inside, open) = self.members(o, fact);
                    rest = rest.or(open);
                    for (m, p) in inside {
                        members.push((m, self.both(Some(chosen), p)));
                    }
                }
                (members, rest)
            }
            Obj::Unknown(frame) => {
                let f = &self.frames[*frame as usize];
                (Vec::new(), Some((f.owner, f.fact)))
            }
            Obj::Absent => (Vec::new(), None),
            // What belongs to it is not known either.
            Obj::Poison => (vec![(Obj::Poison, None)], None),
        }
    }

    /// Whether a selector chooses an alternative.
    fn chosen(&mut self, selector: Reg, i: usize) -> Reg {
        let mask = self.program.constant_index(Val::words(WordSet::one(i)));
        self.push(Op::Among(selector, mask))
    }

    pub(super) fn members_of(&mut self, object: ObjectId, ix: FactIx) -> Listed {
        let design = self.design;
        let ruleset = self.ruleset;
        let o = design.object(object);
        let fact = ruleset.vocabulary.fact(o.kind, ix);
        let here = Some((object, ix));
        // Which of several each place of a list holds is one choice, however often it is read, and so is
        // whether a thing belongs to another.
        if let Some(found) = self.lists.get(&(object, ix)) {
            return found.clone();
        }
        let found = match &fact.ty {
            FactType::Reverse { kind, fact: back } => {
                let index = self.reverse_index(*kind, *back);
                let mut members = Vec::new();
                let certain = index.certain.get(&object).map_or(&[][..], Vec::as_slice);
                let mut leading: Vec<usize> = certain.iter().chain(&index.open).copied().collect();
                leading.sort_unstable();
                for (m, leads_to) in leading.iter().filter_map(|i| index.all.get(*i)) {
                    if let Some(p) = self.leads_to(leads_to, object) {
                        // A part that is one of several is there where it is the one.
                        let taken = self.taken(*m);
                        members.push((Obj::One(*m), self.both(p, taken)));
                    }
                }
                // One of them may be what could not be read, or where it leads could not.
                if index.lost || design.lost.contains(kind) {
                    members.push((Obj::Poison, None));
                }
                let silent = match fact.open {
                    Openness::Closed => true,
                    Openness::Existing => o.status == Status::New && !o.phantom,
                    Openness::Always => false,
                };
                let closed = silent || o.closed.contains(kind) || design.closed.contains(kind);
                (members, if closed { None } else { here })
            }
            FactType::Parts(target) | FactType::References(target) => match o.written(ix) {
                Some(w) => match &w.value {
                    Possible::List(list) => {
                        let members = list
                            .iter()
                            .map(|p| (self.possible_object(object, ix, *target, p, false), None))
                            .collect();
                        (members, None)
                    }
                    Possible::Absent => (Vec::new(), None),
                    Possible::Poison => (vec![(Obj::Poison, None)], None),
                    Possible::Unknown => (Vec::new(), here),
                    p => {
                        let one = self.possible_object(object, ix, *target, p, false);
                        (vec![(one, None)], None)
                    }
                },
                None => match self.assumption(object, ix).map(|a| &a.value) {
                    Some(Assumed::Absent) => {
                        self.note_assumed(object, ix);
                        (Vec::new(), None)
                    }
                    _ => (Vec::new(), here),
                },
            },
            _ => (Vec::new(), None),
        };
        self.lists.insert((object, ix), found.clone());
        found
    }

    /// Whether a reference leads to an object: no, certainly, or under a condition.
    pub(super) fn leads_to(&mut self, o: &Obj, object: ObjectId) -> Option<Option<Reg>> {
        match o {
            Obj::One(id) => (*id == object).then_some(None),
            Obj::Pick(selector, all) => {
                let mut any = None;
                for (i, inside) in all.iter().enumerate() {
                    let Some(p) = self.leads_to(inside, object) else {
                        continue;
                    };
                    let chosen = self.chosen(*selector, i);
                    let here = self.both(Some(chosen), p);
                    any = self.either(any, here);
                }
                any.map(Some)
            }
            Obj::Unknown(frame) => {
                let f = self.frames[*frame as usize].clone();
                let v = &self.ruleset.vocabulary;
                let fits = v.fits(self.kind(object), f.kind);
                fits.then(|| Some(self.doubt(f.owner, f.fact, What::Fact)))
            }
            Obj::Absent => None,
            // One alternative is written wrongly.
            Obj::Poison => Some(Some(self.poisoned_truth())),
        }
    }

    /// All objects of a kind, each with what its reference leads to; one entry for each element
    /// of a list.
    fn reverse_index(&mut self, kind: KindId, fact: FactIx) -> Arc<Leads> {
        if let Some(index) = self.reverse.get(&(kind, fact)) {
            return Arc::clone(index);
        }
        let design = self.design;
        let ruleset = self.ruleset;
        let mut all = Vec::new();
        for id in design.of_kind(kind) {
            let f = ruleset.vocabulary.fact(kind, fact);
            match &f.ty {
                FactType::Part(_) | FactType::Reference(_) => {
                    let o = self.object_fact(id, fact);
                    all.push((id, o));
                }
                _ => {
                    let (members, rest) = self.members_of(id, fact);
                    all.extend(members.into_iter().map(|(m, _)| (id, m)));
                    // What a list may hold besides may be any of what it can lead to.
                    if let (Some((owner, at)), Some(target)) = (rest, f.target()) {
                        all.push((id, self.frame(target, owner, at)));
                    }
                }
            }
        }
        let mut leads = Leads::default();
        for (i, (_, to)) in all.iter().enumerate() {
            match to {
                Obj::One(id) => leads.certain.entry(*id).or_default().push(i),
                Obj::Absent => {}
                Obj::Poison => leads.lost = true,
                Obj::Pick(..) | Obj::Unknown(_) => leads.open.push(i),
            }
        }
        leads.all = all;
        let index = Arc::new(leads);
        self.reverse.insert((kind, fact), Arc::clone(&index));
        index
    }
}
