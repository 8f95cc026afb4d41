//! The impedance of a source with a path behind it, where the angle of the source may not be known.

use super::neutral::{grow, shrink, unlimited_or_point};
use crate::quantity::Interval;

/// Magnitude of a source of impedance `z`, of which `x` is reactive, in series with `r + jq`.
///
/// All in ohm, none below zero. A reactive part of more than the whole counts as the whole: the
/// resistive part is `sqrt(z² - x²)`. Anything unlimited gives an unlimited result.
#[must_use]
pub fn behind_source(z: f64, x: f64, r: f64, q: f64) -> f64 {
    if [z, r, q].into_iter().any(f64::is_infinite) {
        return f64::INFINITY;
    }
    let x = x.min(z);
    let resistive = ((z - x) * (z + x)).max(0.0).sqrt();
    libm::hypot(resistive + r, x + q)
}

/// All values that [`behind_source`] takes over four sets.
///
/// It never falls as `z`, `r` or `q` grows. As `x` turns the source from a resistance into a
/// reactance, the square grows by the cosine of the angle between the source and the path: it is
/// greatest where both have the same angle, which mostly lies inside the set, and least at one of
/// the two ends.
#[must_use]
pub fn behind_source_set(z: Interval, x: Interval, r: Interval, q: Interval) -> Interval {
    let [z, x, r, q] = [z, x, r, q].map(|i| Interval {
        lo: i.lo.max(0.0),
        hi: i.hi.max(0.0),
    });
    if [z, x, r, q].into_iter().all(Interval::is_point) {
        return unlimited_or_point(behind_source(z.lo, x.lo, r.lo, q.lo));
    }
    if r.hi == 0.0 && q.hi == 0.0 {
        return z;
    }
    let low = behind_source(z.lo, x.lo, r.lo, q.lo).min(behind_source(z.lo, x.hi, r.lo, q.lo));
    let path = libm::hypot(r.hi, q.hi);
    let alike = if path > 0.0 && path.is_finite() && z.hi.is_finite() {
        z.hi * q.hi / path
    } else {
        0.0
    };
    let high = behind_source(z.hi, alike.max(x.lo).min(x.hi), r.hi, q.hi);
    // What is beyond all numbers is at least what the source alone comes to.
    let low = Some(low).filter(|low| low.is_finite());
    Interval {
        lo: shrink(low.unwrap_or(z.lo.min(f64::MAX))),
        hi: grow(high),
    }
}
