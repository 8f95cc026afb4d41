//! A design that was opened, as far as it could be.

use std::sync::Arc;

use super::installation::{Ask, Installation};
use crate::answer::Survey;
use crate::check::{Judged, Standing};
use crate::design::parse::Parsed;
use crate::design::tree::Tree;
use crate::ruleset::{Ruleset, Severity, Stage};
use crate::source::{FileId, Problem, Sources};

/// A design with everything that was said about it while it was read.
#[derive(Debug)]
pub struct Loaded {
    /// The path as it was given.
    pub path: String,
    /// Its files, and those of its ruleset.
    pub sources: Sources,
    /// The trees of its files, in the order of [`Sources::own`].
    pub(super) parsed: Vec<Arc<Parsed>>,
    /// Mistakes and cautions about what is written.
    pub problems: Vec<Problem>,
    /// The ruleset, if it could be loaded.
    pub ruleset: Option<Arc<Ruleset>>,
    /// The stage that it is judged at.
    pub stage: Stage,
    /// What can be asked about it; nothing, if there is no ruleset or no text.
    pub installation: Option<Installation>,
}

/// A design as judged.
#[derive(Debug)]
pub struct Checked {
    /// What judging gave, if there was something to judge.
    pub judged: Option<Judged>,
    /// What is open as questions, if they were asked for; none are told of a design with mistakes,
    /// since answers beyond a check rest on all of it.
    pub survey: Option<Survey>,
    /// Mistakes and cautions about what is written, those about departures included.
    pub problems: Vec<Problem>,
}

impl Loaded {
    /// One of its own files as it was parsed.
    #[must_use]
    pub fn parsed(&self, file: FileId) -> Option<&Arc<Parsed>> {
        self.parsed.get(usize::from(file.0))
    }

    /// What its other files say.
    #[must_use]
    pub fn trees_beside(&self, file: FileId) -> Vec<Tree> {
        let all = (0..).map(FileId).zip(&self.parsed);
        let others = all.filter(|(id, _)| *id != file);
        others.map(|(_, parsed)| parsed.tree.clone()).collect()
    }

    /// Whether nothing in it is written wrongly.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        !self.problems.iter().any(Problem::is_error)
    }

    /// What can be asked about a design without mistakes: answers beyond a check rest on all of
    /// it.
    #[must_use]
    pub fn sound(&self) -> Option<&Installation> {
        self.installation.as_ref().filter(|_| self.is_sound())
    }

    /// Judges what could be read.
    #[must_use]
    pub fn check(&self, ask: Ask) -> Checked {
        self.checked(ask, false)
    }

    /// The same; `questions` asks for what is open as questions, too: nothing is linked twice for
    /// them.
    #[must_use]
    pub fn checked(&self, ask: Ask, questions: bool) -> Checked {
        let questions = questions && self.is_sound();
        let of = self.installation.as_ref();
        let (judged, survey) = of.map(|i| i.judged(ask, questions)).unzip();
        let mut problems = self.problems.clone();
        if let Some(judged) = &judged {
            problems.extend(judged.problems.iter().cloned());
        }
        Checked {
            judged,
            survey: survey.flatten(),
            problems,
        }
    }

    /// Whether it was made of just these files and this ruleset, and as much was wrong with them;
    /// `set` values of parameters follow from the options.
    pub(super) fn is_over(
        &self,
        (sources, problems): (&Sources, &[Problem]),
        ruleset: &Arc<Ruleset>,
        set: usize,
    ) -> bool {
        let (mine, others) = (self.sources.own(), sources.own());
        self.ruleset.as_ref().is_some_and(|r| Arc::ptr_eq(r, ruleset))
            && mine.len() == others.len() + set
            && mine.iter().zip(others).all(|(a, b)| Arc::ptr_eq(a, b))
            // Files that cannot be read are told of, and are none of the sources.
            && self.problems.starts_with(problems)
    }
}

impl Checked {
    /// What it comes to, where everything at least as severe as `least` decides.
    #[must_use]
    pub fn standing(&self, least: Severity) -> Standing {
        match &self.judged {
            Some(judged) if !self.problems.iter().any(Problem::is_error) => {
                Standing::of(&judged.report.counts, least)
            }
            _ => Standing::Failed,
        }
    }

    /// What the part of it comes to that could be judged, mistakes or not.
    #[must_use]
    pub fn standing_judged(&self, least: Severity) -> Option<Standing> {
        let judged = self.judged.as_ref()?;
        Some(Standing::of(&judged.report.counts, least))
    }
}
