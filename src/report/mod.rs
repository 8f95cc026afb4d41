//! Findings and problems → terminal, JSON. Renderers are siblings; only the terminal one knows
//! miette.

mod diagnostic;
pub mod terminal;

pub use diagnostic::{Style, Weighting, render_problems};
