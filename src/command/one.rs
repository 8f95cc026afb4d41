//! Reading the one design that a command is about.

use std::path::Path;
use std::sync::Arc;

use crate::design::model::Design;
use crate::report::render_problems;
use crate::ruleset::{Ruleset, Stage};
use crate::source::{Problem, Sources};

use super::Output;
use super::check::Reading;
use super::read::{Shelf, read};

/// A design without mistakes, and the ruleset it is judged by.
pub(super) struct One {
    pub(super) path: String,
    pub(super) sources: Sources,
    pub(super) ruleset: Arc<Ruleset>,
    pub(super) design: Design,
    pub(super) stage: Stage,
    pub(super) on: Option<i32>,
    pub(super) shelf: Shelf,
}

/// Reads a design; mistakes in it are written out, and nothing is answered about it.
pub(super) fn read_one(path: &Path, reading: &Reading, out: &mut Output) -> Option<One> {
    let shelf = reading.shelf();
    let r = read(path, &reading.wanted(), &shelf);
    if r.problems.iter().any(Problem::is_error) {
        let text = render_problems(&r.problems, &r.sources, out.style());
        out.note(text.trim_end());
        return None;
    }
    Some(One {
        path: r.path,
        sources: r.sources,
        ruleset: r.ruleset?,
        design: r.design?,
        stage: r.stage,
        on: r.on,
        shelf,
    })
}

impl One {
    /// What the installation is called.
    pub(super) fn installation(&self) -> String {
        crate::check::installation_name(&self.ruleset, &self.design)
    }
}
