//! Files, spans and problems: everything that points into a text the user wrote.

mod file;
mod files;
pub mod limits;
mod problem;
mod visible;
mod words_of;

pub use file::{FileId, Position, SourceFile, Sources, Span, Spanned};
pub use files::{Disk, Entry, Files, Memory, Overlay};
pub use problem::{Label, Problem, Reports, Weight, closest};
pub use visible::{is_unseen, visible, visible_json, visible_line};
pub(crate) use words_of::words;
