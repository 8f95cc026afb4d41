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
use super::output::{Failure, shown};
use super::write::{Over, put};
use super::{Answer, Output, exit};

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

    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let text = self.text()?;
        match &self.file {
            Some(file) => {
                put(file, Over::Nothing, &text)?;
                out.line(&format!("wrote {}", shown(file)));
            }
            None => out.text(&text),
        }
        Ok(exit::CLEAN)
    }

    /// What is asked for: a design or a list of jobs.
    fn text(&self) -> Result<String, Failure> {
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
                return Err(missing.help(there).help("name one: --rules gb").into());
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
                    Problem::error("job-without-rules", message).help(write)
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
            Failure::from((problems, sources))
        })
    }
}

/// The newest edition of a ruleset, with its patches.
fn load(library: &Library, rules: &str) -> Result<(Request, Arc<Ruleset>), Failure> {
    let (base, patches) = split_rules(rules);
    let request = Request::newest(library, base, patches);
    let loaded = library.load(&request);
    let wrong = || Failure::from((loaded.problems, Sources::over(loaded.files)));
    loaded.ruleset.map(|r| (request, r)).ok_or_else(wrong)
}

/// The jobs of a ruleset, a line each, with the first line of its comment.
fn list(library: &Library, rules: &str) -> Result<String, Failure> {
    let jobs = library.jobs(&load(library, rules)?.0)?;
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
) -> Result<SourceFile, Failure> {
    let mut jobs = library.jobs(request)?;
    jobs.remove(job).ok_or_else(|| {
        let names: Vec<&str> = jobs.keys().map(String::as_str).collect();
        let there = match names.as_slice() {
            [] => "it has no jobs; without --job all that is asked is written".to_owned(),
            _ => format!("there are {}", names.join(", ")),
        };
        let message = format!("there is no job `{job}` for `{rules}`");
        let problem = Problem::error("unknown-job", message).help(there);
        problem.did_you_mean(job, names).into()
    })
}
