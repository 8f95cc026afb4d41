//! Series of standard values: sizes, ratings.

use serde::{Deserialize, Serialize};

use super::WordSet;
use crate::quantity::{Interval, Unit, format_quantity};

/// Names a series of a [`super::Vocabulary`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct SeriesId(pub u16);

/// One value of a series; some have names of their own (`6 AWG`).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Member {
    /// The value in SI units.
    pub value: f64,
    /// The name, where the trade does not use the figure.
    pub name: Option<String>,
}

impl Member {
    /// As a design writes it: by its name, or its figure in this unit.
    #[must_use]
    pub fn shown(&self, unit: &Unit) -> String {
        let figure = || format_quantity(self.value, unit, 6);
        self.name.clone().unwrap_or_else(figure)
    }
}

/// Values of which a fact takes exactly one, ascending.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Series {
    /// The name rulesets use.
    pub name: String,
    /// The unit its members are written in.
    pub unit: Unit,
    /// The members, ascending, at most [`Series::MOST`].
    pub members: Vec<Member>,
}

impl Series {
    /// The most members a series may have: a choice among them is one set.
    pub const MOST: usize = WordSet::MOST;

    /// From the least member to the greatest; nothing, if there are none.
    #[must_use]
    pub fn range(&self) -> Option<Interval> {
        let (first, last) = (self.members.first()?, self.members.last()?);
        Some(Interval::new(first.value, last.value))
    }

    /// The member with this name, e.g. `6 AWG`; blanks do not matter.
    #[must_use]
    pub fn named(&self, name: &str) -> Option<&Member> {
        let plain = |s: &str| s.split_whitespace().collect::<String>();
        let wanted = plain(name);
        self.members
            .iter()
            .find(|m| m.name.as_deref().is_some_and(|n| plain(n) == wanted))
    }

    /// The member with this value (to one part in 10⁹).
    #[must_use]
    pub fn at(&self, value: f64) -> Option<&Member> {
        Self::among(&self.members, value)
    }

    /// The one of some members with this value.
    #[must_use]
    pub fn among(members: &[Member], value: f64) -> Option<&Member> {
        members
            .iter()
            .find(|m| (m.value - value).abs() <= 1e-9 * m.value.abs().max(value.abs()))
    }
}
