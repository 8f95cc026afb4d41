//! Rounding to a printed figure.

use serde::{Deserialize, Serialize};

/// Which way to round.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Rounding {
    /// To the nearest step; from the middle away from zero, as tables are printed.
    Nearest,
    /// Towards plus infinity.
    Up,
    /// Towards minus infinity.
    Down,
}

/// How far a computed number may lie from a decimal and still be it, in steps and relative.
const NOISE: f64 = 1e-12;

/// `x` rounded to a whole number of steps.
///
/// It rounds the decimal number that is meant, not its binary neighbour: 0.285 at 0.01 is 0.29 to
/// the nearest although the double lies just below, and 0.28 is not rounded up to 0.29. The result
/// is the double nearest to the decimal (1.37, not 137 times 0.01). It never decreases where `x`
/// grows, so an interval is rounded end by end.
///
/// `x` comes back as it is where it is infinite or has no such digits, or the step is not positive.
#[must_use]
pub fn round_to(x: f64, step: f64, rounding: Rounding) -> f64 {
    if !(step > 0.0 && step.is_finite() && x.is_finite()) {
        return x;
    }
    let steps = x.abs() / step;
    if steps >= 1e15 {
        return x;
    }
    // At most a quarter step, so that large numbers cannot jump over a whole one.
    let noise = (NOISE * steps.max(1.0)).min(0.25);
    let away = match rounding {
        Rounding::Nearest => (steps + 0.5 + noise).floor(),
        Rounding::Up if x > 0.0 => (steps - noise).ceil(),
        Rounding::Down if x < 0.0 => (steps - noise).ceil(),
        Rounding::Up | Rounding::Down => (steps + noise).floor(),
    };
    let whole = away.max(0.0);
    let magnitude = times_step(whole, step);
    if x < 0.0 && magnitude != 0.0 {
        -magnitude
    } else {
        magnitude
    }
}

/// `whole * step`, where the step is a short decimal, as the double nearest to that decimal.
fn times_step(whole: f64, step: f64) -> f64 {
    let mut ten = 1.0;
    for _ in 0..=18 {
        let scaled = step * ten;
        let nearest = scaled.round();
        if nearest >= 1.0 && (scaled - nearest).abs() <= 1e-14 * nearest {
            return whole * nearest / ten;
        }
        ten *= 10.0;
    }
    whole * step
}

/// `x` rounded to one digit that is not zero; zero and what is not finite come back as they are.
#[must_use]
pub fn one_digit(x: f64) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let step = libm::pow(10.0, libm::floor(libm::log10(x.abs())));
    (x / step).round() * step
}
