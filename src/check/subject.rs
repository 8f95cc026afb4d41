//! What a rule was judged for, or a figure is of.

use std::fmt;

use crate::design::model::{Design, ObjectId};

/// An object of a design: by identity inside the design, by its path between designs or two
/// versions of one, and by its label for people.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Subject {
    /// The object.
    pub id: ObjectId,
    /// How messages name it; no two objects of a kind share one.
    pub label: String,
    /// Its roles and full name, whatever else is called alike.
    pub path: String,
}

impl Subject {
    /// An object of a design.
    #[must_use]
    pub fn new(design: &Design, id: ObjectId) -> Self {
        Self {
            id,
            label: design.label(id),
            path: design.path(id),
        }
    }
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.label)
    }
}
