//! Which facts of a design a name means, as a command line or a host writes it: `Zs`, `ev.Zs`,
//! `main.ev.Zs`, `circuit.ev.Zs`, `ev.cables 1.length`, or as titles have it, `length of cables 1 of ev`.

use crate::design::model::{Design, Object, ObjectId};
use crate::ruleset::Ruleset;
use crate::vocabulary::Fact;

/// A name of a fact, and of the object it is of, where one is said.
pub(super) struct Called<'a> {
    object: Option<&'a str>,
    fact: &'a str,
}

impl<'a> Called<'a> {
    pub(super) fn new(name: &'a str) -> Self {
        let as_title = name.split_once(" of ").map(|(fact, object)| (object, fact));
        let as_title = as_title.filter(|(_, fact)| !fact.contains(['.', ' ']));
        match as_title.or_else(|| name.rsplit_once('.')) {
            Some((object, fact)) => Self {
                object: Some(object),
                fact,
            },
            None => Self {
                object: None,
                fact: name,
            },
        }
    }

    /// Whether it means this fact of this object.
    pub(super) fn is(&self, ruleset: &Ruleset, design: &Design, id: ObjectId, fact: &Fact) -> bool {
        (fact.name == self.fact || fact.also.iter().any(|a| a == self.fact))
            && self
                .object
                .is_none_or(|o| is_called(ruleset, design, id, o))
    }
}

/// Whether a name leads to an object: its kind, what it is called, or both, `circuit.ev`.
pub(super) fn is_called(ruleset: &Ruleset, design: &Design, id: ObjectId, name: &str) -> bool {
    let kind = &ruleset.vocabulary.kind(design.object(id).kind).name;
    let own_kind = name.strip_prefix(kind.as_str());
    name == kind
        || is_named(design, id, name)
        || own_kind
            .and_then(|n| n.strip_prefix('.'))
            .is_some_and(|n| is_named(design, id, n))
}

/// Whether an object has a label or a name, with or without what calls the block around it or the
/// object that it is a part of.
fn is_named(design: &Design, id: ObjectId, name: &str) -> bool {
    let object = design.object(id);
    let around = object.scope.or(object.owner);
    name == object.name
        || name == design.label(id)
        || name
            .rsplit_once('.')
            .zip(around)
            .is_some_and(|((outer, own), around)| {
                is_own(object, own) && is_named(design, around, outer)
            })
}

/// Whether a word is the name of an object, or of its place in what it is a part of: `cables 1`,
/// `cables[1]`, and `cables` for each of them.
fn is_own(object: &Object, word: &str) -> bool {
    let place = object
        .name
        .split_once(' ')
        .filter(|_| object.owner.is_some());
    word == object.name
        || place.is_some_and(|(fact, number)| {
            let rest = word.strip_prefix(fact);
            rest.is_some_and(|r| r.is_empty() || r.strip_prefix('[') == Some(&format!("{number}]")))
        })
}
