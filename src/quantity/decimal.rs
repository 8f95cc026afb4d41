//! Numbers as they are written, turned into quantities without a second rounding.
//!
//! Two spellings of one quantity (`1370 mohm`, `1.37 ohm`) must give the same bits, else a design
//! that is exactly at a limit would depend on the prefix it was written with. So the decimal
//! digits are multiplied by the unit's exact factor and the result is rounded once.

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::ToPrimitive as _;

use super::{Ratio, Unit};

/// A decimal number as written: `± digits * 10^exp10`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    negative: bool,
    digits: u128,
    exp10: i32,
}

/// More significant digits than this are not read.
const MOST_DIGITS: u32 = 30;
/// Decimal exponents beyond this are not read.
const MOST_EXPONENT: i32 = 60;

impl Decimal {
    /// Reads digits with an optional sign, fraction and exponent: `32`, `-0.5`, `2.5e3`. No blank,
    /// no bare dot at either end, no digit grouping.
    ///
    /// `None` for anything else, for more than 30 significant digits and for an exponent beyond
    /// ± 60.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (negative, rest) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        let (mantissa, exponent) = match rest.split_once(['e', 'E']) {
            Some((mantissa, exponent)) => (mantissa, whole_number(exponent)?),
            None => (rest, 0),
        };
        let (whole, fraction) = match mantissa.split_once('.') {
            Some((_, "")) => return None,
            Some(parts) => parts,
            None => (mantissa, ""),
        };
        if whole.is_empty() {
            return None;
        }
        let mut digits = 0_u128;
        let mut exp10 = exponent.checked_sub(i32::try_from(fraction.len()).ok()?)?;
        let mut zeros = 0_u32; // not yet known to stand before another digit
        for byte in whole.bytes().chain(fraction.bytes()) {
            match byte {
                b'0' => zeros += 1,
                b'1'..=b'9' => {
                    if digits != 0 {
                        digits = digits.checked_mul(10_u128.checked_pow(zeros)?)?;
                    }
                    zeros = 0;
                    digits = digits
                        .checked_mul(10)?
                        .checked_add(u128::from(byte - b'0'))?;
                    if digits >= 10_u128.pow(MOST_DIGITS) {
                        return None;
                    }
                }
                _ => return None,
            }
        }
        if digits == 0 {
            exp10 = 0;
        } else {
            exp10 = exp10.checked_add(i32::try_from(zeros).ok()?)?;
        }
        if !(-MOST_EXPONENT..=MOST_EXPONENT).contains(&exp10) {
            return None;
        }
        Some(Self {
            negative: negative && digits != 0,
            digits,
            exp10,
        })
    }

    /// The quantity in SI, rounded once to the nearest double; `None` if it is out of range.
    #[must_use]
    pub fn quantity(self, unit: &Unit) -> Option<f64> {
        let shifted = match unit.offset_hundredths() {
            Some(hundredths) => self.plus_hundredths(hundredths)?,
            None => self,
        };
        shifted.times(unit.factor())
    }

    /// The exact product of two decimals; `None` if it has too many digits.
    #[must_use]
    pub fn product(self, other: Self) -> Option<Self> {
        Some(Self {
            negative: self.negative != other.negative,
            digits: self.digits.checked_mul(other.digits)?,
            exp10: self.exp10 + other.exp10,
        })
    }

    /// `self + hundredths / 100`, exactly.
    fn plus_hundredths(self, hundredths: i32) -> Option<Self> {
        let exp10 = self.exp10.min(-2);
        let scaled = |digits: u128, from: i32| -> Option<i128> {
            let power = 10_u128.checked_pow((from - exp10).unsigned_abs())?;
            i128::try_from(digits.checked_mul(power)?).ok()
        };
        let own = scaled(self.digits, self.exp10)?;
        let own = if self.negative { -own } else { own };
        let other = scaled(u128::from(hundredths.unsigned_abs()), -2)?;
        let other = if hundredths < 0 { -other } else { other };
        let sum = own.checked_add(other)?;
        Some(Self {
            negative: sum < 0,
            digits: sum.unsigned_abs(),
            exp10,
        })
    }

    /// The product with an exact factor, rounded once.
    fn times(self, factor: Ratio) -> Option<f64> {
        let exp10 = self.exp10 + factor.exp10();
        let magnitude = match quick(self.digits, factor, exp10) {
            Some(value) => value,
            None => slow(self.digits, factor, exp10)?,
        };
        Some(if self.negative { -magnitude } else { magnitude })
    }
}

/// A whole number with an optional sign, at most four digits.
fn whole_number(text: &str) -> Option<i32> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    if digits.is_empty() || digits.len() > 4 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    text.strip_prefix('+').unwrap_or(text).parse().ok()
}

/// Doubles hold all integers up to this exactly.
const EXACT: u128 = 1 << 53;

/// Powers of ten that are doubles.
const TENS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// Where both operands are doubles, one multiplication or division rounds exactly once.
fn quick(digits: u128, factor: Ratio, exp10: i32) -> Option<f64> {
    let num = digits
        .checked_mul(u128::from(factor.num()))
        .filter(|n| *n <= EXACT)? as f64;
    let ten = *TENS.get(exp10.unsigned_abs() as usize)?;
    match (factor.den(), exp10) {
        (1, 0..) => Some(num * ten),
        (1, _) => Some(num / ten),
        (den, 0) if u128::from(den) <= EXACT => Some(num / den as f64),
        _ => None,
    }
}

/// The general case, in integers of any length.
fn slow(digits: u128, factor: Ratio, exp10: i32) -> Option<f64> {
    if exp10.unsigned_abs() > 120 {
        return None;
    }
    let ten = BigInt::from(10).pow(exp10.unsigned_abs());
    let num = BigInt::from(digits) * factor.num();
    let den = BigInt::from(factor.den());
    let exact = match exp10 {
        0.. => BigRational::new_raw(num * ten, den),
        _ => BigRational::new_raw(num, den * ten),
    };
    exact.to_f64()
}

/// A number as written, times its unit, in SI, rounded once to the nearest double.
///
/// A temperature on a scale (°C, °F) becomes kelvin. `None` if the text is no number or out of
/// range (more than 30 significant digits, exponents beyond ± 60).
#[must_use]
pub fn parse_quantity(digits: &str, unit: &Unit) -> Option<f64> {
    Decimal::parse(digits)?.quantity(unit)
}

/// The ends of `x ± p %`, in SI, each rounded once: `0.28 ohm ± 5 %` is 0.266 ohm to 0.294 ohm.
///
/// `percent` is the number before the `%`. `None` if one is no number or out of range, if the
/// percentage is negative, and on a scale with a zero of its own or a percentage, where a
/// relative tolerance could be read in two ways.
#[must_use]
pub fn parse_relative(digits: &str, unit: &Unit, percent: &str) -> Option<(f64, f64)> {
    if unit.is_affine() || unit.is_percent() {
        return None;
    }
    let value = Decimal::parse(digits)?;
    let percent = Decimal::parse(percent).filter(|p| !p.negative)?;
    let hundredth = |p: Decimal| Decimal {
        exp10: p.exp10 - 2,
        ..p
    };
    let spread = |negative| {
        hundredth(Decimal {
            negative,
            ..percent
        })
        .plus_hundredths(100)
    };
    let one = value.product(spread(true)?)?.quantity(unit)?;
    let other = value.product(spread(false)?)?.quantity(unit)?;
    Some((one.min(other), one.max(other)))
}
