//! Verdicts that turn on which way a calculation moves: each operation beside a straight line, over
//! ranges of one value that stands on both sides. What is decided for a range must be so at points
//! all over it.

use amperule::expression::{Data, Flags, LeafKind, LeafSource, Op, Program, Reg, Val};
use amperule::quantity::{Rounding, TruthSet};

use super::{decide, narrowed};

/// An operation on the value, with what else it needs.
type Curve = (&'static str, fn(&mut Program, &Data, Reg) -> Reg);

fn number(p: &mut Program, x: f64) -> Reg {
    p.constant(Val::number(x))
}

/// The value and a number, put together.
fn with(p: &mut Program, d: &Data, x: Reg, k: f64, op: fn(Reg, Reg) -> Op) -> Reg {
    let k = number(p, k);
    p.push(op(x, k), d)
}

/// The value at one place among the arguments of a function.
fn among(p: &mut Program, d: &Data, x: Reg, at: usize, others: &[f64], op: fn(u32) -> Op) -> Reg {
    let mut all: Vec<Reg> = others.iter().map(|o| number(p, *o)).collect();
    all[at] = x;
    let first = p.list(&all);
    p.push(op(first), d)
}

/// Operations with a slope of their own.
const CURVES: &[Curve] = &[
    ("x + 3", |p, d, x| with(p, d, x, 3.0, Op::Add)),
    ("3 - x", |p, d, x| with(p, d, x, 3.0, |x, k| Op::Sub(k, x))),
    ("-x", |p, d, x| p.push(Op::Neg(x), d)),
    ("x * x", |p, d, x| p.push(Op::Mul(x, x), d)),
    ("x * -1.5", |p, d, x| with(p, d, x, -1.5, Op::Mul)),
    ("x / 2", |p, d, x| with(p, d, x, 2.0, Op::Div)),
    ("3 / x", |p, d, x| with(p, d, x, 3.0, |x, k| Op::Div(k, x))),
    ("x / (x + 9)", |p, d, x| {
        let below = with(p, d, x, 9.0, Op::Add);
        p.push(Op::Div(x, below), d)
    }),
    ("x^2", |p, d, x| p.push(Op::Power(x, 2), d)),
    ("x^3", |p, d, x| p.push(Op::Power(x, 3), d)),
    ("x^-1", |p, d, x| p.push(Op::Power(x, -1), d)),
    ("√x", |p, d, x| p.push(Op::Sqrt(x), d)),
    ("ln x", |p, d, x| p.push(Op::Ln(x), d)),
    ("e^x", |p, d, x| p.push(Op::Exp(x), d)),
    ("sin x", |p, d, x| p.push(Op::Sin(x), d)),
    ("cos x", |p, d, x| p.push(Op::Cos(x), d)),
    ("acos (x / 9)", |p, d, x| {
        let part = with(p, d, x, 9.0, Op::Div);
        p.push(Op::Acos(part), d)
    }),
    ("|x|", |p, d, x| p.push(Op::Abs(x), d)),
    ("min(x, 1)", |p, d, x| with(p, d, x, 1.0, Op::Min)),
    ("max(1, x)", |p, d, x| {
        with(p, d, x, 1.0, |x, k| Op::Max(k, x))
    }),
    ("round up to 0.5", |p, d, x| {
        let step = p.constant_index(Val::number(0.5));
        p.push(Op::Round(x, step, Rounding::Up), d)
    }),
    ("if x <= 1 then 4 else x", |p, d, x| {
        let (below, four) = (at_most(p, d, x, 1.0), number(p, 4.0));
        p.push(Op::If(below, four, x), d)
    }),
    ("the two greatest of x, 1, 3 - x", |p, d, x| {
        let one = number(p, 1.0);
        let other = with(p, d, x, 3.0, |x, k| Op::Sub(k, x));
        let (first, count) = p.counted(&[x, one, other]);
        p.push(Op::LargestTwo(first, count), d)
    }),
    ("neutral current", |p, d, x| {
        among(p, d, x, 0, &[0.0, 1.0, 2.5], Op::NeutralCurrent)
    }),
    ("open PEN by a load", |p, d, x| {
        among(
            p,
            d,
            x,
            2,
            &[230.0, 1.1, 0.0, 3.0, 2.0, 40.0, 5.0],
            Op::OpenPen,
        )
    }),
    ("open PEN by the electrode", |p, d, x| {
        among(
            p,
            d,
            x,
            5,
            &[230.0, 1.1, 1.0, 3.0, 2.0, 0.0, 5.0],
            Op::OpenPen,
        )
    }),
    ("open PEN by the star point", |p, d, x| {
        among(
            p,
            d,
            x,
            6,
            &[230.0, 1.1, 1.0, 3.0, 2.0, 40.0, 0.0],
            Op::OpenPen,
        )
    }),
    ("behind a source by its impedance", |p, d, x| {
        among(p, d, x, 0, &[0.0, 0.8, 0.5, 0.3], Op::BehindSource)
    }),
    ("behind a source by its reactance", |p, d, x| {
        among(p, d, x, 1, &[3.0, 0.0, 0.5, 0.3], Op::BehindSource)
    }),
    ("behind a source by the path", |p, d, x| {
        among(p, d, x, 2, &[3.0, 1.0, 0.0, 0.3], Op::BehindSource)
    }),
];

/// A program of one value that lies between two ends.
fn ranging(lo: f64, hi: f64) -> (Program, Data, Reg) {
    let (d, mut p) = (Data::default(), Program::default());
    let set = Val {
        lo,
        hi,
        ..Val::number(lo)
    };
    let (_, x) = p.leaf(LeafKind::Number, set, set, (lo, hi), LeafSource::Range);
    (p, d, x)
}

/// Whether a calculation comes to no more than a number.
fn at_most(p: &mut Program, d: &Data, y: Reg, most: f64) -> Reg {
    let most = number(p, most);
    below(p, d, y, most)
}

fn below(p: &mut Program, d: &Data, y: Reg, most: Reg) -> Reg {
    let floor = p.constant_index(Val::number(1e-15));
    p.push(Op::Le(y, most, floor), d)
}

const RANGES: [(f64, f64); 5] = [
    (0.5, 2.0),
    (1.0, 4.0),
    (0.0, 3.0),
    (-3.0, -1.0),
    (-2.0, 2.5),
];
const LINES: [f64; 6] = [-2.0, -0.4, -0.05, 0.3, 1.0, 3.0];
const STEPS: u32 = 24;
const POINTS: u32 = 40;

#[test]
fn what_moves_either_way_is_decided_as_its_points_are() {
    let mut decided = 0;
    for (name, curve) in CURVES {
        let mut mine = 0;
        for (lo, hi) in RANGES {
            for slope in LINES {
                for step in 0..=STEPS {
                    let (mut p, d, x) = ranging(lo, hi);
                    let y = curve(&mut p, &d, x);
                    let line = with(&mut p, &d, x, slope, Op::Mul);
                    // Limits all over what the two sides may differ by.
                    let (a, b) = (p.val(y), p.val(line));
                    let least = (a.lo - b.hi).max(-300.0);
                    let most = (a.hi - b.lo).min(300.0);
                    let limit = least + (most - least) * f64::from(step) / f64::from(STEPS);
                    let line = with(&mut p, &d, line, limit, Op::Add);
                    let root = below(&mut p, &d, y, line);
                    let whole = decide(&p, &d, root, 64).truth;
                    if whole == TruthSet::U {
                        continue;
                    }
                    mine += 1;
                    for i in 0..=POINTS {
                        let at = lo + (hi - lo) * f64::from(i) / f64::from(POINTS);
                        let truth = narrowed(&p, &d, &[Val::number(at)]).val(root).as_truth();
                        assert!(
                            truth == whole || truth == TruthSet::U,
                            "{name} <= {slope} x + {limit}: {whole:?} for {lo} to {hi}, {truth:?} at {at}"
                        );
                    }
                }
            }
        }
        assert!(mine > 40, "{name}: only {mine} decided");
        decided += mine;
    }
    assert!(decided > 5000, "{decided}");
}

/// A function that is defined on part of the numbers has no value for the others: a range that leaves
/// that part says so, however surely a condition on what is left would hold.
#[test]
fn a_range_beyond_what_a_function_takes_is_said() {
    let root = |p: &mut Program, d: &Data, x| p.push(Op::Sqrt(x), d);
    let log = |p: &mut Program, d: &Data, x| p.push(Op::Ln(x), d);
    let angle = |p: &mut Program, d: &Data, x| p.push(Op::Acos(x), d);
    let all: [(Curve, [(f64, f64); 3]); 3] = [
        (("root", root), [(0.0, 4.0), (-1.0, 4.0), (-4.0, -1.0)]),
        (("log", log), [(0.5, 4.0), (-1.0, 4.0), (-4.0, -1.0)]),
        (("angle", angle), [(-1.0, 1.0), (-1.5, 0.5), (0.5, 1.5)]),
    ];
    for ((name, curve), [inside, partly, also]) in all {
        for ((lo, hi), outside) in [(inside, false), (partly, true), (also, true)] {
            let (mut p, d, x) = ranging(lo, hi);
            let y = curve(&mut p, &d, x);
            let root = at_most(&mut p, &d, y, 100.0);
            let said = p.val(root).flags.any(Flags::NOT_COMPUTABLE);
            assert_eq!(said, outside, "{name} of {lo} to {hi}");
            let met = decide(&p, &d, root, 64).truth == TruthSet::T;
            assert_eq!(met, !outside, "{name} of {lo} to {hi}");
        }
    }
}

/// Some of the values are none of the model: what holds for the others is not said of all. An
/// electrode of open form, for one of which there was nothing to compute with, once met a rule so.
#[test]
fn what_is_left_out_of_a_set_decides_nothing() {
    let touch = |lo: f64, hi: f64, at: usize| {
        let (mut p, d, x) = ranging(lo, hi);
        let others = [230.0, 1.1, 1.0, 0.0, 0.0, 0.5, 0.1];
        let touch = among(&mut p, &d, x, at, &others, Op::OpenPen);
        let root = at_most(&mut p, &d, touch, 70.0);
        let done = decide(&p, &d, root, 64);
        (done.truth, done.flags.any(Flags::NOT_COMPUTABLE))
    };
    // A load, the electrode, the star point.
    for at in [2, 5, 6] {
        assert_eq!(touch(0.5, 2.0, at), (TruthSet::T, false), "{at}");
        assert_eq!(touch(-1.0, 2.0, at), (TruthSet::U, true), "{at}");
        assert_eq!(touch(-1.0, -0.5, at), (TruthSet::U, true), "{at}");
    }
}
