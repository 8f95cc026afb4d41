//! What a reading is expected to be: which figure of the tested thing it should come out as.

use super::merged::{Item, Merged};
use super::model::Expectation;
use super::reader::{Fields, fact_of, path};
use super::schema;
use crate::source::Problem;
use crate::vocabulary::{NameRole, Vocabulary};

/// Reads `expect:` of all layers; a later layer's entry for the same reading of the same kind
/// replaces an earlier one's.
pub(super) fn expectations(
    merged: &Merged<'_>,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Vec<Expectation> {
    let mut all: Vec<Expectation> = Vec::new();
    for item in merged.of("expect") {
        let Some(new) = expectation(item, v, problems) else {
            continue;
        };
        let old = all
            .iter_mut()
            .find(|e| (e.record, e.reads, e.kind) == (new.record, new.reads, new.kind));
        match old {
            Some(e) => *e = new,
            None => all.push(new),
        }
    }
    all
}

fn expectation(
    item: &Item<'_>,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<Expectation> {
    let f = Fields::new(item.node, item.at, &schema::EXPECTATION, problems)?;
    let (record, reads) = path(f.needed("reads", problems)?, item.at, v, problems)?;
    let NameRole::Reference(of) = v.kind(record).name_role else {
        let why = format!(
            "a `{}` is not named after what was read: nothing can be expected of it",
            v.kind(record).name
        );
        return Problem::wrong("wrong-kind", item.at, why)
            .help("a kind with `name: reference KIND` holds readings")
            .fail(problems);
    };
    let (kind, fact) = path(f.needed("is", problems)?, item.at, v, problems)?;
    let up_to = match f.text("up-to", problems) {
        None => None,
        Some(text) => Some(fact_of(v.kind(kind), text, f.at("up-to"), problems)?),
    };
    let dimension = |k, x| v.fact(k, x).unit().map(crate::quantity::Unit::dim);
    let read = dimension(record, reads);
    let differs = |x| read.is_none() || dimension(kind, x) != read;
    if differs(fact) || up_to.is_some_and(differs) {
        let why = format!(
            "`{}` is read in another unit than the figure it is expected to be",
            v.fact(record, reads).name
        );
        return Problem::wrong("wrong-dimension", item.at, why).fail(problems);
    }
    let always = match f.text("always", problems) {
        None | Some("no") => false,
        Some("yes") => true,
        Some(word) => {
            let why = format!("`{word}` is neither yes nor no");
            return Problem::wrong("unknown-word", f.at("always"), why).fail(problems);
        }
    };
    Some(Expectation {
        record,
        reads,
        of,
        kind,
        fact,
        up_to,
        always,
    })
}
