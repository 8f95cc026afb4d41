//! `amperule new`: a file to start from.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;

use crate::answer::{from_job, starter};
use crate::design::format::format;
use crate::ruleset::{Library, Request, Ruleset, Stage};
use crate::session::{Config, split_rules};
use crate::source::{Problem, SourceFile, Sources, visible_line};

use super::args::parse_stage;
use super::write::{Over, Writing, write};
use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct New {
    /// The file to write, which must not exist yet; standard output, if none is named
    file: Option<PathBuf>,
    /// The ruleset and its patches, as a design names them: `gb`, `us` or `gb + our-firm`
    #[arg(long)]
    rules: Option<String>,
    /// Lists the typical jobs of the ruleset, or of all rulesets if none is named
    #[arg(long, conflicts_with_all = ["file", "job", "name", "stage"])]
    list: bool,
    /// Starts from a typical job, with a `?` for what a visit finds out
    #[arg(long, conflicts_with = "stage")]
    job: Option<String>,
    /// The name of the installation
    #[arg(long, default_value = "New installation")]
    name: String,
    /// Asks for everything up to this stage: survey, design, verify or handover
    #[arg(long, value_parser = parse_stage, default_value = "design")]
    stage: Stage,
    /// A folder that holds rulesets, besides those in the program
    #[arg(long)]
    rulesets: Vec<PathBuf>,
}

impl New {
    /// Takes what holds for the folder behind what the command line says.
    pub(super) fn take(&mut self, config: &Config) {
        self.rulesets.extend_from_slice(&config.rulesets);
        if !self.list && self.rules.is_none() {
            self.rules.clone_from(&config.defaults.rules);
        }
    }

    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let text = match self.text() {
            Ok(text) => text,
            Err((problems, sources)) => {
                out.problems(&problems, &sources);
                return exit::FAILED;
            }
        };
        let Some(file) = &self.file else {
            out.text(&text);
            return exit::CLEAN;
        };
        let writing = Writing {
            path: file,
            over: Over::Nothing,
            text: &text,
        };
        match write(&[writing]) {
            Ok(()) => {
                let file = file.display().to_string();
                out.line(&format!("wrote {}", visible_line(&file)));
                exit::CLEAN
            }
            Err(problem) => {
                out.problem(problem);
                exit::FAILED
            }
        }
    }

    /// What is asked for: a design or a list of jobs.
    fn text(&self) -> Result<String, Wrong> {
        let library = Library::new(self.rulesets.clone());
        let rules = match &self.rules {
            Some(rules) => rules,
            None if self.list => {
                let all = library.names();
                return all.iter().map(|rules| list(&library, rules)).collect();
            }
            None => {
                let there = format!("there are {}", library.names().join(", "));
                let missing = Problem::error("no-ruleset-named", "no ruleset is named");
                return Err(wrong(missing.help(there).help("name one: --rules gb")));
            }
        };
        if self.list {
            let jobs = list(&library, rules)?;
            let none = || format!("{rules}: no jobs\n");
            return Ok(if jobs.is_empty() { none() } else { jobs });
        }
        let (request, ruleset) = load(&library, rules)?;
        let (from, text) = match &self.job {
            Some(job) => {
                let file = job_named(&library, &request, job, rules)?;
                let text = from_job(file.text(), rules, &self.name).ok_or_else(|| {
                    let message = format!("`{}` does not say its name and rules", file.name());
                    let write = "write `installation \"New installation\" { rules: gb }` in it";
                    wrong(Problem::error("job-without-rules", message).help(write))
                })?;
                (file.name().to_owned(), text)
            }
            None => {
                let text = starter(&ruleset, rules, &self.name, self.stage);
                ("new design".to_owned(), text)
            }
        };
        format(&text).map_err(|problems| {
            let mut sources = Sources::default();
            sources.add(SourceFile::new(from, text));
            (problems, sources)
        })
    }
}

/// What keeps a file from being made.
type Wrong = (Vec<Problem>, Sources);

fn wrong(problem: Problem) -> Wrong {
    (vec![problem], Sources::default())
}

/// The newest edition of a ruleset, with its patches.
fn load(library: &Library, rules: &str) -> Result<(Request, Arc<Ruleset>), Wrong> {
    let (base, patches) = split_rules(rules);
    let request = Request::newest(library, base, patches);
    let loaded = library.load(&request);
    let wrong = (loaded.problems, Sources::over(loaded.files));
    loaded.ruleset.map(|r| (request, r)).ok_or(wrong)
}

/// The jobs of a ruleset, a line each, with the first line of its comment.
fn list(library: &Library, rules: &str) -> Result<String, Wrong> {
    let jobs = library.jobs(&load(library, rules)?.0).map_err(wrong)?;
    let width = jobs.keys().map(|n| n.chars().count()).max().unwrap_or(0);
    let line = |(name, job): (&String, &SourceFile)| {
        let about = job.text().lines().next().unwrap_or_default();
        let about = about.trim_start_matches(['#', ' ']);
        visible_line(&format!("{rules}  {name:width$}  {about}")).into_owned() + "\n"
    };
    Ok(jobs.iter().map(line).collect())
}

fn job_named(
    library: &Library,
    request: &Request,
    job: &str,
    rules: &str,
) -> Result<SourceFile, Wrong> {
    let mut jobs = library.jobs(request).map_err(wrong)?;
    jobs.remove(job).ok_or_else(|| {
        let names: Vec<&str> = jobs.keys().map(String::as_str).collect();
        let there = match names.as_slice() {
            [] => "it has no jobs; without --job all that is asked is written".to_owned(),
            _ => format!("there are {}", names.join(", ")),
        };
        let message = format!("there is no job `{job}` for `{rules}`");
        let problem = Problem::error("unknown-job", message).help(there);
        wrong(problem.did_you_mean(job, names))
    })
}
