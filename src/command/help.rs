//! `amperule help`: a page of the guide, or what a command takes.

use clap::{Args, CommandFactory};

use crate::guide::{PAGES, SCHEMA};
use crate::source::Problem;

use super::{Answer, Cli, Output, exit};

#[derive(Debug, Args)]
pub(super) struct Help {
    /// A page or a command; the list of both, if none is named
    topic: Option<String>,
}

impl Help {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let mut all = Cli::command();
        all.build();
        let Some(topic) = &self.topic else {
            out.text(&all.render_long_help().to_string());
            out.text("\nPages, `amperule help PAGE`:\n");
            for (name, about, _) in PAGES {
                out.line(&format!("  {name:<12} {about}"));
            }
            out.line("  schema       the JSON Schema of all answers for programs");
            return Ok(exit::CLEAN);
        };
        if topic == "schema" {
            out.text(SCHEMA);
            return Ok(exit::CLEAN);
        }
        let page = PAGES.iter().find(|(name, ..)| name == topic);
        let command = all.find_subcommand(topic).is_some();
        if let Some((.., text)) = page {
            out.text(text);
            if command {
                out.line(&format!("\nIts options: `amperule {topic} --help`"));
            }
            return Ok(exit::CLEAN);
        }
        if let Some(of) = all.find_subcommand_mut(topic) {
            out.text(&of.render_long_help().to_string());
            return Ok(exit::CLEAN);
        }
        let names = all.get_subcommands().map(clap::Command::get_name);
        let names = names.chain(PAGES.iter().map(|(name, ..)| *name));
        let names = names.chain(["schema"]);
        let text = format!("there is no page and no command `{topic}`");
        Err(Problem::error("unknown-topic", text)
            .did_you_mean(topic, names)
            .into())
    }
}
