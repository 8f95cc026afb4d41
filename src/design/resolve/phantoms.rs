//! What must exist and is not written: judged with all facts unknown, so that a short file gives
//! a complete survey.

use super::resolver::{Resolver, indices, written};
use crate::design::model::{Object, ObjectId, Possible};
use crate::design::tree::{Item, Tree};
use crate::source::{FileId, Span};
use crate::vocabulary::{FactIx, FactType, KindId};

impl Resolver<'_> {
    /// Adds the objects of which each kind needs at least so many.
    pub(super) fn add_phantoms(&mut self, trees: &[&Tree]) {
        let head = self.head_of_design(trees);
        let vocabulary = self.vocabulary;
        let first = self.design.objects.len();
        for kind in vocabulary.kind_ids() {
            let declared = vocabulary.kind(kind);
            if declared.is_abstract() || declared.at_least == 0 || self.is_closed(kind) {
                continue;
            }
            let count = self.blocks(|k| k == kind).len();
            let missing = (declared.at_least as usize).saturating_sub(count);
            for _ in 0..missing {
                let (facts, name) = (declared.facts.len(), declared.name.clone());
                let object = Object {
                    phantom: true,
                    ..Object::silent(kind, facts, name, head, head)
                };
                self.add_object(object);
            }
        }
        let phantoms: Vec<_> = self.design.ids().skip(first).collect();
        for id in phantoms {
            if let Some((ix, parent)) = self.parent_of(id) {
                let value = parent.map_or(Possible::Unknown, Possible::Object);
                self.set_fact(id, ix, written(value, head, head));
            }
        }
    }

    /// The head of the installation, or of whatever is written first.
    fn head_of_design(&self, trees: &[&Tree]) -> Span {
        let installation = self.vocabulary.kind_named("installation");
        let mut objects = self.design.objects.iter();
        let object = objects
            .find(|o| Some(o.kind) == installation)
            .or(self.design.objects.first());
        if let Some(object) = object {
            return object.head;
        }
        let first = trees.iter().rev().find_map(|tree| tree.items.first());
        first.map_or(Span::new(FileId(0), 0, 0), |item| match item {
            Item::Block(block) => block.kind.span,
            Item::Define(define) => define.name.span,
            Item::Use(used) => used.span,
            Item::Parameter(parameter) => parameter.name.span,
            Item::No(no) => no.span,
        })
    }

    /// Whether the design says that there is none but what is written: at its top level, in its
    /// installation block, or in each block that could hold one.
    fn is_closed(&self, kind: KindId) -> bool {
        let vocabulary = self.vocabulary;
        let names = |closed: &[KindId]| closed.iter().any(|k| vocabulary.fits(kind, *k));
        let installation = vocabulary.kind_named("installation");
        let objects = &self.design.objects;
        if names(&self.design.closed)
            || objects
                .iter()
                .any(|o| Some(o.kind) == installation && names(&o.closed))
        {
            return true;
        }
        let could_hold =
            |o: &&Object| o.owner.is_none() && vocabulary.within(kind, o.kind).is_some();
        let mut holders = objects.iter().filter(could_hold).peekable();
        holders.peek().is_some() && holders.all(|o| names(&o.closed))
    }

    /// The reference that says what a phantom belongs to, and the one object it can only be.
    fn parent_of(&self, id: ObjectId) -> Option<(FactIx, Option<ObjectId>)> {
        let vocabulary = self.vocabulary;
        let kind = self.design.object(id).kind;
        let declared = vocabulary.kind(kind);
        for within in &declared.within {
            let found = self.blocks(|k| vocabulary.fits(k, within.kind));
            match found.as_slice() {
                [] => {}
                [only] => return Some((within.sets, self.unclaimed(kind, within.sets, *only))),
                _ => return Some((within.sets, None)),
            }
        }
        let (ix, target) = indices(declared).find_map(|(ix, fact)| match fact.ty {
            FactType::Reference(target)
                if fact.name == "fed-from" || fact.name == vocabulary.kind(target).name =>
            {
                Some((ix, target))
            }
            _ => None,
        })?;
        // What stands in such a thing cannot be what it belongs to.
        let below = |other: KindId| other == kind || vocabulary.within(other, kind).is_some();
        let found = self.blocks(|k| vocabulary.fits(k, target) && !below(k));
        match found.as_slice() {
            [only] => Some((ix, self.unclaimed(kind, ix, *only))),
            _ => Some((ix, None)),
        }
    }

    /// The blocks of some kinds.
    fn blocks(&self, of: impl Fn(KindId) -> bool) -> Vec<ObjectId> {
        let is = |o: &Object| o.owner.is_none() && of(o.kind);
        let ids = self.design.ids();
        ids.filter(|id| is(self.design.object(*id))).collect()
    }

    /// The parent, unless a written object of the kind belongs to it already.
    fn unclaimed(&self, kind: KindId, ix: FactIx, parent: ObjectId) -> Option<ObjectId> {
        let claimed = self.design.of_kind(kind).any(|other| {
            !self.design.object(other).phantom
                && self
                    .fact_of(other, ix)
                    .is_some_and(|w| w.value.leads_to(parent))
        });
        (!claimed).then_some(parent)
    }
}
