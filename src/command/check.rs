//! `amperule check`: judges designs.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use rayon::prelude::*;

use crate::answer::{AllBounds, helps, margins};
use crate::check::{Judged, Outcome, Settings, check};
use crate::design::model::Design;
use crate::report::{self, FileReport};
use crate::ruleset::{Library, Ruleset, Severity, Stage};
use crate::source::Sources;

use super::read::{Read, Shelf, Wanted, design_files_of_each, parse_on, parse_set, read};
use super::{Output, exit};

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    /// For people
    Text,
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
}

impl Reading {
    pub(super) fn wanted(&self) -> Wanted {
        Wanted {
            rules: self.rules.clone(),
            edition: self.edition.clone(),
            on: self.on,
            stage: self.stage,
            set: self.set.clone(),
            ..Wanted::default()
        }
    }

    pub(super) fn shelf(&self) -> Shelf {
        Shelf::new(Library::new(self.rulesets.clone()))
    }
}

#[derive(Debug, Args)]
pub(super) struct Check {
    /// Design files, or folders that hold some
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    #[command(flatten)]
    reading: Reading,
    /// Shows what is met, too
    #[arg(long)]
    all: bool,
    /// Lets cautions decide the exit code like breaches
    #[arg(long, value_parser = ["caution", "advice"])]
    deny: Option<String>,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// A table (CSV) with a column for each parameter: the template is judged once for each row
    #[arg(long)]
    rows: Option<PathBuf>,
    /// Threads; as many as there are cores, if not given
    #[arg(long)]
    jobs: Option<usize>,
}

pub(super) fn parse_stage(text: &str) -> Result<Stage, String> {
    Stage::from_word(text).ok_or_else(|| {
        format!(
            "`{text}` is no stage; one of {}",
            Stage::ALL.map(Stage::word).join(", ")
        )
    })
}

fn judge(read: &Read, keep_met: bool) -> Option<Judged> {
    let settings = Settings {
        stage: read.stage,
        on: read.on,
        keep_met,
        ..Settings::default()
    };
    let (ruleset, design) = (read.ruleset.as_ref()?, read.design.as_ref()?);
    let mut judged = check(ruleset, design, &settings);
    help(&mut judged, ruleset, design, read.stage);
    Some(judged)
}

/// How far the facts that may turn out otherwise can go.
fn room(read: &Read) -> Option<AllBounds> {
    let (ruleset, design) = (read.ruleset.as_ref()?, read.design.as_ref()?);
    Some(margins(ruleset, design, read.stage))
}

/// Puts changes that were tried before what a rule says in general.
fn help(judged: &mut Judged, ruleset: &Ruleset, design: &Design, stage: Stage) {
    let failing: Vec<usize> = judged
        .report
        .findings
        .iter()
        .enumerate()
        .filter(|(_, f)| f.outcome == Outcome::Failed && f.severity == Severity::Breach)
        .map(|(i, _)| i)
        .collect();
    let named: Vec<(String, String)> = failing
        .iter()
        .map(|i| &judged.report.findings[*i])
        .map(|f| (f.rule.clone(), f.subject.clone()))
        .collect();
    let found = helps(ruleset, design, stage, &named);
    for (i, tried) in failing.into_iter().zip(found) {
        judged.report.findings[i].help.splice(0..0, tried);
    }
}

impl Check {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        if let Some(rows) = &self.rows {
            let how = (self.format, self.all, self.deny.as_deref());
            let [file] = self.paths.as_slice() else {
                out.note("--rows takes one template");
                return exit::FAILED;
            };
            return super::rows::run(file, rows, &self.reading, (how, self.jobs), out);
        }
        let (files, unlisted) = design_files_of_each(&self.paths);
        let mut code = exit::CLEAN;
        if !unlisted.is_empty() {
            let problems: Vec<_> = unlisted.iter().map(|(_, p)| p.clone()).collect();
            let text = report::render_problems(&problems, &Sources::default(), out.style());
            out.note(text.trim_end());
            code = exit::FAILED;
        }
        let wanted = self.reading.wanted();
        let shelf = self.reading.shelf();
        let style = out.style();
        // Of many designs the least room of each would be a flood.
        let alone = files.len() == 1;
        let one = |path: &PathBuf| {
            let mut r = read(path, &wanted, &shelf);
            let judged = judge(&r, self.all);
            if let Some(j) = &judged {
                r.problems.extend(j.problems.iter().cloned());
            }
            let code = self.code(&r, judged.as_ref());
            let room = (alone && self.format == Format::Text)
                .then(|| room(&r))
                .flatten();
            let report = FileReport {
                path: &r.path,
                sources: &r.sources,
                problems: &r.problems,
                ruleset: r.ruleset.as_deref(),
                stage: r.stage,
                report: judged.as_ref().map(|j| &j.report),
                bounds: room.as_ref(),
            };
            let text = match self.format {
                Format::Text => report::terminal::render(&report, self.all, style),
                Format::Json => report::json::file(&report, self.all),
            };
            (code, text)
        };
        // Bounded chunks keep memory flat; within one, order is that of the files.
        let pool = self
            .jobs
            .and_then(|n| rayon::ThreadPoolBuilder::new().num_threads(n).build().ok());
        let mut first = true;
        if self.format == Format::Json {
            out.text(&report::json::head());
            // A folder that cannot be listed, or holds nothing, must not go unseen there.
            let nothing = Sources::default();
            for (path, problem) in &unlisted {
                if !first {
                    out.text(",\n");
                }
                first = false;
                let entry = FileReport {
                    path: &path.display().to_string(),
                    sources: &nothing,
                    problems: std::slice::from_ref(problem),
                    ruleset: None,
                    stage: self.reading.stage.unwrap_or(Stage::Design),
                    report: None,
                    bounds: None,
                };
                out.text(&report::json::file(&entry, self.all));
            }
        }
        for chunk in files.chunks(512) {
            let done: Vec<(u8, String)> = match &pool {
                Some(p) => p.install(|| chunk.par_iter().map(one).collect()),
                None => chunk.par_iter().map(one).collect(),
            };
            for (c, text) in done {
                if self.format == Format::Json && !first {
                    out.text(",\n");
                }
                first = false;
                out.text(&text);
                code = worse(code, c);
            }
        }
        if self.format == Format::Json {
            out.text(report::json::TAIL);
        }
        code
    }

    fn code(&self, read: &Read, judged: Option<&Judged>) -> u8 {
        if read.problems.iter().any(crate::source::Problem::is_error) {
            return exit::FAILED;
        }
        let Some(j) = judged else {
            return exit::FAILED;
        };
        let counts = &j.report.counts;
        let severities: &[Severity] = match self.deny.as_deref() {
            Some("caution") => &[Severity::Breach, Severity::Caution],
            Some(_) => &Severity::ALL,
            None => &[Severity::Breach],
        };
        let some = |o: Outcome| severities.iter().any(|s| counts.cell(o, *s) > 0);
        if some(Outcome::Failed) {
            exit::BREACH
        } else if some(Outcome::Undecided) {
            exit::UNDECIDED
        } else {
            exit::CLEAN
        }
    }
}

/// The heavier of two exit codes: failed, breach, undecided, clean.
fn worse(a: u8, b: u8) -> u8 {
    let rank = |c: u8| match c {
        exit::FAILED => 3,
        exit::BREACH => 2,
        exit::UNDECIDED => 1,
        _ => 0,
    };
    if rank(b) > rank(a) { b } else { a }
}
