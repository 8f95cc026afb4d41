//! The syntax tree of a design file: what is written, before anything is known of kinds, facts
//! or units. Every node keeps the place it was written at.

use std::fmt::Write as _;

use crate::source::{Span, Spanned, words};

/// One file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tree {
    /// Its items in the order written.
    pub items: Vec<Item>,
}

/// What may stand at the outermost level of a file.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// `board main { … }`
    Block(Block),
    /// `define NAME as HEAD { … }`
    Define(Define),
    /// `use "parts.amp"`
    Use(Use),
    /// `parameter run: 5 m .. 40 m`
    Parameter(Parameter),
    /// `no bond`
    No(No),
}

/// A word or unit. `text` has the signs of the folding list in their canonical spelling
/// (`Ω` is `ohm`, both micro signs are `µ`, both deltas are `Δ`, `mm2` as a unit is `mm²`);
/// `span` covers the word as written.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Word {
    /// The folded spelling.
    pub text: String,
    /// The word as written.
    pub span: Span,
}

/// `define NAME as HEAD { … }`: a part or a product that may be used by name, copied at each use.
#[derive(Clone, Debug, PartialEq)]
pub struct Define {
    /// The name it is used by.
    pub name: Word,
    /// What it is: `rcbo`, `armoured`.
    pub head: Word,
    /// Its facts.
    pub entries: Vec<Entry>,
    /// The whole of it.
    pub span: Span,
}

/// `use "parts.amp"`: another file read as if it stood here.
#[derive(Clone, Debug, PartialEq)]
pub struct Use {
    /// The path as written, relative to the file that names it.
    pub path: Spanned<String>,
    /// The whole of it.
    pub span: Span,
}

/// `parameter run: 5 m .. 40 m`: a name whose value may be set from outside.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameter {
    /// Its name.
    pub name: Word,
    /// The values it may take.
    pub value: Value,
    /// The whole of it.
    pub span: Span,
}

/// `no bond` on a line of its own: the kind is known to be absent.
#[derive(Clone, Debug, PartialEq)]
pub struct No {
    /// The kind.
    pub kind: Word,
    /// The whole of it.
    pub span: Span,
}

/// `kind name "label" { … }`
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// First word: `board`, `circuit`.
    pub kind: Word,
    /// The name it is referred to by.
    pub name: Option<BlockName>,
    /// A title for people.
    pub label: Option<Spanned<String>>,
    /// Values without keys behind its name: `existing sound`.
    pub row: Vec<Value>,
    /// What stands between its braces.
    pub entries: Vec<Entry>,
    /// The whole of it.
    pub span: Span,
    /// The rule of a `departure from RULE { … }`.
    pub from: Option<Word>,
}

/// The name of a block, perhaps of many alike: `bay[1..6]`.
#[derive(Clone, Debug, PartialEq)]
pub struct BlockName {
    /// The name.
    pub word: Word,
    /// How often the block stands for itself.
    pub repeat: Option<Repeat>,
}

/// `[1..6]` after a block's name: at least one and at most [`Repeat::MOST`] blocks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Repeat {
    /// First number.
    pub first: u32,
    /// Last number, included; not less than `first`.
    pub last: u32,
    /// With its brackets.
    pub span: Span,
}

impl Repeat {
    /// The most blocks that one repeated block may stand for.
    pub const MOST: u32 = 1000;
}

/// What may stand between the braces of a block or part.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// `key: value`
    Fact(FactEntry),
    /// A block inside.
    Block(Block),
    /// `no bond`
    No(No),
}

/// `key: value`; behind the head of a block or part, `as NAME` is an entry with the key `as`
/// whose key covers all of it.
#[derive(Clone, Debug, PartialEq)]
pub struct FactEntry {
    /// The name of the fact.
    pub key: Word,
    /// What is written for it.
    pub value: Value,
    /// Key to value.
    pub span: Span,
    /// What the product says that the thing is: what is written may only narrow it.
    pub settled: Vec<Value>,
}

impl FactEntry {
    /// What is written for a fact that no product settles.
    #[must_use]
    pub const fn new(key: Word, value: Value, span: Span) -> Self {
        Self {
            key,
            value,
            span,
            settled: Vec::new(),
        }
    }
}

/// What is written for a fact or parameter.
#[derive(Clone, Debug, PartialEq)]
pub struct Value {
    /// The value itself.
    pub kind: ValueKind,
    /// Where it comes from. Written once at the end of alternatives, of a list or of values per
    /// line it holds for all of them and stands here; otherwise each has its own.
    pub origin: Option<Spanned<Origin>>,
    /// The value as written, its origin included.
    pub span: Span,
}

impl Value {
    /// `post[1..6]`: each of them by its number.
    #[must_use]
    pub fn members(word: &Word, repeat: &Repeat, span: Span) -> Self {
        let plain = |kind| Self {
            kind,
            origin: None,
            span,
        };
        let one = |number: u32| {
            let number = ValueKind::Number(Number {
                digits: number.to_string(),
                unit: None,
                more: Vec::new(),
                span,
            });
            let (word, index) = (word.clone(), Box::new(plain(number)));
            plain(ValueKind::Indexed { word, index })
        };
        let all = (repeat.first..=repeat.last).map(one).collect();
        plain(ValueKind::List(all))
    }

    /// Whether a mistake was reported for this value or for a piece of it.
    #[must_use]
    pub fn is_bad(&self) -> bool {
        match &self.kind {
            ValueKind::Bad => true,
            ValueKind::Tolerance { base, .. } => base.is_bad(),
            ValueKind::Range { low, high } => low.is_bad() || high.is_bad(),
            ValueKind::AtMost { value, .. } | ValueKind::AtLeast { value, .. } => value.is_bad(),
            ValueKind::OneOf(values)
            | ValueKind::List(values)
            | ValueKind::ByTurn(values)
            | ValueKind::Row { values, .. } => values.iter().any(Self::is_bad),
            ValueKind::PerLine(lines) => lines.iter().any(|(_, v)| v.is_bad()),
            ValueKind::Indexed { index, .. } => index.is_bad(),
            ValueKind::Binary { left, right, .. } => left.is_bad() || right.is_bad(),
            _ => false,
        }
    }
}

/// Where a value comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Origin {
    /// `(measured)`
    Measured,
    /// `(calculated)`
    Calculated,
    /// `(by-enquiry)`
    ByEnquiry,
    /// `(declared)`
    Declared,
    /// `(assumed)`
    Assumed,
    /// `(required)`: asked of what is bought; from the verify stage on it says nothing.
    Required,
}

words!(Origin {
    Measured: "measured",
    Calculated: "calculated",
    ByEnquiry: "by-enquiry",
    Declared: "declared",
    Assumed: "assumed",
    Required: "required"
});

/// The forms of a value.
#[derive(Clone, Debug, PartialEq)]
pub enum ValueKind {
    /// `?`
    Unknown,
    /// `none`
    Absent,
    /// A word: a choice, a name, a parameter; the fact's type decides.
    Word(String),
    /// `"…"`, without its quotes and escapes.
    Text(String),
    /// `2026-11-02`; always a day of the calendar.
    Date {
        /// Year.
        year: i32,
        /// Month, from 1.
        month: u8,
        /// Day, from 1.
        day: u8,
    },
    /// `6 mm²`, `32 A`, `3`, `1/0 AWG`
    Number(Number),
    /// `0.28 ohm ± 5 % ± 0.02 ohm`
    Tolerance {
        /// The value in the middle.
        base: Box<Value>,
        /// The half-widths, relative or absolute.
        terms: Vec<Number>,
    },
    /// `5 m .. 40 m`; in `5..40 m` the unit is copied to `low`.
    Range {
        /// Lower end, included (its order is not checked here).
        low: Box<Value>,
        /// Upper end, included.
        high: Box<Value>,
    },
    /// `at most x`, `<= x`; strict: `< x`.
    AtMost {
        /// The limit.
        value: Box<Value>,
        /// Whether the limit itself is left out.
        strict: bool,
    },
    /// `at least x`, `>= x`; strict: `> x`.
    AtLeast {
        /// The limit.
        value: Box<Value>,
        /// Whether the limit itself is left out.
        strict: bool,
    },
    /// `a | b`
    OneOf(Vec<Value>),
    /// `a, b`
    List(Vec<Value>),
    /// `armoured { … }`
    Part {
        /// The word before the brace.
        head: Word,
        /// Its facts.
        entries: Vec<Entry>,
    },
    /// `rcbo B32 30 mA { … }`: a part of which some values stand without their keys. Only a
    /// vocabulary tells whether the first is the word that opens it.
    Row {
        /// What stands before the brace.
        values: Vec<Value>,
        /// Its other facts.
        entries: Vec<Entry>,
    },
    /// `L1 61 A, L2 38 A`
    PerLine(Vec<(Word, Value)>),
    /// `by-turn L1, L2, L3`
    ByTurn(Vec<Value>),
    /// `all charge-point`
    All(Word),
    /// `bay[n]`
    Indexed {
        /// The name.
        word: Word,
        /// Which of the blocks of that name.
        index: Box<Value>,
    },
    /// `run + 2 m`
    Binary {
        /// What is done.
        op: Arith,
        /// Left operand.
        left: Box<Value>,
        /// Right operand.
        right: Box<Value>,
    },
    /// A mistake was reported here.
    Bad,
}

/// A number with its unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Number {
    /// As written: `0.28`, `-5`, `2e3`, `1/0`.
    pub digits: String,
    /// The unit, if any.
    pub unit: Option<Word>,
    /// The further parts of `3 ft 6 in`.
    pub more: Vec<(String, Word)>,
    /// Number and units.
    pub span: Span,
}

impl Number {
    /// Moves all of it to another place.
    pub(in crate::design) fn moved(&mut self, to: Span) {
        self.span = to;
        let units = self
            .unit
            .iter_mut()
            .chain(self.more.iter_mut().map(|(_, unit)| unit));
        units.for_each(|unit| unit.span = to);
    }
}

/// Arithmetic of template values.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Arith {
    /// `+`
    Add,
    /// `-`, with blanks on both sides
    Sub,
    /// `*`
    Mul,
    /// `/`
    Div,
}

impl Arith {
    /// The sign as written.
    #[must_use]
    pub const fn sign(self) -> char {
        match self {
            Self::Add => '+',
            Self::Sub => '-',
            Self::Mul => '*',
            Self::Div => '/',
        }
    }
}

impl Tree {
    /// The tree as text without places: equal for two files that say the same in other words of
    /// layout. Used to prove that formatting changes nothing, and in tests.
    #[must_use]
    pub fn outline(&self) -> String {
        let mut out = String::new();
        for item in &self.items {
            match item {
                Item::Block(block) => outline_block(&mut out, block),
                Item::Define(define) => {
                    let _ = write!(out, "(define {} {}", define.name.text, define.head.text);
                    outline_entries(&mut out, &define.entries);
                }
                Item::Use(used) => {
                    let _ = write!(out, "(use {:?})", used.path.value);
                }
                Item::Parameter(parameter) => {
                    let _ = write!(out, "(parameter {} ", parameter.name.text);
                    outline_value(&mut out, &parameter.value);
                    out.push(')');
                }
                Item::No(no) => {
                    let _ = write!(out, "(no {})", no.kind.text);
                }
            }
            out.push('\n');
        }
        out
    }
}

impl Value {
    /// The value as text without places.
    #[must_use]
    pub fn outline(&self) -> String {
        let mut out = String::new();
        outline_value(&mut out, self);
        out
    }
}

fn outline_block(out: &mut String, block: &Block) {
    let _ = write!(out, "(block {}", block.kind.text);
    if let Some(rule) = &block.from {
        let _ = write!(out, " from {}", rule.text);
    }
    if let Some(name) = &block.name {
        let _ = write!(out, " {}", name.word.text);
        if let Some(repeat) = &name.repeat {
            let _ = write!(out, "[{}..{}]", repeat.first, repeat.last);
        }
    }
    if let Some(label) = &block.label {
        let _ = write!(out, " {:?}", label.value);
    }
    if !block.row.is_empty() {
        out.push(' ');
        outline_all(out, "row", &block.row);
    }
    outline_entries(out, &block.entries);
}

fn outline_entries(out: &mut String, entries: &[Entry]) {
    for entry in entries {
        out.push(' ');
        match entry {
            Entry::Fact(fact) => {
                let _ = write!(out, "{}: ", fact.key.text);
                outline_value(out, &fact.value);
            }
            Entry::Block(block) => outline_block(out, block),
            Entry::No(no) => {
                let _ = write!(out, "(no {})", no.kind.text);
            }
        }
    }
    out.push(')');
}

fn outline_number(out: &mut String, number: &Number) {
    out.push_str(&number.digits);
    if let Some(unit) = &number.unit {
        let _ = write!(out, "_{}", unit.text);
    }
    for (digits, unit) in &number.more {
        let _ = write!(out, "_{digits}_{}", unit.text);
    }
}

fn outline_all(out: &mut String, head: &str, values: &[Value]) {
    let _ = write!(out, "({head}");
    for value in values {
        out.push(' ');
        outline_value(out, value);
    }
    out.push(')');
}

fn outline_bound(out: &mut String, sign: char, strict: bool, value: &Value) {
    let _ = write!(out, "({sign}{} ", if strict { "" } else { "=" });
    outline_value(out, value);
    out.push(')');
}

fn outline_value(out: &mut String, value: &Value) {
    match &value.kind {
        ValueKind::Unknown => out.push('?'),
        ValueKind::Absent => out.push_str("none"),
        ValueKind::Word(word) => out.push_str(word),
        ValueKind::Text(text) => {
            let _ = write!(out, "{text:?}");
        }
        ValueKind::Date { year, month, day } => {
            let _ = write!(out, "{year:04}-{month:02}-{day:02}");
        }
        ValueKind::Number(number) => outline_number(out, number),
        ValueKind::Tolerance { base, terms } => {
            out.push_str("(± ");
            outline_value(out, base);
            for term in terms {
                out.push(' ');
                outline_number(out, term);
            }
            out.push(')');
        }
        ValueKind::Range { low, high } => {
            out.push_str("(.. ");
            outline_value(out, low);
            out.push(' ');
            outline_value(out, high);
            out.push(')');
        }
        ValueKind::AtMost { value, strict } => outline_bound(out, '<', *strict, value),
        ValueKind::AtLeast { value, strict } => outline_bound(out, '>', *strict, value),
        ValueKind::OneOf(values) => outline_all(out, "|", values),
        ValueKind::List(values) => outline_all(out, ",", values),
        ValueKind::ByTurn(values) => outline_all(out, "by-turn", values),
        ValueKind::Part { head, entries } => {
            let _ = write!(out, "(part {}", head.text);
            outline_entries(out, entries);
        }
        ValueKind::Row { values, entries } => {
            outline_all(out, "row", values);
            outline_entries(out, entries);
        }
        ValueKind::PerLine(lines) => {
            out.push_str("(lines");
            for (line, value) in lines {
                let _ = write!(out, " {} ", line.text);
                outline_value(out, value);
            }
            out.push(')');
        }
        ValueKind::All(kind) => {
            let _ = write!(out, "(all {})", kind.text);
        }
        ValueKind::Indexed { word, index } => {
            let _ = write!(out, "{}[", word.text);
            outline_value(out, index);
            out.push(']');
        }
        ValueKind::Binary { op, left, right } => {
            let _ = write!(out, "({} ", op.sign());
            outline_value(out, left);
            out.push(' ');
            outline_value(out, right);
            out.push(')');
        }
        ValueKind::Bad => out.push_str("BAD"),
    }
    if let Some(origin) = &value.origin {
        let _ = write!(out, "@{}", origin.value.word());
    }
}
