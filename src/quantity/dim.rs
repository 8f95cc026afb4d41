//! Dimensions: what kind of quantity a number is.

use serde::{Deserialize, Serialize};

use std::fmt;

/// The dimension of a quantity: its exponents over metre, kilogram, second, ampere and kelvin.
///
/// Watt and volt-ampere are one dimension, as are newton metre and joule. Light has no base unit of
/// its own here: a lumen counts as a pure number, so that an illuminance is one per square metre.
///
/// Exponents stay within `i8`; beyond that they stick at the end of the range, which no formula of
/// the trade comes near.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize,
)]
pub struct Dim([i8; 5]);

impl Dim {
    /// A pure number (also a percentage).
    pub const NONE: Self = Self::new(0, 0, 0, 0, 0);
    /// Metre.
    pub const LENGTH: Self = Self::new(1, 0, 0, 0, 0);
    /// Square metre.
    pub const AREA: Self = Self::new(2, 0, 0, 0, 0);
    /// Cubic metre.
    pub const VOLUME: Self = Self::new(3, 0, 0, 0, 0);
    /// Kilogram.
    pub const MASS: Self = Self::new(0, 1, 0, 0, 0);
    /// Second.
    pub const TIME: Self = Self::new(0, 0, 1, 0, 0);
    /// Ampere.
    pub const CURRENT: Self = Self::new(0, 0, 0, 1, 0);
    /// Kelvin; temperatures are held as kelvin and differences are in kelvin.
    pub const TEMPERATURE: Self = Self::new(0, 0, 0, 0, 1);
    /// Hertz.
    pub const FREQUENCY: Self = Self::new(0, 0, -1, 0, 0);
    /// Newton.
    pub const FORCE: Self = Self::new(1, 1, -2, 0, 0);
    /// Joule, and newton metre.
    pub const ENERGY: Self = Self::new(2, 1, -2, 0, 0);
    /// Watt, and volt-ampere.
    pub const POWER: Self = Self::new(2, 1, -3, 0, 0);
    /// Pascal.
    pub const PRESSURE: Self = Self::new(-1, 1, -2, 0, 0);
    /// Volt.
    pub const VOLTAGE: Self = Self::new(2, 1, -3, -1, 0);
    /// Ohm.
    pub const RESISTANCE: Self = Self::new(2, 1, -3, -2, 0);
    /// Henry.
    pub const INDUCTANCE: Self = Self::new(2, 1, -2, -2, 0);
    /// Farad.
    pub const CAPACITANCE: Self = Self::new(-2, -1, 4, 2, 0);
    /// Ampere second.
    pub const CHARGE: Self = Self::new(0, 0, 1, 1, 0);
    /// Ohm metre.
    pub const RESISTIVITY: Self = Self::new(3, 1, -3, -2, 0);
    /// Ohm per metre.
    pub const RESISTANCE_PER_LENGTH: Self = Self::new(1, 1, -3, -2, 0);
    /// Kelvin metre per watt.
    pub const THERMAL_RESISTIVITY: Self = Self::new(-1, -1, 3, 0, 1);
    /// Ampere squared second, the let-through energy of a device or the withstand of a conductor.
    pub const LET_THROUGH: Self = Self::new(0, 0, 1, 2, 0);
    /// Lux.
    pub const ILLUMINANCE: Self = Self::new(-2, 0, 0, 0, 0);
    /// One per square metre and second: lightning flashes per square kilometre and year.
    pub const FLASH_DENSITY: Self = Self::new(-2, 0, -1, 0, 0);

    /// A dimension from its exponents over metre, kilogram, second, ampere and kelvin.
    #[must_use]
    pub const fn new(m: i8, kg: i8, s: i8, a: i8, k: i8) -> Self {
        Self([m, kg, s, a, k])
    }

    /// The dimension of a product.
    #[must_use]
    pub const fn mul(self, other: Self) -> Self {
        self.times(other, 1)
    }

    /// The dimension of a quotient.
    #[must_use]
    pub const fn div(self, other: Self) -> Self {
        self.times(other, -1)
    }

    /// The dimension of a whole power.
    #[must_use]
    pub const fn powi(self, n: i32) -> Self {
        Self::NONE.times(self, n)
    }

    /// The dimension of a product with a whole power.
    const fn times(self, other: Self, n: i32) -> Self {
        let mut all = self.0;
        let mut i = 0;
        while i < all.len() {
            let sum = (other.0[i] as i32)
                .saturating_mul(n)
                .saturating_add(all[i] as i32);
            all[i] = if sum > i8::MAX as i32 {
                i8::MAX
            } else if sum < i8::MIN as i32 {
                i8::MIN
            } else {
                sum as i8
            };
            i += 1;
        }
        Self(all)
    }

    /// The dimension of a square root; `None` where an exponent is odd.
    #[must_use]
    pub fn sqrt(self) -> Option<Self> {
        let even = self.0.iter().all(|e| e % 2 == 0);
        even.then(|| Self(self.0.map(|e| e / 2)))
    }

    /// What a message calls it: `a length`, `a resistance`, `a pure number`; a dimension without a
    /// name is given by its base units, `kg·m²`.
    #[must_use]
    pub fn describe(self) -> String {
        NAMES
            .iter()
            .find(|(dim, _)| *dim == self)
            .map_or_else(|| self.to_string(), |(_, name)| (*name).to_owned())
    }
}

/// What messages call the dimensions that have a name.
const NAMES: &[(Dim, &str)] = &[
    (Dim::NONE, "a pure number"),
    (Dim::LENGTH, "a length"),
    (Dim::AREA, "an area"),
    (Dim::VOLUME, "a volume"),
    (Dim::MASS, "a mass"),
    (Dim::TIME, "a time"),
    (Dim::CURRENT, "a current"),
    (Dim::TEMPERATURE, "a temperature"),
    (Dim::FREQUENCY, "a frequency"),
    (Dim::FORCE, "a force"),
    (Dim::ENERGY, "an energy or a torque"),
    (Dim::POWER, "a power"),
    (Dim::PRESSURE, "a pressure"),
    (Dim::VOLTAGE, "a voltage"),
    (Dim::RESISTANCE, "a resistance"),
    (
        Dim::RESISTANCE.div(Dim::RESISTANCE.powi(2)),
        "a conductance",
    ),
    (Dim::INDUCTANCE, "an inductance"),
    (Dim::CAPACITANCE, "a capacitance"),
    (Dim::CHARGE, "a charge"),
    (Dim::RESISTIVITY, "a resistivity"),
    (Dim::RESISTANCE_PER_LENGTH, "a resistance per length"),
    (Dim::THERMAL_RESISTIVITY, "a thermal resistivity"),
    (Dim::LET_THROUGH, "a let-through energy (A²·s)"),
    (Dim::ILLUMINANCE, "an illuminance"),
    (Dim::FLASH_DENSITY, "a number of flashes per area and time"),
    (Dim::CURRENT.div(Dim::AREA), "a current density"),
    (Dim::VOLTAGE.div(Dim::LENGTH), "a voltage per length"),
    (Dim::TEMPERATURE.powi(-1), "a temperature coefficient"),
];

impl fmt::Display for Dim {
    /// Base units, those with positive exponents first: `kg·m²/s³`; a pure number is `1`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [m, kg, s, a, k] = self.0;
        let units = [("kg", kg), ("m", m), ("A", a), ("K", k), ("s", s)];
        let mut first = true;
        for (name, exponent) in units.iter().filter(|(_, e)| *e > 0) {
            if !first {
                f.write_str("·")?;
            }
            first = false;
            f.write_str(name)?;
            power(f, *exponent)?;
        }
        if first {
            f.write_str("1")?;
        }
        for (name, exponent) in units.iter().filter(|(_, e)| *e < 0) {
            f.write_str("/")?;
            f.write_str(name)?;
            power(f, exponent.saturating_neg())?;
        }
        Ok(())
    }
}

fn power(f: &mut fmt::Formatter<'_>, exponent: i8) -> fmt::Result {
    match exponent {
        1 => Ok(()),
        2 => f.write_str("²"),
        3 => f.write_str("³"),
        n => write!(f, "^{n}"),
    }
}
