//! Options that several verbs share, and the project they open designs from.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::{Args, ValueEnum};

use crate::quantity::parse_date;
use crate::ruleset::Stage;
use crate::session::{Config, Defaults, Installation, Loaded, Options, Project};

use super::output::Failure;

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    /// For people
    Text,
    /// For programs
    Json,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Pages {
    /// For people
    Text,
    /// A page that prints well
    Html,
    /// For programs
    Json,
}

/// Options that say how designs are read.
#[derive(Debug, Args)]
pub(super) struct Reading {
    /// The ruleset and its patches, instead of the one the design names: `gb` or `gb + our-firm`
    #[arg(long)]
    rules: Option<String>,
    /// The edition, instead of the one in force
    #[arg(long)]
    edition: Option<String>,
    /// Today, for editions and departures: 2026-11-02
    #[arg(long, value_parser = parse_on)]
    on: Option<i32>,
    /// The stage reached: survey, design, verify or handover
    #[arg(long, value_parser = parse_stage)]
    stage: Option<Stage>,
    /// Sets a parameter of a template: run=12m
    #[arg(long, value_parser = parse_set)]
    set: Vec<(String, String)>,
    /// A folder that holds rulesets, besides those in the program
    #[arg(long)]
    rulesets: Vec<PathBuf>,
    /// Lets `use` read files outside of the design's folder
    #[arg(long)]
    allow_outside: bool,
    #[arg(skip)]
    defaults: Defaults,
}

impl Reading {
    /// Takes what holds for the folder behind what the command line says.
    pub(super) fn take(&mut self, config: &Config) {
        self.rulesets.extend(config.rulesets.iter().cloned());
        self.defaults.clone_from(&config.defaults);
    }

    pub(super) fn options(&self) -> Options {
        Options {
            rules: self.rules.clone(),
            edition: self.edition.clone(),
            on: self.on,
            stage: self.stage,
            set: self.set.clone(),
            allow_outside: self.allow_outside,
            defaults: self.defaults.clone(),
        }
    }

    /// The project of the one run that a process is for. It ends with the process: to take its
    /// rulesets apart first would cost an eighth of a small check.
    pub(super) fn project(&self) -> &'static Project {
        Box::leak(Box::new(Project::on_disk(self.rulesets.clone())))
    }

    /// Opens the one design that a command is about; with mistakes in it nothing is answered
    /// about it.
    pub(super) fn one(&self, path: &Path) -> Result<One, Failure> {
        let project = self.project();
        let options = self.options();
        let loaded = project.open(path, &options);
        let Some(installation) = loaded.sound().cloned() else {
            let wrong = (loaded.problems.clone(), loaded.sources.clone());
            return Err(Failure::from(wrong));
        };
        Ok(One {
            project,
            options,
            loaded,
            installation,
        })
    }
}

/// A design without mistakes, and where it came from.
pub(super) struct One {
    pub(super) project: &'static Project,
    pub(super) options: Options,
    pub(super) loaded: Arc<Loaded>,
    pub(super) installation: Installation,
}

pub(super) fn parse_stage(text: &str) -> Result<Stage, String> {
    Stage::from_word(text).ok_or_else(|| {
        format!(
            "`{text}` is no stage; one of {}",
            Stage::ALL.map(Stage::word).join(", ")
        )
    })
}

/// Reads `--on 2026-11-02`.
pub(super) fn parse_on(text: &str) -> Result<i32, String> {
    parse_date(text).map_err(|_| format!("`{text}` is not a date; write it like 2026-11-02"))
}

/// Reads `--set run=12 m`.
fn parse_set(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((name, value)) if !name.trim().is_empty() && !value.trim().is_empty() => {
            Ok((name.trim().to_owned(), value.trim().to_owned()))
        }
        _ => Err(format!(
            "`{text}` is not of the form name=value, like run=12m"
        )),
    }
}
