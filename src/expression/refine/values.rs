//! Single values of the sets of leaves, and parts of boxes.

use super::super::program::{Leaf, LeafKind};
use super::super::val::{Presence, SetWords, Val};

pub(super) fn replaced(values: &[Val], i: usize, with: Val) -> Vec<Val> {
    let mut all = values.to_vec();
    all[i] = with;
    all
}

/// The two parts of the values of a number below and above a cut.
pub(super) fn cut_at(v: Val, cut: f64) -> Vec<Val> {
    let lo = cut.next_up();
    vec![Val { hi: cut, ..v }, Val { lo, ..v }]
}

/// The indices of the bits of a set.
pub(super) fn bits_of(mut bits: u64) -> impl Iterator<Item = u32> {
    std::iter::from_fn(move || {
        (bits != 0).then(|| {
            let b = bits.trailing_zeros();
            bits &= bits - 1;
            b
        })
    })
}

/// A place to cut: inside what is plausible, where that lies inside.
pub(super) fn middle(lo: f64, hi: f64, plausible: (f64, f64)) -> f64 {
    let (pl, ph) = plausible;
    if lo < pl && pl < hi && pl.is_finite() && !lo.is_finite() {
        return pl;
    }
    if lo < ph && ph < hi && ph.is_finite() && !hi.is_finite() {
        return ph;
    }
    match (lo.is_finite(), hi.is_finite()) {
        (true, true) => lo + (hi - lo) / 2.0,
        (true, false) => (2.0 * lo).max(1.0),
        (false, true) => (2.0 * hi).min(-1.0),
        (false, false) => 0.0,
    }
}

/// One value of a set: its upper end if asked for, else its lower, where these are finite.
pub(super) fn one_value(leaf: &Leaf, v: &Val, upper: bool) -> Val {
    any_value(leaf, v, u64::from(upper))
}

/// One value of a set, chosen by a number: 0 the first, 1 the last, else a mixture of ends,
/// plausible ends and middles.
pub(super) fn any_value(leaf: &Leaf, v: &Val, r: u64) -> Val {
    match leaf.kind {
        LeafKind::Number => {
            if v.bits & Presence::PRESENT == 0
                || (v.bits == Presence::EITHER && r >= 2 && r.is_multiple_of(5))
            {
                return Val::ABSENT.flagged(v.flags);
            }
            let (pl, ph) = leaf.plausible;
            let lo = if v.lo.is_finite() { v.lo } else { pl.min(v.hi) };
            let hi = if v.hi.is_finite() { v.hi } else { ph.max(v.lo) };
            let lo = if lo.is_finite() {
                lo
            } else {
                0.0_f64.min(v.hi)
            };
            let hi = if hi.is_finite() {
                hi
            } else {
                (2.0 * lo).max(1.0)
            };
            let x = match r {
                0 => lo,
                1 => hi,
                _ => match r % 7 {
                    0 | 1 => lo,
                    2 | 3 => hi,
                    4 => pl.clamp(lo, hi.max(lo)),
                    5 => ph.clamp(lo, hi.max(lo)),
                    _ => lo + (hi - lo) * ((r >> 8 & 0xff) as f64 / 255.0),
                },
            };
            let x = x.clamp(v.lo, v.hi);
            v.at(x)
        }
        LeafKind::Choice | LeafKind::Truth => {
            let n = v.bits.count_ones().max(1);
            let k = match r {
                0 => 0,
                1 => n - 1,
                _ => (r % u64::from(n)) as u32,
            };
            let bit = bits_of(v.bits).nth(k as usize).unwrap_or(0);
            Val {
                bits: 1 << bit,
                ..*v
            }
        }
        LeafKind::Members(n) => {
            let free = v.bits & (v.bits >> 32) & 0xffff_ffff;
            let fixed = v.bits & 0xffff_ffff & !free;
            let chosen = match r {
                0 => free,
                1 => 0,
                _ => (r >> 3) & free,
            };
            Val {
                bits: SetWords::known(chosen | fixed, u32::from(n)),
                ..*v
            }
        }
    }
}
