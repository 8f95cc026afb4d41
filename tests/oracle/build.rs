//! Recipes for programs: leaves, then operations whose operands are picked by number.

use amperule::expression::{
    Between, Beyond, Cell, Data, Key, KeyType, LeafKind, LeafSource, Op, Presence, Program, Reg,
    Row, RowKey, SetWords, Table, TableId, Val,
};
use amperule::quantity::{Dim, Rounding};
use amperule::vocabulary::{SeriesId, WordSet};
use proptest::prelude::*;

/// The members of the one series.
pub const SERIES: [f64; 6] = [1.0, 1.5, 2.5, 4.0, 6.0, 10.0];

/// A table as the oracle reads it.
pub struct Rows {
    pub rows: Vec<Row>,
    /// Its first key is a word.
    pub words: bool,
    /// Between two rows lies a line; else what is between has the next larger one, and beyond the
    /// last that.
    pub linear: bool,
}

/// A program with what it looks up.
pub struct World {
    pub program: Program,
    pub data: Data,
    pub rows: Vec<Rows>,
    pub root: Reg,
}

/// What a program is made of.
#[derive(Clone, Debug)]
pub struct Recipe {
    /// In quarters: the lowest value, how far it goes, and whether there may be none.
    pub numbers: Vec<(i32, i32, bool)>,
    /// Bits of three words, and that there may be none.
    pub words: Vec<u8>,
    /// Bits of three words that may be in the set, and of those that may be out.
    pub set: (u8, u8),
    pub ops: Vec<(u8, u16, u16, u16)>,
}

/// How many kinds of operations [`build`] knows.
const KINDS: u8 = 38;

pub fn recipe(discrete: bool) -> impl Strategy<Value = Recipe> {
    let widths = if discrete { 0..1_i32 } else { 0..40_i32 };
    let leaf = (-20..60_i32, widths, prop::bool::weighted(0.2));
    let op = (0..KINDS, any::<u16>(), any::<u16>(), any::<u16>());
    (
        prop::collection::vec(leaf, 1..4),
        prop::collection::vec(1..16_u8, 1..3),
        (0..8_u8, 0..8_u8),
        prop::collection::vec(op, 3..18),
    )
        .prop_map(|(numbers, words, set, ops)| Recipe {
            numbers,
            words,
            set,
            ops,
        })
}

fn tables() -> Vec<Rows> {
    let value = |keys: &[RowKey], x: f64| (keys.to_vec(), Cell::Value(x));
    let line = [(-5.0, 4.0), (0.0, 1.0), (4.0, 9.0), (10.0, -3.0)];
    let line = line.map(|(k, x)| value(&[RowKey::Number(k)], x));
    let word = |w: u8, k: f64| [RowKey::Word(w), RowKey::Number(k)];
    let any = |k: f64| [RowKey::Any, RowKey::Number(k)];
    let steps = vec![
        value(&word(0, 2.0), 5.0),
        value(&word(0, 6.0), 7.0),
        (word(1, 3.0).to_vec(), Cell::None),
        value(&word(1, 8.0), 2.0),
        value(&any(5.0), 1.0),
        (any(9.0).to_vec(), Cell::Gap),
    ];
    let rows = |rows, words, linear| Rows {
        rows,
        words,
        linear,
    };
    vec![rows(line.to_vec(), false, true), rows(steps, true, false)]
}

fn table(rows: &Rows) -> Table {
    let key = |ty| Key {
        name: "key".to_owned(),
        ty,
    };
    let words = ["a", "b", "c"].map(str::to_owned).to_vec();
    let number = if rows.linear {
        KeyType::Number(Dim::NONE, Between::Linear, Beyond::Nothing)
    } else {
        KeyType::Number(Dim::NONE, Between::NextLarger, Beyond::Hold)
    };
    let mut keys = vec![key(number)];
    if rows.words {
        keys.insert(0, key(KeyType::Word(words.into())));
    }
    let text = String::new;
    Table::new(text(), text(), text(), keys, Dim::NONE, &rows.rows).expect("no row twice")
}

/// The registers of each type so far.
struct Making {
    p: Program,
    data: Data,
    numbers: Vec<Reg>,
    /// Those that may not be there.
    optional: Vec<Reg>,
    truths: Vec<Reg>,
    words: Vec<Reg>,
    set: Reg,
    floor: u32,
}

impl Making {
    fn leaf(p: &mut Program, kind: LeafKind, set: Val, domain: Val) -> Reg {
        let source = LeafSource::Range;
        p.leaf(kind, set, domain, (set.lo, set.hi), source).1
    }

    fn push(&mut self, op: Op) -> Reg {
        self.p.push(op, &self.data)
    }

    fn number(&mut self, op: Op) {
        let reg = self.push(op);
        self.numbers.push(reg);
    }

    fn truth(&mut self, op: Op) {
        let reg = self.push(op);
        self.truths.push(reg);
    }

    /// A number that is not below nought.
    fn size(&mut self, x: Reg) -> Reg {
        self.push(Op::Abs(x))
    }

    fn one(&mut self, (kind, a, b, c): (u8, u16, u16, u16)) {
        let pick = |list: &[Reg], k: u16| list[k as usize % list.len()];
        let (x, y, z) = (
            pick(&self.numbers, a),
            pick(&self.numbers, b),
            pick(&self.numbers, c),
        );
        let (s, t, u) = (
            pick(&self.truths, a),
            pick(&self.truths, b),
            pick(&self.truths, c),
        );
        let (w, v) = (pick(&self.words, c), pick(&self.words, a));
        let series = SeriesId(0);
        let floor = self.floor;
        match kind {
            0 => self.number(Op::Add(x, y)),
            1 => self.number(Op::Sub(x, y)),
            2 => self.number(Op::Mul(x, y)),
            3 => self.number(Op::Div(x, y)),
            4 => self.number(Op::Min(x, y)),
            5 => self.number(Op::Max(x, y)),
            6 => self.number(Op::If(s, y, z)),
            7 => {
                let list = self.p.list(&[x, y, z]);
                // What stands for no word chooses nothing.
                let present = self.push(Op::WordPresent(w));
                let picked = self.push(Op::Pick(w, list, 3));
                self.number(Op::If(present, picked, x));
            }
            8 => self.truth(Op::Le(x, y, floor)),
            9 => self.truth(Op::Lt(x, y, floor)),
            10 => {
                let set = self.p.constant_index(Val::bits(u64::from(1 + a % 6)));
                self.truth(Op::Among(w, set));
            }
            11 => self.truth(Op::And(s, t)),
            12 => self.truth(Op::Or(s, t)),
            13 => {
                let not = self.push(Op::Not(u));
                self.truths.push(not);
                self.truth(Op::If(s, not, t));
            }
            14 => self.number(Op::Neg(x)),
            15 => self.number(Op::Power(x, i32::from(a % 6) - 2)),
            16 => {
                let size = self.size(x);
                self.number(Op::Sqrt(size));
            }
            17 => self.number(Op::Sqrt(x)),
            18 => self.number(Op::Ln(x)),
            19 => self.number(Op::Exp(x)),
            20 => self.number(Op::Sin(x)),
            21 => self.number(Op::Cos(x)),
            22 => {
                let share = self.push(Op::Sin(x));
                self.number(Op::Acos(share));
            }
            23 => self.number(Op::Abs(x)),
            24 => {
                let step = self
                    .p
                    .constant_index(Val::number([0.5, 1.0, 0.01][b as usize % 3]));
                let mode = [Rounding::Nearest, Rounding::Up, Rounding::Down][c as usize % 3];
                self.number(Op::Round(x, step, mode));
            }
            25 => self.truth(Op::Equal(x, y, floor)),
            26 => self.truth(Op::Same(w, v)),
            27 => self.truth(Op::Has(self.set, (a % 3) as u8)),
            28 => self.truth(Op::MemberOf(w, self.set)),
            29 => {
                let o = pick(&self.optional, b);
                self.truth(Op::Present(o));
                self.number(Op::Otherwise(o, y));
            }
            30 => self.truth(Op::WordPresent(w)),
            31 => {
                let member = self.push(Op::Member(w, series));
                self.optional.push(member);
                self.number(Op::Otherwise(member, x));
            }
            32 => self.number(Op::NextUp(x, series)),
            33 => self.number(Op::NextDown(x, series)),
            34 => {
                let words = c % 2 == 0;
                let keys = if words { vec![w, x] } else { vec![x] };
                let (first, count) = self.p.counted(&keys);
                let found = self.push(Op::Lookup(TableId(u16::from(words)), first, count));
                self.optional.push(found);
                self.number(Op::Otherwise(found, y));
            }
            35 => {
                let all = [x, y, z].map(|r| self.size(r));
                let (first, count) = self.p.counted(&all);
                self.number(Op::LargestTwo(first, count));
            }
            36 => {
                let i = [x, y, z].map(|r| self.size(r));
                let first = self.p.list(&i);
                self.number(Op::NeutralCurrent(first));
                let (u0, factor) = (
                    self.p.constant(Val::number(230.0)),
                    self.p.constant(Val::number(1.1)),
                );
                let (ra, rb) = (i[0], self.p.constant(Val::number(2.5)));
                let first = self.p.list(&[u0, factor, i[0], i[1], i[2], ra, rb]);
                self.number(Op::OpenPen(first));
            }
            _ => {
                let i = [x, y, z].map(|r| self.size(r));
                let first = self.p.list(&[i[0], i[1], i[2], i[0]]);
                self.number(Op::BehindSource(first));
            }
        }
    }
}

/// The program of a recipe, and its root: well typed by construction.
pub fn build(recipe: &Recipe) -> World {
    let rows = tables();
    let data = Data {
        tables: rows.iter().map(|rows| table(rows).into()).collect(),
        series: vec![SERIES.to_vec()],
    };
    let mut p = Program::default();
    let (mut numbers, mut optional, mut words) = (Vec::new(), Vec::new(), Vec::new());
    for (lo, width, may_lack) in &recipe.numbers {
        let (lo, hi) = (f64::from(*lo) / 4.0, f64::from(lo + width) / 4.0);
        let mut set = Val {
            hi,
            ..Val::number(lo)
        };
        if *may_lack {
            set.bits = Presence::EITHER;
        }
        let reg = Making::leaf(&mut p, LeafKind::Number, set, set);
        if *may_lack {
            optional.push(reg);
        } else {
            numbers.push(reg);
        }
    }
    for bits in &recipe.words {
        let none = if bits & 8 == 0 { 0 } else { Presence::NO_WORD };
        let set = Val::bits(u64::from(bits & 7) | none);
        let all = Val::words(WordSet::first(3).or(WordSet::NONE));
        words.push(Making::leaf(&mut p, LeafKind::Choice, set, all));
    }
    // Each word may be in or out, or both.
    let (within, without) = (u64::from(recipe.set.0), u64::from(recipe.set.1));
    let set = Val::bits(within | (without | !within & 7) << 32);
    let any = Val::bits(SetWords::unknown(3));
    let set = Making::leaf(&mut p, LeafKind::Members(3), set, any);
    numbers.push(p.constant(Val::number(2.5)));
    if optional.is_empty() {
        optional.push(numbers[0]);
    }
    let floor = p.constant_index(Val::number(1e-12));
    let last = numbers[numbers.len() - 1];
    let first = p.push(Op::Le(numbers[0], last, floor), &data);
    let mut making = Making {
        p,
        data,
        numbers,
        optional,
        truths: vec![first],
        words,
        set,
        floor,
    };
    for op in &recipe.ops {
        making.one(*op);
    }
    let (last, first) = (making.numbers[making.numbers.len() - 1], making.numbers[0]);
    let compared = making.push(Op::Le(last, first, floor));
    let truth = making.truths[making.truths.len() - 1];
    let root = making.push(Op::Or(compared, truth));
    World {
        program: making.p,
        data: making.data,
        rows,
        root,
    }
}
