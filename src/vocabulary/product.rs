//! Generic products that a ruleset knows by name: what is asked of a thing that is yet to be
//! bought, common to all makers.

use serde::{Deserialize, Serialize};

use crate::source::Span;

/// A generic product.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Product {
    /// The name a design uses behind `as`, or to open a part.
    pub name: String,
    /// The word that opens what it is: `charge-point`, `armoured`.
    pub is: String,
    /// What it is, for people.
    pub means: String,
    /// Its facts, as a design writes them between braces.
    pub says: String,
    /// Where its values come from.
    pub source: String,
    /// Where it stands.
    pub span: Span,
}
