//! One point at a time: what each operation gives for one value of every leaf. Nothing is shared
//! with the set evaluator; there is no arm for "the others", so a new operation has to be told here.

use amperule::expression::{Cell, Flags, LeafId, LeafKind, Op, Program, Reg, RowKey, Val};
use amperule::quantity::{Rounding, TruthSet};
use num_traits::{Signed, Zero};

use super::build::{Rows, SERIES, World};
use super::exact::{Exact, exact};

/// What one register holds for one assignment.
#[derive(Clone, Debug, PartialEq)]
pub enum Point {
    Number(Exact),
    /// There is no number.
    Absent,
    Truth(bool),
    /// A word by its place; [`NO_WORD`] if there is none.
    Word(u32),
    /// The words that are in a set.
    Set(u64),
    /// Not computable, or so close to a limit that its slack matters.
    Lost,
}

/// The place of "no word".
pub const NO_WORD: u32 = 63;

use Point::{Absent, Lost, Number, Set, Truth, Word};

/// Declares what an operation is called, and all that there are.
macro_rules! names {
    ($($name:ident)*) => {
        /// All operations.
        pub const OPERATIONS: &[&str] = &[$(stringify!($name)),*];

        /// What an operation is called.
        pub const fn name(op: &Op) -> &'static str {
            match op {
                $(Op::$name(..) => stringify!($name),)*
            }
        }
    };
}

names! {
    Leaf Const Add Sub Mul Div Neg Power Sqrt
    Ln Exp Sin Cos Acos Abs Min Max Round
    Le Lt Equal Same Among Has MemberOf Present WordPresent
    Not And Or If Pick Otherwise Member NextUp NextDown
    Lookup LargestTwo NeutralCurrent OpenPen BehindSource
}

/// All registers for one assignment.
pub fn points(world: &World, values: &[Val]) -> Vec<Point> {
    let mut all: Vec<Point> = Vec::new();
    for op in &world.program.ops {
        let point = one(world, *op, values, &all);
        all.push(point);
    }
    all
}

fn number(x: Option<Exact>) -> Point {
    x.map_or(Lost, Number)
}

fn truth(x: Option<bool>) -> Point {
    x.map_or(Lost, Truth)
}

fn one(world: &World, op: Op, values: &[Val], all: &[Point]) -> Point {
    let program = &world.program;
    let at = |r: Reg| all[r.ix()].clone();
    // Of one number; of none there is none.
    let of = |a: Reg, f: &dyn Fn(&Exact) -> Option<Exact>| match at(a) {
        Number(a) => number(f(&a)),
        Absent => Absent,
        _ => Lost,
    };
    let of_two = |a: Reg, b: Reg, f: &dyn Fn(&Exact, &Exact) -> Option<Exact>| match (at(a), at(b))
    {
        (Number(a), Number(b)) => number(f(&a, &b)),
        (Absent, Absent | Number(_)) | (Number(_), Absent) => Absent,
        _ => Lost,
    };
    // Only where no slack matters, and nothing is compared with what is not there.
    let compared = |a: Reg, b: Reg| match (at(a), at(b)) {
        (Number(a), Number(b)) if !a.is_close(&b) => Some(a.hi < b.lo),
        _ => None,
    };
    let list = |first: u32, count: u32| {
        let regs = &program.args[first as usize..(first + count) as usize];
        regs.iter().map(|r| at(*r)).collect::<Vec<Point>>()
    };
    let numbers = |first: u32, count: u32| {
        let each = list(first, count).into_iter().map(|p| match p {
            Number(x) => Some(x),
            _ => None,
        });
        each.collect::<Option<Vec<Exact>>>()
    };
    match op {
        Op::Leaf(LeafId(i)) => leaf(program.leaves[i as usize].kind, values[i as usize]),
        // What is worked out from constants is one; no number is not the oracle's to judge.
        Op::Const(i) => match program.consts[i as usize] {
            c if c.is_number_point() && c.flags == Flags::NONE && c.lo.is_finite() => {
                Number(Exact::of(c.lo))
            }
            _ => Lost,
        },
        Op::Add(a, b) => of_two(a, b, &|a, b| Some(a.add(b))),
        Op::Sub(a, b) => of_two(a, b, &|a, b| Some(a.sub(b))),
        Op::Mul(a, b) => of_two(a, b, &|a, b| Some(a.mul(b))),
        Op::Div(a, b) => of_two(a, b, &Exact::div),
        Op::Min(a, b) => of_two(a, b, &|a, b| Some(a.min(b))),
        Op::Max(a, b) => of_two(a, b, &|a, b| Some(a.max(b))),
        Op::Neg(a) => of(a, &|a| Some(a.neg())),
        Op::Abs(a) => of(a, &|a| Some(a.abs())),
        Op::Power(a, n) => of(a, &|a| a.power(n)),
        Op::Sqrt(a) => of(a, &Exact::sqrt),
        Op::Ln(a) => of(a, &Exact::ln),
        Op::Exp(a) => of(a, &Exact::exp),
        Op::Sin(a) => of(a, &Exact::sin),
        Op::Cos(a) => of(a, &Exact::cos),
        Op::Acos(a) => of(a, &Exact::acos),
        Op::Round(a, step, mode) => {
            let step = program.consts[step as usize].lo;
            let up = match mode {
                Rounding::Nearest => None,
                Rounding::Up => Some(true),
                Rounding::Down => Some(false),
            };
            of(a, &|a| a.round(step, up))
        }
        Op::Le(a, b, _) | Op::Lt(a, b, _) => truth(compared(a, b)),
        Op::Equal(a, b, _) => match (at(a), at(b)) {
            // Rounding never takes the slack away from what is one number.
            (Number(a), Number(b)) if a == b && a.lo == a.hi => Truth(true),
            _ => truth(compared(a, b).map(|_| false)),
        },
        Op::Same(a, b) => match (at(a), at(b)) {
            (Word(a), Word(b)) => Truth(a == b),
            (Truth(a), Truth(b)) => Truth(a == b),
            _ => Lost,
        },
        Op::Among(a, set) => match at(a) {
            Word(w) => Truth(program.consts[set as usize].bits >> w & 1 != 0),
            _ => Lost,
        },
        Op::Has(a, w) => match at(a) {
            Set(s) => Truth(s >> w & 1 != 0),
            _ => Lost,
        },
        Op::MemberOf(a, b) => match (at(a), at(b)) {
            (Word(w), Set(s)) => Truth(s >> w & 1 != 0),
            _ => Lost,
        },
        Op::Present(a) => match at(a) {
            Number(_) => Truth(true),
            Absent => Truth(false),
            _ => Lost,
        },
        Op::WordPresent(a) => match at(a) {
            Word(w) => Truth(w != NO_WORD),
            _ => Lost,
        },
        Op::Not(a) => match at(a) {
            Truth(t) => Truth(!t),
            _ => Lost,
        },
        Op::And(a, b) => match (at(a), at(b)) {
            (Truth(false), _) | (_, Truth(false)) => Truth(false),
            (Truth(_), Truth(_)) => Truth(true),
            _ => Lost,
        },
        Op::Or(a, b) => match (at(a), at(b)) {
            (Truth(true), _) | (_, Truth(true)) => Truth(true),
            (Truth(_), Truth(_)) => Truth(false),
            _ => Lost,
        },
        Op::If(c, a, b) => match at(c) {
            Truth(true) => at(a),
            Truth(false) => at(b),
            _ => Lost,
        },
        Op::Pick(s, first, count) => match at(s) {
            Word(w) if w < count => at(program.args[(first + w) as usize]),
            _ => Lost,
        },
        Op::Otherwise(a, b) => match at(a) {
            Absent => at(b),
            other => other,
        },
        Op::Member(s, _) => match at(s) {
            Word(NO_WORD) => Absent,
            Word(w) => Number(Exact::of(SERIES[w as usize])),
            _ => Lost,
        },
        Op::NextUp(a, _) => of(a, &|a| next(a, true)),
        Op::NextDown(a, _) => of(a, &|a| next(a, false)),
        Op::Lookup(table, first, count) => {
            looked_up(&world.rows[table.0 as usize], &list(first, count))
        }
        Op::LargestTwo(first, count) => number(numbers(first, count).and_then(largest_two)),
        Op::NeutralCurrent(first) => number(numbers(first, 3).and_then(|i| neutral(&i))),
        Op::OpenPen(first) => number(numbers(first, 7).and_then(|i| open_pen(&i))),
        Op::BehindSource(first) => number(numbers(first, 4).and_then(|i| behind_source(&i))),
    }
}

fn leaf(kind: LeafKind, val: Val) -> Point {
    match kind {
        LeafKind::Number if val.lo > val.hi => Absent,
        LeafKind::Number => Number(Exact::of(val.lo)),
        LeafKind::Truth => Truth(val.as_truth() == TruthSet::T),
        LeafKind::Choice => Word(val.bits.trailing_zeros()),
        LeafKind::Members(_) => Set(val.bits & 0xffff_ffff),
    }
}

/// The next member of the series; nothing beyond it, or next to a member.
fn next(x: &Exact, up: bool) -> Option<Exact> {
    let mut members: Vec<Exact> = SERIES.iter().map(|m| Exact::of(*m)).collect();
    if let Some(m) = members.iter().find(|m| m.is_close(x)) {
        return (m == x).then(|| m.clone());
    }
    members.retain(|m| if up { m.lo > x.hi } else { m.hi < x.lo });
    if up {
        members.first().cloned()
    } else {
        members.last().cloned()
    }
}

/// The figure of the one row, or of the two around a number.
fn looked_up(rows: &Rows, keys: &[Point]) -> Point {
    let (mut left, mut keys) = (rows.rows.clone(), keys.iter());
    if rows.words {
        let Some(Word(w)) = keys.next() else {
            return Lost;
        };
        let own = RowKey::Word(*w as u8);
        let named = left.iter().any(|(k, _)| k[0] == own);
        left.retain(|(k, _)| {
            if named {
                k[0] == own
            } else {
                k[0] == RowKey::Any
            }
        });
    }
    let Some(Number(x)) = keys.next() else {
        return Lost;
    };
    let mut found: Vec<(Exact, Cell)> = Vec::new();
    for (key, cell) in left {
        if let Some(RowKey::Number(k)) = key.last() {
            found.push((Exact::of(*k), cell));
        }
    }
    found.sort_by(|a, b| a.0.lo.cmp(&b.0.lo));
    if let Some((row, cell)) = found.iter().find(|(row, _)| row.is_close(x)) {
        return if row == x { figure(*cell) } else { Lost };
    }
    let above = found.iter().position(|(row, _)| row.lo > x.hi);
    match (above, rows.linear) {
        // The row that is next, and beyond the last one that one.
        (Some(i), false) => figure(found[i].1),
        (None, false) => figure(found[found.len() - 1].1),
        (Some(i), true) if i > 0 => {
            let ((x0, a), (x1, b)) = (&found[i - 1], &found[i]);
            match (figure(*a), figure(*b)) {
                (Number(a), Number(b)) => {
                    let share = x.sub(x0).div(&x1.sub(x0));
                    number(share.map(|s| a.add(&b.sub(&a).mul(&s))))
                }
                _ => Lost,
            }
        }
        _ => Lost,
    }
}

fn figure(cell: Cell) -> Point {
    match cell {
        Cell::Value(x) => Number(Exact::of(x)),
        Cell::None => Absent,
        Cell::Gap => Lost,
    }
}

/// What is asked only of what is not below nought.
fn magnitudes(all: &[Exact]) -> Option<()> {
    all.iter().all(|x| !x.lo.is_negative()).then_some(())
}

fn largest_two(mut all: Vec<Exact>) -> Option<Exact> {
    magnitudes(&all)?;
    all.sort_by(|a, b| b.lo.cmp(&a.lo));
    let nothing = Exact::of(0.0);
    Some(
        all.first()
            .unwrap_or(&nothing)
            .add(all.get(1).unwrap_or(&nothing)),
    )
}

/// The phasors' real and imaginary parts, squared and added.
fn neutral(i: &[Exact]) -> Option<Exact> {
    let half = Exact::point(exact(0.5));
    let real = i[0].sub(&i[1].add(&i[2]).mul(&half));
    let sine = Exact::of(3.0).sqrt()?.mul(&half);
    let imaginary = i[2].sub(&i[1]).mul(&sine);
    let square = real.mul(&real).add(&imaginary.mul(&imaginary));
    square.max(&Exact::of(0.0)).sqrt()
}

/// The voltage of the node where three loads and two electrodes in series meet, of which the part
/// over the first is touched.
fn open_pen(all: &[Exact]) -> Option<Exact> {
    magnitudes(all)?;
    let [u0, c, i1, i2, i3, ra, rb] = all else {
        return None;
    };
    let ground = ra.add(rb);
    if ra.hi.is_zero() {
        return u0.lo.is_positive().then(|| Exact::of(0.0));
    }
    let into = neutral(&[i1.clone(), i2.clone(), i3.clone()])?;
    let loads = i1.add(i2).add(i3).div(u0)?;
    let node = into.div(&loads.add(&Exact::of(1.0).div(&ground)?))?;
    Some(c.mul(&node).mul(&ra.div(&ground)?))
}

fn behind_source(all: &[Exact]) -> Option<Exact> {
    magnitudes(all)?;
    let [z, x, r, q] = all else {
        return None;
    };
    let x = x.min(z);
    let square = z.mul(z).sub(&x.mul(&x)).max(&Exact::of(0.0));
    let (real, imaginary) = (square.sqrt()?.add(r), x.add(q));
    real.mul(&real).add(&imaginary.mul(&imaginary)).sqrt()
}

/// The registers that had a part in what the root holds.
pub fn had_a_say(program: &Program, all: &[Point], root: Reg) -> Vec<Reg> {
    let is = |r: Reg, t: bool| all[r.ix()] == Truth(t);
    let (mut seen, mut stack) = (vec![false; all.len()], vec![root]);
    while let Some(r) = stack.pop() {
        if std::mem::replace(&mut seen[r.ix()], true) {
            continue;
        }
        match program.ops[r.ix()] {
            Op::And(a, b) | Op::Or(a, b) => {
                // One that decides is enough.
                let deciding = matches!(program.ops[r.ix()], Op::Or(..));
                match [a, b].into_iter().find(|o| is(*o, deciding)) {
                    Some(one) => stack.push(one),
                    None => stack.extend([a, b]),
                }
            }
            Op::If(c, a, b) => stack.extend([c, if is(c, true) { a } else { b }]),
            Op::Pick(s, first, _) => {
                stack.push(s);
                if let Word(w) = all[s.ix()] {
                    stack.push(program.args[(first + w) as usize]);
                }
            }
            Op::Otherwise(a, b) => {
                stack.push(a);
                if all[a.ix()] == Absent {
                    stack.push(b);
                }
            }
            op => op.operands(&program.args, |o| stack.push(o)),
        }
    }
    (0..)
        .map(Reg)
        .zip(seen)
        .filter(|(_, s)| *s)
        .map(|(r, _)| r)
        .collect()
}
