//! What verdicts mean, entry by entry: sets and correlation (A), silence and existence (B),
//! tables, numbers and dates (C), layers and editions (D), departures (E6), the language's
//! ambiguities, and one small ruleset worked through by hand.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "the helpers of these tests stop where a test names what is not there"
)]

#[path = "semantics/capacity.rs"]
mod capacity;
#[path = "semantics/causes.rs"]
mod causes;
#[path = "semantics/departures.rs"]
mod departures;
#[path = "semantics/figures.rs"]
mod figures;
#[path = "semantics/layers.rs"]
mod layers;
#[path = "semantics/left_out.rs"]
mod left_out;
#[path = "semantics/lexical.rs"]
mod lexical;
#[path = "semantics/miniature.rs"]
mod miniature;
#[path = "semantics/pitfalls.rs"]
mod pitfalls;
#[path = "semantics/sets.rs"]
mod sets;
#[path = "semantics/silence.rs"]
mod silence;
#[path = "semantics/world.rs"]
mod world;
