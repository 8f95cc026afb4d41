//! `amperule new`: a file to start from.

use std::path::PathBuf;

use clap::Args;

use crate::answer::starter;
use crate::design::format::format;
use crate::ruleset::{Library, Request, Stage};
use crate::session::split_rules;
use crate::source::{SourceFile, Sources, visible_line};

use super::args::parse_stage;
use super::rules::show_problems;
use super::write::{Over, Writing, write};
use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct New {
    /// The file to write, which must not exist yet; standard output, if none is named
    file: Option<PathBuf>,
    /// The ruleset and its patches, as a design names them: `gb`, `us` or `gb + our-firm`
    #[arg(long)]
    rules: String,
    /// The name of the installation
    #[arg(long, default_value = "New installation")]
    name: String,
    /// Asks for everything up to this stage: survey, design, verify or handover
    #[arg(long, value_parser = parse_stage, default_value = "design")]
    stage: Stage,
    /// A folder that holds rulesets, besides those in the program
    #[arg(long)]
    pub(super) rulesets: Vec<PathBuf>,
}

impl New {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let (base, patches) = split_rules(&self.rules);
        let library = Library::new(self.rulesets.clone());
        let edition = library.editions(&base).pop();
        let loaded = library.load(&Request {
            base,
            patches,
            edition,
            on: None,
        });
        show_problems(&loaded, &loaded.problems, out);
        let Some(ruleset) = &loaded.ruleset else {
            return exit::FAILED;
        };
        let text = starter(ruleset, &self.rules, &self.name, self.stage);
        let text = match format(&text) {
            Ok(t) => t,
            Err(problems) => {
                let mut sources = Sources::default();
                sources.add(SourceFile::new("new design", text));
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
}
