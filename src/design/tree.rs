//! The syntax tree of a design file: what is written, before anything is known of kinds, facts
//! or units. Every node keeps the place it was written at.

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

impl Word {
    /// A word in its folded spelling, at a place.
    #[must_use]
    pub const fn new(text: String, span: Span) -> Self {
        Self { text, span }
    }
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

impl Block {
    /// Its opening words.
    #[must_use]
    pub fn head(&self) -> Span {
        let name = self.name.as_ref().map(|n| n.word.span);
        let repeat = self.name.as_ref().and_then(|n| n.repeat.as_ref());
        let label = self.label.as_ref().map(|l| l.span);
        let behind = [name, repeat.map(|r| r.span), label];
        behind.into_iter().flatten().fold(self.kind.span, Span::to)
    }
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

/// The blocks among some entries.
pub fn blocks_in(entries: &[Entry]) -> impl Iterator<Item = &Block> {
    entries.iter().filter_map(|entry| match entry {
        Entry::Block(block) => Some(block),
        _ => None,
    })
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
    /// Whether its colon is missing, which was told: what stands as its key may be no key at all.
    pub no_colon: bool,
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
            no_colon: false,
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
    /// A value that does not say where it comes from.
    #[must_use]
    pub const fn plain(kind: ValueKind, span: Span) -> Self {
        Self {
            kind,
            origin: None,
            span,
        }
    }

    /// `post[1..6]`: each of them by its number.
    #[must_use]
    pub fn members(word: &Word, repeat: &Repeat, span: Span) -> Self {
        let one = |number: u32| {
            let number = ValueKind::Number(Number::bare(number.to_string(), span));
            let (word, index) = (word.clone(), Box::new(Self::plain(number, span)));
            Self::plain(ValueKind::Indexed { word, index }, span)
        };
        let all = (repeat.first..=repeat.last).map(one).collect();
        Self::plain(ValueKind::List(all), span)
    }

    /// The values that it is made of, in order; what stands inside the braces of a part is none.
    pub fn inner(&self) -> impl Iterator<Item = &Self> {
        let (one, other, all): (Option<&Self>, Option<&Self>, &[Self]) = match &self.kind {
            ValueKind::Tolerance { base: value, .. }
            | ValueKind::AtMost { value, .. }
            | ValueKind::AtLeast { value, .. }
            | ValueKind::Indexed { index: value, .. } => (Some(value), None, &[]),
            ValueKind::Range { low, high } => (Some(low), Some(high), &[]),
            ValueKind::Binary { left, right, .. } => (Some(left), Some(right), &[]),
            ValueKind::OneOf(values)
            | ValueKind::List(values)
            | ValueKind::ByTurn(values)
            | ValueKind::Row { values, .. } => (None, None, values),
            _ => (None, None, &[]),
        };
        let lines: &[(Word, Self)] = match &self.kind {
            ValueKind::PerLine(lines) => lines,
            _ => &[],
        };
        let values = one.into_iter().chain(other).chain(all);
        values.chain(lines.iter().map(|(_, value)| value))
    }

    /// The members of a list; of what is none, itself.
    #[must_use]
    pub fn listed(&self) -> &[Self] {
        match &self.kind {
            ValueKind::List(values) => values,
            _ => std::slice::from_ref(self),
        }
    }

    /// Whether a mistake was reported for this value or for a piece of it.
    #[must_use]
    pub fn is_bad(&self) -> bool {
        matches!(self.kind, ValueKind::Bad) || self.inner().any(Self::is_bad)
    }
}

words! {
    /// Where a value comes from.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
    pub enum Origin {
        /// `(measured)`
        Measured = "measured",
        /// `(calculated)`
        Calculated = "calculated",
        /// `(by-enquiry)`
        ByEnquiry = "by-enquiry",
        /// `(declared)`
        Declared = "declared",
        /// `(assumed)`
        Assumed = "assumed",
        /// `(required)`: asked of what is bought; from the verify stage on it says nothing.
        Required = "required",
    }
}

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
    /// A number without a unit.
    #[must_use]
    pub const fn bare(digits: String, span: Span) -> Self {
        Self {
            digits,
            unit: None,
            more: Vec::new(),
            span,
        }
    }

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
        let item = |item: &Item| match item {
            Item::Block(block) => block.outline(),
            Item::Define(define) => {
                let (name, head) = (&define.name.text, &define.head.text);
                format!("(define {name} {head}{}", entries(&define.entries))
            }
            Item::Use(used) => format!("(use {:?})", used.path.value),
            Item::Parameter(parameter) => {
                let value = parameter.value.outline();
                format!("(parameter {} {value})", parameter.name.text)
            }
            Item::No(no) => format!("(no {})", no.kind.text),
        };
        self.items.iter().map(|i| item(i) + "\n").collect()
    }
}

impl Block {
    fn outline(&self) -> String {
        let mut out = format!("(block {}", self.kind.text);
        if let Some(rule) = &self.from {
            out += &format!(" from {}", rule.text);
        }
        if let Some(name) = &self.name {
            out += &format!(" {}", name.word.text);
            if let Some(repeat) = &name.repeat {
                out += &format!("[{}..{}]", repeat.first, repeat.last);
            }
        }
        if let Some(label) = &self.label {
            out += &format!(" {:?}", label.value);
        }
        if !self.row.is_empty() {
            out += &format!(" {}", all("row", &self.row));
        }
        out + &entries(&self.entries)
    }
}

fn entries(all: &[Entry]) -> String {
    let entry = |entry: &Entry| match entry {
        Entry::Fact(fact) => format!(" {}: {}", fact.key.text, fact.value.outline()),
        Entry::Block(block) => format!(" {}", block.outline()),
        Entry::No(no) => format!(" (no {})", no.kind.text),
    };
    all.iter().map(entry).collect::<String>() + ")"
}

fn all(head: &str, values: &[Value]) -> String {
    let values = values.iter().map(|v| format!(" {}", v.outline()));
    format!("({head}{})", values.collect::<String>())
}

impl Number {
    fn outline(&self) -> String {
        let unit = self.unit.iter().map(|u| format!("_{}", u.text));
        let more = self.more.iter().map(|(d, u)| format!("_{d}_{}", u.text));
        self.digits.clone() + &unit.chain(more).collect::<String>()
    }
}

impl Value {
    /// The value as text without places.
    #[must_use]
    pub fn outline(&self) -> String {
        let equal = |strict: bool| if strict { "" } else { "=" };
        let text = match &self.kind {
            ValueKind::Unknown => "?".to_owned(),
            ValueKind::Absent => "none".to_owned(),
            ValueKind::Word(word) => word.clone(),
            ValueKind::Text(text) => format!("{text:?}"),
            ValueKind::Date { year, month, day } => format!("{year:04}-{month:02}-{day:02}"),
            ValueKind::Number(number) => number.outline(),
            ValueKind::Tolerance { base, terms } => {
                let terms = terms.iter().map(|t| format!(" {}", t.outline()));
                format!("(± {}{})", base.outline(), terms.collect::<String>())
            }
            ValueKind::Range { low, high } => format!("(.. {} {})", low.outline(), high.outline()),
            ValueKind::AtMost { value, strict } => {
                format!("(<{} {})", equal(*strict), value.outline())
            }
            ValueKind::AtLeast { value, strict } => {
                format!("(>{} {})", equal(*strict), value.outline())
            }
            ValueKind::OneOf(values) => all("|", values),
            ValueKind::List(values) => all(",", values),
            ValueKind::ByTurn(values) => all("by-turn", values),
            ValueKind::Part { head, entries: own } => {
                format!("(part {}{}", head.text, entries(own))
            }
            ValueKind::Row {
                values,
                entries: own,
            } => all("row", values) + &entries(own),
            ValueKind::PerLine(lines) => {
                let lines = lines
                    .iter()
                    .map(|(l, v)| format!(" {} {}", l.text, v.outline()));
                format!("(lines{})", lines.collect::<String>())
            }
            ValueKind::All(kind) => format!("(all {})", kind.text),
            ValueKind::Indexed { word, index } => format!("{}[{}]", word.text, index.outline()),
            ValueKind::Binary { op, left, right } => {
                format!("({} {} {})", op.sign(), left.outline(), right.outline())
            }
            ValueKind::Bad => "BAD".to_owned(),
        };
        match &self.origin {
            Some(origin) => format!("{text}@{}", origin.value.word()),
            None => text,
        }
    }
}
