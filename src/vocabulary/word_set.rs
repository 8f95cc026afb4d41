//! Sets of words: which of a few things, told apart by their place, are possible.

use serde::{Deserialize, Serialize};

/// Which of up to [`WordSet::MOST`] things are possible: words of a choice, texts that rules
/// compare with, members of a series, alternatives of a value. Each has a place, counted from zero.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize,
)]
pub struct WordSet(u64);

impl WordSet {
    /// The most things that one set can tell apart. Rulesets and designs that need more are
    /// refused when they are read.
    pub const MOST: usize = 62;
    /// Nothing is possible.
    pub const EMPTY: Self = Self(0);
    /// That there is none: no word, no text, no member.
    pub const NONE: Self = Self(1 << 63);
    /// What has no place of its own: a text other than those that rules compare with.
    pub const OTHER: Self = Self(1 << 62);
    /// Whatever there is, which decides nothing.
    const ANY: Self = Self(u64::MAX);

    /// The one thing at a place; anything at all, if no set has the place.
    #[must_use]
    pub const fn one(place: usize) -> Self {
        if place < Self::MOST {
            Self(1 << place)
        } else {
            Self::ANY
        }
    }

    /// The first so many things; anything at all, if no set has so many.
    #[must_use]
    pub const fn first(count: usize) -> Self {
        if count <= Self::MOST {
            Self((1 << count) - 1)
        } else {
            Self::ANY
        }
    }

    /// The set with these bits, as registers keep it.
    #[must_use]
    pub const fn from_bits(bits: u64) -> Self {
        Self(bits)
    }

    /// Its bits, as registers keep it.
    #[must_use]
    pub const fn bits(self) -> u64 {
        self.0
    }

    /// What is possible in either.
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// What is possible in both.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// Whether the thing at a place is possible.
    #[must_use]
    pub const fn has(self, place: usize) -> bool {
        place < Self::MOST && self.0 >> place & 1 != 0
    }

    /// Whether there is nothing in it.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether just one thing is possible.
    #[must_use]
    pub const fn is_one(self) -> bool {
        self.0.count_ones() == 1
    }
}

impl FromIterator<usize> for WordSet {
    fn from_iter<I: IntoIterator<Item = usize>>(places: I) -> Self {
        let places = places.into_iter();
        places.fold(Self::EMPTY, |set, place| set.or(Self::one(place)))
    }
}
