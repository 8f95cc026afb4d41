//! Dimensions, factors, rounding, and what is printed.

use std::borrow::Cow;

use amperule::quantity::{
    Dim, Ratio, Rounding, Unit, fold, format_interval, format_number, format_quantity,
    format_toward, format_within, round_to,
};

#[test]
fn the_algebra_of_the_trade_holds() {
    assert_eq!(Dim::VOLTAGE.div(Dim::CURRENT), Dim::RESISTANCE);
    assert_eq!(Dim::VOLTAGE.mul(Dim::CURRENT), Dim::POWER);
    assert_eq!(Dim::POWER.mul(Dim::TIME), Dim::ENERGY);
    assert_eq!(Dim::FORCE.mul(Dim::LENGTH), Dim::ENERGY);
    assert_eq!(Dim::CURRENT.powi(2).mul(Dim::TIME), Dim::LET_THROUGH);
    assert_eq!(Dim::RESISTANCE.mul(Dim::LENGTH), Dim::RESISTIVITY);
    assert_eq!(
        Dim::CURRENT.mul(Dim::TIME).div(Dim::VOLTAGE),
        Dim::CAPACITANCE
    );
    assert_eq!(
        Dim::VOLTAGE.mul(Dim::TIME).div(Dim::CURRENT),
        Dim::INDUCTANCE
    );
    assert_eq!(Dim::AREA.sqrt(), Some(Dim::LENGTH));
    assert_eq!(Dim::VOLTAGE.sqrt(), None);
    assert_eq!(Dim::LENGTH.powi(1000), Dim::new(127, 0, 0, 0, 0));
}

#[test]
fn messages_name_dimensions() {
    assert_eq!(Dim::LENGTH.describe(), "a length");
    assert_eq!(Dim::RESISTANCE.describe(), "a resistance");
    assert_eq!(Dim::NONE.describe(), "a pure number");
    assert_eq!(Dim::MASS.mul(Dim::AREA).describe(), "kg·m²");
    assert_eq!(Dim::new(-1, 0, -2, 0, 0).describe(), "1/m/s²");
    assert_eq!(Dim::new(4, 1, 0, 0, 0).describe(), "kg·m^4");
}

#[test]
fn twins_become_one() {
    assert_eq!(fold("5\u{A0}\u{2126}\u{22C5}m"), "5 Ω·m");
    assert_eq!(fold("\u{3BC}s"), "\u{B5}s");
    assert_eq!(fold("30\u{202F}\u{BA}C"), "30 °C");
    assert_eq!(fold("I\u{2206}n"), "I\u{394}n");
    assert!(matches!(fold("6 mm²"), Cow::Borrowed("6 mm²")));
    assert!(matches!(fold("6 mm2"), Cow::Borrowed("6 mm2")));
}

fn unit(text: &str) -> Unit {
    Unit::parse(text).unwrap()
}

#[test]
fn trade_notation() {
    let cases = [
        (0.28, "ohm", 3, "0.28 ohm"),
        (32.0, "A", 3, "32 A"),
        (0.025, "%", 3, "2.5 %"),
        (1667.0, "ohm", 3, "1667 ohm"),
        (12_345.6, "V", 3, "12346 V"),
        (0.000_37, "ohm", 3, "0.00037 ohm"),
        (0.000_037, "ohm", 3, "3.7e-5 ohm"),
        (2.5e9, "ohm", 3, "2.5e9 ohm"),
        (9_999_999.9, "m", 3, "1e7 m"),
        (303.15, "°C", 6, "30 °C"),
        (0.95, "1", 3, "0.95"),
        (0.0, "A", 3, "0 A"),
        (-5.25, "V", 2, "-5.3 V"),
        (0.000_285, "mohm", 2, "0.29 mohm"),
        (0.999_6, "ohm", 3, "1 ohm"),
        (0.000_006, "mm²", 3, "6 mm²"),
        (f64::INFINITY, "ohm", 3, "unlimited"),
        (100.0, "m", 1, "100 m"),
    ];
    for (si, name, digits, expected) in cases {
        assert_eq!(format_quantity(si, &unit(name), digits), expected);
    }
    assert_eq!(
        format_number(f64::NAN, 3, Rounding::Nearest),
        "not computable"
    );
}

#[test]
fn bounds_round_to_the_asked_side() {
    let m = unit("m");
    assert_eq!(format_toward(30.8831, &m, 3, Rounding::Down), "30.8 m");
    assert_eq!(format_toward(30.8831, &m, 3, Rounding::Up), "30.9 m");
    assert_eq!(format_toward(-30.8831, &m, 3, Rounding::Up), "-30.8 m");
    assert_eq!(format_toward(30.8, &m, 3, Rounding::Up), "30.8 m");
    assert_eq!(format_toward(9.999, &m, 2, Rounding::Up), "10 m");
}

#[test]
fn ends_differ_in_print_if_they_differ() {
    let set = |lo, hi, name| format_interval(lo, hi, &unit(name));
    assert_eq!(set(1.37, 1.372, "ohm"), "1.37 .. 1.372 ohm");
    assert_eq!(set(32.0, 32.173_913, "A"), "32 .. 32.2 A");
    assert_eq!(set(80.0, 80.04, "A"), "80 .. 80.04 A");
    assert_eq!(set(80.0, 80.0, "A"), "80 A");
    assert_eq!(set(1.365_625, 1.365_625, "ohm"), "1.36563 ohm");
    assert_eq!(set(1.0, 1.0 + 1e-15, "ohm"), "1 ohm");
}

#[test]
fn sets() {
    let set = |lo, hi, name| format_interval(lo, hi, &unit(name));
    assert_eq!(set(0.266, 0.294, "ohm"), "0.266 .. 0.294 ohm");
    assert_eq!(set(5.0, f64::INFINITY, "m"), "at least 5 m");
    assert_eq!(set(f64::NEG_INFINITY, 3.0, "m"), "at most 3 m");
    assert_eq!(set(f64::NEG_INFINITY, f64::INFINITY, "m"), "any");
    assert_eq!(set(6e-6, 6e-6, "mm²"), "6 mm²");
    assert_eq!(set(0.8, 0.9, "%"), "80 .. 90 %");
    assert_eq!(set(100.01, 100.02, "V"), "100.01 .. 100.02 V");
    assert_eq!(set(f64::INFINITY, f64::INFINITY, "ohm"), "unlimited");
}

#[test]
fn equal_numbers_have_one_form() {
    let half = Ratio::new(1, 2, 0).unwrap();
    assert_eq!(half, Ratio::new(5, 1, -1).unwrap());
    assert_eq!(half, Ratio::new(5000, 10_000, 0).unwrap());
    let ninths = Ratio::new(5, 9, 0).unwrap();
    assert_eq!(ninths.div(ninths), Some(Ratio::ONE));
    assert_eq!(half.mul(Ratio::new(2, 1, 0).unwrap()), Some(Ratio::ONE));
    assert_eq!(Ratio::new(1, 0, 0), None);
    assert_eq!(Ratio::new(u128::MAX, 1, 0), None);
}

#[test]
fn printed_figures() {
    use Rounding::{Down, Nearest, Up};
    let cases = [
        (1.365_625, 0.01, Nearest, 1.37),
        (1.365, 0.01, Nearest, 1.37),
        (0.285, 0.01, Nearest, 0.29),
        (0.284_999, 0.01, Nearest, 0.28),
        (-0.285, 0.01, Nearest, -0.29),
        (0.29, 0.01, Up, 0.29),
        (0.29, 0.01, Down, 0.29),
        (0.57, 0.01, Down, 0.57),
        (0.291, 0.01, Up, 0.30),
        (0.299, 0.01, Down, 0.29),
        (-0.291, 0.01, Up, -0.29),
        (-0.291, 0.01, Down, -0.3),
        (1_666.666_666_7, 1.0, Nearest, 1667.0),
        (2.5, 1.0, Nearest, 3.0),
        (7.0, 2.5, Up, 7.5),
        (0.001_37, 0.000_01, Nearest, 0.001_37),
        (1e17, 0.01, Nearest, 1e17),
        (0.0, 0.01, Up, 0.0),
    ];
    for (x, step, rounding, expected) in cases {
        assert_eq!(
            round_to(x, step, rounding),
            expected,
            "{x} {step} {rounding:?}"
        );
    }
    assert_eq!(round_to(-0.001, 0.01, Nearest).to_bits(), 0.0_f64.to_bits());
    assert_eq!(round_to(f64::INFINITY, 0.01, Up), f64::INFINITY);
    assert_eq!(round_to(1.5, 0.0, Up), 1.5);
}

/// What passes is printed so that each number of it passes.
#[test]
fn a_set_is_printed_within_itself() {
    let m = unit("m");
    assert_eq!(format_within(10.96, 27.8963, &m), "11 .. 27.8 m");
    assert_eq!(format_interval(10.96, 27.8963, &m), "11 .. 27.9 m");
    assert_eq!(
        format_within(f64::NEG_INFINITY, 48.3379, &m),
        "at most 48.33 m"
    );
    assert_eq!(
        format_within(1.03241, f64::INFINITY, &m),
        "at least 1.033 m"
    );
}
