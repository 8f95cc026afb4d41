//! The design language: text → syntax tree → facts; and its formatter.

pub mod format;
pub mod model;
pub mod parse;
pub mod resolve;
pub mod tree;
