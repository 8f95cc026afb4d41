//! The joint verdict against a slow oracle: it evaluates points, one at a time, in exact rational
//! numbers, over sampled assignments of the leaves, and shares no code with the set evaluator.

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "programs built here refer only to what they hold"
)]

use amperule::expression::{
    Budget, Data, Decision, Flags, LeafId, LeafKind, LeafSource, Op, Program, Refiner, Reg, Val,
};
use amperule::quantity::TruthSet;
use num_rational::BigRational;
use num_traits::{FromPrimitive, Signed, Zero};
use proptest::prelude::*;

/// What one register holds for one assignment.
#[derive(Clone, Debug)]
enum Point {
    Number(BigRational),
    Truth(bool),
    Word(u32),
    /// Not computable, or so close to a limit that its slack matters.
    Lost,
}

fn exact(x: f64) -> BigRational {
    BigRational::from_f64(x).expect("a finite number")
}

/// Whether the slack of a comparison could matter; well beyond one part in 10⁹.
fn close(a: &BigRational, b: &BigRational) -> bool {
    let size = a.abs().max(b.abs());
    (a - b).abs() <= size * exact(1e-8) + exact(1e-10)
}

/// Evaluates every register for one assignment; nothing is shared with the engine.
fn oracle(program: &Program, root: Reg, values: &[Val]) -> Option<bool> {
    let mut all: Vec<Point> = Vec::new();
    for op in &program.ops {
        let at = |r: Reg| all[r.ix()].clone();
        let two = |a: Reg, b: Reg| match (at(a), at(b)) {
            (Point::Number(a), Point::Number(b)) => Some((a, b)),
            _ => None,
        };
        let number = |x: Option<BigRational>| x.map_or(Point::Lost, Point::Number);
        let truth = |x: Option<bool>| x.map_or(Point::Lost, Point::Truth);
        let point = match *op {
            Op::Leaf(LeafId(i)) => match program.leaves[i as usize].kind {
                LeafKind::Number => Point::Number(exact(values[i as usize].lo)),
                LeafKind::Truth => Point::Truth(values[i as usize].as_truth() == TruthSet::T),
                _ => Point::Word(values[i as usize].bits.trailing_zeros()),
            },
            // What is worked out from constants is one; no number is not the oracle's to judge.
            Op::Const(i) => match program.consts[i as usize] {
                c if c.is_number_point() && c.flags == Flags::NONE && c.lo.is_finite() => {
                    Point::Number(exact(c.lo))
                }
                _ => Point::Lost,
            },
            Op::Add(a, b) => number(two(a, b).map(|(a, b)| a + b)),
            Op::Sub(a, b) => number(two(a, b).map(|(a, b)| a - b)),
            Op::Mul(a, b) => number(two(a, b).map(|(a, b)| a * b)),
            Op::Div(a, b) => number(two(a, b).and_then(|(a, b)| (!b.is_zero()).then(|| a / b))),
            Op::Min(a, b) => number(two(a, b).map(|(a, b)| a.min(b))),
            Op::Max(a, b) => number(two(a, b).map(|(a, b)| a.max(b))),
            Op::Le(a, b, _) => truth(two(a, b).and_then(|(a, b)| (!close(&a, &b)).then(|| a <= b))),
            Op::Lt(a, b, _) => truth(two(a, b).and_then(|(a, b)| (!close(&a, &b)).then(|| a < b))),
            Op::Among(a, set) => match at(a) {
                Point::Word(w) => Point::Truth(program.consts[set as usize].bits >> w & 1 != 0),
                _ => Point::Lost,
            },
            Op::Not(a) => match at(a) {
                Point::Truth(t) => Point::Truth(!t),
                _ => Point::Lost,
            },
            Op::And(a, b) => match (at(a), at(b)) {
                (Point::Truth(false), _) | (_, Point::Truth(false)) => Point::Truth(false),
                (Point::Truth(_), Point::Truth(_)) => Point::Truth(true),
                _ => Point::Lost,
            },
            Op::Or(a, b) => match (at(a), at(b)) {
                (Point::Truth(true), _) | (_, Point::Truth(true)) => Point::Truth(true),
                (Point::Truth(_), Point::Truth(_)) => Point::Truth(false),
                _ => Point::Lost,
            },
            Op::If(c, a, b) => match at(c) {
                Point::Truth(true) => at(a),
                Point::Truth(false) => at(b),
                _ => Point::Lost,
            },
            Op::Pick(s, first, _) => match at(s) {
                Point::Word(w) => at(program.args[(first + w) as usize]),
                _ => Point::Lost,
            },
            _ => Point::Lost,
        };
        all.push(point);
    }
    match all[root.ix()] {
        Point::Truth(t) => Some(t),
        _ => None,
    }
}

/// A recipe for a program: leaves, then operations whose operands are picked by number.
#[derive(Clone, Debug)]
struct Recipe {
    numbers: Vec<(i32, i32)>,
    words: Vec<u8>,
    ops: Vec<(u8, u16, u16, u16)>,
}

fn recipe(discrete: bool) -> impl Strategy<Value = Recipe> {
    let widths = if discrete { 0..1_i32 } else { 0..40_i32 };
    (
        prop::collection::vec((-20..60_i32, widths), 1..4),
        prop::collection::vec(1..8_u8, 1..4),
        prop::collection::vec((0..14_u8, any::<u16>(), any::<u16>(), any::<u16>()), 3..18),
    )
        .prop_map(|(numbers, words, ops)| Recipe {
            numbers,
            words,
            ops,
        })
}

/// The program of a recipe, and its root: well typed by construction.
fn build(recipe: &Recipe) -> (Program, Data, Reg) {
    let data = Data::default();
    let mut p = Program::default();
    let (mut numbers, mut truths, mut words) = (Vec::new(), Vec::new(), Vec::new());
    for (lo, width) in &recipe.numbers {
        let (lo, hi) = (f64::from(*lo) / 4.0, f64::from(lo + width) / 4.0);
        let set = Val {
            hi,
            ..Val::number(lo)
        };
        let source = if width == &0 {
            LeafSource::Exact
        } else {
            LeafSource::Range
        };
        numbers.push(p.leaf(LeafKind::Number, set, set, (lo, hi), source).1);
    }
    for bits in &recipe.words {
        let set = Val::bits(u64::from(*bits));
        words.push(
            p.leaf(
                LeafKind::Choice,
                set,
                Val::bits(7),
                (0.0, 0.0),
                LeafSource::Range,
            )
            .1,
        );
    }
    numbers.push(p.constant(Val::number(2.5)));
    let floor = p.constant_index(Val::number(1e-12));
    let first = p.push(Op::Le(numbers[0], numbers[numbers.len() - 1], floor), &data);
    truths.push(first);
    for (kind, a, b, c) in &recipe.ops {
        let pick = |list: &[Reg], k: u16| list[k as usize % list.len()];
        let (x, y, z) = (pick(&numbers, *a), pick(&numbers, *b), pick(&numbers, *c));
        let (s, t, u) = (pick(&truths, *a), pick(&truths, *b), pick(&truths, *c));
        let w = pick(&words, *c);
        match kind {
            0 => numbers.push(p.push(Op::Add(x, y), &data)),
            1 => numbers.push(p.push(Op::Sub(x, y), &data)),
            2 => numbers.push(p.push(Op::Mul(x, y), &data)),
            3 => numbers.push(p.push(Op::Div(x, y), &data)),
            4 => numbers.push(p.push(Op::Min(x, y), &data)),
            5 => numbers.push(p.push(Op::Max(x, y), &data)),
            6 => numbers.push(p.push(Op::If(s, y, z), &data)),
            7 => {
                let list = p.list(&[x, y, z]);
                numbers.push(p.push(Op::Pick(w, list, 3), &data));
            }
            8 => truths.push(p.push(Op::Le(x, y, floor), &data)),
            9 => truths.push(p.push(Op::Lt(x, y, floor), &data)),
            10 => {
                let set = p.constant_index(Val::bits(u64::from(1 + a % 6)));
                truths.push(p.push(Op::Among(w, set), &data));
            }
            11 => truths.push(p.push(Op::And(s, t), &data)),
            12 => truths.push(p.push(Op::Or(s, t), &data)),
            _ => {
                let not = p.push(Op::Not(u), &data);
                truths.push(not);
                truths.push(p.push(Op::If(s, not, t), &data));
            }
        }
    }
    let last = numbers[numbers.len() - 1];
    let compared = p.push(Op::Le(last, numbers[0], floor), &data);
    let root = p.push(Op::Or(compared, truths[truths.len() - 1]), &data);
    (p, data, root)
}

fn decide(p: &Program, data: &Data, root: Reg, budget: u32) -> Decision {
    if p.val(root).as_truth() != TruthSet::U {
        return Decision {
            truth: p.val(root).as_truth(),
            flags: p.val(root).flags,
            exhausted: false,
            yes: None,
            no: None,
            boxes: 0,
        };
    }
    let mut refiner = Refiner::new(p, data);
    let cone = refiner.cone(root);
    refiner.decide(&cone, Budget(budget))
}

/// All discrete values; of each number its ends and some points inside, mixed by a counter.
fn samples(p: &Program, seed: u64) -> Vec<Vec<Val>> {
    let mut all: Vec<Vec<Val>> = vec![Vec::new()];
    for leaf in &p.leaves {
        let options: Vec<Val> = match leaf.kind {
            LeafKind::Number if leaf.set.lo < leaf.set.hi => {
                let inside = (seed % 15 + 1) as f64 / 16.0;
                let (lo, hi) = (leaf.set.lo, leaf.set.hi);
                vec![
                    Val::number(lo),
                    Val::number(hi),
                    Val::number(lo + (hi - lo) * inside),
                ]
            }
            LeafKind::Number => vec![Val::number(leaf.set.lo)],
            _ => (0..8)
                .filter(|b| leaf.set.bits >> b & 1 != 0)
                .map(|b| Val::bits(1 << b))
                .collect(),
        };
        all = all
            .into_iter()
            .flat_map(|v| {
                options.iter().map(move |o| {
                    let mut v = v.clone();
                    v.push(*o);
                    v
                })
            })
            .collect();
    }
    all
}

/// The same program with narrower leaves, its registers filled anew.
fn narrowed(p: &Program, data: &Data, values: &[Val]) -> Program {
    let mut q = p.clone();
    for (leaf, v) in q.leaves.iter_mut().zip(values) {
        leaf.set = *v;
    }
    for i in 0..q.ops.len() {
        q.vals[i] = amperule::expression::evaluate(q.ops[i], &q.vals, &q, data);
    }
    q
}

/// Whether a narrower set is decided alike. Where a divisor is narrowed to zero there is nothing to
/// compute any more, and that is said; the opposite truth never comes out.
fn stays(narrow: &Decision, whole: TruthSet) -> bool {
    narrow.truth == whole || narrow.truth == TruthSet::U && narrow.flags.any(Flags::NOT_COMPUTABLE)
}

#[test]
fn a_divisor_narrowed_to_zero_is_said_and_flips_nothing() {
    // 1.25 / (x − x): of any x set evaluation knows only that the quotient may be anything.
    let r = Recipe {
        numbers: vec![(5, 0), (2, 9)],
        words: vec![3],
        ops: vec![
            (1, 14581, 15088, 0),
            (0, 0, 0, 0),
            (3, 0, 21558, 0),
            (0, 0, 0, 0),
            (4, 2763, 4035, 0),
            (0, 0, 0, 0),
            (8, 13271, 0, 0),
            (1, 45484, 1394, 0),
        ],
    };
    let (p, data, root) = build(&r);
    let whole = decide(&p, &data, root, 256).truth;
    assert_eq!(whole, TruthSet::T);
    for some in samples(&p, 0) {
        let narrow = decide(&narrowed(&p, &data, &some), &data, root, 256);
        assert!(stays(&narrow, whole));
        assert_eq!(narrow.truth, TruthSet::U);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn a_decided_verdict_contradicts_no_point(r in recipe(false), seed in any::<u64>()) {
        let (p, data, root) = build(&r);
        let d = decide(&p, &data, root, 256);
        for v in samples(&p, seed) {
            if let Some(truth) = oracle(&p, root, &v) {
                let wrong = if truth { TruthSet::F } else { TruthSet::T };
                prop_assert_ne!(d.truth, wrong, "a point says {} at {:?}", truth, v);
            }
        }
    }

    #[test]
    fn open_is_exactly_points_of_both_kinds(r in recipe(true)) {
        let (p, data, root) = build(&r);
        let d = decide(&p, &data, root, 100_000);
        let seen: Vec<Option<bool>> = samples(&p, 0).iter().map(|v| oracle(&p, root, v)).collect();
        // Where some point is lost to a division or to the slack, the oracle has no say.
        if seen.iter().all(Option::is_some) {
            let wanted = TruthSet::new(seen.contains(&Some(true)), seen.contains(&Some(false)));
            prop_assert_eq!(d.truth, wanted);
        }
    }

    #[test]
    fn witnesses_replay(r in recipe(false)) {
        let (p, data, root) = build(&r);
        let d = decide(&p, &data, root, 256);
        for (witness, wanted) in [(&d.yes, true), (&d.no, false)] {
            let Some(w) = witness else { continue };
            // Leaves without a say keep any value.
            let mut values: Vec<Val> = p.leaves.iter().map(|l| match l.kind {
                LeafKind::Number => Val::number(l.set.lo),
                _ => Val::bits(1 << l.set.bits.trailing_zeros()),
            }).collect();
            for (id, v) in &w.0 {
                let set = p.leaves[id.0 as usize].set;
                prop_assert!(set.lo <= v.lo && v.hi <= set.hi && v.bits & !set.bits == 0, "inside its set");
                values[id.0 as usize] = *v;
            }
            if let Some(truth) = oracle(&p, root, &values) {
                prop_assert_eq!(truth, wanted);
            }
        }
    }

    #[test]
    fn refining_never_flips(r in recipe(false), seed in any::<u64>()) {
        let (p, data, root) = build(&r);
        let whole = decide(&p, &data, root, 256).truth;
        if whole != TruthSet::U {
            let all = samples(&p, seed);
            let some = &all[seed as usize % all.len()];
            for i in 0..p.leaves.len() {
                let mut values: Vec<Val> = p.leaves.iter().map(|l| l.set).collect();
                values[i] = some[i];
                let q = narrowed(&p, &data, &values);
                prop_assert!(stays(&decide(&q, &data, root, 256), whole));
            }
            let q = narrowed(&p, &data, some);
            prop_assert!(stays(&decide(&q, &data, root, 256), whole));
        }
    }

    #[test]
    fn no_register_is_nan_and_no_truth_is_empty(r in recipe(false)) {
        let (p, _, root) = build(&r);
        for (op, v) in p.ops.iter().zip(&p.vals) {
            prop_assert!(!v.lo.is_nan() && !v.hi.is_nan(), "{:?}", op);
            if matches!(op, Op::Le(..) | Op::Lt(..) | Op::Among(..) | Op::Not(_) | Op::And(..) | Op::Or(..)) {
                prop_assert!(v.bits & 3 != 0, "{:?}", op);
            }
        }
        prop_assert!(p.val(root).bits & 3 != 0);
    }
}
