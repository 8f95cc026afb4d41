//! The current in the neutral of a three-phase supply.

use crate::quantity::Interval;

/// Magnitude of the phasor sum of three line currents at 0°, -120° and 120°, all at the same
/// power factor, without harmonics: `sqrt(a² + b² + c² - ab - bc - ca)`.
///
/// It is the exact form of formula A722.1 of BS 7671:2018 Annex A722, which prints 0.866 for half the root
/// of three. Currents in A, result in A; an unlimited current gives an unlimited result. Computed as
/// `sqrt(((a - b)² + (b - c)² + (c - a)²) / 2)`, which loses no digits where the currents are
/// nearly equal and is within 3 units in the last place.
#[inline]
#[must_use]
pub fn neutral_current(a: f64, b: f64, c: f64) -> f64 {
    let (x, y, z) = (a - b, b - c, c - a);
    let sum = ((x * x + y * y + z * z) * 0.5).sqrt();
    if sum.is_nan() { f64::INFINITY } else { sum }
}

/// All values that [`neutral_current`] takes over three sets of currents.
///
/// The magnitude of a phasor that depends linearly on the currents is convex in them, so the
/// largest value stands at one of the eight corners. The least is nought where the three sets share a
/// value. Else let `H` be the lowest of the upper ends and `L > H` the highest of the lower
/// ends: the least value has one current at `H`, one at `L` and the third as near the middle
/// between as its set allows (there the derivative in each current points out of its set, or is
/// nought, which for a convex function is the minimum).
#[must_use]
pub fn neutral_current_set(a: Interval, b: Interval, c: Interval) -> Interval {
    if a.is_point() && b.is_point() && c.is_point() {
        return unlimited_or_point(neutral_current(a.lo, b.lo, c.lo));
    }
    Interval {
        lo: shrink(least(a, b, c)),
        hi: grow(largest(a, b, c)),
    }
}

/// A magnitude that was worked out; where it is unlimited, nothing is claimed.
pub(super) fn unlimited_or_point(x: f64) -> Interval {
    if x == f64::INFINITY {
        Interval::NON_NEGATIVE
    } else {
        Interval::point(x)
    }
}

/// The largest value, at a corner; unlimited where a set is.
fn largest(a: Interval, b: Interval, c: Interval) -> f64 {
    if !(a.is_bounded() && b.is_bounded() && c.is_bounded()) {
        return f64::INFINITY;
    }
    corners(a, b, c)
        .into_iter()
        .map(|(a, b, c)| neutral_current(a, b, c))
        .fold(0.0, f64::max)
}

/// The eight corners of a box.
pub(super) fn corners(a: Interval, b: Interval, c: Interval) -> [(f64, f64, f64); 8] {
    [
        (a.lo, b.lo, c.lo),
        (a.lo, b.lo, c.hi),
        (a.lo, b.hi, c.lo),
        (a.lo, b.hi, c.hi),
        (a.hi, b.lo, c.lo),
        (a.hi, b.lo, c.hi),
        (a.hi, b.hi, c.lo),
        (a.hi, b.hi, c.hi),
    ]
}

/// Three sets without a common value, seen from the lowest upper end.
pub(super) struct Apart {
    /// The lowest of the upper ends.
    pub(super) low: f64,
    /// The highest of the lower ends.
    pub(super) high: f64,
    /// The third set.
    pub(super) third: Interval,
}

/// How three sets lie apart; `None` if they share a value.
pub(super) fn apart(a: Interval, b: Interval, c: Interval) -> Option<Apart> {
    let low = a.hi.min(b.hi).min(c.hi);
    let high = a.lo.max(b.lo).max(c.lo);
    if high <= low {
        return None;
    }
    // The set that ends lowest and the one that begins highest are not the same.
    let sets = [a, b, c];
    let first = sets.iter().position(|s| s.hi == low)?;
    let last = sets.iter().rposition(|s| s.lo == high)?;
    let third = *sets.get(3_usize.checked_sub(first + last)?)?;
    Some(Apart { low, high, third })
}

/// The least value.
fn least(a: Interval, b: Interval, c: Interval) -> f64 {
    let Some(Apart { low, high, third }) = apart(a, b, c) else {
        return 0.0;
    };
    let d = high - low;
    if !d.is_finite() {
        return 0.0; // an unlimited single value: nothing is claimed
    }
    // Seen from the middle: the square is 3/4 d² plus the square of how far off the third is.
    let off = off_middle(low, d, third, 0.0);
    (0.75 * d * d + off * off).sqrt()
}

/// How far the third current must stay off the middle of the other two, if it would best be
/// `wanted` off it.
pub(super) fn off_middle(low: f64, d: f64, third: Interval, wanted: f64) -> f64 {
    let nearest = (third.lo - low) - 0.5 * d;
    let farthest = (third.hi - low) - 0.5 * d;
    wanted.max(nearest).min(farthest)
}

/// Below by more than the rounding of a dozen operations; nought stays.
#[inline]
pub(super) fn shrink(x: f64) -> f64 {
    (x * (1.0 - 16.0 * f64::EPSILON)).max(0.0)
}

/// Above by more than the rounding of a dozen operations; nought stays.
#[inline]
pub(super) fn grow(x: f64) -> f64 {
    x * (1.0 + 16.0 * f64::EPSILON)
}
