//! `amperule lsp`: the server for editors.

use std::path::PathBuf;

use clap::Args;
use lsp_server::Connection;

use super::{Answer, exit};
use crate::lsp::{Ended, serve};
use crate::source::Problem;

#[derive(Debug, Args)]
pub(super) struct Lsp {
    /// A folder that holds rulesets, besides those in the program and in `amperule.toml`
    #[arg(long)]
    rulesets: Vec<PathBuf>,
    /// As editors say which way they speak; there is no other
    #[arg(long, hide = true)]
    stdio: bool,
}

impl Lsp {
    pub(super) fn run(&self) -> Answer {
        let (connection, threads) = Connection::stdio();
        let ended = serve(&connection, &self.rulesets);
        drop(connection);
        match ended {
            // What was sent last is still being written.
            Ok(Ended::Asked) => match threads.join() {
                Ok(()) => Ok(exit::CLEAN),
                Err(_) => Ok(exit::FAILED),
            },
            // Nobody reads any more, and the thread that writes may wait for ever.
            Ok(Ended::Gone) => Ok(exit::FAILED),
            Err(why) => Err(Problem::error("no-client", why).into()),
        }
    }
}
