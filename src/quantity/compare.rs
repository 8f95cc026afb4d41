//! Comparison with slack, and truth as a set.
//!
//! On quantities `a <= b` means `a <= b + max(1e-9 * max(|a|, |b|), floor)`: a design that is
//! exactly at a limit is met, however its figures were rounded on the way, and one part in 10⁸
//! over is not. `a < b` is the negation of `b <= a`; equal is both ways `<=`.

use super::{Dim, Interval};

/// The share of the larger magnitude by which the left side may exceed the right.
pub const RELATIVE_SLACK: f64 = 1e-9;

/// The set of truth values a condition may have.
///
/// Sets of two are the third value of Kleene's logic, unknown; the empty one means that the
/// condition cannot be computed and never leaves an atom.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct TruthSet(u8);

impl TruthSet {
    /// No value: not computable.
    pub const EMPTY: Self = Self(0);
    /// True for sure.
    pub const T: Self = Self(1);
    /// False for sure.
    pub const F: Self = Self(2);
    /// Either.
    pub const U: Self = Self(3);

    /// The set with true, false, both or none in it.
    #[inline]
    #[must_use]
    pub const fn new(can_be_true: bool, can_be_false: bool) -> Self {
        Self(can_be_true as u8 | (can_be_false as u8) << 1)
    }

    /// The set with one value.
    #[inline]
    #[must_use]
    pub const fn of(value: bool) -> Self {
        Self(2 - value as u8)
    }

    /// The set as bits: 1 for true, 2 for false.
    #[inline]
    #[must_use]
    pub const fn bits(self) -> u8 {
        self.0
    }

    /// The set from its bits; others are ignored.
    #[inline]
    #[must_use]
    pub const fn from_bits(bits: u8) -> Self {
        Self(bits & 3)
    }

    /// Whether there is exactly one value in it.
    #[inline]
    #[must_use]
    pub const fn is_decided(self) -> bool {
        self.0 == 1 || self.0 == 2
    }

    /// The value, if there is exactly one.
    #[inline]
    #[must_use]
    pub const fn decided(self) -> Option<bool> {
        match self.0 {
            1 => Some(true),
            2 => Some(false),
            _ => None,
        }
    }

    /// The values of `not a`.
    #[inline]
    #[must_use]
    pub const fn not(self) -> Self {
        Self((self.0 >> 1 | self.0 << 1) & 3)
    }

    /// The values of `a and b`. One that is false decides, whatever the other is.
    #[inline]
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self((self.0 & other.0 & 1) | ((self.0 | other.0) & 2))
    }

    /// The values of `a or b`. One that is true decides, whatever the other is.
    #[inline]
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(((self.0 | other.0) & 1) | (self.0 & other.0 & 2))
    }

    /// All values of either set.
    #[inline]
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether all its values are in `other`.
    #[inline]
    #[must_use]
    pub const fn is_within(self, other: Self) -> bool {
        self.0 & !other.0 == 0
    }
}

/// Whether `a <= b` holds for two single values, with slack. `floor` is the absolute slack of the
/// dimension, see [`absolute_floor`].
#[inline]
#[must_use]
pub fn holds_le(a: f64, b: f64, floor: f64) -> bool {
    a <= b || {
        let slack = greater(RELATIVE_SLACK * greater(a.abs(), b.abs()), floor);
        // Against infinity there is no slack.
        slack < f64::INFINITY && a - b <= slack
    }
}

/// The greater of two numbers that are numbers: what `f64::max` does for others takes longer than the
/// rest of a comparison.
#[inline]
const fn greater(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// The truth of `a <= b` over all pairs. It grows with `b` and falls with `a`, so two corners
/// decide, and narrowing either interval never adds a value.
#[inline]
#[must_use]
pub fn le(a: Interval, b: Interval, floor: f64) -> TruthSet {
    TruthSet::new(holds_le(a.lo, b.hi, floor), !holds_le(a.hi, b.lo, floor))
}

/// The truth of `a < b` over all pairs: less by more than the slack.
#[inline]
#[must_use]
pub fn lt(a: Interval, b: Interval, floor: f64) -> TruthSet {
    le(b, a, floor).not()
}

/// The absolute slack for quantities of a dimension, in SI. It matters only where both sides are
/// close to nought: it is at most one part in 10⁹ of the smallest unit that measures the
/// dimension, so that it never outweighs the relative slack on a figure anyone writes.
#[must_use]
pub fn absolute_floor(dim: Dim) -> f64 {
    match dim {
        Dim::AREA => 1e-19,
        Dim::VOLUME | Dim::FLASH_DENSITY | Dim::CAPACITANCE | Dim::RESISTIVITY => 1e-24,
        Dim::TIME
        | Dim::RESISTANCE
        | Dim::RESISTANCE_PER_LENGTH
        | Dim::CURRENT
        | Dim::INDUCTANCE => 1e-15,
        Dim::NONE
        | Dim::LENGTH
        | Dim::MASS
        | Dim::TEMPERATURE
        | Dim::VOLTAGE
        | Dim::POWER
        | Dim::ENERGY
        | Dim::FREQUENCY
        | Dim::FORCE
        | Dim::PRESSURE
        | Dim::CHARGE
        | Dim::LET_THROUGH
        | Dim::ILLUMINANCE => 1e-12,
        _ => 1e-18,
    }
}

/// The largest number `x` for which `x <= c` holds.
#[must_use]
pub fn boundary_le(c: f64, floor: f64) -> f64 {
    if !c.is_finite() {
        return c;
    }
    let slack = (RELATIVE_SLACK * c.abs()).max(floor);
    let beyond = (c + 3.0 * slack).next_up().min(f64::MAX);
    if holds_le(beyond, c, floor) {
        return beyond; // only at the end of the range of numbers
    }
    // The order of doubles is the order of these keys.
    let (mut holds, mut fails) = (key(c), key(beyond));
    while fails - holds > 1 {
        let middle = holds + (fails - holds) / 2;
        if holds_le(number(middle), c, floor) {
            holds = middle;
        } else {
            fails = middle;
        }
    }
    number(holds)
}

/// The smallest number `x` for which `x >= c` holds.
#[must_use]
pub fn boundary_ge(c: f64, floor: f64) -> f64 {
    -boundary_le(-c, floor)
}

/// An integer for each double, in the same order.
const fn key(x: f64) -> i128 {
    let bits = x.to_bits();
    if bits >> 63 == 0 {
        bits as i128
    } else {
        -((bits & (u64::MAX >> 1)) as i128)
    }
}

const fn number(key: i128) -> f64 {
    if key >= 0 {
        f64::from_bits(key as u64)
    } else {
        -f64::from_bits((-key) as u64)
    }
}
