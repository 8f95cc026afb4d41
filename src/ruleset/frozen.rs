//! Rulesets compiled when the program is built.
//!
//! Reading and compiling the YAML of a ruleset takes many times as long as checking a design. So
//! the build script compiles each ruleset in the program in each of its editions, with these very
//! modules, and stores what came of it; the program only reads that back. `tests/frozen.rs` holds
//! the stored ones against fresh ones.
//!
//! Editions have most of their rules in common. What they store is cut into pieces where its
//! content says so, and equal pieces are kept once.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::{Edition, Ruleset};
use crate::source::Problem;
use crate::vocabulary::Later;
use crate::vocabulary::words::{self, Store};

/// One ruleset in all its editions.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Base {
    /// Its name.
    pub(super) name: String,
    /// It and its ancestors, in the order in which their files are numbered: itself first.
    pub(super) chain: Vec<String>,
    /// Its editions, oldest first.
    pub(super) editions: Vec<Edition>,
    /// The pieces of each edition, one after the other: from, until, behind the contents.
    pub(super) places: Vec<Later<Vec<(u32, u32)>>>,
}

/// Compiled rulesets as stored: contents first, then what they point at.
#[derive(Clone, Debug)]
pub(super) struct Frozen<'a> {
    pub(super) bases: Vec<Base>,
    rest: &'a [u8],
}

fn unreadable(error: impl std::fmt::Display) -> Problem {
    let why = format!("the rulesets inside this program cannot be read: {error}");
    Problem::error("unreadable-program", why).help("build the program anew")
}

impl<'a> Frozen<'a> {
    /// Reads the contents.
    ///
    /// # Errors
    /// The bytes are none that [`super::freeze::freeze`] gave.
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
    /// The bytes are none that [`super::freeze::freeze`] gave.
    pub(super) fn thaw(&self, base: &Base, edition: usize) -> Result<Ruleset, Problem> {
        let missing = || unreadable("an edition is missing");
        // Enough for most, and what is not touched of it costs nothing.
        let mut bytes = Vec::with_capacity(self.rest.len());
        for (from, until) in base.places.get(edition).ok_or_else(missing)?.iter() {
            let place = usize::try_from(*from)
                .ok()
                .zip(usize::try_from(*until).ok());
            let piece = place.and_then(|(from, until)| self.rest.get(from..until));
            bytes.extend_from_slice(piece.ok_or_else(missing)?);
        }
        decode(bytes)
    }
}

/// Reads what [`super::freeze::encode`] gave.
fn decode(bytes: Vec<u8>) -> Result<Ruleset, Problem> {
    let (lists, rest): (Vec<Vec<String>>, &[u8]) =
        postcard::take_from_bytes(&bytes).map_err(unreadable)?;
    let from = bytes.len() - rest.len();
    let lists = lists.into_iter().map(Arc::new).collect();
    let bytes = bytes.into_boxed_slice();
    let store = Arc::new(Store { bytes, lists });
    let read = |bytes: &[u8]| postcard::from_bytes(bytes.get(from..).unwrap_or_default());
    words::reading(&store, read).map_err(unreadable)
}
