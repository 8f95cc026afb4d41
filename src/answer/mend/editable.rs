//! Which places in the text a mend may edit.

use rustc_hash::{FxHashMap, FxHashSet};

use super::super::residual::{all_written, written_facts};
use crate::design::model::{Design, ObjectId, Possible};
use crate::ruleset::Ruleset;
use crate::source::Span;
use crate::vocabulary::Settler;

/// Places in the text of which no edit is one change: by a `define` or a repetition they stand for a
/// thing, too, that is not of these works, or for values that differ.
pub(super) fn shared(ruleset: &Ruleset, design: &Design) -> FxHashSet<Span> {
    let mut seen: FxHashMap<Span, &Possible> = FxHashMap::default();
    let mut shared = FxHashSet::default();
    for (place, written) in all_written(design) {
        let object = design.object(place.object);
        // What is not there, or goes, is not built by what the text says of it.
        if !object.stays() {
            continue;
        }
        let ours = object.is_of_works() && !is_of_network(ruleset, design, place.object);
        let first = *seen.entry(written.span).or_insert(&written.value);
        if !ours || !reads_alike(first, &written.value) {
            shared.insert(written.span);
        }
    }
    shared
}

/// Whether two values may be of one text; each thing of a repetition has parts of its own.
fn reads_alike(a: &Possible, b: &Possible) -> bool {
    match (a, b) {
        (Possible::Object(_), Possible::Object(_)) => true,
        (Possible::OneOf(a), Possible::OneOf(b)) | (Possible::List(a), Possible::List(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| reads_alike(a, b))
        }
        _ => a == b,
    }
}

/// Whether a part is the network operator's: the service fuse, whatever the works do to the rest.
pub(super) fn is_of_network(ruleset: &Ruleset, design: &Design, id: ObjectId) -> bool {
    let Some(owner) = design.object(id).owner else {
        return false;
    };
    let whole = design.object(owner);
    let kind = ruleset.vocabulary.kind(whole.kind);
    written_facts(whole).any(|(ix, written)| {
        kind.fact(ix).settled_by == Settler::Network && written.value.leads_to(id)
    })
}
