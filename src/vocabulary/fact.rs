//! Facts: what one thing about an object is called, what values it may take, who settles it.

use serde::{Deserialize, Serialize};

use super::{Later, SeriesId, Words, words};
use crate::quantity::Unit;
use crate::source::{Span, words};

/// Names a kind of a [`super::Vocabulary`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct KindId(pub u16);

/// Index of a fact in its kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct FactIx(pub u16);

/// What kind of value a fact has.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum FactType {
    /// A number with a unit (`unit` has no dimension for pure numbers).
    Quantity {
        /// The unit it is written and shown in unless another is given.
        unit: Unit,
        /// One value for each line conductor.
        per_line: bool,
        /// Whole numbers only.
        whole: bool,
    },
    /// One of some words.
    Choice {
        /// The words.
        #[serde(with = "words")]
        words: Words,
        /// Whether their order means something.
        ordered: bool,
    },
    /// Any number of some words.
    Some {
        /// The words.
        #[serde(with = "words")]
        words: Words,
    },
    /// Yes or no.
    YesNo,
    /// Free text.
    Text,
    /// A civil date.
    Date,
    /// A part written in place.
    Part(KindId),
    /// Several parts in order.
    Parts(KindId),
    /// The name of another block.
    Reference(KindId),
    /// The names of several other blocks.
    References(KindId),
    /// All objects of a kind whose reference leads here; never written.
    Reverse {
        /// The kind of the members.
        kind: KindId,
        /// Their reference.
        fact: FactIx,
    },
}

impl FactType {
    /// The unit of a quantity.
    #[must_use]
    pub const fn unit(&self) -> Option<&Unit> {
        match self {
            Self::Quantity { unit, .. } => Some(unit),
            _ => None,
        }
    }
}

words! {
    /// Who can settle a fact, in the order in which a survey asks.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
    pub enum Settler {
        /// Found on site.
        Site = "site",
        /// Known to the network operator.
        Network = "network",
        /// Measured.
        Test = "test",
        /// Chosen by the designer.
        Designer = "designer",
        /// In the maker's data.
        Maker = "maker",
        /// Decided by the client.
        Client = "client",
        /// Settled while installing.
        Installer = "installer",
        /// Decided by an authority.
        Authority = "authority",
    }
}

/// What silence means for a collection.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Openness {
    /// What is written is all there is.
    #[default]
    Closed,
    /// Of something found as it is there may be more, until `all-listed` says not; of something
    /// new the designer has written all.
    Existing,
    /// There may be more, until `all-listed` says not.
    Always,
}

/// A one- or two-sided range of a quantity in SI units.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bounds {
    /// Lowest value; may be minus infinity.
    pub lo: f64,
    /// Highest value; may be infinity.
    pub hi: f64,
    /// Whether the lowest value itself is outside.
    pub lo_open: bool,
    /// Whether the highest value itself is outside.
    pub hi_open: bool,
}

impl Bounds {
    /// No bounds at all.
    pub const ALL: Self = Self {
        lo: f64::NEG_INFINITY,
        hi: f64::INFINITY,
        lo_open: false,
        hi_open: false,
    };

    /// Whether they hold a number, or one that differs from it by rounding alone.
    #[must_use]
    pub fn contains_nearly(&self, x: f64) -> bool {
        let slack = 1e-9 * x.abs();
        self.contains(x) || self.contains(x - slack) || self.contains(x + slack)
    }

    /// Whether a value lies inside.
    #[must_use]
    pub fn contains(&self, x: f64) -> bool {
        let low = if self.lo_open {
            x > self.lo
        } else {
            x >= self.lo
        };
        let high = if self.hi_open {
            x < self.hi
        } else {
            x <= self.hi
        };
        low && high
    }
}

/// What people read of a fact.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct FactTexts {
    /// What people call it, in a few words; its name where nothing is said.
    pub label: String,
    /// One line that says what it is.
    pub means: String,
    /// How to find it out, for a survey.
    pub ask: Option<String>,
}

impl FactTexts {
    /// A label and what the fact means; how it is found out nobody says.
    #[must_use]
    pub fn of(label: &str, means: &str) -> Later<Self> {
        Later::from(Self {
            label: label.to_owned(),
            means: means.to_owned(),
            ask: None,
        })
    }
}

/// One fact of a kind: written, derived, or both.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Fact {
    /// Its name.
    pub name: String,
    /// Other spellings that are accepted.
    pub also: Vec<String>,
    /// What people read of it.
    pub texts: Later<FactTexts>,
    /// What values it takes.
    pub ty: FactType,
    /// Who settles it.
    pub settled_by: Settler,
    /// Hard limits; the set of `?`.
    pub domain: Bounds,
    /// Outside this a value is probably a slip.
    pub plausible: Option<Bounds>,
    /// The only values that exist.
    pub series: Option<SeriesId>,
    /// No tolerance, no range.
    pub exact: bool,
    /// May be `none`.
    pub optional: bool,
    /// Whether a collection may hold more than is written.
    pub open: Openness,
    /// Not written: as at the object this reference leads to.
    pub inherits: Option<FactIx>,
    /// No ruleset may assume it.
    pub never_assumed: bool,
    /// Where an article leaves it to the rules, it may be asked of what is bought.
    pub requirable: bool,
    /// A survey asks it in its second round, unless a breach waits for nothing else.
    pub later: bool,
    /// Whether a design may write it.
    pub writable: bool,
    /// Where it is declared.
    pub span: Span,
}

/// The fact by which every block says whether what it describes is there at all.
pub const PRESENT: &str = "present";

impl Fact {
    /// A fact that any design may write, settled by the designer, without limits of its values.
    #[must_use]
    pub fn plain(name: &str, ty: FactType, span: Span) -> Self {
        Self {
            name: name.to_owned(),
            also: Vec::new(),
            texts: FactTexts::of(name, ""),
            ty,
            settled_by: Settler::Designer,
            domain: Bounds::ALL,
            plausible: None,
            series: None,
            exact: false,
            optional: false,
            open: Openness::Closed,
            inherits: None,
            never_assumed: false,
            requirable: false,
            later: false,
            writable: true,
            span,
        }
    }

    /// The words of a choice or of a set of words.
    #[must_use]
    pub const fn words(&self) -> Option<&Words> {
        match &self.ty {
            FactType::Choice { words, .. } | FactType::Some { words } => Some(words),
            _ => None,
        }
    }

    /// The unit of a quantity.
    #[must_use]
    pub const fn unit(&self) -> Option<&Unit> {
        self.ty.unit()
    }

    /// The kind that a part, reference or collection leads to.
    #[must_use]
    pub const fn target(&self) -> Option<KindId> {
        match &self.ty {
            FactType::Part(k)
            | FactType::Parts(k)
            | FactType::Reference(k)
            | FactType::References(k)
            | FactType::Reverse { kind: k, .. } => Some(*k),
            _ => None,
        }
    }
}
