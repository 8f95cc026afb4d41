//! What a layer leaves out knowingly: facts of the trade that no rule, limit, table or derivation
//! states, each with the reason.

use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};

use super::layers::Merged;
use super::reader::Fields;
use crate::source::{Problem, Span};

/// Something that a layer does not encode.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOut {
    /// What it is, in one line.
    pub what: String,
    /// Standard and clause, law or practice it comes from.
    pub clause: String,
    /// Why it is not encoded.
    pub why: String,
    /// The layer that leaves it out.
    pub layer: String,
}

/// Reads the entries of all layers that hold in the chosen edition, in the order of the layers.
pub(super) fn read(merged: &Merged<'_>, problems: &mut Vec<Problem>) -> Vec<LeftOut> {
    let mut all = Vec::new();
    let mut stated: FxHashMap<(usize, &str), Span> = FxHashMap::default();
    for item in &merged.left_out {
        let name = "an entry of `left-out`";
        let keys = ["what", "clause", "why", "in"];
        let Some(f) = Fields::new(item.node, item.at, name, &keys, problems) else {
            continue;
        };
        let mut needed = |key: &str| {
            let text = f.needed(key, name, problems)?;
            if text.trim().is_empty() {
                let at = f.get(key).map_or(item.at, |n| n.span);
                problems.push(
                    Problem::error("empty-text", format!("`{key}` of {name} says nothing"))
                        .at(at, ""),
                );
                return None;
            }
            Some(text)
        };
        let (what, clause, why) = (needed("what"), needed("clause"), needed("why"));
        let (Some(what), Some(clause), Some(why)) = (what, clause, why) else {
            continue;
        };
        if let Some(first) = stated.insert((item.layer, what), item.at) {
            problems.push(
                Problem::error("stated-twice", format!("`{what}` is left out twice"))
                    .at(item.at, "the second time")
                    .at(first, "the first time")
                    .help("take one out"),
            );
        }
        all.push(LeftOut {
            what: what.to_owned(),
            clause: clause.to_owned(),
            why: why.to_owned(),
            layer: merged.layer_name(item).to_owned(),
        });
    }
    all
}
