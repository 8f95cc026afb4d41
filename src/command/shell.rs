//! `amperule completions` and `amperule man`: what a shell and a manual need, from the same
//! description of the command line that reads it.

use clap::{Args, CommandFactory};
use clap_complete::Shell;

use crate::source::Problem;

use super::{Answer, Cli, Output, exit};

#[derive(Debug, Args)]
pub(super) struct Completions {
    /// The shell
    shell: Shell,
}

impl Completions {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let mut text = Vec::new();
        clap_complete::generate(self.shell, &mut Cli::command(), "amperule", &mut text);
        out.text(&String::from_utf8_lossy(&text));
        Ok(exit::CLEAN)
    }
}

#[derive(Debug, Args)]
pub(super) struct Man {
    /// A command, `check`; the program, if none is named
    command: Option<String>,
}

impl Man {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let mut all = Cli::command();
        // Names of commands and what all of them take are put in.
        all.build();
        let of = match &self.command {
            None => Some(&all),
            Some(name) => all.find_subcommand(name),
        };
        let Some(of) = of.cloned() else {
            let name = self.command.as_deref().unwrap_or_default();
            let names = all.get_subcommands().map(clap::Command::get_name);
            let text = format!("there is no command `{name}`");
            let problem = Problem::error("unknown-command", text);
            return Err(problem.did_you_mean(name, names).into());
        };
        let mut text = Vec::new();
        match clap_mangen::Man::new(of).render(&mut text) {
            Ok(()) => out.text(&String::from_utf8_lossy(&text)),
            Err(e) => {
                out.note(&format!("the manual page cannot be written: {e}"));
                return Ok(exit::FAILED);
            }
        }
        Ok(exit::CLEAN)
    }
}
