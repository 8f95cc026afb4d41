//! Touch voltage while the combined protective and neutral (PEN) conductor is open.
//!
//! With the PEN conductor of a TN-C-S supply interrupted, the load current returns through earth:
//! the earthing terminal of the installation floats between the lines and true earth.
//! These figures bear on life. They are the model below and nothing else; the wiring rules in
//! force and the judgement of a competent person decide.
//!
//! Model (nodal analysis of the circuit behind BS 7671:2018 Annex A722): line sources
//! `C U0` at 0°, -120° and 120°; line impedance neglected; each line loaded by a constant
//! resistance `U0 / I`, unity power factor; earthing terminal to earth through `RA`, the source's
//! star point to earth through `RB`. With `S = i1 + i2 + i3` and `IN` the neutral current at U0:
//!
//! ```text
//! from terminal to star point   V  = C IN / (S/U0 + 1/(RA + RB))
//! from terminal to earth        Vt = V RA / (RA + RB) = C IN RA / (1 + S (RA + RB) / U0)
//! ```
//!
//! and `Vt = C U0 IN / S` without an electrode (`RA` unlimited). For one line and `RB = 0` it is
//! `C U0 RA / (RA + U0/I)`, the formula of IET Guidance Note 5, section 14.5.

use super::neutral::{Apart, apart, corners, grow, neutral_current, off_middle, shrink};
use crate::quantity::{Interval, product};

/// Currents below nought by no more than this (A) are taken for nought: rounding leaves them so.
const NOTHING: f64 = -1e-9;

/// Voltage between the earthing terminal and true earth with the PEN conductor open, V.
///
/// `u0` nominal line-to-earth voltage, V; `c` voltage factor; `i1`, `i2`, `i3` line currents at `u0`, A;
/// `ra` resistance from the terminal to earth, ohm, infinite if there is no electrode; `rb` of the
/// source's star point to earth, ohm. No current gives no voltage.
///
/// `None` where the model does not hold: a negative current (feeding in), factor or resistance, a
/// voltage that is not above nought, an unlimited current, voltage, factor or `rb`.
#[must_use]
pub fn open_pen_voltage(
    u0: f64,
    c: f64,
    i1: f64,
    i2: f64,
    i3: f64,
    ra: f64,
    rb: f64,
) -> Option<f64> {
    let least = i1.min(i2).min(i3);
    let finite = [u0, c, i1, i2, i3, rb].iter().all(|x| x.is_finite());
    if !finite || ra.is_nan() || least < NOTHING || u0 <= 0.0 || c < 0.0 || ra < 0.0 || rb < 0.0 {
        return None;
    }
    let (i1, i2, i3) = (i1.max(0.0), i2.max(0.0), i3.max(0.0));
    Some(c * share(neutral_current(i1, i2, i3), i1 + i2 + i3, u0, ra, rb))
}

/// `Vt / C` from the neutral current and the sum of the currents.
#[inline]
fn share(neutral: f64, sum: f64, u0: f64, ra: f64, rb: f64) -> f64 {
    if neutral <= 0.0 || ra <= 0.0 {
        0.0
    } else if ra == f64::INFINITY {
        u0 * neutral / sum
    } else {
        neutral * ra / (1.0 + sum * (ra + rb) / u0)
    }
}

/// All values that [`open_pen_voltage`] takes over sets of its inputs.
///
/// `Vt` grows with `u0`, `c` and `ra` and falls with `rb`, each for any values of the others, so
/// those four go to their ends. Over the currents it is a convex function (`IN`) over a positive
/// linear one, hence quasi-convex:
///
/// - its largest value stands at a corner; where a current is unlimited it is the limit
///   `C U0 RA / (RA + RB)`, which nothing exceeds, because `IN <= S`;
/// - its least is nought where the sets share a value. Else (with `k = (RA + RB)/U0`) it falls
///   with the smallest current, which raises `S` and lowers `IN`; it grows with the
///   largest, because `(2v - u - w) S - 2 IN² = 3 (u (v - u) + w (v - w)) >= 0` for `v` the
///   largest; so, as in [`super::neutral_current_set`], one is at the lowest upper end `u` and one
///   at the highest lower end `v`. In the third the derivative is nought at
///   `(u + v)/2 + 3 k (v - u)² / (2 (2 + 3 k (u + v)))`, or the nearest value of its set. A point
///   where no derivative points into the box is the minimum of such a function.
///
/// Values outside the model (negative currents and so on) are left out; `None` if no others remain.
#[must_use]
pub fn open_pen_voltage_set(
    u0: Interval,
    c: Interval,
    i1: Interval,
    i2: Interval,
    i3: Interval,
    ra: Interval,
    rb: Interval,
) -> Option<Interval> {
    let inputs = [u0, c, i1, i2, i3, ra, rb];
    if inputs.iter().all(|x| x.is_point()) {
        let value = open_pen_voltage(u0.lo, c.lo, i1.lo, i2.lo, i3.lo, ra.lo, rb.lo)?;
        return Some(Interval::point(value));
    }
    let current = |i: Interval| {
        if i.hi < NOTHING || i.lo == f64::INFINITY {
            return None;
        }
        Some(Interval::new(i.lo.max(0.0), i.hi.max(0.0)))
    };
    let (i1, i2, i3) = (current(i1)?, current(i2)?, current(i3)?);
    let c = c.intersect(Interval::NON_NEGATIVE)?;
    let ra = ra.intersect(Interval::NON_NEGATIVE)?;
    let rb = rb.intersect(Interval::NON_NEGATIVE)?;
    let u0 = u0.intersect(Interval::NON_NEGATIVE)?;
    if u0.hi <= 0.0 || rb.lo == f64::INFINITY {
        return None;
    }
    let lo = product(c.lo, least(u0.lo, i1, i2, i3, ra.lo, rb.hi));
    let hi = product(c.hi, largest(u0.hi, i1, i2, i3, ra.hi, rb.lo));
    let (lo, hi) = (shrink(lo.min(f64::MAX)), grow(hi));
    Some(Interval::new(lo.min(hi), hi))
}

/// Whether sets of the inputs of [`open_pen_voltage`], in its order, hold values that
/// [`open_pen_voltage_set`] leaves out: for these there is no voltage. A voltage of just nought, where
/// a set only ends, is none of them.
#[must_use]
pub fn open_pen_leaves_out(inputs: [Interval; 7]) -> bool {
    let [u0, c, i1, i2, i3, ra, rb] = inputs;
    [u0, c, ra, rb].iter().any(|x| x.lo < 0.0) || [i1, i2, i3].iter().any(|i| i.lo < NOTHING)
}

/// The largest `Vt / C` over the currents.
fn largest(u0: f64, i1: Interval, i2: Interval, i3: Interval, ra: f64, rb: f64) -> f64 {
    if ra <= 0.0 || (i1.hi <= 0.0 && i2.hi <= 0.0 && i3.hi <= 0.0) {
        return 0.0;
    }
    let bounded = i1.is_bounded() && i2.is_bounded() && i3.is_bounded();
    if !bounded {
        return if ra == f64::INFINITY {
            u0
        } else {
            u0 * (ra / (ra + rb))
        };
    }
    if u0 == f64::INFINITY && ra == f64::INFINITY {
        return f64::INFINITY;
    }
    corners(i1, i2, i3)
        .into_iter()
        .map(|(a, b, c)| share(neutral_current(a, b, c), a + b + c, u0, ra, rb))
        .fold(0.0, f64::max)
}

/// The least `Vt / C` over the currents.
fn least(u0: f64, i1: Interval, i2: Interval, i3: Interval, ra: f64, rb: f64) -> f64 {
    let Some(Apart { low, high, third }) = apart(i1, i2, i3) else {
        return 0.0;
    };
    if ra <= 0.0 || u0 <= 0.0 || (rb == f64::INFINITY && ra < f64::INFINITY) {
        return 0.0;
    }
    let (d, s) = (high - low, low + high);
    let k = (ra + rb) / u0;
    let wanted = if k == f64::INFINITY {
        d * d / (2.0 * s)
    } else {
        3.0 * k * d * d / (2.0 * (2.0 + 3.0 * k * s))
    };
    let off = off_middle(low, d, third, wanted);
    let neutral = (0.75 * d * d + off * off).sqrt();
    let value = share(neutral, 1.5 * s + off, u0, ra, rb);
    if value.is_nan() { 0.0 } else { value }
}
