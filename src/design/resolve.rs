//! Syntax tree to design: gives every word its meaning under a vocabulary.
//!
//! Nothing here fails. A mistake is reported, the fact it spoils is marked as written wrongly
//! ([`Possible::Poison`]), and everything else is kept, so that one wrong unit changes no verdict
//! elsewhere.
//!
//! In order: blocks become objects and get their names (`blocks`), parameters get their
//! values, then every fact of every object is read under its type; at the end come departures,
//! the check that the feed has no loop, and the objects that must exist and are not written.

mod arithmetic;
mod blocks;
mod completeness;
mod departures;
mod expected;
mod facts;
mod feeds;
mod keyed;
mod labels;
mod limits;
mod narrow;
mod numbers;
mod parameters;
mod parts;
mod phantoms;
mod products;
mod references;
mod resolver;
mod rest;
mod stage;
mod units;
mod values;
mod words;

pub(super) use keyed::{Rewrite, keyed};
pub use stage::{RulesNamed, rules_named};

use crate::design::model::Design;
use crate::design::tree::{Tree, Value};
use crate::source::Problem;
use crate::vocabulary::Vocabulary;
use resolver::Resolver;

#[cfg(doc)]
use crate::design::model::Possible;

/// What the command line says about a design.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// Values given to parameters (`--set run=18m`), parsed.
    pub set: Vec<(String, Value)>,
}

/// A design and everything that is wrong with its text.
#[derive(Clone, Debug, Default)]
pub struct Resolved {
    /// All that could be understood.
    pub design: Design,
    /// Mistakes and cautions, in the order of the files and their texts.
    pub problems: Vec<Problem>,
    /// Blocks, parts and members of lists in it.
    pub things: usize,
    /// There are more than may be; what was understood is not all.
    pub too_large: bool,
}

/// A tree with the keys of what it says shortly, and the mistakes in that: what is changed by key
/// is first given its keys.
#[must_use]
pub fn with_keys(tree: &Tree, vocabulary: &Vocabulary) -> (Tree, Vec<Problem>) {
    let mut keyed = keyed(&[tree], vocabulary);
    (keyed.trees.pop().unwrap_or_default(), keyed.problems)
}

/// Resolves the trees of a design: the files it uses first, the main file last.
#[must_use]
pub fn resolve(trees: &[&Tree], vocabulary: &Vocabulary, settings: &Settings) -> Resolved {
    let mut problems = Vec::new();
    let generic = products::mentioned(trees, vocabulary, &mut problems);
    let mut all = vec![&generic];
    all.extend_from_slice(trees);
    let mut keyed = keyed(&all, vocabulary);
    problems.append(&mut keyed.problems);
    problems.extend(products::put_in(&mut keyed.trees, vocabulary));
    let trees: &[&Tree] = &keyed.trees.iter().collect::<Vec<_>>();
    let mut resolver = Resolver::new(vocabulary);
    for problem in problems {
        problem.report(&mut resolver);
    }
    if !resolver.has_room_for_blocks(trees) {
        return resolver.finish();
    }
    resolver.read_items(trees);
    resolver.read_parameters(settings);
    resolver.read_facts();
    resolver.read_departures();
    resolver.break_feed_loops();
    resolver.add_phantoms(trees);
    resolver.finish()
}
