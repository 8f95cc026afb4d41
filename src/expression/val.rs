//! What a register holds: a set of values in four words, and what to beware of in it.

use crate::quantity::{Interval, TruthSet};
use crate::vocabulary::WordSet;

/// Why a value is less than it seems.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Flags(pub u8);

impl Flags {
    /// Nothing to say.
    pub const NONE: Self = Self(0);
    /// For some assignment there is no value: a divisor of zero, no row of a table.
    pub const NOT_COMPUTABLE: Self = Self(1);
    /// For some assignment the ruleset holds no figure.
    pub const GAP: Self = Self(2);
    /// A fact that is written wrongly has a part in it.
    pub const POISON: Self = Self(4);
    /// Rests on a value that the ruleset assumes.
    pub const ASSUMED: Self = Self(8);
    /// Flags under which a comparison cannot be relied on.
    pub const UNSOUND: Self = Self(7);

    /// Both together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether any of these is set.
    #[must_use]
    pub const fn any(self, of: Self) -> bool {
        self.0 & of.0 != 0
    }

    /// Only these.
    #[must_use]
    pub const fn only(self, of: Self) -> Self {
        Self(self.0 & of.0)
    }
}

/// Presence of an optional number, kept in [`Val::bits`].
pub struct Presence;

impl Presence {
    /// There is a value.
    pub const PRESENT: u64 = 1;
    /// There is none.
    pub const ABSENT: u64 = 2;
    /// Either.
    pub const EITHER: u64 = 3;
    /// In a set of words: the bit of "none".
    pub const NO_WORD: u64 = WordSet::NONE.bits();
}

/// A set of words each of which may be in or out: low half "may be in", high half "may be out".
pub struct SetWords;

impl SetWords {
    /// The most words such a set is drawn from; rulesets with more are refused.
    pub const MOST: usize = 16;
    /// How far "may be out" stands from "may be in".
    const OUT: u32 = 32;

    /// The first `count` words; all there is room for, if they are more.
    const fn first(count: u32) -> u64 {
        let room = (1 << Self::OUT) - 1;
        if count < Self::OUT {
            (1 << count) - 1
        } else {
            room
        }
    }

    /// Known members, out of `count` words.
    #[must_use]
    pub const fn known(members: u64, count: u32) -> u64 {
        let all = Self::first(count);
        (members & all) | ((!members & all) << Self::OUT)
    }

    /// Nothing known, out of `count` words.
    #[must_use]
    pub const fn unknown(count: u32) -> u64 {
        let all = Self::first(count);
        all | (all << Self::OUT)
    }

    /// Whether a word is in the set; of a word that there is no room for that is not known.
    #[must_use]
    pub const fn has(bits: u64, word: u8) -> TruthSet {
        let word = word as u32;
        if word >= Self::OUT {
            return TruthSet::U;
        }
        let within = bits >> word & 1 != 0;
        let without = bits >> (Self::OUT + word) & 1 != 0;
        TruthSet::new(within, without)
    }
}

/// What a register holds: a set of values.
///
/// Numbers use `lo`, `hi` and, in `bits`, their [`Presence`]; an absent number is the empty
/// interval. Truths keep a [`TruthSet`] in `bits`, words of a choice and selectors a [`WordSet`],
/// sets of words a [`SetWords`]; these have `lo` and `hi` zero. So one union serves all.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Val {
    /// Lowest value of a number.
    pub lo: f64,
    /// Highest value of a number.
    pub hi: f64,
    /// See above.
    pub bits: u64,
    /// What to beware of.
    pub flags: Flags,
}

impl Val {
    /// A number that is not there.
    pub const ABSENT: Self = Self {
        lo: f64::INFINITY,
        hi: f64::NEG_INFINITY,
        bits: Presence::ABSENT,
        flags: Flags::NONE,
    };

    /// Writes a register field by field. A copy of the whole would at once read fields that were
    /// written one by one just before, and wait for them.
    #[inline]
    pub(super) const fn put(&mut self, val: Self) {
        self.lo = val.lo;
        self.hi = val.hi;
        self.bits = val.bits;
        self.flags = val.flags;
    }

    /// One number.
    #[must_use]
    pub const fn number(x: f64) -> Self {
        Self {
            lo: x,
            hi: x,
            bits: Presence::PRESENT,
            flags: Flags::NONE,
        }
    }

    /// One number of a set, with what to beware of in that.
    #[must_use]
    pub const fn at(self, x: f64) -> Self {
        Self::number(x).flagged(self.flags)
    }

    /// Numbers of an interval.
    #[must_use]
    pub const fn interval(i: Interval) -> Self {
        Self {
            lo: i.lo,
            hi: i.hi,
            bits: Presence::PRESENT,
            flags: Flags::NONE,
        }
    }

    /// Any number, marked with why nothing better is known.
    #[must_use]
    pub const fn any(flags: Flags) -> Self {
        Self {
            lo: f64::NEG_INFINITY,
            hi: f64::INFINITY,
            bits: Presence::PRESENT,
            flags,
        }
    }

    /// Words, a selector, a truth: only bits.
    #[must_use]
    pub const fn bits(bits: u64) -> Self {
        Self {
            lo: 0.0,
            hi: 0.0,
            bits,
            flags: Flags::NONE,
        }
    }

    /// Words of a choice, texts, members of a series, alternatives.
    #[must_use]
    pub const fn words(set: WordSet) -> Self {
        Self::bits(set.bits())
    }

    /// As a set of words.
    #[must_use]
    pub const fn as_words(self) -> WordSet {
        WordSet::from_bits(self.bits)
    }

    /// A truth.
    #[must_use]
    pub const fn truth(t: TruthSet) -> Self {
        Self::bits(t.bits() as u64)
    }

    /// As a truth.
    #[must_use]
    pub const fn as_truth(self) -> TruthSet {
        TruthSet::from_bits((self.bits & 3) as u8)
    }

    /// As an interval; any number, if it may be empty.
    #[must_use]
    pub const fn as_interval(self) -> Interval {
        if self.lo <= self.hi {
            Interval {
                lo: self.lo,
                hi: self.hi,
            }
        } else {
            Interval::ALL
        }
    }

    /// With further flags.
    #[must_use]
    pub const fn flagged(mut self, flags: Flags) -> Self {
        self.flags = self.flags.with(flags);
        self
    }

    /// The values of both.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self {
            lo: self.lo.min(other.lo),
            hi: self.hi.max(other.hi),
            bits: self.bits | other.bits,
            flags: self.flags.with(other.flags),
        }
    }

    /// Nothing: the start of a union.
    pub const EMPTY: Self = Self {
        lo: f64::INFINITY,
        hi: f64::NEG_INFINITY,
        bits: 0,
        flags: Flags::NONE,
    };

    /// The same, to the last bit.
    #[must_use]
    pub const fn is_same(&self, other: &Self) -> bool {
        self.lo.to_bits() == other.lo.to_bits()
            && self.hi.to_bits() == other.hi.to_bits()
            && self.bits == other.bits
            && self.flags.0 == other.flags.0
    }

    /// As a number: whether exactly one value is possible.
    #[must_use]
    pub const fn is_number_point(&self) -> bool {
        self.lo == self.hi && self.bits == Presence::PRESENT
    }
}
