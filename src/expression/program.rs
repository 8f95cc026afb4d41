//! Register code: one register for each operation, never reused, so that explanations and
//! workings read registers instead of evaluating a second time.

use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};

use super::table::{Table, TableId};
use super::val::{Presence, Val};
use crate::quantity::Rounding;
use crate::vocabulary::{Later, SeriesId};

/// Index of a register, which is the index of the operation that fills it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Reg(pub u32);

impl Reg {
    /// As an index.
    #[must_use]
    pub const fn ix(self) -> usize {
        self.0 as usize
    }
}

/// Index of a leaf.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct LeafId(pub u32);

/// What kind of values a leaf takes, and how many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeafKind {
    /// A number.
    Number,
    /// One of a few alternatives or words: sets of bits.
    Choice,
    /// Yes or no.
    Truth,
    /// A set of this many words, each in or out.
    Members(u8),
}

/// How much of a leaf is known, for naming the facts that could decide.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LeafSource {
    /// Written as `?`, or not written.
    Unknown,
    /// Written as a range, a choice, one-sided.
    Range,
    /// Written with a tolerance.
    Tolerance,
    /// One value.
    Exact,
    /// Assumed by the ruleset.
    Assumed,
}

/// A written or unknown fact: where joint values are chosen.
#[derive(Clone, Copy, Debug)]
pub struct Leaf {
    /// What kind of values.
    pub kind: LeafKind,
    /// The values as written.
    pub set: Val,
    /// All values there are.
    pub domain: Val,
    /// Ends of what is plausible, for choosing witnesses.
    pub plausible: (f64, f64),
    /// How much is known.
    pub source: LeafSource,
    /// The register it fills.
    pub reg: Reg,
}

impl Leaf {
    /// Whether a set of its values is exactly one value.
    #[must_use]
    pub fn is_point(&self, set: &Val) -> bool {
        match self.kind {
            LeafKind::Number => {
                set.lo == set.hi && set.bits.count_ones() == 1 || set.bits == Presence::ABSENT
            }
            LeafKind::Choice | LeafKind::Truth => set.bits.count_ones() == 1,
            LeafKind::Members(_) => (set.bits & (set.bits >> 32) & 0xffff_ffff) == 0,
        }
    }
}

/// One operation. Operands are registers before its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Op {
    /// The values of a leaf.
    Leaf(LeafId),
    /// A constant of the program.
    Const(u32),
    /// a + b
    Add(Reg, Reg),
    /// a − b
    Sub(Reg, Reg),
    /// a · b
    Mul(Reg, Reg),
    /// a / b
    Div(Reg, Reg),
    /// −a
    Neg(Reg),
    /// aⁿ
    Power(Reg, i32),
    /// √a
    Sqrt(Reg),
    /// Natural logarithm.
    Ln(Reg),
    /// eᵃ
    Exp(Reg),
    /// Sine of radians.
    Sin(Reg),
    /// Cosine of radians.
    Cos(Reg),
    /// Arc cosine in radians.
    Acos(Reg),
    /// |a|
    Abs(Reg),
    /// The lesser.
    Min(Reg, Reg),
    /// The greater.
    Max(Reg, Reg),
    /// Rounded to a step (a constant).
    Round(Reg, u32, Rounding),
    /// a ≤ b with the slack of comparisons; the constant is the absolute floor of the dimension.
    Le(Reg, Reg, u32),
    /// a < b
    Lt(Reg, Reg, u32),
    /// a = b, numbers
    Equal(Reg, Reg, u32),
    /// a = b, words
    Same(Reg, Reg),
    /// A word or selector lies in a constant set.
    Among(Reg, u32),
    /// A known word is in a set of words.
    Has(Reg, u8),
    /// A word (a) is in a set of words (b).
    MemberOf(Reg, Reg),
    /// Whether there is a number.
    Present(Reg),
    /// Whether there is a word.
    WordPresent(Reg),
    /// not a
    Not(Reg),
    /// a and b
    And(Reg, Reg),
    /// a or b
    Or(Reg, Reg),
    /// if c then a else b
    If(Reg, Reg, Reg),
    /// The alternative chosen by a selector: first of the arguments, how many.
    Pick(Reg, u32, u32),
    /// a, or b where a is absent
    Otherwise(Reg, Reg),
    /// Members of a series chosen by a selector.
    Member(Reg, SeriesId),
    /// Next member of a series at or above.
    NextUp(Reg, SeriesId),
    /// Next member of a series at or below.
    NextDown(Reg, SeriesId),
    /// A table look-up: first of the arguments, how many.
    Lookup(TableId, u32, u32),
    /// Sum of the two greatest of the arguments (0 or more each).
    LargestTwo(u32, u32),
    /// Phasor sum of three line currents.
    NeutralCurrent(u32),
    /// Touch voltage with the PEN conductor open: seven arguments.
    OpenPen(u32),
    /// Magnitude of a source with a path behind it: four arguments.
    BehindSource(u32),
}

impl Op {
    /// Calls with each operand.
    pub fn operands(&self, args: &[Reg], mut each: impl FnMut(Reg)) {
        let (mut op, mut list) = (*self, (0, 0));
        op.parts(|r| each(*r), |first, count| list = (*first, count));
        let (first, count) = (list.0 as usize, list.1 as usize);
        for r in args.get(first..first + count).unwrap_or(&[]) {
            each(*r);
        }
    }

    /// Calls with each operand that stands in it, and with the list of those that do not: where it
    /// begins and how many they are.
    fn parts(&mut self, mut each: impl FnMut(&mut Reg), mut list: impl FnMut(&mut u32, u32)) {
        match self {
            Self::Leaf(_) | Self::Const(_) => {}
            Self::Neg(a)
            | Self::Power(a, _)
            | Self::Sqrt(a)
            | Self::Ln(a)
            | Self::Exp(a)
            | Self::Sin(a)
            | Self::Cos(a)
            | Self::Acos(a)
            | Self::Abs(a)
            | Self::Round(a, _, _)
            | Self::Among(a, _)
            | Self::Has(a, _)
            | Self::Present(a)
            | Self::WordPresent(a)
            | Self::Not(a)
            | Self::Member(a, _)
            | Self::NextUp(a, _)
            | Self::NextDown(a, _) => each(a),
            Self::Add(a, b)
            | Self::Sub(a, b)
            | Self::Mul(a, b)
            | Self::Div(a, b)
            | Self::Min(a, b)
            | Self::Max(a, b)
            | Self::Le(a, b, _)
            | Self::Lt(a, b, _)
            | Self::Equal(a, b, _)
            | Self::Same(a, b)
            | Self::MemberOf(a, b)
            | Self::And(a, b)
            | Self::Or(a, b)
            | Self::Otherwise(a, b) => {
                each(a);
                each(b);
            }
            Self::If(c, a, b) => {
                each(c);
                each(a);
                each(b);
            }
            Self::Pick(s, first, count) => {
                list(first, *count);
                each(s);
            }
            Self::Lookup(_, first, count) | Self::LargestTwo(first, count) => list(first, *count),
            Self::NeutralCurrent(first) => list(first, 3),
            Self::OpenPen(first) => list(first, 7),
            Self::BehindSource(first) => list(first, 4),
        }
    }

    /// Whether it compares numbers: an atom of a verdict.
    #[must_use]
    pub const fn compares(&self) -> Option<(Reg, Reg, u32)> {
        match *self {
            Self::Le(a, b, f) | Self::Lt(a, b, f) | Self::Equal(a, b, f) => Some((a, b, f)),
            _ => None,
        }
    }
}

/// The bits of a constant, by which it is found again.
type ConstKey = (u64, u64, u64, u8);

/// Register code with the values of its registers for the leaves as written.
#[derive(Clone, Debug, Default)]
pub struct Program {
    /// The operations.
    pub ops: Vec<Op>,
    /// The registers: natural set evaluation over the leaves as written.
    pub vals: Vec<Val>,
    /// Operand lists.
    pub args: Vec<Reg>,
    /// Constants.
    pub consts: Vec<Val>,
    /// Leaves.
    pub leaves: Vec<Leaf>,
    /// Constants that are there already, and the register of each, while the program grows.
    known: FxHashMap<ConstKey, (u32, Option<Reg>)>,
}

/// Which operations read each register: the program the other way round.
#[derive(Clone, Debug)]
pub struct Users {
    first: Vec<u32>,
    list: Vec<Reg>,
}

impl Users {
    /// The users of all registers of a program.
    #[must_use]
    pub fn of(program: &Program) -> Self {
        let n = program.ops.len();
        let mut first = vec![0_u32; n + 1];
        for op in &program.ops {
            op.operands(&program.args, |r| first[r.ix() + 1] += 1);
        }
        for i in 0..n {
            first[i + 1] += first[i];
        }
        let mut next = first.clone();
        let total = first.last().map_or(0, |t| *t as usize);
        let mut list = vec![Reg(0); total];
        for (op, user) in program.ops.iter().zip((0..).map(Reg)) {
            op.operands(&program.args, |r| {
                let slot = &mut next[r.ix()];
                list[*slot as usize] = user;
                *slot += 1;
            });
        }
        Self { first, list }
    }

    /// The operations that read a register, ascending.
    #[must_use]
    pub fn of_register(&self, reg: Reg) -> &[Reg] {
        let (from, to) = (self.first[reg.ix()], self.first[reg.ix() + 1]);
        self.list.get(from as usize..to as usize).unwrap_or(&[])
    }
}

/// What operations look up: tables and series of the ruleset.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Data {
    /// Tables.
    pub tables: Vec<Later<Table>>,
    /// Members of each series, ascending, SI units.
    pub series: Vec<Vec<f64>>,
}

/// What tells two constants apart, to the last bit.
const fn key(val: Val) -> ConstKey {
    (val.lo.to_bits(), val.hi.to_bits(), val.bits, val.flags.0)
}

/// A place in one of the lists of a program. What it is linked from has a bounded number of things,
/// and memory ends long before four thousand million operations.
const fn place(len: usize) -> u32 {
    len as u32
}

impl Program {
    pub(super) fn add(&mut self, op: Op, val: Val) -> Reg {
        self.ops.push(op);
        self.vals.push(val);
        Reg(place(self.ops.len() - 1))
    }

    /// Adds a constant to the constants, if it is a new one.
    pub fn constant_index(&mut self, val: Val) -> u32 {
        self.known_constant(val).0
    }

    fn known_constant(&mut self, val: Val) -> (u32, Option<Reg>) {
        let consts = &mut self.consts;
        *self.known.entry(key(val)).or_insert_with(|| {
            consts.push(val);
            (place(consts.len() - 1), None)
        })
    }

    /// Adds a constant and the register that holds it, if there is none yet.
    pub fn constant(&mut self, val: Val) -> Reg {
        let (ix, reg) = self.known_constant(val);
        if let Some(reg) = reg {
            return reg;
        }
        let reg = self.add(Op::Const(ix), val);
        self.known.insert(key(val), (ix, Some(reg)));
        reg
    }

    /// Adds a leaf and the register that holds it.
    pub fn leaf(
        &mut self,
        kind: LeafKind,
        set: Val,
        domain: Val,
        plausible: (f64, f64),
        source: LeafSource,
    ) -> (LeafId, Reg) {
        let id = LeafId(place(self.leaves.len()));
        let reg = Reg(place(self.ops.len()));
        self.leaves.push(Leaf {
            kind,
            set,
            domain,
            plausible,
            source,
            reg,
        });
        self.add(Op::Leaf(id), set);
        (id, reg)
    }

    /// Keeps a list of operands; gives its start.
    pub fn list(&mut self, regs: &[Reg]) -> u32 {
        let first = place(self.args.len());
        self.args.extend_from_slice(regs);
        first
    }

    /// Lets go of what only a growing program needs.
    pub fn finish(&mut self) {
        self.known = FxHashMap::default();
        self.ops.shrink_to_fit();
        self.vals.shrink_to_fit();
        self.args.shrink_to_fit();
        self.leaves.shrink_to_fit();
    }

    /// Lets go of every operation that neither a leaf nor any of some registers needs. What is
    /// `settled` has the same value whatever the leaves come to, and is a constant from then on.
    /// Gives the new place of each register that is left.
    pub fn keep(&mut self, settled: &[Reg], needed: &[Reg]) -> Vec<Reg> {
        let mut kept = vec![false; self.ops.len()];
        for r in settled.iter().chain(needed) {
            kept[r.ix()] = true;
        }
        for leaf in &self.leaves {
            kept[leaf.reg.ix()] = true;
        }
        for r in settled {
            if !matches!(self.ops[r.ix()], Op::Leaf(_)) {
                self.ops[r.ix()] = Op::Const(self.constant_index(self.vals[r.ix()]));
            }
        }
        for (i, op) in self.ops.iter().enumerate().rev() {
            if kept[i] {
                op.operands(&self.args, |r| kept[r.ix()] = true);
            }
        }
        let args = std::mem::take(&mut self.args);
        let (mut places, mut next) = (Vec::with_capacity(kept.len()), 0);
        for (i, kept) in kept.into_iter().enumerate() {
            places.push(Reg(place(next)));
            if !kept {
                continue;
            }
            let mut op = self.ops[i];
            let new_args = &mut self.args;
            op.parts(
                |r| *r = places[r.ix()],
                |first, count| {
                    let old = args.iter().skip(*first as usize).take(count as usize);
                    *first = place(new_args.len());
                    new_args.extend(old.map(|r| places[r.ix()]));
                },
            );
            self.ops[next] = op;
            self.vals[next] = self.vals[i];
            next += 1;
        }
        self.ops.truncate(next);
        self.vals.truncate(next);
        for leaf in &mut self.leaves {
            leaf.reg = places[leaf.reg.ix()];
        }
        places
    }

    /// Keeps a list of operands; gives its start and how many they are.
    pub fn counted(&mut self, regs: &[Reg]) -> (u32, u32) {
        (self.list(regs), place(regs.len()))
    }

    /// A list of operands that was kept.
    #[must_use]
    pub fn operands(&self, first: u32, count: u32) -> &[Reg] {
        let range = first as usize..(first + count) as usize;
        self.args.get(range).unwrap_or(&[])
    }

    /// The value of a register.
    #[must_use]
    pub fn val(&self, reg: Reg) -> Val {
        self.vals[reg.ix()]
    }
}
