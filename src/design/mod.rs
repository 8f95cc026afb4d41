//! The design language: text → syntax tree → facts; and its formatter.

pub mod cursor;
mod fold;
pub mod format;
mod grammar;
mod layout;
mod lower;
mod lower_mistakes;
mod lower_tree;
mod lower_value;
pub mod model;
pub mod parse;
mod required;
pub mod resolve;
mod syntax_errors;
pub mod tree;
