//! What the physics builtins promise: published figures, and sets that hold every value tightly.

#![expect(
    clippy::disallowed_methods,
    reason = "random values are made by other functions than those of the program"
)]

use crate::common;
use amperule::physics::{
    behind_source, behind_source_set, neutral_current, neutral_current_set, open_pen_leaves_out,
    open_pen_voltage, open_pen_voltage_set,
};
use amperule::quantity::Interval;
use amperule::session::Options;
use proptest::prelude::*;

/// Nodal analysis (complex node equations solved with numpy) of the circuit behind BS 7671:2018
/// Annex A722: unity power factor, line impedance neglected. Columns: voltage factor, line
/// currents A, electrode ohm, source earth ohm, touch voltage V; U0 is 230 V.
const OPEN_PEN: [(f64, [f64; 3], f64, f64, f64); 24] = [
    (1.0, [20.0, 0.0, 0.0], 2.0, 0.0, 34.0741),
    (1.0, [40.0, 0.0, 0.0], 2.0, 0.0, 59.3548),
    (1.0, [60.0, 0.0, 0.0], 2.0, 0.0, 78.8571),
    (1.0, [100.0, 0.0, 0.0], 2.0, 0.0, 106.977),
    (1.0, [32.0, 0.0, 0.0], 1.0, 0.0, 28.0916),
    (1.0, [32.0, 0.0, 0.0], 10.0, 0.0, 133.818),
    (1.0, [32.0, 0.0, 0.0], 20.0, 0.0, 169.195),
    (1.0, [32.0, 0.0, 0.0], 100.0, 0.0, 214.577),
    (1.0, [32.0, 0.0, 0.0], 200.0, 0.0, 222.021),
    (1.0, [40.0, 0.0, 0.0], f64::INFINITY, 0.0, 230.0),
    (1.0, [5.0, 0.0, 0.0], 20.0, 0.0, 69.697),
    (1.0, [40.0, 0.0, 0.0], 10.0, 20.0, 64.3357),
    (1.0, [32.0, 32.0, 32.0], 20.0, 0.0, 0.0),
    (1.0, [16.0, 16.0, 16.0], f64::INFINITY, 0.0, 0.0),
    (1.0, [32.0, 16.0, 16.0], 20.0, 0.0, 48.7417),
    (1.0, [40.0, 30.0, 20.0], 10.0, 0.0, 35.2541),
    (1.0, [40.0, 30.0, 20.0], f64::INFINITY, 0.0, 44.2635),
    (1.0, [40.0, 10.0, 10.0], 5.0, 0.0, 65.0943),
    (1.0, [40.0, 10.0, 10.0], f64::INFINITY, 0.0, 115.0),
    (1.0, [60.0, 32.0, 16.0], 2.0, 0.0, 39.7855),
    (1.0, [100.0, 80.0, 60.0], 50.0, 0.0, 32.5733),
    (1.0, [32.0, 32.0, 0.0], 20.0, 0.0, 97.4834),
    (1.0, [32.0, 32.0, 0.0], f64::INFINITY, 0.0, 115.0),
    (1.1, [25.0, 18.0, 7.0], 20.0, 0.0, 64.6538),
];

#[test]
fn open_pen_agrees_with_nodal_analysis() {
    for (c, [a, b, d], ra, rb, expected) in OPEN_PEN {
        let got = open_pen_voltage(230.0, c, a, b, d, ra, rb).unwrap();
        assert!(
            (got - expected).abs() <= 6e-6 * expected.max(1.0),
            "{got} {expected}"
        );
    }
}

/// Electrode resistance for exactly 70 V: single phase by the formula of IET Guidance Note 5,
/// section 14.5 (32 A with factor 1.0 and 1.1), three-phase by the model.
#[test]
fn the_electrode_for_seventy_volts() {
    for (c, [i1, i2, i3], ra) in [
        (1.0, [20.0, 0.0, 0.0], 5.03125),
        (1.1, [20.0, 0.0, 0.0], 4.39891),
        (1.0, [32.0, 0.0, 0.0], 3.14453),
        (1.1, [32.0, 0.0, 0.0], 2.74932),
        (1.0, [100.0, 0.0, 0.0], 1.00625),
        (1.0, [32.0, 16.0, 0.0], 5.34183),
        (1.1, [40.0, 10.0, 10.0], 4.74926),
        (1.1, [60.0, 32.0, 16.0], 7.32026),
        (1.0, [80.0, 20.0, 40.0], 6.79194),
    ] {
        let got = open_pen_voltage(230.0, c, i1, i2, i3, ra, 0.0).unwrap();
        assert!((got - 70.0).abs() < 7e-4, "{got}");
    }
}

#[test]
fn open_pen_outside_its_model() {
    let touch = open_pen_voltage;
    assert_eq!(
        touch(230.0, 1.0, 0.0, 0.0, 0.0, f64::INFINITY, 0.0),
        Some(0.0)
    );
    assert_eq!(touch(230.0, 1.0, 32.0, 0.0, 0.0, 0.0, 0.0), Some(0.0));
    assert_eq!(touch(230.0, 1.0, -1e-15, 0.0, 0.0, 5.0, 0.0), Some(0.0));
    assert_eq!(touch(230.0, 1.0, -1.0, 0.0, 0.0, 5.0, 0.0), None);
    assert_eq!(touch(0.0, 1.0, 1.0, 0.0, 0.0, 5.0, 0.0), None);
    assert_eq!(touch(230.0, 1.0, 1.0, 0.0, 0.0, 5.0, f64::INFINITY), None);
    assert_eq!(touch(f64::NAN, 1.0, 1.0, 0.0, 0.0, 5.0, 0.0), None);
    // Nothing known but the voltage: anything up to it.
    let any = Interval::NON_NEGATIVE;
    let (u0, one, none) = (Interval::point(230.0), Interval::point(1.0), Interval::ZERO);
    let set = open_pen_voltage_set(u0, one, any, any, any, any, none).unwrap();
    assert!(set.lo == 0.0 && set.hi >= 230.0 && set.hi < 230.001);
    // However large the currents, the electrodes divide the voltage between them.
    let (ra, rb) = (Interval::point(15.0), Interval::point(5.0));
    let set = open_pen_voltage_set(u0, one, any, any, none, ra, rb).unwrap();
    assert!(set.lo == 0.0 && set.hi >= 172.5 && set.hi < 172.500_001);
    // An electrode of 5 to 20 ohm at 32 A lies above 70 V for sure.
    let (r, i) = (Interval::new(5.0, 20.0), Interval::point(32.0));
    let set = open_pen_voltage_set(u0, one, i, none, none, r, none).unwrap();
    assert!((set.lo - 94.36).abs() < 0.01 && (set.hi - 169.20).abs() < 0.01);
    assert_eq!(
        open_pen_voltage_set(u0, one, Interval::at_most(-1.0), none, none, r, none),
        None
    );
    // No voltage, and a star point without a way to earth, are no model each by itself.
    assert_eq!(
        open_pen_voltage_set(Interval::ZERO, one, i, none, none, r, none),
        None
    );
    assert_eq!(
        open_pen_voltage_set(u0, one, i, none, none, r, Interval::point(f64::INFINITY)),
        None
    );
    // What is left out of a set is told: a resistance, a current that feeds in.
    let below = Interval::new(-2.0, 20.0);
    assert!(!open_pen_leaves_out([u0, one, i, none, none, r, none]));
    assert!(open_pen_leaves_out([u0, one, i, none, none, below, none]));
    assert!(open_pen_leaves_out([u0, one, below, none, none, r, none]));
    let rounded = Interval::new(-1e-15, 20.0);
    assert!(!open_pen_leaves_out([
        u0, one, rounded, none, none, r, none
    ]));
}

/// BS 7671:2018 Annex A722, formula A722.1 prints 0.866; these are its values to that figure.
#[test]
fn neutral_current_is_the_printed_formula_with_the_exact_root() {
    for ([a, b, c], printed) in [
        ([32.0, 0.0, 0.0], 32.0),
        ([32.0, 16.0, 16.0], 16.0),
        ([40.0, 30.0, 20.0], 17.3204),
        ([60.0, 32.0, 16.0], 38.5745),
        ([32.0, 32.0, 0.0], 31.9993),
        ([32.0, 32.0, 32.0], 0.0),
        ([80.0, 20.0, 40.0], 52.9149),
        ([16.0, 0.0, 32.0], 27.712),
    ] {
        assert!((neutral_current(a, b, c) - printed).abs() <= 3e-5 * printed);
    }
    // Three lines of 0 to 32 A: 32 A at most, though 42 A by natural evaluation.
    let line = Interval::new(0.0, 32.0);
    let set = neutral_current_set(line, line, line);
    assert!(set.lo == 0.0 && set.hi >= 32.0 && set.hi < 32.000_001);
    let any = Interval::NON_NEGATIVE;
    assert_eq!(neutral_current_set(any, line, line), any);
    assert_eq!(
        neutral_current_set(Interval::point(f64::INFINITY), line, line).hi,
        f64::INFINITY
    );
}

fn currents() -> impl Strategy<Value = Interval> {
    let ampere = || prop_oneof![0.0..100.0_f64, (0_u8..8).prop_map(|n| f64::from(n) * 8.0)];
    prop_oneof![
        3 => (ampere(), ampere()).prop_map(|(a, b)| Interval::new(a, b)),
        1 => (ampere(), 0.0..1e-3_f64).prop_map(|(a, w)| Interval::new(a, a + w)),
        1 => ampere().prop_map(Interval::point),
    ]
}

fn resistance() -> impl Strategy<Value = Interval> {
    let ohm = || prop_oneof![6 => 0.0..50.0_f64, 1 => Just(0.0), 1 => 0.0..1e4_f64];
    prop_oneof![
        4 => (ohm(), ohm()).prop_map(|(a, b)| Interval::new(a, b)),
        2 => ohm().prop_map(Interval::point),
        1 => ohm().prop_map(Interval::at_least),
        1 => Just(Interval::point(f64::INFINITY)),
    ]
}

fn within(i: Interval, t: f64) -> f64 {
    if i.is_point() {
        i.lo
    } else if i.hi == f64::INFINITY {
        i.lo + 10_f64.powf(6.0 * t) - 1.0
    } else {
        (i.lo + (i.hi - i.lo) * t).clamp(i.lo, i.hi)
    }
}

/// The least value of a quasi-convex function over an interval, by golden ratios of thirds.
fn search(i: Interval, f: &dyn Fn(f64) -> f64) -> f64 {
    let (mut lo, mut hi) = (i.lo, i.hi);
    for _ in 0..45 {
        let (a, b) = (lo + (hi - lo) / 3.0, hi - (hi - lo) / 3.0);
        if f(a) <= f(b) { hi = b } else { lo = a }
    }
    f(i.lo).min(f(i.hi)).min(f(lo))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100_000))]

    #[test]
    fn every_neutral_current_lies_in_the_set(a in currents(), b in currents(), c in currents(), t in proptest::array::uniform3(0.0..=1.0_f64)) {
        let set = neutral_current_set(a, b, c);
        let value = neutral_current(within(a, t[0]), within(b, t[1]), within(c, t[2]));
        prop_assert!(set.contains(value), "{value} {set:?}");
    }

    #[test]
    fn every_open_pen_voltage_lies_in_the_set(
        i in proptest::array::uniform3(currents()),
        u0 in (100.0..300.0_f64, 0.0..20.0_f64),
        c in (0.9..1.1_f64, 0.0..0.2_f64),
        ra in resistance(), rb in resistance(),
        t in proptest::array::uniform7(prop_oneof![3 => 0.0..=1.0_f64, 1 => Just(0.0), 1 => Just(1.0)]),
    ) {
        let (u0, c) = (Interval::new(u0.0, u0.0 + u0.1), Interval::new(c.0, c.0 + c.1));
        let value = open_pen_voltage(
            within(u0, t[0]), within(c, t[1]),
            within(i[0], t[2]), within(i[1], t[3]), within(i[2], t[4]),
            within(ra, t[5]), within(rb, t[6]),
        );
        let set = open_pen_voltage_set(u0, c, i[0], i[1], i[2], ra, rb);
        if let Some(value) = value {
            prop_assert!(set.is_some_and(|set| set.contains(value)), "{value} {set:?}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// The ends are attained: a search finds values as low, and the upper end is at a corner.
    #[test]
    fn the_sets_are_tight(i in proptest::array::uniform3(currents()), ra in prop_oneof![0.1..50.0_f64, Just(f64::INFINITY)], rb in 0.0..20.0_f64) {
        let point = Interval::point;
        let touch = |a, b, c| open_pen_voltage(230.0, 1.0, a, b, c, ra, rb).unwrap();
        let set = open_pen_voltage_set(point(230.0), point(1.0), i[0], i[1], i[2], point(ra), point(rb)).unwrap();
        let found = search(i[0], &|a| search(i[1], &|b| search(i[2], &|c| touch(a, b, c))));
        prop_assert!(found >= set.lo && found - set.lo <= 1e-4, "{found} {set:?} {i:?} {ra} {rb}");
        let neutral = neutral_current_set(i[0], i[1], i[2]);
        let found = search(i[0], &|a| search(i[1], &|b| search(i[2], &|c| neutral_current(a, b, c))));
        prop_assert!(found >= neutral.lo && found - neutral.lo <= 1e-4, "{found} {neutral:?} {i:?}");
        let (mut most, mut most_touch) = (0.0_f64, 0.0_f64);
        for corner in 0..8 {
            let at = |n: usize| if corner >> n & 1 == 0 { i[n].lo } else { i[n].hi };
            most = most.max(neutral_current(at(0), at(1), at(2)));
            most_touch = most_touch.max(touch(at(0), at(1), at(2)));
        }
        prop_assert!((neutral.hi - most).abs() <= 1e-12 * most);
        prop_assert!((set.hi - most_touch).abs() <= 1e-12 * most_touch);
    }
}

/// A source of 0.28 ohm before 0.17 ohm of resistance: 0.328 ohm at a right angle, 0.45 ohm at none.
#[test]
fn a_source_of_unknown_angle_gives_a_range() {
    let p = Interval::point;
    let (z, r, q) = (p(0.28), p(0.17), p(0.0));
    let all = behind_source_set(z, Interval::NON_NEGATIVE, r, q);
    assert!((all.lo - 0.327_567).abs() < 1e-6 && (all.hi - 0.45).abs() < 1e-12);
    // More reactance than there is impedance is all of it.
    assert_eq!(
        behind_source(0.28, 9.0, 0.17, 0.0),
        all.lo.max(behind_source(0.28, 0.28, 0.17, 0.0))
    );
}

proptest! {
    /// The set holds every sum of phasors that its inputs allow, and its ends are taken.
    #[test]
    fn sets_of_a_source_with_a_path_hold_and_are_tight(
        z in (0.001..2.0_f64, 0.0..1.0_f64), x in (0.0..2.0_f64, 0.0..2.0_f64),
        r in (0.0..2.0_f64, 0.0..1.0_f64), q in (0.0..1.0_f64, 0.0..1.0_f64),
        seeds in prop::collection::vec([0.0..=1.0_f64, 0.0..=1.0, 0.0..=1.0, 0.0..=1.0], 200),
    ) {
        let of = |(from, width): (f64, f64)| Interval::new(from, from + width);
        let (zs, xs, rs, qs) = (of(z), of(x), of(r), of(q));
        let set = behind_source_set(zs, xs, rs, qs);
        let at = |i: Interval, s: f64| i.lo + s * (i.hi - i.lo);
        for [a, b, c, d] in seeds {
            let (z, x) = (at(zs, a), at(xs, b));
            // By components, not by the function under test.
            let reactive = x.min(z);
            let phasor = ((z * z - reactive * reactive).sqrt() + at(rs, c), reactive + at(qs, d));
            let value = (phasor.0 * phasor.0 + phasor.1 * phasor.1).sqrt();
            prop_assert!(set.lo <= value * (1.0 + 1e-12) && value <= set.hi * (1.0 + 1e-12));
        }
        // By angle: near a source that is all reactance its resistance falls like a root.
        let steps = 2000;
        let angle = |x: f64| (x / zs.hi).min(1.0).asin();
        let angles = Interval::new(angle(xs.lo), angle(xs.hi));
        let most = (0..=steps)
            .map(|n| at(angles, f64::from(n) / f64::from(steps)).sin() * zs.hi)
            .map(|x| behind_source(zs.hi, x, rs.hi, qs.hi))
            .fold(0.0, f64::max);
        prop_assert!(set.hi <= most * (1.0 + 1e-5), "{set:?} {most}");
        let least = behind_source(zs.lo, xs.lo, rs.lo, qs.lo).min(behind_source(zs.lo, xs.hi, rs.lo, qs.lo));
        prop_assert!(set.lo >= least * (1.0 - 1e-12), "{set:?} {least}");
    }
}

/// Touch voltage by nodal analysis, each line loaded by the same angle: sources and loads as complex numbers.
fn lagging(amps: [f64; 3], cos: f64, ra: f64) -> f64 {
    let lag = cos.acos();
    let (mut up, mut along) = ((0.0, 0.0), (1.0 / ra, 0.0));
    for (line, i) in amps.into_iter().enumerate() {
        let turn = [0.0_f64, -120.0, 120.0][line].to_radians() - lag;
        up = (up.0 + i * turn.cos(), up.1 + i * turn.sin());
        along = (
            along.0 + i / 230.0 * lag.cos(),
            along.1 - i / 230.0 * lag.sin(),
        );
    }
    up.0.hypot(up.1) / along.0.hypot(along.1)
}

#[test]
fn loads_that_lag_lift_the_terminal_no_more_than_is_said() {
    for amps in [[56.0, 0.0, 0.0], [30.0, 20.0, 5.0], [90.0, 10.0, 40.0]] {
        for (cos, ra) in [(1.0, 2.0), (0.95, 1.2), (0.9, 3.0), (0.8, 3.0), (0.8, 30.0)] {
            let [a, b, c] = amps;
            let text = format!(
                "supply {{ status: existing  earthing: TN-C-S  phases: 3  U0: 230 V  RB: 0 ohm  cos-phi: {cos}\n\
                 electrodes: rod  logged-demand: L1 {a} A, L2 {b} A, L3 {c} A (measured)  logged-for: 14 d }}\n\
                 electrode rod {{ R: {ra} ohm (measured)  linked-to-met: yes  serves: met }}\nno charge-point\nno load\n"
            );
            let design = common::sound(&text, &Options::under("gb")).expect("a sound design");
            let said = |fact| {
                let v = design.value("supply", fact, None).expect("a value");
                (v.low + v.high) / 2.0
            };
            let (touch, exact) = (said("touch-voltage"), lagging(amps, cos, ra));
            assert!(
                touch >= exact * (1.0 - 1e-9),
                "{touch} V where {exact} V are"
            );
            assert!(touch <= exact * 1.06, "{touch} V where {exact} V are");
            // At its limit the electrode holds the terminal at 70 V and no more.
            let limit = said("electrode-limit");
            if limit < 1000.0 {
                let held = lagging(amps, cos, limit);
                assert!(held <= 70.0 + 1e-6 && held > 65.0, "{limit} ohm, {held} V");
            }
        }
    }
}
