//! Files, spans and problems: everything that points into a text the user wrote.

mod file;
mod files;
pub mod limits;
mod problem;

pub use file::{FileId, Position, SourceFile, Sources, Span, Spanned};
pub use files::{Disk, Entry, Files, Memory, Overlay};
pub use problem::{Label, Problem, Weight, closest};
