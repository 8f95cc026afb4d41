//! Closed intervals of possible values.
//!
//! An operation on intervals gives an interval that holds every result the operation can have on
//! values from them. Ends are rounded outward by one step of the floating-point grid, except
//! where all operands are single values: those are rounded to the nearest, which is sound because
//! comparison has a slack far above rounding (see [`super::le`]).
//!
//! No operation panics or gives a NaN. An operation that is not defined for any value of its
//! operands gives `None`.

/// All values from `lo` to `hi`, both included. `lo` may be minus infinity and `hi` plus infinity,
/// meaning that there is no end; the single value plus infinity stands for "unlimited" (the resistance of an
/// electrode that is not there). `lo` is never more than `hi` and neither is NaN.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// The lower end.
    pub lo: f64,
    /// The upper end.
    pub hi: f64,
}

/// The next number below; an exact zero stays, so that what cannot be negative is not made so.
#[inline]
pub(super) fn down(x: f64) -> f64 {
    if x == 0.0 { x } else { x.next_down() }
}

/// The next number above; an exact zero stays.
#[inline]
pub(super) fn up(x: f64) -> f64 {
    if x == 0.0 { x } else { x.next_up() }
}

/// A product in which nothing times infinity is nothing.
#[inline]
#[must_use]
pub fn product(x: f64, y: f64) -> f64 {
    let p = x * y;
    if p.is_nan() { 0.0 } else { p }
}

impl Interval {
    /// Every number.
    pub const ALL: Self = Self {
        lo: f64::NEG_INFINITY,
        hi: f64::INFINITY,
    };
    /// Every number that is not negative.
    pub const NON_NEGATIVE: Self = Self {
        lo: 0.0,
        hi: f64::INFINITY,
    };
    /// Nought alone.
    pub const ZERO: Self = Self { lo: 0.0, hi: 0.0 };

    /// One value. (NaN, which no literal gives, is every number.)
    #[inline]
    #[must_use]
    pub const fn point(x: f64) -> Self {
        if x.is_nan() {
            return Self::ALL;
        }
        Self { lo: x, hi: x }
    }

    /// From one end to the other, in either order. (With a NaN it is every number.)
    #[inline]
    #[must_use]
    pub const fn new(lo: f64, hi: f64) -> Self {
        if lo <= hi {
            Self { lo, hi }
        } else if hi < lo {
            Self { lo: hi, hi: lo }
        } else {
            Self::ALL
        }
    }

    /// `x` and everything above.
    #[inline]
    #[must_use]
    pub const fn at_least(x: f64) -> Self {
        Self::new(x, f64::INFINITY)
    }

    /// `x` and everything below.
    #[inline]
    #[must_use]
    pub const fn at_most(x: f64) -> Self {
        Self::new(f64::NEG_INFINITY, x)
    }

    /// Whether it is a single value.
    #[inline]
    #[must_use]
    pub const fn is_point(self) -> bool {
        self.lo == self.hi
    }

    /// Whether both ends are finite.
    #[inline]
    #[must_use]
    pub const fn is_bounded(self) -> bool {
        self.lo.is_finite() && self.hi.is_finite()
    }

    /// Whether `x` is one of its values.
    #[inline]
    #[must_use]
    pub const fn contains(self, x: f64) -> bool {
        self.lo <= x && x <= self.hi
    }

    /// Whether all its values are values of `other`.
    #[inline]
    #[must_use]
    pub const fn is_within(self, other: Self) -> bool {
        other.lo <= self.lo && self.hi <= other.hi
    }

    /// The values both have; `None` if there are none.
    #[inline]
    #[must_use]
    pub fn intersect(self, other: Self) -> Option<Self> {
        let lo = self.lo.max(other.lo);
        let hi = self.hi.min(other.hi);
        (lo <= hi).then_some(Self { lo, hi })
    }

    /// The smallest interval with all values of both.
    #[inline]
    #[must_use]
    pub fn hull(self, other: Self) -> Self {
        Self {
            lo: self.lo.min(other.lo),
            hi: self.hi.max(other.hi),
        }
    }

    /// All that it can grow to without crossing zero, if it has not.
    #[must_use]
    pub const fn without_end(self) -> Self {
        Self {
            lo: if self.lo >= 0.0 {
                0.0
            } else {
                f64::NEG_INFINITY
            },
            hi: if self.hi <= 0.0 { 0.0 } else { f64::INFINITY },
        }
    }

    /// The result of an operation on two single values, rounded to the nearest.
    #[inline]
    pub(super) fn nearest(result: f64, operands_finite: bool) -> Self {
        if result.is_finite() {
            return Self {
                lo: result,
                hi: result,
            };
        }
        Self::overflow(result, operands_finite)
    }

    #[cold]
    fn overflow(result: f64, operands_finite: bool) -> Self {
        if result.is_nan() {
            Self::ALL
        } else if !operands_finite {
            Self::point(result)
        } else if result > 0.0 {
            Self::at_least(f64::MAX)
        } else {
            Self::at_most(f64::MIN)
        }
    }

    #[inline]
    const fn both_finite(self, other: Self) -> bool {
        self.lo.is_finite() && other.lo.is_finite()
    }
}

#[expect(
    clippy::should_implement_trait,
    reason = "division is partial, so all operations are methods alike"
)]
impl Interval {
    /// All sums.
    #[inline]
    #[must_use]
    pub fn add(self, other: Self) -> Self {
        let (lo, hi) = (self.lo + other.lo, self.hi + other.hi);
        if self.is_point() && other.is_point() {
            return Self::nearest(lo, self.both_finite(other));
        }
        // Minus infinity plus plus infinity can only come from an unlimited single value.
        Self {
            lo: if lo.is_nan() {
                f64::NEG_INFINITY
            } else {
                down(lo)
            },
            hi: if hi.is_nan() { f64::INFINITY } else { up(hi) },
        }
    }

    /// All differences.
    #[inline]
    #[must_use]
    pub fn sub(self, other: Self) -> Self {
        self.add(other.neg())
    }

    /// All values with the sign changed.
    #[inline]
    #[must_use]
    pub fn neg(self) -> Self {
        Self {
            lo: -self.hi,
            hi: -self.lo,
        }
    }

    /// All products; nothing times infinity is nothing.
    #[inline]
    #[must_use]
    pub fn mul(self, other: Self) -> Self {
        if self.is_point() && other.is_point() {
            return Self::nearest(product(self.lo, other.lo), self.both_finite(other));
        }
        if self.lo >= 0.0 && other.lo >= 0.0 {
            let hi = product(self.hi, other.hi);
            return Self {
                lo: down(product(self.lo, other.lo)).max(0.0),
                hi: if self.hi == 0.0 || other.hi == 0.0 {
                    0.0
                } else {
                    hi.next_up()
                },
            };
        }
        self.mul_signed(other)
    }

    /// Products where a sign is in play.
    fn mul_signed(self, other: Self) -> Self {
        if self == Self::ZERO || other == Self::ZERO {
            return Self::ZERO;
        }
        let corners = [
            product(self.lo, other.lo),
            product(self.lo, other.hi),
            product(self.hi, other.lo),
            product(self.hi, other.hi),
        ];
        let lo = corners.into_iter().fold(f64::INFINITY, f64::min);
        let hi = corners.into_iter().fold(f64::NEG_INFINITY, f64::max);
        // A corner that is nought may have been rounded to it, unless a factor is nought.
        let never_negative = self.hi <= 0.0 && other.hi <= 0.0;
        let never_positive =
            (self.lo >= 0.0 && other.hi <= 0.0) || (self.hi <= 0.0 && other.lo >= 0.0);
        Self {
            lo: if never_negative && lo == 0.0 {
                0.0
            } else {
                lo.next_down()
            },
            hi: if never_positive && hi == 0.0 {
                0.0
            } else {
                hi.next_up()
            },
        }
    }

    /// All quotients. A divisor that may be nought gives every number; one that is nought for sure
    /// gives `None`: it cannot be computed.
    #[inline]
    #[must_use]
    pub fn div(self, other: Self) -> Option<Self> {
        if other.lo <= 0.0 && other.hi >= 0.0 {
            return (!other.is_point()).then_some(Self::ALL);
        }
        if self.is_point() && other.is_point() {
            let quotient = self.lo / other.lo;
            if !quotient.is_nan() {
                return Some(Self::nearest(quotient, self.both_finite(other)));
            }
        }
        Some(if other.lo > 0.0 {
            self.div_positive(other)
        } else {
            self.neg().div_positive(other.neg())
        })
    }

    /// Quotients by what is more than nought.
    #[inline]
    fn div_positive(self, other: Self) -> Self {
        // Infinity over infinity: the end that is farthest out for what may be meant.
        let (lo, hi);
        if self.lo >= 0.0 {
            let q = self.lo / other.hi;
            lo = if q.is_nan() { 0.0 } else { down(q).max(0.0) };
        } else {
            let q = self.lo / other.lo;
            lo = if q.is_nan() {
                f64::NEG_INFINITY
            } else {
                q.next_down()
            };
        }
        if self.hi <= 0.0 {
            let q = self.hi / other.hi;
            hi = if q.is_nan() { 0.0 } else { up(q).min(0.0) };
        } else {
            let q = self.hi / other.lo;
            hi = if q.is_nan() {
                f64::INFINITY
            } else {
                q.next_up()
            };
        }
        Self { lo, hi }
    }

    /// The smaller of two values, for all pairs.
    #[inline]
    #[must_use]
    pub fn min(self, other: Self) -> Self {
        Self {
            lo: self.lo.min(other.lo),
            hi: self.hi.min(other.hi),
        }
    }

    /// The larger of two values, for all pairs.
    #[inline]
    #[must_use]
    pub fn max(self, other: Self) -> Self {
        Self {
            lo: self.lo.max(other.lo),
            hi: self.hi.max(other.hi),
        }
    }

    /// All magnitudes.
    #[inline]
    #[must_use]
    pub fn abs(self) -> Self {
        if self.lo >= 0.0 {
            self
        } else if self.hi <= 0.0 {
            self.neg()
        } else {
            Self {
                lo: 0.0,
                hi: self.hi.max(-self.lo),
            }
        }
    }
}
