//! Rulesets: YAML → layers merged for one edition → compiled vocabulary, tables, derivations and
//! rules.

mod cases;
mod causes;
mod compile;
mod context;
mod cycles;
mod edition;
pub mod freeze;
mod frozen;
mod layers;
mod left_out;
mod library;
mod lower_assume;
mod lower_expect;
mod lower_fact_type;
mod lower_mend;
mod lower_products;
mod lower_rules;
mod lower_series;
mod lower_short;
mod lower_tables;
mod lower_tell;
mod lower_vocabulary;
mod merged;
mod model;
mod ranges;
mod reader;
mod reads;
mod replacing;
pub mod schema;
mod shipped;
mod template;
pub mod yaml;

pub use cases::{Case, CaseFile, Patch, check_cases, read_cases};
pub use edition::{Edition, Request};
pub use layers::first_digits;
pub use library::{Library, Loaded};
pub use model::{
    Assumed, Assumption, Cause, ChangeCost, Confidence, Derivation, Expectation, Figure, LeftOut,
    Listed, Mending, Origin, Path, Requirement, Rule, RuleTexts, Ruleset, Severity, Stage, Stock,
    StockBlock, Telling, Toward, Way,
};
pub use reads::{Facts, Figures, Reader};
pub use template::{Piece, Template, default_unit};
