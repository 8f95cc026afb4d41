//! Layers of a ruleset as they are read, and what holds of them in one edition.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use super::edition::{Edition, holds};
use super::yaml::Node;
use crate::source::{FileId, Problem, SourceFile, Span};

/// One ruleset folder, read but not yet merged.
#[derive(Debug)]
pub(super) struct Layer {
    pub(super) name: String,
    pub(super) title: String,
    pub(super) parent: Option<String>,
    pub(super) notes: Vec<String>,
    pub(super) network_operator: Option<String>,
    pub(super) editions: Vec<Edition>,
    pub(super) files: Vec<(FileId, Arc<SourceFile>, Node)>,
}

impl Layer {
    /// An item of a section, as this layer states it.
    pub(super) fn find(&self, section: &str, name: &str) -> Option<&Node> {
        self.files
            .iter()
            .find_map(|(_, _, root)| root.get(section)?.get(name))
    }
}

/// One item of a section, with the layer it comes from.
#[derive(Clone, Copy)]
pub(super) struct Item<'a> {
    pub(super) layer: usize,
    pub(super) name: &'a str,
    pub(super) at: Span,
    pub(super) node: &'a Node,
    /// The item of a lower layer that it replaced.
    pub(super) replaced: Option<usize>,
}

/// All items that hold in the chosen edition, merged: a later layer's item replaces an earlier
/// one's of the same name.
#[derive(Default)]
pub(super) struct Merged<'a> {
    /// By section. Of what is only collected (kinds are not replaced but extended) all statements, in
    /// order of layers.
    pub(super) sections: FxHashMap<&'static str, Vec<Item<'a>>>,
    pub(super) layers: &'a [Layer],
    /// How many of the layers are no patches.
    pub(super) bases: usize,
    pub(super) sources: &'a [Arc<SourceFile>],
    /// For each layer: the editions that its items name, and the chosen one.
    pub(super) editions: Vec<(&'a [Edition], usize)>,
}

impl<'a> Merged<'a> {
    /// The items of a section.
    pub(super) fn of(&self, section: &str) -> &[Item<'a>] {
        self.sections.get(section).map_or(&[], Vec::as_slice)
    }

    /// The file a place is in.
    pub(super) fn source(&self, span: Span) -> Option<&SourceFile> {
        self.sources
            .get((span.file.0 - FileId::RULESET) as usize)
            .map(|f| &**f)
    }

    /// Whether an `in:` names the edition that was chosen for a layer.
    pub(super) fn in_edition(
        &self,
        layer: usize,
        span: &Node,
        problems: &mut Vec<Problem>,
    ) -> bool {
        let (Some((editions, chosen)), Some(text)) = (self.editions.get(layer), span.text()) else {
            return true;
        };
        holds(text, span.span, editions, *chosen, problems)
    }

    pub(super) fn layer_name(&self, item: &Item<'_>) -> &str {
        self.layers.get(item.layer).map_or("", |l| &l.name)
    }
}

/// One layer may state a name once in an edition.
pub(super) fn stated_twice(again: &Item<'_>, first: Span) -> Problem {
    Problem::error("stated-twice", format!("`{}` is stated twice", again.name))
        .at(again.at, "the second time")
        .at(first, "the first time")
        .help("give each an edition with `in:`, or take one out")
}
