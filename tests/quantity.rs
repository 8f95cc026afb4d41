//! What quantities promise: exact units, literals rounded once, intervals that hold every value,
//! comparison with slack, rounding to printed figures, and dates.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test fails by panicking, in its helpers too"
)]
#![expect(
    clippy::disallowed_methods,
    reason = "values are checked by other functions than those of the program"
)]

mod printed;

use amperule::quantity::{
    DateError, Dim, Interval, Rounding, TruthSet, Unit, UnitMistake, absolute_floor, boundary_ge,
    boundary_le, civil_from_days, days_from_civil, days_in_month, format_date, format_interval,
    holds_le, le, lt, parse_date, parse_quantity, parse_relative, round_to,
};
use num_bigint::BigInt;
use num_rational::BigRational;
use proptest::prelude::*;

fn unit(text: &str) -> Unit {
    Unit::parse(text).unwrap_or_else(|e| panic!("{e}"))
}

fn si(digits: &str, name: &str) -> f64 {
    parse_quantity(digits, &unit(name)).unwrap_or_else(|| panic!("{digits} {name}"))
}

// ---------------------------------------------------------------- units

#[test]
fn every_spelling_is_read_and_what_is_printed_is_read_back() {
    for spelling in Unit::all_spellings() {
        let read = unit(spelling);
        assert_eq!(unit(read.text()), read, "{spelling}");
    }
    for compound in [
        "mV/A/m", "K·m/W", "mohm/m", "ohm/km", "ohm/kft", "1/K", "/km²/a", "m³", "1/m/s2",
    ] {
        let read = unit(compound);
        assert_eq!(unit(read.text()), read, "{compound}");
    }
}

#[test]
fn spellings_of_one_unit_are_one_unit() {
    for same in [
        &["Ω", "\u{2126}", "ohm"][..],
        &["mm²", "mm2"],
        &["µs", "\u{3BC}s", "us"],
        &["A²·s", "A2s", "A²s", "A\u{B2}\u{22C5}s", "A2*s"],
        &["K·m/W", "K*m/W"],
        &["N·m", "Nm", "N*m"],
        &["ohm·m", "Ω*m"],
        &["1/K", "/K"],
        &["°C", "degC", "\u{BA}C", "\u{2103}"],
        &["lbf·in", "lbf*in"],
        &["1", "", " "],
    ] {
        for spelling in same {
            assert_eq!(unit(spelling), unit(same[0]), "{spelling}");
        }
    }
}

#[test]
fn case_tells_prefixes_apart() {
    assert_eq!(si("1", "mohm"), 1e-3);
    assert_eq!(si("1", "Mohm"), 1e6);
    assert_eq!(si("1", "MW") / si("1", "mW"), 1e9);
}

#[test]
fn dimensions_follow_from_the_algebra() {
    for (text, dim, meaning) in [
        (
            "mV/A/m",
            Dim::RESISTANCE_PER_LENGTH,
            "a resistance per length",
        ),
        (
            "ohm/km",
            Dim::RESISTANCE_PER_LENGTH,
            "a resistance per length",
        ),
        ("K·m/W", Dim::THERMAL_RESISTIVITY, "a thermal resistivity"),
        ("ohm·m", Dim::RESISTIVITY, "a resistivity"),
        ("lbf·ft", Dim::ENERGY, "an energy or a torque"),
        ("N·m", Dim::ENERGY, "an energy or a torque"),
        ("kVA", Dim::POWER, "a power"),
        ("A²·s", Dim::LET_THROUGH, "a let-through energy (A²·s)"),
        ("kcmil", Dim::AREA, "an area"),
        (
            "/km²/a",
            Dim::FLASH_DENSITY,
            "a number of flashes per area and time",
        ),
        ("%", Dim::NONE, "a pure number"),
    ] {
        assert_eq!(unit(text).dim(), dim, "{text}");
        assert_eq!(dim.describe(), meaning);
    }
}

/// Factors that are exact by definition, or printed with all the digits they have.
#[test]
fn factors_are_those_of_their_definitions() {
    for (digits, name, expected, other) in [
        // International yard and pound agreement, 1959.
        ("1", "in", "25.4", "mm"),
        ("1", "ft", "0.3048", "m"),
        ("100", "ft", "30.48", "m"),
        // Pound 0.45359237 kg, standard gravity 9.80665 m/s²: NIST SP 811, Appendix B.
        ("1", "lbf", "4.4482216152605", "N"),
        ("1", "lbf·in", "0.1129848290276167", "N·m"),
        ("1", "lbf·ft", "1.3558179483314004", "N·m"),
        ("12", "lbf·in", "1", "lbf·ft"),
        ("1", "hp", "745.69987158227022", "W"),
        // Circular mil, UCUM [cml_i]: pi/4 of a square mil, to 16 digits.
        ("1", "kcmil", "0.5067074790974977", "mm²"),
        ("1000", "cmil", "1", "kcmil"),
        ("1", "kWh", "3.6", "MWh/1000"),
        ("2.5", "%", "0.025", "1"),
        ("40", "ms", "40000", "us"),
        ("1", "d", "86400", "s"),
        ("1", "h", "60", "min"),
        ("18", "mV/A/m", "18", "ohm/km"),
        ("304.8", "ohm/kft", "1", "ohm/m"),
        ("1", "1/K", "1", "/K"),
        // Temperature scales, SI brochure 2019, 2.3.4.1; 32 °F is 0 °C.
        ("0", "°C", "273.15", "K"),
        ("30", "°C", "86", "°F"),
        ("-40", "°C", "-40", "degF"),
    ] {
        if other == "MWh/1000" {
            assert_eq!(si(digits, name), 3.6e6);
            continue;
        }
        assert_eq!(
            si(digits, name).to_bits(),
            si(expected, other).to_bits(),
            "{digits} {name}"
        );
    }
}

#[test]
fn mistakes_name_the_part_and_what_was_meant() {
    for (written, part, meant) in [
        ("mohn", "mohn", "mohm"),
        ("Kw", "Kw", "kW"),
        ("amps", "amps", "A"),
        ("sqmm", "sqmm", "mm²"),
        ("C", "C", "°C"),
        ("mV/A/metre", "metre", "m"),
        ("Ohm", "Ohm", "ohm"),
        ("KVA", "KVA", "kVA"),
        ("ft-lb", "ft-lb", "lbf·ft"),
    ] {
        let error = Unit::parse(written).unwrap_err();
        assert_eq!(error.mistake, UnitMistake::Unknown);
        assert_eq!(error.unknown, part);
        assert_eq!(error.candidates.first(), Some(&meant), "{written}");
        assert!(error.to_string().contains(&format!("`{part}`")));
    }
    // Of many that are near no more than a reader takes in.
    assert_eq!(Unit::parse("mz").unwrap_err().candidates.len(), 3);
    for (written, mistake) in [
        ("W/m·K", UnitMistake::Ambiguous),
        ("W/°C", UnitMistake::Scale),
        ("°C²", UnitMistake::Scale),
        ("kcmil·kcmil·kcmil", UnitMistake::TooLarge),
        ("ohm//m", UnitMistake::Unknown),
        ("/", UnitMistake::Unknown),
        ("ohm m", UnitMistake::Unknown),
        ("²", UnitMistake::Unknown),
        ("AWG", UnitMistake::Unknown),
    ] {
        assert_eq!(
            Unit::parse(written).unwrap_err().mistake,
            mistake,
            "{written}"
        );
    }
}

// ---------------------------------------------------------------- literals

#[test]
fn one_quantity_has_the_same_bits_under_all_prefixes() {
    assert_eq!(si("1370", "mohm").to_bits(), si("1.37", "ohm").to_bits());
    for n in 1..20_000_u32 {
        let (thousandths, whole) = (n, f64::from(n) / 1000.0);
        let text = format!("{}.{:03}", n / 1000, n % 1000);
        for (small, large) in [
            ("mohm", "ohm"),
            ("mA", "A"),
            ("ms", "s"),
            ("V", "kV"),
            ("kohm", "Mohm"),
        ] {
            let a = si(&thousandths.to_string(), small);
            assert_eq!(a.to_bits(), si(&text, large).to_bits(), "{n}");
            if large == "ohm" {
                assert_eq!(a.to_bits(), whole.to_bits());
            }
        }
        let hundredths = si(&format!("{}.{:02}", n / 100, n % 100), "1");
        assert_eq!(si(&n.to_string(), "%").to_bits(), hundredths.to_bits());
    }
}

#[test]
fn numbers_are_read_strictly() {
    for wrong in [
        "", "-", "+", ".", "5.", ".5", "1e", "1e+", "1,5", "1_000", "0x1", "1 2", "--1", "+-1",
        "inf", "NaN", "1e99999", "1.2.3", "١",
    ] {
        assert_eq!(parse_quantity(wrong, &Unit::ONE), None, "{wrong}");
    }
    for (text, value) in [
        ("007", 7.0),
        ("-0", 0.0),
        ("+2.50", 2.5),
        ("2e3", 2000.0),
        ("2E-3", 0.002),
        ("0.000", 0.0),
    ] {
        assert_eq!(parse_quantity(text, &Unit::ONE), Some(value), "{text}");
    }
    assert_eq!(si("-0.0", "A").to_bits(), 0.0_f64.to_bits());
    // Half way between two doubles the even one is taken, a trace above it the upper.
    let tie = |text| parse_quantity(text, &Unit::ONE);
    assert_eq!(tie("9007199254740993"), Some(9_007_199_254_740_992.0));
    assert_eq!(
        tie("9007199254740993.00000000001"),
        Some(9_007_199_254_740_994.0)
    );
    assert_eq!(parse_quantity(&"9".repeat(31), &Unit::ONE), None);
    assert_eq!(parse_quantity(&"9".repeat(30), &Unit::ONE), Some(1e30));
    assert_eq!(parse_quantity(&"1".repeat(100_000), &Unit::ONE), None);
    assert_eq!(parse_quantity(&"0".repeat(100_000), &Unit::ONE), Some(0.0));
}

#[test]
fn tolerances_are_exact_at_their_ends() {
    let ohm = unit("ohm");
    assert_eq!(parse_relative("0.28", &ohm, "5"), Some((0.266, 0.294)));
    assert_eq!(parse_relative("-10", &ohm, "5"), Some((-10.5, -9.5)));
    assert_eq!(parse_relative("1", &ohm, "250"), Some((-1.5, 3.5)));
    assert_eq!(parse_relative("1", &ohm, "-5"), None);
    assert_eq!(parse_relative("30", &unit("°C"), "5"), None);
    assert_eq!(parse_relative("30", &unit("%"), "5"), None);
    assert_eq!(unit("°C").difference(), unit("K"));
    assert_eq!(parse_quantity("18", &unit("°F").difference()), Some(10.0));
}

fn exact(x: f64) -> BigRational {
    BigRational::from_float(x).unwrap()
}

fn exact_literal(whole: u128, places: u32, exponent: i32, name: &str) -> BigRational {
    let ten = BigRational::from_integer(BigInt::from(10));
    let u = unit(name);
    let mut value =
        BigRational::from_integer(BigInt::from(whole)) * ten.pow(exponent - places.cast_signed());
    if let Some(hundredths) = u.offset_hundredths() {
        value += BigRational::new(BigInt::from(hundredths), BigInt::from(100));
    }
    let f = u.factor();
    value * BigRational::new(BigInt::from(f.num()), BigInt::from(f.den())) * ten.pow(f.exp10())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]

    /// Against exact rational arithmetic: no double is nearer, and on a tie the even one is taken.
    #[test]
    fn a_literal_is_rounded_once(
        whole in 1_u128..10_000_000_000_000_000_000_000_000,
        short in any::<bool>(),
        places in 0_u32..12,
        exponent in -30_i32..=30,
        name in proptest::sample::select(Unit::all_spellings().chain(["ohm/kft", "lbf/in2", "K·m/W"]).collect::<Vec<_>>()),
    ) {
        let u = unit(name);
        let exponent = if u.is_affine() { exponent % 5 } else { exponent };
        let whole = if short || u.is_affine() { whole % 100_000 + 1 } else { whole };
        let digits = format!("{whole:0>width$}", width = places as usize + 1);
        let (front, back) = digits.split_at(digits.len() - places as usize);
        let dot = if places > 0 { "." } else { "" };
        let text = format!("{front}{dot}{back}e{exponent}");
        let got = parse_quantity(&text, &u);
        prop_assert!(got.is_some(), "{text} {name}");
        let got = got.unwrap();
        let value = exact_literal(whole, places, exponent, name);
        let miss = |x: f64| { let d = exact(x) - &value; if d < exact(0.0) { -d } else { d } };
        for other in [got.next_up(), got.next_down()] {
            prop_assert!(miss(got) <= miss(other), "{text} {name}");
            prop_assert!(miss(got) < miss(other) || got.to_bits() & 1 == 0, "{text} {name}: tie");
        }
    }

    /// No text makes a reader panic, and what a reader takes is finite.
    #[test]
    fn any_text_is_an_answer(text in ".{0,12}") {
        prop_assert!(parse_quantity(&text, &unit("°F")).is_none_or(f64::is_finite));
        if let Ok(u) = Unit::parse(&text) {
            prop_assert_eq!(Unit::parse(u.text()), Ok(u));
        }
        if let Ok(day) = parse_date(&text) {
            prop_assert_eq!(format_date(day), text);
        }
    }
}

// ---------------------------------------------------------------- comparison

const DECIDED: [TruthSet; 2] = [TruthSet::T, TruthSet::F];

#[test]
fn sets_of_truth_are_the_images_of_their_members() {
    for a in [TruthSet::T, TruthSet::F, TruthSet::U] {
        for b in [TruthSet::T, TruthSet::F, TruthSet::U] {
            let (mut and, mut or, mut not) = (TruthSet::EMPTY, TruthSet::EMPTY, TruthSet::EMPTY);
            for x in DECIDED.iter().filter(|x| x.is_within(a)) {
                not = not.union(TruthSet::of(*x == TruthSet::F));
                for y in DECIDED.iter().filter(|y| y.is_within(b)) {
                    and = and.union(TruthSet::of(*x == TruthSet::T && *y == TruthSet::T));
                    or = or.union(TruthSet::of(*x == TruthSet::T || *y == TruthSet::T));
                }
            }
            assert_eq!((a.and(b), a.or(b), a.not()), (and, or, not));
        }
    }
    assert_eq!(TruthSet::F.and(TruthSet::EMPTY), TruthSet::F);
}

#[test]
fn exactly_at_the_limit_is_met_and_one_in_ten_to_the_eighth_over_is_not() {
    let floor = absolute_floor(Dim::CURRENT);
    let point = Interval::point;
    let le = |a, b| le(a, b, floor);
    let load = point(27.1).add(point(37.2)).add(point(15.7));
    assert!(load.lo > 80.0, "plain doubles call this a breach");
    assert_eq!(le(load, point(80.0)), TruthSet::T);
    assert_eq!(lt(load, point(80.0), floor), TruthSet::F);
    assert_eq!(le(point(80.0 * (1.0 + 1e-8)), point(80.0)), TruthSet::F);
    // RA * IΔn = 50 V at 30 mA, volt drop and ratings from tables: each equal in decimals.
    for n in 1..2000 {
        let (tenths, hundredths) = (f64::from(n) / 10.0, f64::from(n) / 100.0);
        let product = point(tenths).mul(point(0.77));
        assert_eq!(le(product, point(f64::from(n * 77) / 1000.0)), TruthSet::T);
        let sum = point(hundredths).add(point(0.1)).add(point(0.2));
        assert_eq!(le(sum, point(f64::from(n + 30) / 100.0)), TruthSet::T);
    }
    let all = [f64::NEG_INFINITY, -1.0, 0.0, 1.0, f64::INFINITY];
    for a in all {
        for b in all {
            assert_eq!(holds_le(a, b, floor), a <= b, "{a} {b}");
        }
    }
    assert_eq!(le(Interval::ALL, point(f64::INFINITY)), TruthSet::T);
    assert_eq!(le(Interval::NON_NEGATIVE, point(70.0)), TruthSet::U);
    assert_eq!(
        le(point(f64::INFINITY), Interval::new(0.0, 1e300)),
        TruthSet::F
    );
}

#[test]
fn the_floor_never_outweighs_a_written_figure() {
    let compounds = [
        "mohm/m", "ohm/km", "ohm/kft", "K·m/W", "1/K", "/km²/a", "mm³", "kcmil", "ohm·mm",
    ];
    for name in Unit::all_spellings().chain(compounds) {
        let u = unit(name);
        assert!(absolute_floor(u.dim()) <= u.scale() * 1.001e-9, "{name}");
    }
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        (-1000.0..1000.0_f64),
        (-40_i32..40).prop_map(|n| f64::from(n) / 4.0),
        (-12.0..12.0_f64).prop_map(|e| 10_f64.powf(e)),
        proptest::sample::select(vec![0.0, 1.0, -1.0, 1e-300, 1e300, 5e-324]),
    ]
}

fn end() -> impl Strategy<Value = f64> {
    prop_oneof![8 => number(), 1 => Just(f64::INFINITY), 1 => Just(f64::NEG_INFINITY)]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20_000))]

    #[test]
    fn boundaries_are_the_last_numbers_that_hold(c in number(), floor in proptest::sample::select(vec![0.0, 1e-24, 1e-12])) {
        let (most, least) = (boundary_le(c, floor), boundary_ge(c, floor));
        prop_assert!(holds_le(most, c, floor) && !holds_le(most.next_up(), c, floor));
        prop_assert!(holds_le(c, least, floor) && !holds_le(c, least.next_down(), floor));
        prop_assert!(least <= c && c <= most);
    }

    /// Narrowing never adds a truth value, and each pair of values is in the set of its intervals.
    #[test]
    fn comparison_is_monotone(a in end(), b in end(), c in end(), d in end(), s in 0.0..1.0_f64, t in 0.0..1.0_f64, floor in proptest::sample::select(vec![0.0, 1e-12])) {
        let (x, y) = (Interval::new(a, b), Interval::new(c, d));
        let inner = |i: Interval, t: f64| {
            let m = middle(i);
            if i.is_point() {
                return i;
            }
            let far = i.hi.min(f64::MAX).max(m);
            Interval::new(m, (m + (far - m) * t).clamp(i.lo, i.hi))
        };
        let (p, q) = (inner(x, s), inner(y, t));
        prop_assert!(p.is_within(x) && q.is_within(y), "{:?} {:?}", p, x);
        for relation in [le, lt] {
            let (outer, inside) = (relation(x, y, floor), relation(p, q, floor));
            prop_assert!(inside.is_within(outer));
            prop_assert!(inside != TruthSet::EMPTY);
            prop_assert!(relation(Interval::point(p.lo), Interval::point(q.hi), floor).is_within(inside));
        }
        prop_assert_eq!(lt(x, y, floor), le(y, x, floor).not());
    }

    #[test]
    fn rounding_to_a_step_is_near_and_monotone(x in -1e6..1e6_f64, dx in 0.0..1.0_f64, e in 0_i32..5, d in 1_u32..6) {
        let step = f64::from(d) / 10_f64.powi(e);
        for way in [Rounding::Nearest, Rounding::Up, Rounding::Down] {
            let y = round_to(x, step, way);
            prop_assert!((y - x).abs() <= step * (1.0 + 1e-6));
            prop_assert!(y <= round_to(x + dx, step, way));
            prop_assert_eq!(round_to(y, step, way), y, "rounded twice");
        }
        prop_assert!(round_to(x, step, Rounding::Down) <= round_to(x, step, Rounding::Up));
    }

    #[test]
    fn printed_ranges_keep_the_order_of_their_ends(a in number(), d in -1e-3..1e-3_f64) {
        let b = a * (1.0 + d);
        let range = format_interval(a, b, &Unit::ONE);
        let (x, y) = range.split_once(" .. ").unwrap_or((&range, &range));
        let (p, q): (f64, f64) = (x.parse().unwrap(), y.parse().unwrap());
        prop_assert!((p - a).abs() <= 0.005001 * a.abs());
        prop_assert!(p == q || (p < q) == (a < b), "{} {}", x, y);
        if d.abs() > 1e-10 && a != 0.0 && a.abs() > 1e-300 {
            prop_assert!(x != y);
        }
    }
}

// ---------------------------------------------------------------- intervals

type Pair = (Interval, f64);

/// One operation on an interval and on a value from it; `None` where the value has no result.
fn apply(op: u8, a: Pair, b: Pair) -> Option<Pair> {
    let point = Interval::point;
    let both = |f: &dyn Fn(Interval, Interval) -> Option<Interval>| {
        let value = f(point(a.1), point(b.1));
        let set = f(a.0, b.0);
        match (set, value) {
            (Some(set), Some(value)) => Some(Some((set, value))),
            (None, Some(value)) => panic!("operation {op}: {value:?} but no set"),
            (_, None) => Some(None),
        }
    };
    let (set, value) = match op {
        0 => both(&|x, y| Some(x.add(y))),
        1 => both(&|x, y| Some(x.sub(y))),
        2 => both(&|x, y| Some(x.mul(y))),
        3 => both(&|x, y| x.div(y)),
        4 => both(&|x, y| Some(x.min(y))),
        5 => both(&|x, y| Some(x.max(y))),
        6 => both(&|x, _| Some(x.abs())),
        7 => both(&|x, _| Some(x.neg())),
        8 => both(&|x, _| x.powi(2)),
        9 => both(&|x, _| x.powi(3)),
        10 => both(&|x, _| x.powi(-2)),
        11 => both(&|x, _| x.sqrt()),
        12 => both(&|x, _| Some(x.exp())),
        13 => both(&|x, _| x.ln()),
        15 => both(&|x, _| Some(x.sin())),
        16 => both(&|x, _| Some(x.cos())),
        17 => both(&|x, _| x.acos()),
        18 => both(&|x, _| x.powi(7)),
        _ => both(&|x, _| Some(x.round_to(0.05, Rounding::Nearest))),
    }
    .flatten()?;
    assert!(
        !set.lo.is_nan() && !set.hi.is_nan() && set.lo <= set.hi,
        "{op} {a:?} {b:?} {set:?}"
    );
    assert!(
        !value.lo.is_nan() && !value.hi.is_nan() && value.lo <= value.hi,
        "{op} {a:?} {b:?}"
    );
    assert!(
        value.is_within(set),
        "operation {op} on {a:?} {b:?}: {value:?} not in {set:?}"
    );
    // Overflow leaves a set even of single values; it is sound, but there is no value to go on.
    value.is_point().then_some((set, value.lo))
}

/// A value of a set, finite unless the set is a single infinite value.
fn middle(set: Interval) -> f64 {
    let (lo, hi) = (set.lo.max(f64::MIN), set.hi.min(f64::MAX));
    (lo / 2.0 + hi / 2.0).max(set.lo).min(set.hi)
}

fn leaf() -> impl Strategy<Value = Pair> {
    (end(), end(), 0.0..=1.0_f64, 0_u8..4)
        .prop_map(|(a, b, t, kind)| {
            let set = Interval::new(a, b);
            let value = match kind {
                0 if set.lo.is_finite() => set.lo,
                1 if set.hi.is_finite() => set.hi,
                2 if a.is_finite() => return (Interval::point(a), a),
                _ => {
                    let m = middle(set);
                    let other = if set.hi.is_finite() { set.hi } else { m * 2.0 };
                    (m + (other - m) * t).clamp(
                        set.lo.max(f64::MIN),
                        set.hi.min(f64::MAX).max(set.lo.max(f64::MIN)),
                    )
                }
            };
            (
                set,
                if value.is_finite() && set.contains(value) {
                    value
                } else {
                    middle(set)
                },
            )
        })
        .prop_filter("a finite value inside", |(set, value)| set.contains(*value))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100_000))]

    /// A chain of operations: each result of single values lies in the result of the sets.
    #[test]
    fn a_value_stays_in_its_interval(
        leaves in proptest::collection::vec(leaf(), 4),
        ops in proptest::collection::vec((0_u8..20, 0_usize..4, 0_usize..4), 1..10),
    ) {
        let mut values = leaves;
        for (op, i, j) in ops {
            let (a, b) = (values[i], values[j]);
            if let Some(result) = apply(op, a, b) {
                values[i] = result;
            }
        }
    }

    /// The exact results, which no double holds, lie inside too.
    #[test]
    fn ends_are_rounded_outward(a in -1e3..1e3_f64, b in -1e3..1e3_f64, c in -1e3..1e3_f64, d in -1e3..1e3_f64, n in 2_i32..6) {
        let holds = |set: Interval, value: &BigRational| &exact(set.lo) <= value && value <= &exact(set.hi);
        let (x, y) = (Interval::new(a, b), Interval::new(c, d));
        prop_assume!(!x.is_point() && !y.is_point());
        for p in [a, b] {
            let (e, point) = (exact(p), Interval::point(p));
            for q in [c, d] {
                let f = exact(q);
                prop_assert!(holds(x.add(y), &(&e + &f)) && holds(x.sub(y), &(&e - &f)));
                prop_assert!(holds(x.mul(y), &(&e * &f)) && holds(point.mul(y), &(&e * &f)));
                let quotient = x.div(y).unwrap();
                prop_assert!(quotient == Interval::ALL || holds(quotient, &(&e / &f)));
            }
            prop_assert!(holds(x.powi(n).unwrap(), &e.pow(n)));
            if p >= 0.0 {
                let root = x.sqrt().unwrap();
                prop_assert!(exact(root.lo).pow(2) <= e && e <= exact(root.hi).pow(2));
            }
        }
        // Four units in the last place for what the mathematics library computes.
        let far = |from: f64, to: f64| (to - from).abs() >= 3.9 * f64::EPSILON * from.abs().min(to.abs()) / 2.0;
        let small = Interval::new(a / 10.0, b / 10.0);
        let (exp, ends) = (small.exp(), (libm::exp(small.lo), libm::exp(small.hi)));
        prop_assert!(exp.lo < ends.0 && far(ends.0, exp.lo) && exp.hi > ends.1 && far(ends.1, exp.hi));
        let (ln, ends) = (x.abs().ln().unwrap(), libm::log(x.abs().hi));
        prop_assert!(ln.hi > ends && far(ends, ln.hi));
    }

    #[test]
    fn lattice(a in leaf(), b in leaf()) {
        let ((x, p), (y, q)) = (a, b);
        let hull = x.hull(y);
        prop_assert!(x.is_within(hull) && y.is_within(hull) && hull.contains(p) && hull.contains(q));
        match x.intersect(y) {
            Some(both) => prop_assert!(both.is_within(x) && both.is_within(y)),
            None => prop_assert!(!y.contains(p) && !x.contains(q)),
        }
    }
}

#[test]
fn partial_operations() {
    let i = Interval::new;
    let one = Interval::point(1.0);
    assert_eq!(one.div(Interval::ZERO), None);
    assert_eq!(one.div(i(-1.0, 1.0)), Some(Interval::ALL));
    assert_eq!(one.div(i(0.0, 1.0)), Some(Interval::ALL));
    assert_eq!(Interval::ZERO.mul(Interval::ALL), Interval::ZERO);
    assert_eq!(
        Interval::ZERO.mul(Interval::point(f64::INFINITY)),
        Interval::ZERO
    );
    assert_eq!(i(-2.0, -1.0).sqrt(), None);
    assert_eq!(i(-2.0, 0.0).ln(), None);
    assert_eq!(i(-2.0, 1.0).ln().map(|x| x.lo), Some(f64::NEG_INFINITY));
    assert_eq!(Interval::ZERO.powi(-1), None);
    assert_eq!(Interval::point(2.0).acos(), None);
    assert_eq!(Interval::point(1.0 + 1e-12).acos(), Some(Interval::ZERO));
    assert_eq!(i(1.0, 2.0).sin().hi, 1.0);
    assert_eq!(i(3.0, 3.5).cos().lo, -1.0);
    assert!(i(0.1, 0.2).sin().hi < 0.1987);
    // What cannot be negative is not made so by rounding.
    let r = i(0.0, 5.0);
    assert_eq!(
        (
            r.mul(i(2.0, 3.0)).lo,
            r.add(r).lo,
            r.div(i(2.0, 3.0)).map(|x| x.lo)
        ),
        (0.0, 0.0, Some(0.0))
    );
    // Touch voltage of an electrode of 5 to 20 ohm, 32 A (natural evaluation, before refining).
    let (u, current) = (Interval::point(230.0), Interval::point(32.0));
    let r = i(5.0, 20.0);
    let load = u.div(current).unwrap();
    let touch = u.mul(r).div(r.add(load)).unwrap();
    assert!((touch.lo - 42.3).abs() < 0.05 && (touch.hi - 377.4).abs() < 0.05);
}

// ---------------------------------------------------------------- dates

#[test]
fn days_count_without_gaps() {
    let mut expected = days_from_civil(1582, 1, 1).unwrap();
    for year in 1582..=2600 {
        for month in 1..=12 {
            for day in 1..=days_in_month(year, month) {
                assert_eq!(days_from_civil(year, month, day), Some(expected));
                assert_eq!(civil_from_days(expected), (year, month, day));
                expected += 1;
            }
        }
    }
    let last = |year| days_from_civil(year, 12, 31).is_some();
    assert_eq!([last(999_999), last(1_000_000)], [true, false]);
    assert_eq!([last(-999_999), last(-1_000_000)], [true, false]);
    assert_eq!(parse_date("1970-01-01"), Ok(0));
    assert_eq!(parse_date("2000-03-01"), Ok(11_017));
    assert_eq!(format_date(parse_date("2026-11-02").unwrap()), "2026-11-02");
    assert_eq!(parse_date("2026-2-3"), Err(DateError::Form));
    assert_eq!(parse_date("2026-11-02 "), Err(DateError::Form));
    assert_eq!(parse_date("+026-11-02"), Err(DateError::Form));
    assert_eq!(parse_date("2026-13-02"), Err(DateError::Month(13)));
    assert_eq!(
        parse_date("2026-02-29"),
        Err(DateError::Day { day: 29, last: 28 })
    );
    assert_eq!(
        parse_date("2026-11-00"),
        Err(DateError::Day { day: 0, last: 30 })
    );
    assert!(parse_date("2028-02-29").is_ok() && parse_date("2100-02-29").is_err());
    for days in [i32::MIN, i32::MAX] {
        assert!(civil_from_days(days).1 <= 12);
    }
}
