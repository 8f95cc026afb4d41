//! What verdicts mean, entry by entry: sets and correlation (A), silence and existence (B),
//! tables, numbers and dates (C), layers and editions (D), departures (E6), the language's
//! ambiguities, and one small ruleset worked through by hand.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "the helpers of these tests stop where a test names what is not there"
)]

mod capacity;
mod causes;
mod departures;
mod figures;
mod layers;
mod left_out;
mod lexical;
mod lists;
mod miniature;
mod pitfalls;
mod presence;
mod sets;
mod silence;
mod world;
