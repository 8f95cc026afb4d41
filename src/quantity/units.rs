//! The table of units.
//!
//! Each row: the spellings (the first is how it is printed), the dimension, the exact factor to SI
//! as numerator, denominator and decimal exponent. Compound units (`mV/A/m`, `ohm·m`, `K·m/W`) are
//! not here: they are worked out from these (see `unit.rs`). Case matters.

use super::{Dim, Ratio};

/// A unit that is not composed of others.
#[derive(Debug)]
pub(super) struct Atom {
    /// All spellings; the first is the one that is printed.
    pub(super) names: &'static [&'static str],
    /// What it measures.
    pub(super) dim: Dim,
    /// How many SI units it is.
    pub(super) factor: Ratio,
    /// For a scale with a zero of its own: what is added before the factor, in hundredths of
    /// this unit.
    pub(super) offset_hundredths: Option<i32>,
}

const fn atom(names: &'static [&'static str], dim: Dim, num: u128, den: u128, exp10: i32) -> Atom {
    Atom {
        names,
        dim,
        factor: match Ratio::new(num, den, exp10) {
            Some(factor) => factor,
            None => Ratio::ONE,
        },
        offset_hundredths: None,
    }
}

/// A power of ten of the SI unit.
const fn ten(names: &'static [&'static str], dim: Dim, exp10: i32) -> Atom {
    atom(names, dim, 1, 1, exp10)
}

const fn scale(
    names: &'static [&'static str],
    num: u128,
    den: u128,
    offset_hundredths: i32,
) -> Atom {
    let mut atom = atom(names, Dim::TEMPERATURE, num, den, 0);
    atom.offset_hundredths = Some(offset_hundredths);
    atom
}

/// All units that are not composed of others.
pub(super) static ATOMS: &[Atom] = &[
    // Pure numbers.
    ten(&["1"], Dim::NONE, 0),
    ten(&["%"], Dim::NONE, -2),
    // Current, charge, let-through energy.
    ten(&["A"], Dim::CURRENT, 0),
    ten(&["mA"], Dim::CURRENT, -3),
    ten(&["µA", "uA"], Dim::CURRENT, -6),
    ten(&["kA"], Dim::CURRENT, 3),
    atom(&["Ah"], Dim::CHARGE, 3600, 1, 0),
    ten(
        &["A²·s", "A2·s", "A²s", "A2s", "A²*s", "A2*s"],
        Dim::LET_THROUGH,
        0,
    ),
    ten(
        &["kA²·s", "kA2·s", "kA²s", "kA2s", "kA²*s", "kA2*s"],
        Dim::LET_THROUGH,
        6,
    ),
    // Voltage.
    ten(&["V"], Dim::VOLTAGE, 0),
    ten(&["mV"], Dim::VOLTAGE, -3),
    ten(&["kV"], Dim::VOLTAGE, 3),
    // Resistance.
    ten(&["ohm", "Ω"], Dim::RESISTANCE, 0),
    ten(&["µohm", "uohm", "µΩ", "uΩ"], Dim::RESISTANCE, -6),
    ten(&["mohm", "mΩ"], Dim::RESISTANCE, -3),
    ten(&["kohm", "kΩ"], Dim::RESISTANCE, 3),
    ten(&["Mohm", "MΩ"], Dim::RESISTANCE, 6),
    ten(&["Gohm", "GΩ"], Dim::RESISTANCE, 9),
    ten(&["ohm·m", "ohm*m", "Ω·m", "Ω*m"], Dim::RESISTIVITY, 0),
    // Length and area. Inch and foot: exact by definition (international yard and pound, 1959).
    ten(&["m"], Dim::LENGTH, 0),
    ten(&["mm"], Dim::LENGTH, -3),
    ten(&["cm"], Dim::LENGTH, -2),
    ten(&["km"], Dim::LENGTH, 3),
    atom(&["in"], Dim::LENGTH, 254, 1, -4),
    atom(&["ft"], Dim::LENGTH, 3048, 1, -4),
    atom(&["kft"], Dim::LENGTH, 3048, 1, -1),
    ten(&["m²", "m2"], Dim::AREA, 0),
    ten(&["mm²", "mm2"], Dim::AREA, -6),
    ten(&["cm²", "cm2"], Dim::AREA, -4),
    // A circular mil is the area of a circle one thousandth of an inch across, pi/4 * (25.4 um)²
    // = 506.7074790974977e-12 m²; pi has no exact factor, so this holds to 16 digits.
    atom(&["kcmil", "MCM"], Dim::AREA, 5_067_074_790_974_977, 1, -22),
    atom(&["cmil"], Dim::AREA, 5_067_074_790_974_977, 1, -25),
    // Time; a year is 365.25 d (ISO 80000-3 leaves it open; the Julian year of astronomy).
    ten(&["s"], Dim::TIME, 0),
    ten(&["ms"], Dim::TIME, -3),
    ten(&["µs", "us"], Dim::TIME, -6),
    atom(&["min"], Dim::TIME, 60, 1, 0),
    atom(&["h"], Dim::TIME, 3600, 1, 0),
    atom(&["d"], Dim::TIME, 86_400, 1, 0),
    atom(&["a"], Dim::TIME, 31_557_600, 1, 0),
    ten(&["Hz"], Dim::FREQUENCY, 0),
    ten(&["kHz"], Dim::FREQUENCY, 3),
    // Power and energy. A horsepower is 550 ft·lbf/s, exactly 745.69987158227022 W.
    ten(&["W"], Dim::POWER, 0),
    ten(&["mW"], Dim::POWER, -3),
    ten(&["kW"], Dim::POWER, 3),
    ten(&["MW"], Dim::POWER, 6),
    ten(&["VA"], Dim::POWER, 0),
    ten(&["kVA"], Dim::POWER, 3),
    ten(&["MVA"], Dim::POWER, 6),
    ten(&["var"], Dim::POWER, 0),
    ten(&["kvar"], Dim::POWER, 3),
    atom(&["hp"], Dim::POWER, 74_569_987_158_227_022, 1, -14),
    atom(&["Wh"], Dim::ENERGY, 3600, 1, 0),
    atom(&["kWh"], Dim::ENERGY, 36, 1, 5),
    atom(&["MWh"], Dim::ENERGY, 36, 1, 8),
    ten(&["J"], Dim::ENERGY, 0),
    ten(&["kJ"], Dim::ENERGY, 3),
    // Temperature. Differences are in kelvin.
    ten(&["K"], Dim::TEMPERATURE, 0),
    scale(&["°C", "degC"], 1, 1, 27_315),
    scale(&["°F", "degF"], 5, 9, 45_967),
    // Mass, force, torque, pressure. Pound: 0.45359237 kg exactly; standard gravity 9.80665 m/s²;
    // so a pound-force is exactly 4.4482216152605 N.
    ten(&["kg"], Dim::MASS, 0),
    ten(&["g"], Dim::MASS, -3),
    atom(&["lb"], Dim::MASS, 45_359_237, 1, -8),
    ten(&["N"], Dim::FORCE, 0),
    ten(&["kN"], Dim::FORCE, 3),
    atom(&["lbf"], Dim::FORCE, 44_482_216_152_605, 1, -13),
    ten(&["N·m", "Nm", "N*m"], Dim::ENERGY, 0),
    atom(
        &["lbf·in", "lbf*in"],
        Dim::ENERGY,
        1_129_848_290_276_167,
        1,
        -16,
    ),
    atom(
        &["lbf·ft", "lbf*ft"],
        Dim::ENERGY,
        13_558_179_483_314_004,
        1,
        -16,
    ),
    ten(&["Pa"], Dim::PRESSURE, 0),
    ten(&["kPa"], Dim::PRESSURE, 3),
    ten(&["bar"], Dim::PRESSURE, 5),
    // Light, inductance, capacitance.
    ten(&["lx"], Dim::ILLUMINANCE, 0),
    ten(&["H"], Dim::INDUCTANCE, 0),
    ten(&["mH"], Dim::INDUCTANCE, -3),
    ten(&["F"], Dim::CAPACITANCE, 0),
    ten(&["µF", "uF"], Dim::CAPACITANCE, -6),
    ten(&["nF"], Dim::CAPACITANCE, -9),
];

/// What people write that is no unit here, and the unit they mean.
pub(super) const HINTS: &[(&str, &str)] = &[
    ("sqmm", "mm²"),
    ("mm^2", "mm²"),
    ("m^2", "m²"),
    ("cm^2", "cm²"),
    ("amp", "A"),
    ("amps", "A"),
    ("ampere", "A"),
    ("volt", "V"),
    ("volts", "V"),
    ("watt", "W"),
    ("watts", "W"),
    ("ohms", "ohm"),
    ("metre", "m"),
    ("metres", "m"),
    ("meter", "m"),
    ("meters", "m"),
    ("mtr", "m"),
    ("feet", "ft"),
    ("foot", "ft"),
    ("inch", "in"),
    ("inches", "in"),
    ("sec", "s"),
    ("secs", "s"),
    ("hr", "h"),
    ("hrs", "h"),
    ("hour", "h"),
    ("hours", "h"),
    ("day", "d"),
    ("days", "d"),
    ("mins", "min"),
    ("year", "a"),
    ("years", "a"),
    ("yr", "a"),
    ("msec", "ms"),
    ("percent", "%"),
    ("pc", "%"),
    ("C", "°C"),
    ("deg", "°C"),
    ("°", "°C"),
    ("celsius", "°C"),
    ("fahrenheit", "°F"),
    ("in-lb", "lbf·in"),
    ("lb-in", "lbf·in"),
    ("in-lbf", "lbf·in"),
    ("lbf-in", "lbf·in"),
    ("ft-lb", "lbf·ft"),
    ("lb-ft", "lbf·ft"),
    ("ft-lbf", "lbf·ft"),
    ("lbf-ft", "lbf·ft"),
    ("lux", "lx"),
    ("KVA", "kVA"),
    ("megohm", "Mohm"),
    ("R", "ohm"),
];
