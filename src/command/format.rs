//! `amperule format`: lays designs out; never changes what they mean.

use std::path::PathBuf;

use clap::Args;

use crate::design::format::format;
use crate::session::Project;
use crate::source::{Problem, SourceFile, Sources, visible_line};

use super::write::{Over, Writing, write};
use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct Format {
    /// Design files, or folders that hold some
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    /// Only says which files are not laid out so; exit code 1 if there are any
    #[arg(long)]
    check: bool,
}

impl Format {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let project = Project::on_disk(Vec::new());
        let (files, problems) = project.designs(&self.paths);
        let problems: Vec<Problem> = problems.into_iter().map(|(_, p)| p).collect();
        let mut code = exit::CLEAN;
        if !problems.is_empty() {
            out.problems(&problems, &Sources::default());
            code = exit::FAILED;
        }
        for path in files {
            let name = path.display().to_string();
            let name = visible_line(&name);
            let text = match project.text(&path) {
                Ok(t) => t,
                Err(problem) => {
                    out.problems(&[problem], &Sources::default());
                    code = exit::FAILED;
                    continue;
                }
            };
            match format(&text) {
                Err(problems) => {
                    let mut sources = Sources::default();
                    sources.add(SourceFile::new(path.display().to_string(), text));
                    out.problems(&problems, &sources);
                    code = exit::FAILED;
                }
                Ok(new) if new == text => {}
                Ok(_) if self.check => {
                    out.line(&format!("{name} is laid out otherwise"));
                    code = code.max(exit::BREACH);
                }
                Ok(new) => {
                    let writing = Writing {
                        path: &path,
                        over: Over::Text(&text),
                        text: &new,
                    };
                    match write(&[writing]) {
                        Ok(()) => out.line(&format!("{name} laid out")),
                        Err(problem) => {
                            out.problem(problem);
                            code = exit::FAILED;
                        }
                    }
                }
            }
        }
        code
    }
}
