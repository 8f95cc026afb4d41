//! A design after its names are resolved: objects, and for each written fact the set of what it
//! may be, with the place where it stands.

use rustc_hash::FxHashMap;

use crate::design::tree::{Arith, Origin};
use crate::quantity::Interval;
use crate::source::{Span, Spanned, words};
use crate::vocabulary::{FactIx, KindId, WordSet};

/// Names an object of a [`Design`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ObjectId(pub u32);

/// Names a parameter of a [`Design`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ParameterId(pub u16);

words! {
    /// As found, added, changed or taken out.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
    pub enum Status {
        /// Put in by these works.
        #[default]
        New = "new",
        /// As found.
        Existing = "existing",
        /// As found, changed by these works.
        Altered = "altered",
        /// Taken out by these works.
        ToGo = "to-go",
    }
}

/// Arithmetic over parameters in a template value. All numbers in SI units; dimensions were
/// checked when it was built.
#[derive(Clone, Debug, PartialEq)]
pub enum Formula {
    /// A number.
    Number(f64),
    /// A parameter.
    Parameter(ParameterId),
    /// An operation.
    Binary(Arith, Box<Formula>, Box<Formula>),
}

impl Formula {
    /// Whether no parameter stands in it twice; `seen` are those that stood before.
    pub fn each_once(&self, seen: &mut Vec<ParameterId>) -> bool {
        match self {
            Self::Number(_) => true,
            Self::Parameter(id) => {
                let new = !seen.contains(id);
                seen.push(*id);
                new
            }
            Self::Binary(_, a, b) => a.each_once(seen) && b.each_once(seen),
        }
    }
}

/// The set of what a written fact may be.
#[derive(Clone, Debug, PartialEq)]
pub enum Possible {
    /// `?`
    Unknown,
    /// `none`
    Absent,
    /// Written wrongly; the problem is reported.
    Poison,
    /// A quantity in SI units: a point, a tolerance, a range, one-sided.
    Number(Interval),
    /// Arithmetic over parameters (only if at least one parameter occurs).
    Formula(Formula),
    /// Words of a choice; a set of one is one known word.
    Words(WordSet),
    /// Words that are in a set of words (a `some of` fact, fully known).
    Members(WordSet),
    /// Yes or no.
    Truth(bool),
    /// A text.
    Text(String),
    /// Days since 1970-01-01.
    Date(i32),
    /// A part or the object that a reference names.
    Object(ObjectId),
    /// Parts or references in order; each an [`Possible::Object`], a choice of them, or unknown.
    List(Vec<Possible>),
    /// Values of L1, L2, L3; a line that is not named is `None`.
    PerLine([Option<Box<Possible>>; 3]),
    /// One of several: at least two.
    OneOf(Vec<Possible>),
}

impl Possible {
    /// One number, in SI units.
    #[must_use]
    pub const fn point(x: f64) -> Self {
        Self::Number(Interval::point(x))
    }

    /// Whether it, or one it is made of, is such a one.
    pub fn any(&self, is: &dyn Fn(&Self) -> bool) -> bool {
        is(self)
            || match self {
                Self::List(all) | Self::OneOf(all) => all.iter().any(|p| p.any(is)),
                Self::PerLine(lines) => lines.iter().flatten().any(|p| p.any(is)),
                _ => false,
            }
    }

    /// Whether it is, or may be, or lists an object.
    #[must_use]
    pub fn leads_to(&self, id: ObjectId) -> bool {
        self.any(&|p| matches!(p, Self::Object(o) if *o == id))
    }

    /// Whether it leaves anything open.
    #[must_use]
    pub fn is_open(&self) -> bool {
        match self {
            Self::Unknown | Self::OneOf(_) | Self::Formula(_) => true,
            Self::Number(i) => i.lo < i.hi,
            Self::Words(words) => words.bits().count_ones() > 1,
            Self::List(all) => all.iter().any(Self::is_open),
            Self::PerLine(lines) => {
                let written = || lines.iter().flatten();
                written().count() < 3 || written().any(|v| v.is_open())
            }
            _ => false,
        }
    }
}

/// One written fact.
#[derive(Clone, Debug)]
pub struct Written {
    /// What it may be.
    pub value: Possible,
    /// Where the value comes from, if it says so.
    pub origin: Option<Origin>,
    /// The value in the text.
    pub span: Span,
    /// The key in the text.
    pub key: Span,
}

/// A thing of the installation.
#[derive(Clone, Debug)]
pub struct Object {
    /// What kind of thing it is.
    pub kind: KindId,
    /// Its name: as written, `bay[2]` for a repeated one, the kind's name for an unnamed block,
    /// and for a part its role, `device`, `cables 2`.
    pub name: String,
    /// Whether the name was written as one.
    pub named: bool,
    /// The label after the name.
    pub label: Option<String>,
    /// The object it is a part of.
    pub owner: Option<ObjectId>,
    /// The block it is written inside; none for a part, and at the outermost level.
    pub scope: Option<ObjectId>,
    /// Its written facts, by fact index; as long as the kind has facts, of which few are written.
    pub facts: Vec<Option<Box<Written>>>,
    /// Kinds of which it says that all are listed (`all-listed`, or `no KIND` inside it).
    pub closed: Vec<KindId>,
    /// New, existing …
    pub status: Status,
    /// It says `present: no`: nothing is judged of it, and it is no member of anything.
    pub absent: bool,
    /// `evidence`, where its kind has no such fact of its own: a photo or paper that shows it.
    pub evidence: Option<Spanned<String>>,
    /// Where it is written; for a phantom, the head of the design.
    pub span: Span,
    /// Its opening words.
    pub head: Span,
    /// Not written at all: judged because such a thing must exist.
    pub phantom: bool,
}

impl Object {
    /// A thing of which nothing is written yet, with room for as many facts as its kind has.
    #[must_use]
    pub fn silent(kind: KindId, facts: usize, name: String, span: Span, head: Span) -> Self {
        Self {
            kind,
            name,
            named: false,
            label: None,
            owner: None,
            scope: None,
            facts: vec![None; facts],
            closed: Vec::new(),
            status: Status::default(),
            absent: false,
            evidence: None,
            span,
            head,
            phantom: false,
        }
    }

    /// Whether it is not there once the work is done, so that nothing is judged of it.
    #[must_use]
    pub fn is_gone(&self) -> bool {
        self.absent || self.status == Status::ToGo
    }

    /// Whether it is written, and the works put it in or change it.
    #[must_use]
    pub fn is_of_works(&self) -> bool {
        self.stays() && self.status != Status::Existing
    }

    /// Whether it is written, and there until the works take it out.
    #[must_use]
    pub fn goes(&self) -> bool {
        !self.phantom && !self.absent && self.status == Status::ToGo
    }

    /// Whether it is written and there once the work is done.
    #[must_use]
    pub fn stays(&self) -> bool {
        !self.phantom && !self.is_gone()
    }

    /// What is written of a fact.
    #[must_use]
    pub fn written(&self, fact: FactIx) -> Option<&Written> {
        self.facts.get(fact.0 as usize)?.as_deref()
    }
}

/// A template parameter.
#[derive(Clone, Debug)]
pub struct Parameter {
    /// Its name.
    pub name: String,
    /// What it may be: never a formula, never an object.
    pub value: Possible,
    /// The value as first declared, in SI (to check `--set` and rows against).
    pub declared: Possible,
    /// The text of the unit it is written in; empty for none.
    pub unit: String,
    /// Where it is declared.
    pub span: Span,
}

/// A recorded exception to one rule, or a record that what the rules leave out was judged elsewhere.
#[derive(Clone, Debug)]
pub struct Departure {
    /// The id of the rule, or of what is left out.
    pub rule: Spanned<String>,
    /// Not departed from, but judged elsewhere.
    pub elsewhere: bool,
    /// The day on which it was judged elsewhere, in days since 1970-01-01.
    pub on: Option<Spanned<i32>>,
    /// The one subject it covers; all, if none is named.
    pub subject: Option<Spanned<ObjectId>>,
    /// Why.
    pub reason: Option<Spanned<String>>,
    /// Who agreed, or judged.
    pub agreed_by: Option<Spanned<String>>,
    /// The last day on which it holds, in days since 1970-01-01.
    pub until: Option<Spanned<i32>>,
    /// The facts of the subject that were agreed on.
    pub as_found: Option<AsFound>,
}

/// The facts of its subject that a departure rests on: it lapses when one of them differs.
#[derive(Clone, Debug)]
pub struct AsFound {
    /// The subject with the pinned facts alone, and behind it the parts written in them. In their
    /// values an [`ObjectId`] from `base` on is an index here, less `base`; any other is that of
    /// an object of the design.
    pub objects: Vec<Object>,
    /// The id of the first of `objects`.
    pub base: u32,
}

impl AsFound {
    /// The pinned part with this id; none, if the id is that of an object of the design.
    #[must_use]
    pub fn part(&self, id: ObjectId) -> Option<&Object> {
        let place = id.0.checked_sub(self.base)?;
        self.objects.get(place as usize)
    }
}

/// Everything a file (with the files it uses) says.
#[derive(Clone, Debug, Default)]
pub struct Design {
    /// The objects; an [`ObjectId`] is an index here. Phantoms come last.
    pub objects: Vec<Object>,
    /// Template parameters.
    pub parameters: Vec<Parameter>,
    /// Departures.
    pub departures: Vec<Departure>,
    /// Some block says `present`.
    pub doubted: bool,
    /// Kinds of which the design says at its top level that there are no (more) of them.
    pub closed: Vec<KindId>,
    /// Kinds of which a block could not be taken in, for a mistake in it.
    pub lost: Vec<KindId>,
    /// The newest date written anywhere, in days since 1970-01-01.
    pub newest_date: Option<i32>,
    /// How many cautions were reported about what is written: values that are hardly plausible.
    pub cautions: usize,
    /// Labels of the objects whose own name is also that of another: see [`Design::label`].
    pub(crate) labels: FxHashMap<ObjectId, String>,
}

impl Design {
    /// An object by its id.
    #[must_use]
    pub fn object(&self, id: ObjectId) -> &Object {
        &self.objects[id.0 as usize]
    }

    /// The ids of all objects.
    pub fn ids(&self) -> impl Iterator<Item = ObjectId> + use<> {
        (0..u32::try_from(self.objects.len()).unwrap_or(u32::MAX)).map(ObjectId)
    }

    /// The ids of all objects of a kind.
    pub fn of_kind(&self, kind: KindId) -> impl Iterator<Item = ObjectId> + '_ {
        self.ids().filter(move |id| self.object(*id).kind == kind)
    }

    /// The named object that an object is or belongs to.
    #[must_use]
    pub fn nearest_named(&self, id: ObjectId) -> ObjectId {
        let mut at = id;
        while let Some(owner) = self.object(at).owner {
            at = owner;
        }
        at
    }

    /// How messages name an object: `ev`, or `device of ev` for a part. Where two of a kind share
    /// a name it is the shortest that tells them apart, as a design may write it: `main.ev`.
    #[must_use]
    pub fn label(&self, id: ObjectId) -> String {
        if let Some(label) = self.labels.get(&id) {
            return label.clone();
        }
        let object = self.object(id);
        match object.owner {
            Some(owner) => format!("{} of {}", object.name, self.label(owner)),
            None => object.name.clone(),
        }
    }

    /// The name of a block with those of the blocks around it: `main.ev`.
    #[must_use]
    pub fn full_name(&self, id: ObjectId) -> String {
        let object = self.object(id);
        match object.scope {
            Some(scope) => format!("{}.{}", self.full_name(scope), object.name),
            None => object.name.clone(),
        }
    }

    /// What an object is from design to design and from edit to edit, whatever else is called
    /// alike: its roles, then the full name of the block they belong to.
    #[must_use]
    pub fn path(&self, id: ObjectId) -> String {
        let object = self.object(id);
        match object.owner {
            Some(owner) => format!("{} of {}", object.name, self.path(owner)),
            None => self.full_name(id),
        }
    }
}
