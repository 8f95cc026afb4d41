//! Findings and problems → terminal, JSON. Renderers are siblings; only the terminal one knows
//! miette.

pub mod baseline;
pub mod bounds;
pub mod cautions;
mod columns;
pub mod compare;
#[cfg(feature = "cli")]
mod diagnostic;
pub mod entry;
pub mod explain;
pub mod json;
#[cfg(feature = "cli")]
pub mod junit;
mod markup;
pub mod mend;
pub mod notice;
pub mod order;
pub mod prove;
pub mod rules_schema;
pub mod sarif;
#[cfg(feature = "cli")]
pub mod screen;
pub mod sheet;
pub mod survey;
pub mod survey_form;
#[cfg(feature = "cli")]
pub mod terminal;
#[cfg(feature = "cli")]
pub mod totals;
pub mod words;
pub mod working;
mod wrap;

use std::borrow::Borrow;

use crate::answer::AllBounds;
use crate::check::Report;
use crate::ruleset::{Ruleset, Stage};
use crate::session::{Checked, Loaded};
use crate::source::{Problem, Sources};

pub use columns::columns;
#[cfg(feature = "cli")]
pub use diagnostic::{Style, Visible, render_problems};
pub use markup::filled;
#[cfg(feature = "cli")]
pub(crate) use markup::template;
pub use wrap::fit;

/// A number with its noun: `1 breach`, `2 breaches`, `0 breaches`.
pub(crate) fn plural(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// A number with its noun: `no breach`, `1 breach`, `2 breaches`.
fn counted(n: usize, one: &str, many: &str) -> String {
    match n {
        0 => format!("no {one}"),
        n => plural(n, one, many),
    }
}

/// `circuit ev`; the kind alone of what has no name.
fn called(kind: &str, name: &str) -> String {
    if kind == name {
        kind.to_owned()
    } else {
        format!("{kind} {name}")
    }
}

/// The first of many names, and how many more there are.
fn some_of<S: Borrow<str>>(names: &[S], most: usize) -> String {
    let (first, more) = names.split_at(names.len().min(most));
    match more.len() {
        0 => first.join(", "),
        n => format!("{} and {n} more", first.join(", ")),
    }
}

/// What is rendered for one design.
#[derive(Debug)]
pub struct FileReport<'a> {
    /// The path as it was given.
    pub path: &'a str,
    /// Its files.
    pub sources: &'a Sources,
    /// Mistakes and cautions about what is written.
    pub problems: &'a [Problem],
    /// The ruleset, if it could be loaded.
    pub ruleset: Option<&'a Ruleset>,
    /// The stage it was judged at.
    pub stage: Stage,
    /// The report, if it could be judged.
    pub report: Option<&'a Report>,
    /// How far each fact can go, where that was worked out.
    pub bounds: Option<&'a AllBounds>,
}

impl<'a> FileReport<'a> {
    /// A design as it was opened and judged, without its bounds.
    #[must_use]
    pub fn of(loaded: &'a Loaded, checked: &'a Checked) -> Self {
        Self {
            path: &loaded.path,
            sources: &loaded.sources,
            problems: &checked.problems,
            ruleset: loaded.ruleset.as_deref(),
            stage: loaded.stage,
            report: checked.judged.as_ref().map(|j| &j.report),
            bounds: None,
        }
    }
}
