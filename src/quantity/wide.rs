//! Integers wide enough to round a literal once.

/// An unsigned integer of 768 bits, least significant limb first. The literals it serves need
/// less than 640 (see `decimal.rs`); what does not fit is cut off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Wide([u64; Wide::LIMBS]);

impl Wide {
    const LIMBS: usize = 12;

    pub(super) fn from_u128(value: u128) -> Self {
        let mut limbs = [0; Self::LIMBS];
        let [low, high, ..] = &mut limbs;
        *low = value as u64;
        *high = (value >> 64) as u64;
        Self(limbs)
    }

    pub(super) fn is_zero(&self) -> bool {
        self.0.iter().all(|limb| *limb == 0)
    }

    pub(super) fn times(mut self, factor: u64) -> Self {
        let mut carry = 0_u128;
        for limb in &mut self.0 {
            let product = u128::from(*limb) * u128::from(factor) + carry;
            *limb = product as u64;
            carry = product >> 64;
        }
        self
    }

    pub(super) fn times_power_of_ten(mut self, mut n: u32) -> Self {
        while n >= 19 {
            self = self.times(10_000_000_000_000_000_000);
            n -= 19;
        }
        self.times(10_u64.pow(n))
    }

    /// The number of bits up to the highest one set.
    pub(super) fn bits(&self) -> u32 {
        let mut bits = 64 * Self::LIMBS as u32;
        for limb in self.0.iter().rev() {
            bits -= limb.leading_zeros();
            if *limb != 0 {
                return bits;
            }
        }
        0
    }

    fn shift_left(self, n: u32) -> Self {
        let (whole, part) = ((n / 64) as usize, n % 64);
        let limb = |i: Option<usize>| i.and_then(|i| self.0.get(i)).copied().unwrap_or(0);
        let mut out = [0; Self::LIMBS];
        for (i, target) in out.iter_mut().enumerate() {
            let from = i.checked_sub(whole);
            let below = from.and_then(|from| from.checked_sub(1));
            *target = match part {
                0 => limb(from),
                _ => limb(from) << part | limb(below) >> (64 - part),
            };
        }
        Self(out)
    }

    fn halved(mut self) -> Self {
        let mut carry = 0;
        for limb in self.0.iter_mut().rev() {
            let low = *limb << 63;
            *limb = *limb >> 1 | carry;
            carry = low;
        }
        self
    }

    /// `self - other`, if that is not negative.
    fn minus(&self, other: &Self) -> Option<Self> {
        let mut out = [0; Self::LIMBS];
        let mut borrow = false;
        for ((target, a), b) in out.iter_mut().zip(&self.0).zip(&other.0) {
            let (difference, first) = a.overflowing_sub(*b);
            let (difference, second) = difference.overflowing_sub(u64::from(borrow));
            *target = difference;
            borrow = first || second;
        }
        (!borrow).then_some(Self(out))
    }

    /// The double nearest to `self / divisor`, ties to even; `None` outside the normal range.
    pub(super) fn quotient(self, divisor: Self) -> Option<f64> {
        if self.is_zero() {
            return Some(0.0);
        }
        if divisor.is_zero() {
            return None;
        }
        // Scaled by two so that the whole part of the quotient has 64 or 65 bits.
        let scale = 64 - (self.bits().cast_signed() - divisor.bits().cast_signed());
        let (mut rest, divisor) = if scale >= 0 {
            (self.shift_left(scale.unsigned_abs()), divisor)
        } else {
            (self, divisor.shift_left(scale.unsigned_abs()))
        };
        let mut step = divisor.shift_left(65);
        let mut quotient = 0_u128;
        for _ in 0..=65 {
            quotient <<= 1;
            if let Some(less) = rest.minus(&step) {
                rest = less;
                quotient |= 1;
            }
            step = step.halved();
        }
        let drop = (128 - quotient.leading_zeros()).checked_sub(53)?;
        let (kept, cut) = (quotient >> drop, quotient & ((1 << drop) - 1));
        let half = 1_u128 << drop.checked_sub(1)?;
        let up = cut > half || (cut == half && (!rest.is_zero() || kept & 1 == 1));
        let mantissa = (kept + u128::from(up)) as f64; // at most 2^53, exact
        let exponent = drop.cast_signed() - scale;
        if !(-900..=900).contains(&exponent) {
            return None;
        }
        Some(mantissa * f64::from_bits(u64::from((1023 + exponent).unsigned_abs()) << 52))
    }
}
