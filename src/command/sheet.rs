//! `amperule sheet`: what is to be built and tested.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::answer::sheet;
use crate::check::{Outcome, Settings, check};
use crate::report::sheet::{SheetOf, html, json, text};
use crate::ruleset::{Severity, Stage};

use super::check::Reading;
use super::one::read_one;
use super::{Output, exit};

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Form {
    /// Plain text
    Text,
    /// A page that prints well
    Html,
    /// For programs
    Json,
}

#[derive(Debug, Args)]
pub(super) struct SheetFor {
    /// A design file
    file: PathBuf,
    #[command(flatten)]
    reading: Reading,
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
}

impl SheetFor {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let Some(one) = read_one(&self.file, &self.reading, out) else {
            return exit::FAILED;
        };
        // What is judged of readings and papers later is no reason not to build.
        let judged = check(
            &one.ruleset,
            &one.design,
            &Settings {
                stage: Stage::Design,
                on: one.on,
                ..Settings::default()
            },
        );
        let count = |outcome: Outcome| {
            let all = judged.report.findings.iter();
            all.filter(|f| f.outcome == outcome && f.severity == Severity::Breach)
                .count()
        };
        let head = SheetOf {
            installation: one.installation(),
            rules: one.ruleset.edition.title.clone(),
            breaches: count(Outcome::Failed),
            open: count(Outcome::Undecided),
        };
        let s = sheet(&one.ruleset, &one.design);
        match self.format {
            Form::Text => out.text(&text(&head, &s)),
            Form::Html => out.text(&html(&head, &s)),
            Form::Json => out.line(&json(&one.path, &head, &s).to_string()),
        }
        exit::CLEAN
    }
}
