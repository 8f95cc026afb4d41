//! Answers beyond yes and no, read from the same registers: values and their workings.

mod working;

pub use working::{Figure, Input, Working, WorkingStep, value, worked_facts, working};
