//! `amperule format`: lays designs out; never changes what they mean.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::design::format::{format, format_by};
use crate::session::{Options, Project};
use crate::source::{FileId, Problem, SourceFile, Sources};

use super::output::shown;
use super::write::{Over, put};
use super::{Answer, Output, exit};

#[derive(Debug, Args)]
pub(super) struct Format {
    /// Design files, or folders that hold some
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    /// Only says which files are not laid out so; exit code 1 if there are any
    #[arg(long)]
    check: bool,
    /// Writes out every key, mark and part that is said shortly
    #[arg(long)]
    long: bool,
}

impl Format {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let project = Project::on_disk(Vec::new());
        let (files, problems) = project.designs(&self.paths);
        let problems: Vec<Problem> = problems.into_iter().map(|(_, p)| p).collect();
        let mut code = exit::CLEAN;
        if !problems.is_empty() {
            code = out.failed(&problems.into());
        }
        for path in files {
            let name = shown(&path);
            let text = match project.text(&path) {
                Ok(t) => t,
                Err(problem) => {
                    code = out.failed(&problem.into());
                    continue;
                }
            };
            // Only the rules that a design names know its words; a file of parts names none.
            let opened = project.open(&path, &Options::default());
            let by = opened.ruleset.as_ref();
            let laid_out = match by {
                Some(ruleset) => {
                    let used = opened.trees_beside(FileId(0));
                    format_by(&text, &used, &ruleset.vocabulary, self.long)
                }
                None if self.long => Err(vec![no_rules(&path)]),
                None => format(&text),
            };
            match laid_out {
                Err(problems) => {
                    let mut sources = Sources::default();
                    sources.add(SourceFile::new(path.display().to_string(), text));
                    code = out.failed(&(problems, sources).into());
                }
                Ok(new) if new == text => {}
                Ok(_) if self.check => {
                    out.line(&format!("{name} is laid out otherwise"));
                    code = code.max(exit::BREACH);
                }
                Ok(new) => match put(&path, Over::Text(&text), &new) {
                    Ok(()) => out.line(&format!("{name} laid out")),
                    Err(problem) => code = out.failed(&problem.into()),
                },
            }
        }
        Ok(code)
    }
}

fn no_rules(path: &Path) -> Problem {
    let path = path.display();
    let text = format!(
        "`{path}` names no rules that could be read, and only they know which key is meant"
    );
    Problem::error("no-rules", text)
        .help("write `rules: gb` in its installation block, or leave out --long")
}
