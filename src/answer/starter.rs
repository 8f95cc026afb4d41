//! A starting file: every fact that the rules will ask for, as `?`, with its unit and meaning.
//!
//! It is written from the vocabulary and grown by surveys of itself, until a survey asks for
//! nothing that is not in it.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::sync::Arc;

use super::residual::Residual;
use super::survey::{Question, survey, unit_to_write};
use crate::check::Departures;
use crate::design::model::Design;
use crate::design::parse::parse;
use crate::design::resolve::{self, resolve};
use crate::design::tree::{self, Item};
use crate::ruleset::{Ruleset, Stage};
use crate::source::FileId;
use crate::vocabulary::{FactIx, FactType, Kind, KindId, Settler, Vocabulary, with_article};

/// Surveys of itself before it is given up; each adds what the one before asked for.
const ROUNDS: usize = 6;

/// Writes a starting file for an installation of this name. `rules` is what it is judged by, as a
/// design names it.
#[must_use]
pub fn starter(ruleset: &Arc<Ruleset>, rules: &str, name: &str, stage: Stage) -> String {
    let v = &ruleset.vocabulary;
    let mut asked: BTreeSet<(KindId, Entry)> = BTreeSet::new();
    let mut rules = format!("  rules: {rules}\n");
    // Without a day from which it applies nothing but the authority chooses it.
    if ruleset.edition.usable_from.is_none() {
        let edition = &ruleset.edition.id;
        rules += &format!("  edition: \"{edition}\"  # the authority says which applies\n");
    }
    let mut text = write(v, &rules, name, &asked);
    for _ in 0..ROUNDS {
        let parsed = parse(FileId(0), &text);
        let resolved = resolve(&[&parsed.tree], v, &resolve::Settings::default());
        let found = survey(
            &Residual::of(ruleset, resolved.design.clone(), &[], stage),
            &Departures::none(),
        );
        let before = asked.len();
        for q in found.each() {
            if let Some(entry) = entry(v, &resolved.design, q) {
                asked.insert(entry);
            }
        }
        if asked.len() == before {
            break;
        }
        text = write(v, &rules, name, &asked);
    }
    text
}

/// The text of a job, a design to start from, with these rules and this name in its installation;
/// none where it has no place for them.
#[must_use]
pub fn from_job(text: &str, rules: &str, name: &str) -> Option<String> {
    let tree = parse(FileId(0), text).tree;
    let block = tree.items.iter().find_map(|item| match item {
        Item::Block(b) if b.kind.text == "installation" => Some(b),
        _ => None,
    })?;
    let (label, old) = (block.label.as_ref()?.span, block.entries.iter());
    let mut old = old.filter_map(|entry| match entry {
        tree::Entry::Fact(f) if f.key.text == "rules" => Some(f.value.span),
        _ => None,
    });
    let mut out = text.to_owned();
    // The later place first, so that the earlier one stays where it is.
    let old = old.next_back()?;
    out.replace_range(old.from()..old.until(), rules);
    out.replace_range(label.from()..label.until(), &quoted(name));
    Some(out)
}

fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "'"))
}

/// A line of a block.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Entry {
    /// A fact, and what is asked inside of the part that it is.
    Fact(FactIx, Option<(KindId, FactIx)>),
    /// Whether all of a kind are listed.
    Listed(String),
}

fn entry(v: &Vocabulary, design: &Design, q: &Question) -> Option<(KindId, Entry)> {
    let object = design.object(q.object);
    let kind = object.kind;
    if object.owner.is_some() {
        return None;
    }
    if q.rest {
        let target = v.fact(kind, q.fact).target()?;
        return Some((kind, Entry::Listed(v.kind(target).name.clone())));
    }
    let fact = v.fact(kind, q.fact);
    fact.writable
        .then_some((kind, Entry::Fact(q.fact, q.inner)))
}

/// Kinds that get a block: those of which there must be at least one, and those asked about.
fn blocks(v: &Vocabulary, asked: &BTreeSet<(KindId, Entry)>) -> Vec<KindId> {
    v.kind_ids()
        .filter(|k| {
            let kind = v.kind(*k);
            !kind.is_abstract()
                && !kind.part_only
                && kind.name != "installation"
                && (kind.at_least > 0 || asked.iter().any(|(a, _)| a == k))
        })
        .collect()
}

/// What is mostly found as it is, and so is existing unless said otherwise.
fn found_as_it_is(kind: &Kind) -> bool {
    let count = |list: &[Settler]| {
        kind.facts
            .iter()
            .filter(|f| f.writable && list.contains(&f.settled_by))
            .count()
    };
    count(&[Settler::Site, Settler::Network, Settler::Test])
        > count(&[Settler::Designer, Settler::Maker, Settler::Client])
}

fn write(v: &Vocabulary, rules: &str, name: &str, asked: &BTreeSet<(KindId, Entry)>) -> String {
    let mut blocks = blocks(v, asked);
    in_order(v, &mut blocks);
    let mut file = Starting {
        v,
        asked,
        blocks: &blocks,
        out: String::from(
            "# A design to fill in. Write what is known in place of each `?`, `none` where there is none, and take out\n# what does not belong. `amperule survey` says what to find out first, `amperule check` what breaks.\n\n",
        ),
    };
    let head = format!("installation {} {{\n{rules}", quoted(name));
    file.out.push_str(&head);
    if let Some(k) = v.kind_named("installation") {
        file.lines(k, 1);
    }
    file.out.push_str("}\n");
    file.blocks_in(None, 0);
    file.out
}

/// A starting file as far as it is written.
struct Starting<'a> {
    v: &'a Vocabulary,
    asked: &'a BTreeSet<(KindId, Entry)>,
    /// The kinds that get a block, in order.
    blocks: &'a [KindId],
    out: String,
}

impl Starting<'_> {
    /// The block that a kind stands in.
    fn home(&self, kind: KindId) -> Option<KindId> {
        let mut around = self.v.kind(kind).within.iter().map(|w| w.kind);
        around.find(|k| *k != kind && self.blocks.contains(k))
    }

    /// The blocks that stand in another; none for the outermost.
    fn blocks_in(&mut self, around: Option<KindId>, depth: usize) {
        for kind in self.blocks {
            if self.home(*kind) == around {
                self.out.push('\n');
                self.block(*kind, depth);
            }
        }
    }

    fn block(&mut self, id: KindId, depth: usize) {
        let kind = self.v.kind(id);
        let indent = "  ".repeat(depth);
        let _ = writeln!(self.out, "{indent}{} {{  # {}", kind.name, kind.means);
        if kind.fact_named("status").is_some() {
            let status = if found_as_it_is(kind) {
                "existing"
            } else {
                "new"
            };
            let _ = writeln!(self.out, "{indent}  status: {status}");
        }
        self.lines(id, depth + 1);
        self.blocks_in(Some(id), depth + 1);
        let _ = writeln!(self.out, "{indent}}}");
    }

    fn lines(&mut self, id: KindId, depth: usize) {
        let v = self.v;
        let kind = v.kind(id);
        let indent = "  ".repeat(depth);
        let mut rows: Vec<(String, String)> = Vec::new();
        for (ix, fact) in kind.fact_ids().zip(&kind.facts) {
            let wanted = self.asked.iter().filter_map(|(k, e)| match e {
                Entry::Fact(f, inner) if *k == id && *f == ix => Some(inner),
                _ => None,
            });
            let wanted: Vec<_> = wanted.collect();
            let set_by_place = self
                .home(id)
                .is_some_and(|h| kind.within.iter().any(|w| w.kind == h && w.sets == ix));
            if !fact.writable || fact.name == "status" || set_by_place {
                continue;
            }
            if let FactType::Reference(t) = &fact.ty
                && says_where_it_belongs(&fact.name)
                && let Some(target) = only_block(v, id, *t, self.blocks)
            {
                let name = &v.kind(target).name;
                rows.push((format!("{}: {name}", fact.name), fact.texts.means.clone()));
                continue;
            }
            if wanted.is_empty() {
                continue;
            }
            let mut comment = fact.texts.means.clone();
            match &fact.ty {
                FactType::Quantity { .. } => {
                    if let Some(unit) = unit_to_write(fact) {
                        let _ = write!(comment, ", in {unit}");
                    }
                }
                FactType::Choice { words, .. } | FactType::Some { words } if words.len() <= 12 => {
                    let _ = write!(comment, "; {}", words.join(", "));
                }
                FactType::YesNo => comment.push_str("; yes or no"),
                FactType::Date => comment.push_str(", like 2026-11-02"),
                _ => {}
            }
            if fact.optional {
                comment.push_str(", or none");
            }
            let inside = || wanted.iter().copied().flatten();
            if let Some((k, _)) = inside().next() {
                let heads: Vec<&str> = v.kind(*k).heads.iter().map(|h| h.word.as_str()).collect();
                let facts: Vec<&str> = inside()
                    .filter(|(x, _)| x == k)
                    .map(|(x, f)| v.fact(*x, *f).name.as_str())
                    .collect();
                let head = if heads.len() <= 4 && !heads.is_empty() {
                    heads.join(" | ")
                } else {
                    with_article(&v.kind(*k).name)
                };
                let _ = write!(comment, "; {head} with {}", facts.join(", "));
            }
            rows.push((format!("{}: ?", fact.name), comment));
        }
        let width = rows
            .iter()
            .map(|(l, _)| l.chars().count())
            .max()
            .unwrap_or(0);
        for (line, comment) in &rows {
            let pad = " ".repeat(width - line.chars().count());
            let _ = writeln!(self.out, "{indent}{line}{pad}  # {comment}");
        }
        for (k, e) in self.asked {
            if let Entry::Listed(listed) = e
                && *k == id
            {
                let _ = writeln!(
                    self.out,
                    "{indent}# all-listed: {listed}  (write it when every {listed} is written down)"
                );
            }
        }
    }
}

/// References that say what something belongs to.
fn says_where_it_belongs(fact: &str) -> bool {
    matches!(fact, "fed-from" | "circuit" | "of")
}

/// The only block that a reference can mean: of its kind, and not inside what refers.
fn only_block(v: &Vocabulary, from: KindId, target: KindId, blocks: &[KindId]) -> Option<KindId> {
    let mut fitting = blocks.iter().copied().filter(|b| {
        *b != from && v.fits(*b, target) && !v.kind(*b).within.iter().any(|w| w.kind == from)
    });
    match (fitting.next(), fitting.next()) {
        (Some(one), None) => Some(one),
        _ => None,
    }
}

/// What nothing feeds comes first, then what refers to it.
fn in_order(v: &Vocabulary, blocks: &mut [KindId]) {
    let refers = |k: &KindId| {
        v.kind(*k)
            .facts
            .iter()
            .filter(|f| matches!(f.ty, FactType::Reference(_)) && says_where_it_belongs(&f.name))
            .count()
    };
    let nested = |k: &KindId| v.kind(*k).within.len();
    blocks.sort_by_key(|k| (refers(k) + nested(k), *k));
}
