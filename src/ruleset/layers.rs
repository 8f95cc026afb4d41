//! Layers of a ruleset: heads, which items hold in an edition, and what replaces what.

use std::sync::Arc;

use rustc_hash::FxHashMap;
use sha2::{Digest, Sha256};

use super::Ruleset;
use super::compile::compile;
use super::edition::{Edition, Request, choose, holds, list};
use super::merged::{Item, Layer, Merged, stated_twice};
use super::reader::Fields;
use super::replacing;
use super::schema;
use super::yaml::{Key, Node, Yaml};
use crate::source::{FileId, Problem, SourceFile, Span};

impl Layer {
    pub(super) fn new(
        name: &str,
        files: Vec<(FileId, Arc<SourceFile>, Node)>,
        problems: &mut Vec<Problem>,
    ) -> Option<Self> {
        let mut layer = Self {
            name: name.to_owned(),
            title: name.to_owned(),
            parent: None,
            notes: Vec::new(),
            network_operator: None,
            editions: Vec::new(),
            files,
        };
        let mut headed = false;
        for (id, _, node) in &layer.files {
            if matches!(node.value, Yaml::Null) {
                continue;
            }
            let at = Span::new(*id, 0, 1);
            let Some(f) = Fields::new(node, at, &schema::FILE, problems) else {
                continue;
            };
            let Some(head) = f.get("ruleset") else {
                continue;
            };
            headed = true;
            if head.text() != Some(name) {
                let why =
                    format!("this ruleset stands in the folder `{name}` and is called otherwise");
                Problem::wrong("wrong-name", head.span, why)
                    .help(format!("write `ruleset: {name}`"))
                    .report(problems);
            }
            layer.title = f
                .owned("title", problems)
                .unwrap_or_else(|| name.to_owned());
            layer.parent = f.owned("parent", problems);
            layer.notes = f.texts("notes").into_iter().map(|(t, _)| t).collect();
            layer.network_operator = f.owned("network-operator", problems);
            if let Some(list) = f.get("editions").and_then(Node::list) {
                layer.editions = Edition::read_all(list, problems);
            }
        }
        if !headed {
            return Problem::error("no-head", format!("the ruleset `{name}` has no head"))
                .help(format!("write `ruleset: {name}` in its file ruleset.yaml"))
                .fail(problems);
        }
        Some(layer)
    }
}

/// Merges and compiles.
pub(super) fn assemble(
    request: &Request,
    layers: &[Layer],
    bases: usize,
    files: &Arc<Vec<Arc<SourceFile>>>,
    problems: &mut Vec<Problem>,
) -> Option<Ruleset> {
    let base = layers.get(bases.checked_sub(1)?)?;
    let choice = match choose(&base.name, &base.editions, request) {
        Ok(c) => c,
        Err(p) => return p.fail(problems),
    };
    // Each parent's edition is pinned by its child's; patches follow the base's.
    let mut chosen = vec![choice.index; layers.len()];
    for i in (0..bases.saturating_sub(1)).rev() {
        let child = layers.get(i + 1)?;
        let parent = layers.get(i)?;
        let pinned = child
            .editions
            .get(chosen[i + 1])
            .and_then(|e| e.parent.as_deref());
        chosen[i] = match pinned {
            None => parent.editions.len().saturating_sub(1),
            Some(id) => parent
                .editions
                .iter()
                .position(|e| e.id == id)
                .unwrap_or_else(|| {
                    let why = format!(
                        "`{}` pins an edition `{id}` that `{}` does not have",
                        child.name, parent.name
                    );
                    let there = format!("its editions are {}", list(&parent.editions));
                    problems.push(Problem::error("unknown-edition", why).help(there));
                    0
                }),
        };
    }
    let mut merged = Merged {
        layers,
        bases,
        sources: files,
        ..Merged::default()
    };
    for (i, layer) in layers.iter().enumerate() {
        let editions = if i < bases {
            &layer.editions
        } else {
            &base.editions
        };
        merged.editions.push((editions, chosen[i]));
        collect(layer, i, editions, chosen[i], &mut merged, problems);
    }
    let mut ruleset = compile(&merged, problems);
    ruleset.id.clone_from(&base.name);
    ruleset.title.clone_from(&base.title);
    ruleset.patches.clone_from(&request.patches);
    ruleset.edition = base.editions.get(choice.index)?.clone();
    ruleset.other_editions = choice.others;
    ruleset.edition_note = choice.note;
    // What the foundation says of itself does not hold for what is built on it.
    ruleset.notes = layers
        .iter()
        .skip(usize::from(bases > 1))
        .flat_map(|l| l.notes.clone())
        .collect();
    let mut said = layers.iter().rev();
    ruleset.network_operator = said
        .find_map(|l| l.network_operator.clone())
        .unwrap_or_else(|| Ruleset::NETWORK_OPERATOR.to_owned());
    ruleset.hash = hash(layers, bases, &ruleset.edition.id);
    ruleset.files = Arc::clone(files);
    Some(ruleset)
}

/// Hash of the texts of all layers and the edition; patches that commute may be named in any
/// order.
fn hash(layers: &[Layer], bases: usize, edition: &str) -> String {
    let mut order: Vec<&Layer> = layers.iter().collect();
    if let Some(patches) = order.get_mut(bases..) {
        patches.sort_by(|a, b| a.name.cmp(&b.name));
    }
    let mut sha = Sha256::new();
    sha.update(edition.as_bytes());
    for layer in order {
        sha.update(layer.name.as_bytes());
        for (_, source, _) in &layer.files {
            let text = source.text();
            let until = super::yaml::second_document(text).unwrap_or(text.len());
            // Line ends differ between checkouts; the content does not.
            for line in text.get(..until).unwrap_or("").lines() {
                sha.update(line.as_bytes());
                sha.update(b"\n");
            }
        }
    }
    first_digits(&sha.finalize())
}

/// The first 16 hexadecimal digits of a hash: enough to tell contents apart.
#[must_use]
pub fn first_digits(hash: &[u8]) -> String {
    let first = hash.first_chunk().map_or(0, |b| u64::from_be_bytes(*b));
    format!("{first:016x}")
}

fn collect<'a>(
    layer: &'a Layer,
    index: usize,
    editions: &[Edition],
    chosen: usize,
    merged: &mut Merged<'a>,
    problems: &mut Vec<Problem>,
) {
    let in_force = |node: &Node, problems: &mut Vec<Problem>| match node.get("in") {
        None => true,
        Some(n) => match n.text() {
            Some(t) => holds(t, n.span, editions, chosen, problems),
            None => {
                Problem::wrong("not-a-text", n.span, "`in` names editions, like `A1 .. A3`")
                    .report(problems);
                true
            }
        },
    };
    // Names stated by this layer, to catch a second statement.
    let mut mine: FxHashMap<(&str, &str), Span> = FxHashMap::default();
    for (_, _, root) in &layer.files {
        let Some(sections) = root.map() else { continue };
        for (section, node) in sections {
            let Some(known) = schema::section(&section.text) else {
                continue;
            };
            let entries: Vec<(&'a str, Span, &'a Node)> = match &node.value {
                Yaml::Null => continue,
                Yaml::Map(entries) if known.by_name => entries
                    .iter()
                    .map(|(k, n): &(Key, Node)| (k.text.as_str(), k.span, n))
                    .collect(),
                Yaml::List(items) if !known.by_name => items
                    .iter()
                    .map(|n| {
                        let names = ["id", "is", "what", "reads"];
                        let id = names.iter().find_map(|k| n.get(k));
                        let name = id.and_then(Node::text).unwrap_or("");
                        (name, id.map_or(n.span, |i| i.span), n)
                    })
                    .collect(),
                _ => {
                    let shape = if known.by_name { "a map" } else { "a list" };
                    let why = format!("`{}` holds {shape}", known.name);
                    Problem::wrong("wrong-shape", section.span, why).report(problems);
                    continue;
                }
            };
            let list = merged.sections.entry(known.name).or_default();
            for (name, at, node) in entries {
                if !in_force(node, problems) {
                    continue;
                }
                let mut item = Item {
                    layer: index,
                    name,
                    at,
                    node,
                    replaced: None,
                };
                if !schema::is_replaced(known) {
                    list.push(item);
                    continue;
                }
                if let Some(first) = mine.insert((known.name, name), at) {
                    problems.push(stated_twice(&item, first));
                    continue;
                }
                let old = list.iter().position(|i| i.name == name);
                let before = old.and_then(|i| list.get(i));
                item.replaced = before.map(|b| b.layer);
                let names = list.iter().filter(|i| i.layer != index).map(|i| i.name);
                replacing::check(known.name, before, &item, names, merged.bases, problems);
                match old.and_then(|i| list.get_mut(i)) {
                    None => list.push(item),
                    Some(slot) => *slot = item,
                }
            }
        }
    }
}
