//! The words of a ruleset: which blocks, parts and facts a design may hold.

mod json;
mod say;
mod text;

pub use json::json;
pub use text::{fact, text};

use crate::ruleset::Ruleset;
use crate::vocabulary::{FactIx, FactType, Head, Kind, KindId};

/// What of a vocabulary is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Asked {
    /// All kinds.
    All,
    /// One kind with its facts.
    Kind {
        /// The kind.
        kind: KindId,
        /// Which of its words was asked for, if it was one that opens a part.
        head: Option<usize>,
    },
    /// Facts, each in full.
    Facts(Vec<(KindId, FactIx)>),
}

/// How a fact comes by its value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    /// A design writes it.
    Written,
    /// It is worked out; what a design says of it is not read.
    Derived,
    /// Collected from what refers to the object.
    Collected,
}

fn role(ruleset: &Ruleset, kind: KindId, ix: FactIx) -> Role {
    let fact = ruleset.vocabulary.fact(kind, ix);
    if fact.writable {
        Role::Written
    } else if matches!(fact.ty, FactType::Reverse { .. }) {
        Role::Collected
    } else {
        Role::Derived
    }
}

/// The facts of a kind that come by their values in one way: those that designs write in the order
/// of the ruleset, the others by name.
fn facts_of(ruleset: &Ruleset, kind: KindId, wanted: Role) -> Vec<FactIx> {
    let declared = ruleset.vocabulary.kind(kind);
    let mut all: Vec<FactIx> = declared
        .fact_ids()
        .filter(|ix| role(ruleset, kind, *ix) == wanted)
        .collect();
    if wanted != Role::Written {
        all.sort_by_key(|ix| {
            let name = &declared.fact(*ix).name;
            (name.to_lowercase(), name.clone())
        });
    }
    all
}

/// The facts that take a part of this kind, as kind and fact.
fn held_by(ruleset: &Ruleset, part: KindId) -> Vec<(KindId, FactIx)> {
    let v = &ruleset.vocabulary;
    let mut all = Vec::new();
    for kind in v.kind_ids() {
        for ix in v.kind(kind).fact_ids() {
            if matches!(&v.fact(kind, ix).ty, FactType::Part(k) | FactType::Parts(k) if v.fits(part, *k))
            {
                all.push((kind, ix));
            }
        }
    }
    all
}

/// The facts that one of the words of a kind sets, and to what.
fn sets<'a>(kind: &'a Kind, head: &Head) -> Vec<(&'a str, &'a str)> {
    head.sets
        .iter()
        .filter_map(|(ix, word)| {
            let fact = kind.fact(*ix);
            let word = fact.words()?.get(usize::from(*word))?;
            Some((fact.name.as_str(), word.as_str()))
        })
        .collect()
}

/// All kinds, by name.
fn kinds_in_order(ruleset: &Ruleset) -> Vec<KindId> {
    let v = &ruleset.vocabulary;
    let mut all: Vec<KindId> = v.kind_ids().collect();
    all.sort_by(|a, b| v.kind(*a).name.cmp(&v.kind(*b).name));
    all
}
