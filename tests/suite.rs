//! The suite, as one program: it is linked once, and its tests share the two or more cores they get.

mod common;

mod answers;
mod architecture;
mod ask;
mod bad_input;
mod cautions;
mod check_values;
mod commands;
mod coverage;
mod demand;
mod designs;
mod drop;
mod faults;
mod files;
mod frozen;
mod fuzzed;
mod growth;
mod host;
mod identity;
mod jobs;
mod language;
mod layering;
mod limits;
mod lookups;
#[cfg(feature = "lsp")]
mod lsp;
mod oracle;
mod order;
mod physics;
mod products;
mod quantity;
mod readme;
mod refinement;
mod report;
mod resolve;
mod rows;
mod semantics;
mod sheet;
mod shortly;
mod snapshots;
mod solvers;
mod unseen;
mod uses;
mod words;
