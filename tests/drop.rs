//! Voltage drop of a feed whose lines are loaded unlike each other, beside phasors of our own: no set of
//! points that are in use drops more than the tool says, and one of them drops as much.

#![expect(
    clippy::expect_used,
    reason = "a test stops where its design cannot be read"
)]
#![expect(
    clippy::disallowed_methods,
    reason = "the phasors are worked out by other functions than those of the program"
)]

use crate::common;

use amperule::session::Options;
use proptest::prelude::*;

const U0: f64 = 230.0;

/// A point: its line, or none for all three, and its current.
#[derive(Clone, Copy, Debug)]
struct Point {
    line: Option<usize>,
    amps: f64,
}

impl Point {
    fn lines(self) -> &'static str {
        ["L1", "L2", "L3"]
            .get(self.line.unwrap_or(3))
            .copied()
            .unwrap_or("L1, L2, L3")
    }
}

/// A feed to a board of points, each on a run so short that it drops nothing worth a word.
fn design(size: f64, metres: f64, points: &[Point], more: &str) -> String {
    let circuits: String = points
        .iter()
        .enumerate()
        .map(|(i, p)| {
            format!(
                "circuit run-{i} {{ lines: {lines}  neutral: yes\n cables: armoured {{ size: 35 mm²  material: Cu  insulation: XLPE  length: 0.01 m  method: E }} }}\n",
                lines = p.lines()
            )
        })
        .collect();
    let drawn: String = points
        .iter()
        .enumerate()
        .map(|(i, p)| {
            format!(
                "charge-point p-{i} {{ circuit: run-{i}  In: {} A  outlets: 1  lines: {} }}\n",
                p.amps,
                p.lines()
            )
        })
        .collect();
    format!(
        "supply {{ earthing: TN-C-S  phases: 3  U0: 230 V }}\n\
         board main {{ fed-from: supply\n circuit feed {{ status: new  lines: L1, L2, L3  neutral: yes\n\
         cables: armoured {{ size: {size} mm²  material: Cu  insulation: XLPE  length: {metres} m  method: E }} }} }}\n\
         board bays {{ fed-from: feed  phases: 3\n {circuits} }}\n{drawn}{more}"
    )
}

fn figure(rules: &str, text: &str, of: &str, fact: &str) -> f64 {
    let design = common::sound(text, &Options::under(rules)).expect("a sound design");
    let v = design.value(of, fact, None).expect("a value");
    assert!(v.high - v.low < 1e-9, "{fact} {} .. {}", v.low, v.high);
    v.high
}

/// Real and imaginary part of the voltage of a line.
fn phasor(line: usize) -> (f64, f64) {
    let turn = [0.0_f64, -120.0, 120.0][line].to_radians();
    (turn.cos(), turn.sin())
}

/// Product of two complex numbers.
fn times(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

/// Fall of each line-to-neutral voltage where the currents lag the voltages at the origin by an angle.
fn exact(ohms: (f64, f64), lag: f64, amps: [f64; 3]) -> [f64; 3] {
    // What an ampere drops in a conductor, turned by the lag.
    let each = times(ohms, (lag.cos(), -lag.sin()));
    let fall = [0, 1, 2].map(|line| {
        let (re, im) = times(each, phasor(line));
        (amps[line] * re, amps[line] * im)
    });
    let neutral = fall.iter().fold((0.0, 0.0), |n, f| (n.0 + f.0, n.1 + f.1));
    [0, 1, 2].map(|line| {
        let (re, im) = phasor(line);
        let left = |u: f64, f: f64, n: f64| U0 * u - f - n;
        U0 - left(re, fall[line].0, neutral.0).hypot(left(im, fall[line].1, neutral.1))
    })
}

/// The worst of all sets of single-line points in use, the three-line points at full current, at unity power
/// factor and at the one that drops most.
fn worst(ohms: (f64, f64), points: &[Point]) -> f64 {
    (0..1_u32 << points.len())
        .map(|used| {
            let mut amps = [0.0; 3];
            for (i, p) in points.iter().enumerate() {
                match p.line {
                    Some(l) if used >> i & 1 == 1 => amps[l] += p.amps,
                    Some(_) => {}
                    None => amps.iter_mut().for_each(|a| *a += p.amps),
                }
            }
            [0.0, ohms.1.atan2(ohms.0), 0.5]
                .into_iter()
                .flat_map(|lag| exact(ohms, lag, amps))
                .fold(0.0, f64::max)
        })
        .fold(0.0, f64::max)
}

fn points() -> impl Strategy<Value = Vec<Point>> {
    let one = (0..4_usize, 6..=32_u32).prop_map(|(line, amps)| Point {
        line: (line < 3).then_some(line),
        amps: f64::from(amps),
    });
    prop::collection::vec(one, 1..6)
}

/// Greatest resistance of IEC 60228 at 20 °C, of which there is 1.28 at 90 °C, and greatest reactance, ohm/km.
const SIZES: [(f64, f64, f64); 5] = [
    (10.0, 1.83, 0.0),
    (16.0, 1.15, 0.0),
    (25.0, 0.727, 0.085),
    (35.0, 0.524, 0.0837),
    (95.0, 0.193, 0.08),
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_set_of_points_in_use_drops_more_than_is_said(
        points in points(),
        size in prop::sample::select(&SIZES[..]),
        metres in 5..60_u32,
    ) {
        let (mm2, per_km, reactance) = size;
        let km = f64::from(metres) / 1000.0;
        let ohms = (per_km * 1.28 * km, reactance * km);
        let text = design(mm2, f64::from(metres), &points, "");
        let said = figure("iec", &text, "bays", "total-drop");
        let worst = worst(ohms, &points);
        // Turned by the neutral a voltage falls less than its part in phase, never more.
        let most = (points.iter().map(|p| p.amps).sum::<f64>() * ohms.0.hypot(ohms.1)).powi(2) / (2.0 * (U0 - said));
        prop_assert!(worst <= said + 1e-6, "{worst} V where {said} V are said\n{text}");
        prop_assert!(said <= worst + most + 1e-6, "{worst} V where {said} V are said\n{text}");
        // The tables hold reactance and are printed with two or three digits.
        let by_tables = figure("gb", &text, "bays", "total-drop");
        prop_assert!((by_tables / said - 1.0).abs() < 0.04, "{by_tables} V by the tables, {said} V");
    }
}

/// A power factor that is told: r cos + x sin, by the tables never more than without it.
#[test]
fn a_told_power_factor_counts_resistance_and_reactance() {
    let points = [Point {
        line: Some(0),
        amps: 32.0,
    }];
    for (size, per_km, x) in SIZES {
        let alone = design(size, 50.0, &points, "")
            .replace("lines: L1, L2, L3  neutral", "lines: L1  neutral");
        let alone = alone.replace(
            "fed-from: feed  phases: 3",
            "fed-from: feed  phases: 1  lines: L1",
        );
        for cos in [1.0_f64, 0.95, 0.8] {
            let told = alone.replace(
                "circuit feed {",
                &format!("circuit feed {{ cos-phi: {cos} "),
            );
            let sin = (1.0 - cos * cos).sqrt();
            let by_formula = 2.0 * 32.0 * 0.05 * (per_km * 1.28 * cos + x * sin);
            let said = figure("iec", &told, "feed", "voltage-drop");
            assert!(
                (said / by_formula - 1.0).abs() < 1e-9,
                "{said} {by_formula}"
            );
            let silent = figure("gb", &alone, "feed", "voltage-drop");
            let by_tables = figure("gb", &told, "feed", "voltage-drop");
            assert!(by_tables <= silent + 1e-9, "{by_tables} {silent}");
            assert!(by_tables >= 0.97 * by_formula, "{by_tables} {by_formula}");
        }
    }
}

/// Three lines alike: the familiar sum between lines.
#[test]
fn points_of_three_lines_alone_are_reckoned_between_lines() {
    let points = [Point {
        line: None,
        amps: 32.0,
    }];
    let text = design(10.0, 40.0, &points, "");
    let share = figure("gb", &text, "bays", "total-drop-share");
    // 4.0 mV/A/m of Table 4E4B.
    assert!(
        (share - 4.0e-3 * 32.0 * 40.0 / 400.0).abs() < 1e-5,
        "{share}"
    );
}

/// A car that charges from one line of a point of three lines loads the neutral as much as the line.
#[test]
fn a_car_on_one_line_of_a_point_doubles_the_drop() {
    let points = [Point {
        line: None,
        amps: 32.0,
    }];
    let alike = design(10.0, 40.0, &points, "");
    let one = alike.replace("outlets: 1", "outlets: 1  one-line-car: yes");
    let alike = figure("iec", &alike, "bays", "total-drop");
    let one = figure("iec", &one, "bays", "total-drop");
    assert!((one / alike - 2.0).abs() < 1e-9, "{alike} {one}");
}

/// A controller that can hold back a point of three lines for one on a single line takes away its evenness;
/// one that turns down points of three lines only does not.
#[test]
fn a_controller_over_unlike_points_leaves_nothing_to_rest_on() {
    let three = Point {
        line: None,
        amps: 16.0,
    };
    let one = Point {
        line: Some(0),
        amps: 16.0,
    };
    let hold = |members: &str| {
        format!(
            "load-limiter share {{ acts: fixed-cap  guards: feed  members: {members}  I-limit: 24 A  on-loss: stops  set-access: sealed  floor: pauses }}\n"
        )
    };
    let drop = |points: &[Point], more: &str| {
        figure(
            "iec",
            &design(16.0, 50.0, points, more),
            "bays",
            "total-drop",
        )
    };
    let ohms = 1.15 * 1.28 * 50.0 / 1000.0;
    let mixed = drop(&[three, one], &hold("p-0, p-1"));
    assert!((mixed - 2.0 * 24.0 * ohms).abs() < 0.01, "{mixed}");
    let alike = drop(&[three, three], &hold("p-0, p-1"));
    assert!((alike - 24.0 * ohms).abs() < 0.01, "{alike}");
    let free = drop(&[three, one], "");
    assert!((free - (32.0 + 16.0) * ohms).abs() < 0.01, "{free}");
}

/// Both ways to the middle of a ring lie in parallel: a quarter of the resistance from end to end.
#[test]
fn a_ring_is_reckoned_to_its_middle() {
    let ring = |ring: &str| {
        format!(
            "supply {{ earthing: TN-C-S  phases: 1  U0: 230 V  Ze: 0.3 ohm }}\n\
             board main {{ fed-from: supply\n circuit kitchen {{ status: existing  ring: {ring}  demand: 32 A\n\
             cables: twin-and-earth {{ size: 2.5 mm²  insulation: PVC  length: 60 m  method: C }} }} }}\n\
             no charge-point\n"
        )
    };
    let (whole, ring) = (ring("no"), ring("yes"));
    // 7.41 and 12.1 mohm/m of IEC 60228, 18 mV/A/m of Table 4D5.
    let r1r2 = figure("gb", &ring, "kitchen", "R1R2");
    assert!(
        (r1r2 - 60.0 * (7.41 + 12.1) / 1000.0 / 4.0).abs() < 1e-9,
        "{r1r2}"
    );
    let drop = figure("gb", &ring, "kitchen", "voltage-drop");
    assert!((drop - 18.0e-3 * 32.0 * 60.0 / 4.0).abs() < 1e-9, "{drop}");
    for fact in ["R1", "R2", "R1R2", "R1R2-hot", "voltage-drop"] {
        let (all, quarter) = (
            figure("gb", &whole, "kitchen", fact),
            figure("gb", &ring, "kitchen", fact),
        );
        assert!(
            (all / quarter - 4.0).abs() < 1e-9,
            "{fact}: {all} {quarter}"
        );
    }
}
