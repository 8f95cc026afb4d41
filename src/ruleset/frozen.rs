//! Rulesets compiled when the program is built.
//!
//! Reading and compiling the YAML of a ruleset takes many times as long as checking a design. So
//! the build script compiles each ruleset in the program in each of its editions, with these very
//! modules, and stores what came of it; the program only reads that back. `tests/frozen.rs` holds
//! the stored ones against fresh ones.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::library::Library;
use super::{Edition, Request, Ruleset};
use crate::source::Problem;
use crate::vocabulary::words;

/// One ruleset in all its editions.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Base {
    /// Its name.
    pub(super) name: String,
    /// It and its ancestors, in the order in which their files are numbered: itself first.
    pub(super) chain: Vec<String>,
    /// Its editions, oldest first.
    pub(super) editions: Vec<Edition>,
    /// Where each edition lies behind the contents: from, until.
    places: Vec<(u32, u32)>,
}

/// Compiled rulesets as stored: contents first, then what they point at.
#[derive(Clone, Debug)]
pub(super) struct Frozen<'a> {
    pub(super) bases: Vec<Base>,
    rest: &'a [u8],
}

fn unreadable(error: impl std::fmt::Display) -> Problem {
    Problem::error(
        "unreadable-program",
        format!("the rulesets inside this program cannot be read: {error}"),
    )
    .help("build the program anew")
}

impl<'a> Frozen<'a> {
    /// Reads the contents.
    ///
    /// # Errors
    /// The bytes are none that [`freeze`] gave.
    pub(super) fn open(bytes: &'a [u8]) -> Result<Self, Problem> {
        let (bases, rest) = postcard::take_from_bytes(bytes).map_err(unreadable)?;
        Ok(Self { bases, rest })
    }

    /// A ruleset by its name.
    pub(super) fn base(&self, name: &str) -> Option<&Base> {
        self.bases.iter().find(|b| b.name == name)
    }

    /// One edition of a ruleset, without its files.
    ///
    /// # Errors
    /// The bytes are none that [`freeze`] gave.
    pub(super) fn thaw(&self, base: &Base, edition: usize) -> Result<Ruleset, Problem> {
        let bytes = base.places.get(edition).and_then(|(from, until)| {
            self.rest
                .get(usize::try_from(*from).ok()?..usize::try_from(*until).ok()?)
        });
        decode(bytes.ok_or_else(|| unreadable("an edition is missing"))?)
    }
}

/// Stores a compiled ruleset without its files. What depends on how it was asked for (the other
/// editions usable that day, how this one was chosen) is stored as it is.
///
/// # Errors
/// It is too large to be stored.
pub fn encode(ruleset: &Ruleset) -> Result<Vec<u8>, String> {
    let (stored, lists) = words::storing(|| postcard::to_allocvec(ruleset));
    let lists: Vec<&Vec<String>> = lists.iter().map(|l| &**l).collect();
    let mut all = postcard::to_allocvec(&lists).map_err(|e| e.to_string())?;
    all.extend(stored.map_err(|e| e.to_string())?);
    Ok(all)
}

/// Reads what [`encode`] gave.
fn decode(bytes: &[u8]) -> Result<Ruleset, Problem> {
    let (lists, rest): (Vec<Vec<String>>, &[u8]) =
        postcard::take_from_bytes(bytes).map_err(unreadable)?;
    let lists = lists.into_iter().map(Arc::new).collect();
    words::reading(lists, || postcard::from_bytes(rest)).map_err(unreadable)
}

/// What [`freeze`] made.
#[derive(Debug)]
pub struct Made {
    /// The compiled rulesets, for [`Library`] to read.
    pub bytes: Vec<u8>,
    /// Rulesets that are left out, each mistake with the ruleset's name.
    pub wrong: Vec<(String, Problem)>,
}

/// Compiles some rulesets of a library in each of their editions and stores them. A ruleset
/// with mistakes is left out: it is compiled when it is asked for, so that whoever made the
/// mistakes sees them in their place.
///
/// # Errors
/// A ruleset is too large to be stored.
pub fn freeze(library: &Library, names: &[String]) -> Result<Made, String> {
    let (mut bases, mut rest, mut wrong) = (Vec::new(), Vec::new(), Vec::new());
    for name in names {
        let chain = library.chain(name);
        let editions = chain.editions();
        let mut places = Vec::new();
        let mut mistakes = if editions.is_empty() {
            chain.problems.clone()
        } else {
            Vec::new()
        };
        let start = rest.len();
        for edition in &editions {
            let loaded = chain.compile(&Request {
                base: name.clone(),
                edition: Some(edition.id.clone()),
                ..Request::default()
            });
            mistakes.extend(loaded.problems);
            if let Some(ruleset) = loaded.ruleset {
                let from = rest.len();
                rest.extend(encode(&ruleset)?);
                let place = |at: usize| u32::try_from(at).map_err(|e| e.to_string());
                places.push((place(from)?, place(rest.len())?));
            }
        }
        if mistakes.is_empty() && places.len() == editions.len() && !editions.is_empty() {
            bases.push(Base {
                name: name.clone(),
                chain: chain.names(),
                editions,
                places,
            });
        } else {
            rest.truncate(start);
            // Most mistakes are the same in each edition.
            for problem in mistakes {
                let one = (name.clone(), problem);
                if !wrong.contains(&one) {
                    wrong.push(one);
                }
            }
        }
    }
    let mut all = postcard::to_allocvec(&bases).map_err(|e| e.to_string())?;
    all.extend(rest);
    Ok(Made { bytes: all, wrong })
}
