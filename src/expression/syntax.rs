//! Expressions as they are written: an untyped tree with byte ranges into the text.

use serde::{Deserialize, Serialize};

use crate::source::words;

/// A stretch of bytes in the text of one expression.
pub type Range = std::ops::Range<usize>;

/// One node.
#[derive(Clone, Debug, PartialEq)]
pub struct Expr {
    /// What it is.
    pub kind: ExprKind,
    /// Where it stands.
    pub range: Range,
}

impl Expr {
    /// A node and where it stands.
    #[must_use]
    pub const fn new(kind: ExprKind, range: Range) -> Self {
        Self { kind, range }
    }

    /// The name, of a node that is one.
    #[must_use]
    pub fn name(&self) -> Option<&str> {
        match &self.kind {
            ExprKind::Name(name) => Some(name),
            _ => None,
        }
    }
}

words! {
    /// Operators with two operands.
    #[derive(Clone, Copy, Debug, PartialEq, Eq)]
    pub enum BinaryOp {
        /// `or`
        Or = "or",
        /// `and`
        And = "and",
        /// `<=`
        Le = "<=",
        /// `>=`
        Ge = ">=",
        /// `==`
        Eq = "==",
        /// `!=`
        Ne = "!=",
        /// `<`
        Lt = "<",
        /// `>`
        Gt = ">",
        /// `+`
        Add = "+",
        /// `-`
        Sub = "-",
        /// `*`
        Mul = "*",
        /// `/`
        Div = "/",
        /// `^`
        Pow = "^",
        /// `else`
        Otherwise = "else",
    }
}

/// Operators with one operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnaryOp {
    /// `not`
    Not,
    /// `-`
    Negate,
}

words! {
    /// What an aggregate does with its members.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
    pub enum Aggregate {
        /// Adds them.
        Sum = "sum",
        /// The least.
        Min = "min",
        /// The greatest.
        Max = "max",
        /// How many.
        Count = "count",
        /// Whether it holds for all.
        Every = "every",
        /// Whether it holds for at least one.
        Any = "any",
        /// The sum of the two greatest.
        LargestTwo = "largest-two",
    }
}

words! {
    /// Questions about where a value comes from.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
    pub enum OriginTest {
        /// Read from an instrument.
        Measured = "measured",
        /// Worked out.
        Calculated = "calculated",
        /// Asked of the network operator.
        ByEnquiry = "by-enquiry",
        /// Stated by the network operator or maker.
        Declared = "declared",
        /// Assumed by the designer or the ruleset.
        Assumed = "assumed",
        /// Written at all.
        Written = "written",
    }
}

/// What a node is.
#[derive(Clone, Debug, PartialEq)]
pub enum ExprKind {
    /// Digits and the text of a unit.
    Number {
        /// The digits.
        digits: String,
        /// The unit and where it stands.
        unit: Option<(String, Range)>,
    },
    /// A text in double quotes.
    Text(String),
    /// `2026-11-02`
    Date(String),
    /// `yes` or `no`
    Truth(bool),
    /// `none`
    Nothing,
    /// A name, or a word of a choice.
    Name(String),
    /// `a.b`
    Step(Box<Expr>, String, Range),
    /// `a[b, c]`
    Index(Box<Expr>, Vec<Expr>),
    /// `f(a, b)`
    Call(String, Range, Vec<Expr>),
    /// One operand.
    Unary(UnaryOp, Box<Expr>),
    /// Two operands.
    Binary(BinaryOp, Box<Expr>, Box<Expr>),
    /// `a among {x, y}`
    AmongSet(Box<Expr>, Vec<(String, Range)>),
    /// `a among lines`
    Among(Box<Expr>, Box<Expr>),
    /// `a is present` (true) or `a is absent` (false)
    Present(Box<Expr>, bool),
    /// `a is measured`
    Origin(Box<Expr>, OriginTest),
    /// `a is a board`
    IsKind(Box<Expr>, String, Range),
    /// `if a then b else c`
    If(Box<Expr>, Box<Expr>, Box<Expr>),
    /// `sum c in circuits where f: body`
    Aggregate {
        /// What is done.
        op: Aggregate,
        /// The name of the member in filter and body.
        var: String,
        /// The collection.
        over: Box<Expr>,
        /// Which members count.
        filter: Option<Box<Expr>>,
        /// What is taken of each.
        body: Option<Box<Expr>>,
    },
}
