//! Stores compiled rulesets, when the program is built: the other side of `frozen`.

use rustc_hash::FxHashMap;

use super::frozen::Base;
use super::library::Library;
use super::{Request, Ruleset};
use crate::source::Problem;
use crate::vocabulary::{Later, words};

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

/// How many bits of a hash must be zero where bytes are cut: pieces of about 64 bytes more than
/// the least.
const CUT_BITS: u32 = 6;
/// The least length of a piece but the last.
const LEAST: usize = 32;

/// Cuts bytes where the hash of the last 64 of them says so, whatever stands before these: what two
/// texts have in common is cut alike.
fn pieces(bytes: &[u8]) -> Vec<&[u8]> {
    let (mut all, mut start, mut hash) = (Vec::new(), 0, 0_u64);
    for (at, byte) in bytes.iter().enumerate() {
        let mixed = (u64::from(*byte) + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        hash = (hash << 1).wrapping_add(mixed);
        if at - start >= LEAST && hash >> (u64::BITS - CUT_BITS) == 0 {
            all.extend(bytes.get(start..=at));
            start = at + 1;
        }
    }
    all.extend(bytes.get(start..).filter(|rest| !rest.is_empty()));
    all
}

/// Pieces, each kept once.
#[derive(Default)]
struct Pool {
    bytes: Vec<u8>,
    places: FxHashMap<Vec<u8>, (u32, u32)>,
}

impl Pool {
    /// Where the pieces of some bytes are kept; those that lie one behind the other are one place.
    fn keep(&mut self, bytes: &[u8]) -> Result<Vec<(u32, u32)>, String> {
        let mut places: Vec<(u32, u32)> = Vec::new();
        for piece in pieces(bytes) {
            let place = match self.places.get(piece) {
                Some(place) => *place,
                None => {
                    let here = |at: usize| u32::try_from(at).map_err(|e| e.to_string());
                    let from = here(self.bytes.len())?;
                    self.bytes.extend_from_slice(piece);
                    let place = (from, here(self.bytes.len())?);
                    self.places.insert(piece.to_vec(), place);
                    place
                }
            };
            match places.last_mut() {
                Some(last) if last.1 == place.0 => last.1 = place.1,
                _ => places.push(place),
            }
        }
        Ok(places)
    }
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
    let (mut bases, mut pool, mut wrong) = (Vec::new(), Pool::default(), Vec::new());
    for name in names {
        let chain = library.chain(name);
        let editions = chain.editions();
        let (mut stored, mut mistakes) = (Vec::new(), chain.problems.clone());
        for edition in &editions {
            let loaded = chain.compile(&Request {
                base: name.clone(),
                edition: Some(edition.id.clone()),
                ..Request::default()
            });
            mistakes.extend(loaded.problems);
            if let Some(ruleset) = loaded.ruleset {
                stored.push(encode(&ruleset)?);
            }
        }
        if mistakes.is_empty() && stored.len() == editions.len() && !editions.is_empty() {
            let places = stored.iter().map(|bytes| pool.keep(bytes).map(Later::from));
            let places = places.collect::<Result<_, _>>()?;
            bases.push(Base {
                name: name.clone(),
                chain: chain.names(),
                editions,
                places,
            });
        } else {
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
    all.extend(pool.bytes);
    Ok(Made { bytes: all, wrong })
}
