//! What the files of rulesets give a name to, and what is wrong with them.

use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use gen_lsp_types::Diagnostic;

use crate::ruleset::schema;
use crate::ruleset::yaml::{self, Node};
use crate::source::{FileId, SourceFile, Span};

/// What is known of the rulesets of which a file is open.
#[derive(Default)]
pub(super) struct Rules {
    /// What is wrong with each file.
    pub(super) told: BTreeMap<PathBuf, Vec<Diagnostic>>,
    /// By folder.
    pub(super) given: BTreeMap<PathBuf, Given>,
}

/// The files of a ruleset and its ancestors.
pub(super) struct Given {
    pub(super) files: Arc<Vec<Arc<SourceFile>>>,
    /// What they give a name to; read when somebody asks first.
    pub(super) names: OnceCell<Vec<Name>>,
}

impl Given {
    pub(super) fn names(&self) -> &[Name] {
        self.names.get_or_init(|| names(&self.files))
    }
}

/// Something that a ruleset gives a name to.
pub(super) struct Name {
    /// The word that expressions use.
    pub(super) word: String,
    /// The name in full: `cable.drop-two`.
    pub(super) full: String,
    /// What it is: `a derivation`.
    pub(super) what: &'static str,
    /// Its type, its meaning and where it is from, as far as they are stated.
    pub(super) told: Vec<String>,
    /// Where it stands.
    pub(super) at: Span,
}

/// What the files of a ruleset give a name to. One that is no YAML just now gives none.
fn names(files: &[Arc<SourceFile>]) -> Vec<Name> {
    let mut all = Vec::new();
    for (place, file) in files.iter().enumerate() {
        let root = FileId::of_ruleset(place).and_then(|id| yaml::read(id, file, 0).ok());
        let sections = root.as_ref().and_then(Node::map).unwrap_or_default();
        for (section, held) in sections {
            for (key, entry) in held.map().unwrap_or_default() {
                add(&mut all, &[&section.text, &key.text], entry, key.span);
                let facts = entry.get("facts").and_then(Node::map).unwrap_or_default();
                for (fact, node) in facts {
                    let path = [&*section.text, &*key.text, "facts", &*fact.text];
                    add(&mut all, &path, node, fact.span);
                }
            }
            for item in held.list().unwrap_or_default() {
                let name = item.get("id").or_else(|| item.get("name"));
                if let Some((name, text)) = name.and_then(|n| Some((n, n.text()?))) {
                    add(&mut all, &[&section.text, text], item, name.span);
                }
            }
        }
    }
    all
}

fn add(all: &mut Vec<Name>, path: &[&str], node: &Node, at: Span) {
    let (full, what) = match path {
        [_, kind, "facts", fact] => (format!("{kind}.{fact}"), schema::at(path)),
        [section, name] => (
            (*name).to_owned(),
            schema::at(path).or_else(|| schema::at(&[section])),
        ),
        _ => return,
    };
    let Some(what) = what.map(|shape| shape.what) else {
        return;
    };
    let told = ["is", "title", "means", "clause"];
    let told = told.iter().filter_map(|key| node.get(key)?.text());
    all.push(Name {
        word: full.rsplit('.').next().unwrap_or(&full).to_owned(),
        what,
        told: told.map(str::to_owned).collect(),
        at,
        full,
    });
}
