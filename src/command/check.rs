//! `amperule check`: judges designs.

use std::path::{Path, PathBuf};

use clap::Args;
use rayon::prelude::*;

use crate::check::Standing;
use crate::report::{self, FileReport, Style, Visible};
use crate::ruleset::{Severity, Stage};
use crate::session::{Ask, Options, Project};
use crate::source::{Problem, Sources};

use super::Output;
use super::args::{Format, Reading};

/// Designs judged before they are printed: memory stays flat, and order is that of the files.
const CHUNK: usize = 512;

#[derive(Debug, Args)]
pub(super) struct Check {
    /// Design files, or folders that hold some
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    #[command(flatten)]
    reading: Reading,
    /// Shows what is met, too
    #[arg(long)]
    pub(super) all: bool,
    /// Lets cautions decide the exit code like breaches
    #[arg(long, value_parser = ["caution", "advice"])]
    deny: Option<String>,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub(super) format: Format,
    /// A table (CSV) with a column for each parameter: the template is judged once for each row
    #[arg(long)]
    rows: Option<PathBuf>,
    /// Threads; as many as there are cores, if not given
    #[arg(long)]
    jobs: Option<usize>,
}

impl Check {
    /// The lightest severity that decides the exit code.
    pub(super) fn least(&self) -> Severity {
        let named = self.deny.as_deref().and_then(Severity::from_word);
        named.unwrap_or(Severity::Breach)
    }

    /// Threads of a number of their own, if one is asked for.
    pub(super) fn pool(&self) -> Option<rayon::ThreadPool> {
        let jobs = self.jobs?;
        let pool = rayon::ThreadPoolBuilder::new().num_threads(jobs);
        pool.build().ok()
    }

    pub(super) fn run(&self, out: &mut Output) -> u8 {
        if let Some(rows) = &self.rows {
            let [file] = self.paths.as_slice() else {
                out.note("--rows takes one template");
                return Standing::Failed.code();
            };
            return super::rows::run(self, &self.reading, file, rows, out).code();
        }
        let project = self.reading.project();
        let options = self.reading.options();
        let (files, unlisted) = project.designs(&self.paths);
        let mut standing = Standing::Clean;
        if !unlisted.is_empty() {
            let problems: Vec<_> = unlisted.iter().map(|(_, p)| p.clone()).collect();
            out.problems(&problems, &Sources::default());
            standing = Standing::Failed;
        }
        let style = out.style();
        // Of many designs the least room of each would be a flood.
        let alone = files.len() == 1;
        let one = |path: &PathBuf| self.one(path, &project, &options, alone, style);
        let pool = self.pool();
        let mut entries = Entries {
            json: self.format == Format::Json,
            first: true,
        };
        entries.head(out);
        if self.format == Format::Json {
            // A folder that cannot be listed, or holds nothing, must not go unseen there.
            for (path, problem) in &unlisted {
                let stage = options.stage.unwrap_or(Stage::Design);
                let mut text = Visible::default();
                text.json(&self.unlisted(path, problem, stage));
                entries.text(&text, out);
            }
        }
        for chunk in files.chunks(CHUNK) {
            let judge = || chunk.par_iter().map(one).collect();
            let done: Vec<(Standing, Visible)> = match &pool {
                Some(pool) => pool.install(judge),
                None => judge(),
            };
            for (came_to, text) in done {
                entries.text(&text, out);
                standing = standing.max(came_to);
            }
        }
        entries.tail(out);
        standing.code()
    }

    /// Judges one design and renders its report.
    fn one(
        &self,
        path: &Path,
        project: &Project,
        options: &Options,
        alone: bool,
        style: Style,
    ) -> (Standing, Visible) {
        let loaded = project.open(path, options);
        let checked = loaded.check(Ask {
            met: self.all,
            helps: true,
        });
        let margins = (alone && self.format == Format::Text)
            .then(|| loaded.installation.as_ref().map(|i| i.margins()))
            .flatten();
        let report = FileReport {
            path: &loaded.path,
            sources: &loaded.sources,
            problems: &checked.problems,
            ruleset: loaded.ruleset.as_deref(),
            stage: loaded.stage,
            report: checked.judged.as_ref().map(|j| &j.report),
            bounds: margins.as_ref(),
        };
        let text = match self.format {
            Format::Text => report::terminal::render(&report, self.all, style),
            Format::Json => {
                let mut text = Visible::default();
                text.json(&report::json::file(&report, self.all));
                text
            }
        };
        (checked.standing(self.least()), text)
    }

    fn unlisted(&self, path: &Path, problem: &Problem, stage: Stage) -> String {
        let entry = FileReport {
            path: &path.display().to_string(),
            sources: &Sources::default(),
            problems: std::slice::from_ref(problem),
            ruleset: None,
            stage,
            report: None,
            bounds: None,
        };
        report::json::file(&entry, self.all)
    }
}

/// Reports one after the other; in JSON the members of a list.
struct Entries {
    json: bool,
    first: bool,
}

impl Entries {
    fn head(&self, out: &mut Output) {
        if self.json {
            out.json_part(&report::json::head());
        }
    }

    fn text(&mut self, text: &Visible, out: &mut Output) {
        if self.json && !self.first {
            out.json_part(",\n");
        }
        self.first = false;
        out.visible(text);
    }

    fn tail(&self, out: &mut Output) {
        if self.json {
            out.json_part(report::json::TAIL);
        }
    }
}
