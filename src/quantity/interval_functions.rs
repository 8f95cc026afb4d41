//! Functions of intervals: powers, roots, logarithms, circular functions, rounding.
//!
//! The functions of the mathematics library are within one unit in the last place of the true
//! value and not always monotone; four units outward cover both. They come from `libm`, so that
//! every machine gives the same bits.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::interval::{down, up};
use super::{Interval, Rounding, round_to};

/// Four units in the last place, as a share of the value.
const FOUR_ULP: f64 = 4.0 * f64::EPSILON;

/// Below `x` by at least four units in the last place; an exact zero stays.
#[inline]
fn far_down(x: f64) -> f64 {
    if x.is_finite() {
        down(x - x.abs() * FOUR_ULP)
    } else {
        x
    }
}

/// Above `x` by at least four units in the last place; an exact zero stays.
#[inline]
fn far_up(x: f64) -> f64 {
    if x.is_finite() {
        up(x + x.abs() * FOUR_ULP)
    } else {
        x
    }
}

/// `x^n` by repeated squaring: the same bits on every machine, each product rounded once.
#[inline]
fn power(x: f64, mut n: u32) -> f64 {
    let mut square = x;
    let mut result = 1.0;
    loop {
        if n & 1 == 1 {
            result *= square;
        }
        n >>= 1;
        if n == 0 {
            return result;
        }
        square *= square;
    }
}

impl Interval {
    /// All whole powers; `None` for a negative power of nought.
    #[inline]
    #[must_use]
    pub fn powi(self, n: i32) -> Option<Self> {
        let positive = match n {
            0 => return Some(Self::point(1.0)),
            1 => return Some(self),
            _ => self.power_of_magnitude(n.unsigned_abs()),
        };
        if n > 0 {
            Some(positive)
        } else if self == Self::ZERO {
            None
        } else if self.contains(0.0) {
            Some(Self::ALL)
        } else {
            Self::point(1.0).div(positive)
        }
    }

    /// `x^n` for `n` of two or more.
    #[inline]
    fn power_of_magnitude(self, n: u32) -> Self {
        if self.is_point() {
            return Self::nearest(power(self.lo, n), self.lo.is_finite());
        }
        let base = if n.is_multiple_of(2) {
            self.abs()
        } else {
            self
        };
        // Each of the products, at most twice the bits of n, adds half a unit, and squaring
        // doubles what is there already: n units cover it.
        let spread = f64::from(n) * f64::EPSILON;
        let (lo, hi) = (power(base.lo, n), power(base.hi, n));
        let outward = |x: f64, by: f64| if x.is_finite() { x + x.abs() * by } else { x };
        let lo = outward(lo, -spread).next_down();
        let hi = outward(hi, spread).next_up();
        Self {
            lo: if base.lo >= 0.0 { lo.max(0.0) } else { lo },
            hi: if base.hi <= 0.0 { hi.min(0.0) } else { hi },
        }
    }

    /// All square roots of the values that have one; `None` if all are negative.
    #[inline]
    #[must_use]
    pub fn sqrt(self) -> Option<Self> {
        if self.hi < 0.0 {
            return None;
        }
        if self.is_point() {
            return Some(Self::point(self.lo.sqrt()));
        }
        Some(Self {
            lo: down(self.lo.max(0.0).sqrt()).max(0.0),
            hi: up(self.hi.sqrt()),
        })
    }

    /// All exponentials.
    #[inline]
    #[must_use]
    pub fn exp(self) -> Self {
        if self.is_point() {
            return Self::nearest(libm::exp(self.lo), self.lo.is_finite());
        }
        let (lo, hi) = (libm::exp(self.lo), libm::exp(self.hi));
        Self {
            lo: far_down(lo.min(f64::MAX)).max(0.0),
            // Even where it is too small for a number it is more than nought.
            hi: if self.hi == f64::NEG_INFINITY {
                0.0
            } else {
                far_up(hi).max(f64::MIN_POSITIVE)
            },
        }
    }

    /// All natural logarithms of the values that have one; `None` if no value is above nought.
    #[inline]
    #[must_use]
    pub fn ln(self) -> Option<Self> {
        if self.hi <= 0.0 {
            return None;
        }
        if self.is_point() {
            return Some(Self::point(libm::log(self.lo)));
        }
        Some(Self {
            lo: if self.lo <= 0.0 {
                f64::NEG_INFINITY
            } else {
                far_down(libm::log(self.lo))
            },
            hi: far_up(libm::log(self.hi)),
        })
    }

    /// All sines, of angles in radians.
    #[must_use]
    pub fn sin(self) -> Self {
        self.wave(libm::sin, FRAC_PI_2)
    }

    /// All cosines, of angles in radians.
    #[must_use]
    pub fn cos(self) -> Self {
        self.wave(libm::cos, 0.0)
    }

    /// A wave of period 2 pi between -1 and 1 whose crests are at `crest` and every period from it,
    /// its troughs half a period later.
    fn wave(self, f: fn(f64) -> f64, crest: f64) -> Self {
        const WHOLE: Interval = Interval { lo: -1.0, hi: 1.0 };
        if !self.is_bounded() {
            return WHOLE;
        }
        if self.is_point() {
            return Self::point(f(self.lo));
        }
        if self.hi - self.lo >= TAU || self.lo.abs().max(self.hi.abs()) > 1e6 {
            return WHOLE;
        }
        // Whether an extremum lies inside, or so close to an end that it cannot be told.
        let reaches = |at: f64| {
            let first = ((self.lo - at) / TAU - 1e-9).ceil();
            let last = ((self.hi - at) / TAU + 1e-9).floor();
            first <= last
        };
        let (a, b) = (f(self.lo), f(self.hi));
        Self {
            lo: if reaches(crest + PI) {
                -1.0
            } else {
                far_down(a.min(b)).max(-1.0)
            },
            hi: if reaches(crest) {
                1.0
            } else {
                far_up(a.max(b)).min(1.0)
            },
        }
    }

    /// All angles, from nought to pi, whose cosine is one of the values between -1 and 1; `None`
    /// if there is no such value. A value beyond by less than one part in 10⁹, as rounding may
    /// leave it, counts as ± 1.
    #[must_use]
    pub fn acos(self) -> Option<Self> {
        const EDGE: f64 = 1.0 + 1e-9;
        if self.hi < -EDGE || self.lo > EDGE {
            return None;
        }
        let (lo, hi) = (self.lo.clamp(-1.0, 1.0), self.hi.clamp(-1.0, 1.0));
        if self.is_point() {
            return Some(Self::point(libm::acos(lo)));
        }
        Some(Self {
            lo: far_down(libm::acos(hi)).max(0.0),
            hi: far_up(libm::acos(lo)),
        })
    }

    /// All values rounded to a whole number of steps, see [`round_to`].
    #[must_use]
    pub fn round_to(self, step: f64, rounding: Rounding) -> Self {
        Self {
            lo: round_to(self.lo, step, rounding),
            hi: round_to(self.hi, step, rounding),
        }
    }
}
