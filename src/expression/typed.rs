//! The typed tree: names resolved, dimensions checked, optional reads guarded.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::syntax::{Aggregate, OriginTest, Range};
use super::table::TableId;
use crate::quantity::{Dim, Rounding, Unit};
use crate::source::{Span, words};
use crate::vocabulary::{FactIx, FactType, KindId, Later, SeriesId, WordSet, Words, words};

/// Names a limit of the ruleset.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct LimitId(pub u16);

/// Index of a term in its expression.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct TermId(pub u32);

/// What kind of value a term has.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Ty {
    /// A number of a dimension.
    Number(Dim),
    /// A temperature on a scale with a zero of its own (°C, °F). Two have a difference, which is a
    /// number (K); neither sums nor products mean anything.
    Temperature,
    /// Yes or no.
    Truth,
    /// A word of a choice.
    Word(#[serde(with = "words")] Words),
    /// A set of words.
    Set(#[serde(with = "words")] Words),
    /// A text.
    Text,
    /// A date.
    Date,
    /// An object.
    Object(KindId),
    /// Several objects.
    Collection(KindId),
    /// A line conductor.
    Line,
    /// `none`
    Nothing,
    /// A mistake was reported; fits everything.
    Wrong,
}

impl Ty {
    /// What a number in a unit is.
    #[must_use]
    pub const fn in_unit(unit: &Unit) -> Self {
        if unit.is_affine() {
            Self::Temperature
        } else {
            Self::Number(unit.dim())
        }
    }

    /// What the numbers of a table of this dimension are: no table holds differences of temperatures.
    #[must_use]
    pub fn of_table(dim: Dim) -> Self {
        if dim == Dim::TEMPERATURE {
            Self::Temperature
        } else {
            Self::Number(dim)
        }
    }

    /// What a number measures; nothing, if it is none.
    #[must_use]
    pub const fn dim(&self) -> Option<Dim> {
        match self {
            Self::Number(d) => Some(*d),
            Self::Temperature => Some(Dim::TEMPERATURE),
            _ => None,
        }
    }

    /// What is read of a fact of a type.
    #[must_use]
    pub fn of(ty: &FactType) -> Self {
        match ty {
            FactType::Quantity { unit, .. } => Self::in_unit(unit),
            FactType::Choice { words, .. } => Self::Word(words.clone()),
            FactType::Some { words } => Self::Set(words.clone()),
            FactType::YesNo => Self::Truth,
            FactType::Text => Self::Text,
            FactType::Date => Self::Date,
            FactType::Part(k) | FactType::Reference(k) => Self::Object(*k),
            FactType::Parts(k) | FactType::References(k) | FactType::Reverse { kind: k, .. } => {
                Self::Collection(*k)
            }
        }
    }
}

impl fmt::Display for Ty {
    /// How messages name it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Number(Dim::TEMPERATURE) => "a difference of temperatures",
            Self::Number(d) => return f.write_str(&d.describe()),
            Self::Temperature => "a temperature",
            Self::Word(w) => return write!(f, "one of {}", w.join(", ")),
            Self::Set(w) => return write!(f, "some of {}", w.join(", ")),
            Self::Truth => "a condition",
            Self::Text => "a text",
            Self::Date => "a date",
            Self::Object(_) => "an object",
            Self::Collection(_) => "a collection",
            Self::Line => "a line conductor",
            Self::Nothing => "none",
            Self::Wrong => "something wrong",
        })
    }
}

/// A fact read of an object: its index for each kind the object may be of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReadFact {
    /// Where the fact stands on each kind.
    pub by_kind: Vec<(KindId, FactIx)>,
}

impl ReadFact {
    /// Index of the fact on an object of this kind.
    #[must_use]
    pub fn on(&self, kind: KindId) -> Option<FactIx> {
        match self.by_kind.as_slice() {
            [(k, f)] if *k == kind => Some(*f),
            all => all.iter().find(|(k, _)| *k == kind).map(|(_, f)| *f),
        }
    }
}

/// An object a path leads to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum ObjectTerm {
    /// The subject of the rule or derivation.
    Subject,
    /// The member of an enclosing aggregate.
    Var(u8),
    /// What a part or reference of an object leads to.
    Step(Box<ObjectTerm>, ReadFact),
}

/// A line conductor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum LineTerm {
    /// This one.
    Fixed(u8),
    /// The member of an enclosing aggregate over lines.
    Var(u8),
    /// The line for which a per-line fact is being worked out.
    Current,
}

words! {
    /// Functions.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
    pub enum Call {
        /// The least.
        Min = "min",
        /// The greatest.
        Max = "max",
        /// Absolute value.
        Abs = "abs",
        /// Square root.
        Sqrt = "sqrt",
        /// Natural logarithm.
        Ln = "ln",
        /// Exponential.
        Exp = "exp",
        /// Sine.
        Sin = "sin",
        /// Cosine.
        Cos = "cos",
        /// Arc cosine.
        Acos = "acos",
        /// Phasor sum of three currents.
        NeutralCurrent = "neutral-current",
        /// Touch voltage with an open PEN.
        OpenPenVoltage = "open-pen-voltage",
        /// Magnitude of a source with a path behind it.
        BehindSource = "behind-source",
    }
}

/// What an aggregate goes over.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Over {
    /// The members of a collection fact of an object.
    Collection(ObjectTerm, ReadFact),
    /// The line conductors in a set of words; the indices of L1, L2, L3 among its words.
    Lines(TermId, [Option<u8>; 3]),
    /// L1, L2 and L3.
    AllLines,
}

/// What a term is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum TermKind {
    /// A number in SI units.
    Number(f64),
    /// Yes or no.
    Truth(bool),
    /// A word, by its index.
    Word(u8),
    /// A text, by its index among the texts of all rules.
    Text(u8),
    /// A date in seconds since 1970-01-01.
    Date(f64),
    /// `none`
    Nothing,
    /// A limit.
    Limit(LimitId),
    /// A fact of an object.
    Read {
        /// The object.
        object: ObjectTerm,
        /// The fact.
        fact: ReadFact,
        /// The line, for per-line facts.
        line: Option<LineTerm>,
    },
    /// An object.
    Object(ObjectTerm),
    /// a + b
    Add(TermId, TermId),
    /// a − b
    Sub(TermId, TermId),
    /// a · b
    Mul(TermId, TermId),
    /// a / b
    Div(TermId, TermId),
    /// −a
    Neg(TermId),
    /// aⁿ
    Power(TermId, i32),
    /// a ≤ b; the number is the absolute floor of the dimension
    Le(TermId, TermId, f64),
    /// a < b
    Lt(TermId, TermId, f64),
    /// a = b, numbers
    Equal(TermId, TermId, f64),
    /// a = b, words, truths, texts
    Same(TermId, TermId),
    /// Two objects are one.
    SameObject(ObjectTerm, ObjectTerm),
    /// not a
    Not(TermId),
    /// a and b
    And(TermId, TermId),
    /// a or b
    Or(TermId, TermId),
    /// The place of a word in its order.
    Rank(TermId),
    /// A word lies in a constant set.
    Among(TermId, WordSet),
    /// A known word is in a set of words.
    Has(TermId, u8),
    /// A line is in a set of words; the indices of L1, L2, L3 among its words.
    HasLine(TermId, LineTerm, [Option<u8>; 3]),
    /// A line is one of some lines, by their places.
    LineAmong(LineTerm, WordSet),
    /// A word is in a set of words.
    MemberOf(TermId, TermId),
    /// Whether a value is there.
    Present(TermId),
    /// Whether an object is there.
    ObjectPresent(ObjectTerm),
    /// Where a value comes from.
    Origin(TermId, OriginTest),
    /// Whether an object is of one of these kinds.
    IsKind(ObjectTerm, Vec<KindId>),
    /// if c then a else b
    If(TermId, TermId, TermId),
    /// a, or b where it is absent
    Otherwise(TermId, TermId),
    /// An aggregate; the member is in variable `var`.
    Aggregate {
        /// What is done.
        op: Aggregate,
        /// The slot of the member.
        var: u8,
        /// What it goes over.
        over: Over,
        /// Which members count.
        filter: Option<TermId>,
        /// What is taken of each.
        body: Option<TermId>,
        /// Of a sum and `largest-two`: what is taken of each is shown never to be below zero.
        never_negative: bool,
    },
    /// A table look-up.
    Lookup(TableId, Vec<TermId>),
    /// A function.
    Call(Call, Vec<TermId>),
    /// Rounded to a step.
    Round(TermId, f64, Rounding),
    /// Next member of a series, up or down.
    Next(SeriesId, bool, TermId),
}

/// A term with its type.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Term {
    /// What it is.
    pub kind: TermKind,
    /// Its type.
    pub ty: Ty,
}

/// An expression as it is written.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Wording {
    /// Its text.
    pub text: String,
    /// Where it stands in the ruleset.
    pub span: Span,
    /// Where each term stands in the text.
    pub ranges: Vec<Range>,
}

/// A compiled expression.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Compiled {
    /// Its terms; operands come before what uses them.
    pub terms: Vec<Term>,
    /// The whole.
    pub root: TermId,
    /// There may be no value.
    pub optional: bool,
    /// How it is written, which judging does not look at.
    pub wording: Later<Wording>,
}

impl TermKind {
    /// The fact that a path ends at, of a reference or part too, and the object it is read of.
    #[must_use]
    pub fn fact_read(&self) -> Option<(&ObjectTerm, &ReadFact)> {
        match self {
            TermKind::Read { object, fact, .. } => Some((object, fact)),
            TermKind::Object(ObjectTerm::Step(object, fact)) => Some((object, fact)),
            _ => None,
        }
    }
}

impl Compiled {
    /// A term.
    #[must_use]
    pub fn term(&self, id: TermId) -> &Term {
        &self.terms[id.0 as usize]
    }

    /// The term of the whole.
    #[must_use]
    pub fn root_term(&self) -> &Term {
        self.term(self.root)
    }

    /// Its text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.wording.text
    }

    /// Where a term stands in the text.
    #[must_use]
    pub fn range(&self, id: TermId) -> Range {
        let range = self.wording.ranges.get(id.0 as usize);
        range.cloned().unwrap_or_default()
    }

    /// The text of a term.
    #[must_use]
    pub fn slice(&self, id: TermId) -> &str {
        self.text().get(self.range(id)).unwrap_or("")
    }
}
