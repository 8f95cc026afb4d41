//! The door for hosts: a project of texts and rulesets, designs opened from it, and every question
//! that can be asked about them. Results are data with identities; nothing here renders.
//!
//! The command line, tests and benchmarks come through here, and so can an editor or a page: see
//! the front page of the crate for how to judge one text.

mod answering;
#[cfg(feature = "cli")]
mod config;
mod installation;
mod kept;
mod loaded;
mod mending;
mod open;
mod options;
mod project;
mod rows;

pub use answering::{Answered, Given, answer, answer_all, read_off};
#[cfg(feature = "cli")]
pub use config::{CONFIG, Config};
pub use installation::{Ask, Installation};
pub use loaded::{Checked, Loaded};
pub use mending::Mending;
pub use options::{Defaults, Options, split_rules};
pub use project::Project;
pub use rows::{RowResult, Rows, Unmet, Verdict};
