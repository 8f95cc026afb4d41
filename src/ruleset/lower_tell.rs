//! What is told to somebody outside: the facts that a notice holds.

use super::layers::Merged;
use super::lower_tables::path;
use super::model::Telling;
use super::reader::Fields;
use crate::source::Problem;
use crate::vocabulary::{Settler, Vocabulary};

/// Reads `tell:` of all layers, in their order; a fact is told once.
pub(super) fn tellings(
    merged: &Merged<'_>,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Vec<Telling> {
    let mut all: Vec<Telling> = Vec::new();
    for item in &merged.tell {
        let name = "what is told";
        let Some(f) = Fields::new(item.node, item.at, name, &["to", "is", "in"], problems) else {
            continue;
        };
        let (Some(to), Some(is)) = (
            f.needed("to", name, problems),
            f.needed("is", name, problems),
        ) else {
            continue;
        };
        let Some(settler) = Settler::ALL.into_iter().find(|s| s.word() == to) else {
            let words = Settler::ALL.map(Settler::word);
            problems.push(
                Problem::error("unknown-word", format!("nobody is called `{to}` here"))
                    .at(f.get("to").map_or(item.at, |n| n.span), "")
                    .help(format!("write one of {}", words.join(", "))),
            );
            continue;
        };
        let Some((kind, fact)) = path(is, item.at, v, problems) else {
            continue;
        };
        let new = Telling {
            to: settler,
            kind,
            fact,
        };
        if !all.contains(&new) {
            all.push(new);
        }
    }
    all
}
