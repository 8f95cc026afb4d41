//! Kinds, facts, series: what can be said of an installation. Filled from rulesets; nothing of
//! any country stands here.

mod fact;
mod kind;
mod later;
mod ordered;
mod product;
mod series;
mod short;
mod word_set;
pub mod words;

pub use fact::{Bounds, Fact, FactIx, FactTexts, FactType, KindId, Openness, PRESENT, Settler};
pub use kind::{Head, Kind, NameRole, Vocabulary, Within, with_article};
pub use later::Later;
pub use ordered::in_order;
pub use product::Product;
pub use series::{Member, Series, SeriesId};
pub use short::{Mark, Meaning, Piece, Short, Unkeyed, Usual};
pub use word_set::WordSet;
pub use words::Words;

/// The line conductors, in order: the index of a line is its place here.
pub const LINES: [&str; 3] = ["L1", "L2", "L3"];
