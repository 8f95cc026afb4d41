//! Amperule: a design language and compliance checker for electric-vehicle charge-point
//! installations.
//!
//! Data flows one way: text → syntax tree → the ruleset that it names → design (facts with
//! spans) → derived facts → findings → report. Each module uses only those listed above it.

pub mod source;

pub mod quantity;

pub mod vocabulary;

pub mod physics;

pub mod expression;

pub mod ruleset;

pub mod design;

pub mod check;

pub mod answer;

pub mod report;

pub mod session;

pub mod command;
