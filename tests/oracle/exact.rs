//! Numbers of the oracle: two exact rationals between which the true value lies, which are one
//! where a rational holds it. Roots and elementary functions come from integers and series.

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{FromPrimitive, One, Signed, ToPrimitive, Zero};

/// An exact number.
pub type Q = BigRational;

/// Binary places of what no rational holds.
const PLACES: u32 = 256;
/// Beyond this no elementary function is asked for: series and their terms would grow.
const FAR: i64 = 40;

/// What a true value lies between.
#[derive(Clone, Debug, PartialEq)]
pub struct Exact {
    pub lo: Q,
    pub hi: Q,
}

/// A double as it is.
pub fn exact(x: f64) -> Q {
    BigRational::from_f64(x).expect("a finite number")
}

fn whole(x: i64) -> Q {
    BigRational::from_integer(x.into())
}

/// How far a series may be from the true value.
fn slack() -> Q {
    BigRational::new(1.into(), BigInt::one() << 90)
}

/// A number in units of the last place, cut off.
fn fixed(x: &Q) -> BigInt {
    (x * BigRational::from_integer(BigInt::one() << PLACES))
        .floor()
        .to_integer()
}

fn from_fixed(x: BigInt) -> Q {
    BigRational::new(x, BigInt::one() << PLACES)
}

/// What lies around a number that a series gave.
fn around(x: Q) -> Exact {
    let by = slack() * (x.abs() + Q::one());
    Exact {
        lo: &x - &by,
        hi: x + by,
    }
}

fn product(a: &BigInt, b: &BigInt) -> BigInt {
    (a * b) >> PLACES
}

/// The sum of a series whose next term `next` makes of a term and its number, until nothing is left.
fn series(first: BigInt, next: impl Fn(BigInt, u32) -> BigInt) -> BigInt {
    let (mut sum, mut term, mut n) = (BigInt::zero(), first, 0);
    while !term.is_zero() && term != BigInt::from(-1) {
        sum += &term;
        n += 1;
        term = next(term, n);
    }
    sum
}

fn exp_of(x: &Q) -> Q {
    // Halved until it is small, squared as often again.
    let small = fixed(x) >> 16;
    let mut e = series(BigInt::one() << PLACES, |t, n| product(&t, &small) / n);
    for _ in 0..16 {
        e = product(&e, &e);
    }
    from_fixed(e)
}

/// Of a number from one to two: twice the area tangent of (m − 1) / (m + 1).
fn ln_of_small(m: &Q) -> Q {
    let t = fixed(&((m - Q::one()) / (m + Q::one())));
    let square = product(&t, &t);
    let mut power = t;
    let (mut sum, mut n) = (BigInt::zero(), 1);
    while !power.is_zero() {
        sum += &power / n;
        n += 2;
        power = product(&power, &square);
    }
    from_fixed(sum * 2)
}

fn ln_of(x: &Q) -> Q {
    let (mut m, mut halvings) = (x.clone(), 0_i64);
    let two = whole(2);
    while m >= two {
        m /= &two;
        halvings += 1;
    }
    while m < Q::one() {
        m *= &two;
        halvings -= 1;
    }
    ln_of_small(&m) + whole(halvings) * ln_of_small(&two)
}

/// Sine and cosine.
fn circle(x: &Q) -> (Q, Q) {
    let x = fixed(x);
    let square = product(&x, &x);
    let wave = |first: BigInt, from: u32| {
        series(first, |t, n| {
            let (a, b) = (2 * n + from - 1, 2 * n + from);
            -product(&t, &square) / a / b
        })
    };
    (
        from_fixed(wave(x.clone(), 1)),
        from_fixed(wave(BigInt::one() << PLACES, 0)),
    )
}

impl Exact {
    pub fn of(x: f64) -> Self {
        Self::point(exact(x))
    }

    pub fn point(x: Q) -> Self {
        Self {
            lo: x.clone(),
            hi: x,
        }
    }

    fn is_point(&self) -> bool {
        self.lo == self.hi
    }

    /// Ends with few digits, further out.
    fn tidy(self) -> Self {
        if self.is_point() {
            return self;
        }
        let ceiling = |x: &Q| -from_fixed(fixed(&-x));
        Self {
            lo: from_fixed(fixed(&self.lo)),
            hi: ceiling(&self.hi),
        }
    }

    fn ends(all: [Q; 4]) -> Self {
        let [a, b, c, d] = all;
        let lo = a.clone().min(b.clone()).min(c.clone()).min(d.clone());
        let hi = a.max(b).max(c).max(d);
        Self { lo, hi }.tidy()
    }

    pub fn add(&self, other: &Self) -> Self {
        Self {
            lo: &self.lo + &other.lo,
            hi: &self.hi + &other.hi,
        }
        .tidy()
    }

    pub fn neg(&self) -> Self {
        Self {
            lo: -&self.hi,
            hi: -&self.lo,
        }
    }

    pub fn sub(&self, other: &Self) -> Self {
        self.add(&other.neg())
    }

    pub fn mul(&self, other: &Self) -> Self {
        Self::ends([
            &self.lo * &other.lo,
            &self.lo * &other.hi,
            &self.hi * &other.lo,
            &self.hi * &other.hi,
        ])
    }

    pub fn div(&self, other: &Self) -> Option<Self> {
        if !other.lo.is_positive() && !other.hi.is_negative() {
            return None;
        }
        Some(Self::ends([
            &self.lo / &other.lo,
            &self.lo / &other.hi,
            &self.hi / &other.lo,
            &self.hi / &other.hi,
        ]))
    }

    pub fn min(&self, other: &Self) -> Self {
        Self {
            lo: self.lo.clone().min(other.lo.clone()),
            hi: self.hi.clone().min(other.hi.clone()),
        }
    }

    pub fn max(&self, other: &Self) -> Self {
        self.neg().min(&other.neg()).neg()
    }

    pub fn abs(&self) -> Self {
        self.max(&self.neg()).max(&Self::of(0.0))
    }

    pub fn power(&self, n: i32) -> Option<Self> {
        let mut all = Self::of(1.0);
        for _ in 0..n.unsigned_abs() {
            all = all.mul(self);
        }
        if n < 0 {
            Self::of(1.0).div(&all)
        } else {
            Some(all)
        }
    }

    pub fn sqrt(&self) -> Option<Self> {
        if self.lo.is_negative() {
            return None;
        }
        let square = BigRational::from_integer(BigInt::one() << (2 * PLACES));
        let root = |x: &Q| {
            let scaled = x * &square;
            let root = scaled.floor().to_integer().sqrt();
            let whole = BigRational::from_integer(&root * &root) == scaled;
            (
                from_fixed(root.clone()),
                if whole { root } else { root + 1 },
            )
        };
        let (lo, hi) = (root(&self.lo).0, from_fixed(root(&self.hi).1));
        Some(Self { lo, hi })
    }

    fn is_far(&self) -> bool {
        self.lo < whole(-FAR) || self.hi > whole(FAR)
    }

    pub fn exp(&self) -> Option<Self> {
        (!self.is_far()).then(|| Self {
            lo: around(exp_of(&self.lo)).lo,
            hi: around(exp_of(&self.hi)).hi,
        })
    }

    pub fn ln(&self) -> Option<Self> {
        // Near nought no series has enough places.
        (self.lo > slack()).then(|| Self {
            lo: around(ln_of(&self.lo)).lo,
            hi: around(ln_of(&self.hi)).hi,
        })
    }

    fn wave(&self, of: impl Fn(&Q) -> Q) -> Option<Self> {
        if self.is_far() {
            return None;
        }
        // Nowhere is it steeper than one.
        let half = (&self.hi - &self.lo) / whole(2);
        let at = around(of(&(&self.lo + &half)));
        Some(
            Self {
                lo: at.lo - &half,
                hi: at.hi + half,
            }
            .tidy(),
        )
    }

    pub fn sin(&self) -> Option<Self> {
        self.wave(|x| circle(x).0)
    }

    pub fn cos(&self) -> Option<Self> {
        self.wave(|x| circle(x).1)
    }

    /// Not for what is next to one, where the angle is next to nought.
    pub fn acos(&self) -> Option<Self> {
        let edge = exact(0.999);
        if self.lo < -&edge || self.hi > edge {
            return None;
        }
        let angle = |x: &Q| -> Option<Exact> {
            let guess = exact(libm::acos(x.to_f64()?));
            let (sin, cos) = circle(&guess);
            let found = around(guess + (cos - x) / sin);
            // The cosine falls: what is found is found to lie on both sides.
            let (below, above) = (circle(&found.hi).1, circle(&found.lo).1);
            assert!(&below < x && x < &above, "the angle of {x}");
            Some(found)
        };
        Some(
            Self {
                lo: angle(&self.hi)?.lo,
                hi: angle(&self.lo)?.hi,
            }
            .tidy(),
        )
    }

    /// The larger magnitude.
    fn size(&self) -> Q {
        self.lo.abs().max(self.hi.abs())
    }

    /// Whether the slack of a comparison could matter; well beyond one part in 10⁹.
    pub fn is_close(&self, other: &Self) -> bool {
        let near = self.size().max(other.size()) * exact(1e-8) + exact(1e-10);
        let apart = (&self.lo - &other.hi).max(&other.lo - &self.hi);
        apart <= near
    }

    /// Rounded to a step; nothing where that turns on more than is known. A step of 0.01 is a hundredth,
    /// and the double next to it: what is rounded lies between the multiples of both.
    pub fn round(&self, step: f64, up: Option<bool>) -> Option<Self> {
        let meant = exact((step * 1e6).round()) / exact(1e6);
        let step = exact(step);
        let rounded = |x: &Q| -> Option<Q> {
            let steps = x.abs() / &step;
            // Away from nought, toward it, or to the nearest, halves away from it.
            let shifted = match up.map(|up| up == x.is_positive()) {
                None => steps + Q::new(1.into(), 2.into()),
                _ => steps,
            };
            let whole = shifted.round();
            let turns = shifted != whole && (&shifted - &whole).abs() < exact(1e-6);
            if turns {
                return None;
            }
            let count = match up.map(|up| up == x.is_positive()) {
                Some(true) => shifted.ceil(),
                _ => shifted.floor(),
            };
            let size = count * &step;
            Some(if x.is_negative() { -size } else { size })
        };
        let (lo, hi) = (rounded(&self.lo)?, rounded(&self.hi)?);
        let other = &lo / &step * meant;
        (lo == hi).then(|| Self {
            lo: lo.clone().min(other.clone()),
            hi: lo.max(other),
        })
    }
}
