//! `amperule new`: a file to start from.

use std::path::PathBuf;

use clap::Args;

use crate::answer::starter;
use crate::design::format::format;
use crate::report::render_problems;
use crate::ruleset::{Library, Request, Stage};
use crate::session::split_rules;
use crate::source::{Problem, SourceFile, Sources};

use super::args::parse_stage;
use super::format::write_whole;
use super::rules::show_problems;
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
                let shown = render_problems(&problems, &sources, out.style());
                out.note(shown.trim_end());
                return exit::FAILED;
            }
        };
        let Some(file) = &self.file else {
            out.text(&text);
            return exit::CLEAN;
        };
        let fault = if file.exists() {
            Some("it is there already; name another file".to_owned())
        } else {
            write_whole(file, &text).err().map(|e| e.to_string())
        };
        match fault {
            None => {
                out.line(&format!("wrote {}", file.display()));
                exit::CLEAN
            }
            Some(why) => {
                let p = Problem::error(
                    "not-written",
                    format!("`{}` was not written: {why}", file.display()),
                );
                let shown = render_problems(&[p], &Sources::default(), out.style());
                out.note(shown.trim_end());
                exit::FAILED
            }
        }
    }
}
