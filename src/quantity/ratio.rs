//! Exact positive factors between units.

use serde::{Deserialize, Serialize};

/// An exact positive rational number: `num / den * 10^exp10`, reduced so that equal numbers are equal
/// field by field (`den` has no factor 2 or 5, `num` does not end in a zero).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Ratio {
    num: u64,
    den: u64,
    exp10: i32,
}

impl Ratio {
    /// One.
    pub const ONE: Self = Self {
        num: 1,
        den: 1,
        exp10: 0,
    };

    /// The reduced form of `num / den * 10^exp10`; `None` if a part is zero or does not fit.
    #[must_use]
    pub const fn new(num: u128, den: u128, exp10: i32) -> Option<Self> {
        if num == 0 || den == 0 {
            return None;
        }
        let common = gcd(num, den);
        let (mut num, mut den, mut exp10) = (num / common, den / common, exp10);
        while den.is_multiple_of(10) {
            den /= 10;
            exp10 -= 1;
        }
        while den.is_multiple_of(2) {
            den /= 2;
            exp10 -= 1;
            num = match num.checked_mul(5) {
                Some(n) => n,
                None => return None,
            };
        }
        while den.is_multiple_of(5) {
            den /= 5;
            exp10 -= 1;
            num = match num.checked_mul(2) {
                Some(n) => n,
                None => return None,
            };
        }
        while num.is_multiple_of(10) {
            num /= 10;
            exp10 += 1;
        }
        if num > u64::MAX as u128 || den > u64::MAX as u128 || exp10 < -60 || exp10 > 60 {
            return None;
        }
        Some(Self {
            num: num as u64,
            den: den as u64,
            exp10,
        })
    }

    /// The numerator, at least one.
    #[must_use]
    pub const fn num(self) -> u64 {
        self.num
    }

    /// The denominator, at least one.
    #[must_use]
    pub const fn den(self) -> u64 {
        self.den
    }

    /// The decimal exponent.
    #[must_use]
    pub const fn exp10(self) -> i32 {
        self.exp10
    }

    /// The product; `None` if it does not fit.
    #[must_use]
    pub const fn mul(self, other: Self) -> Option<Self> {
        Self::new(
            self.num as u128 * other.num as u128,
            self.den as u128 * other.den as u128,
            self.exp10 + other.exp10,
        )
    }

    /// The quotient; `None` if it does not fit.
    #[must_use]
    pub const fn div(self, other: Self) -> Option<Self> {
        Self::new(
            self.num as u128 * other.den as u128,
            self.den as u128 * other.num as u128,
            self.exp10 - other.exp10,
        )
    }
}

/// The greatest common divisor.
const fn gcd(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}
