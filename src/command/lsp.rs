//! `amperule lsp`: the server for editors.

use std::path::PathBuf;

use clap::Args;
use lsp_server::Connection;

use super::{Output, exit};
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
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let (connection, threads) = Connection::stdio();
        let ended = serve(&connection, &self.rulesets);
        drop(connection);
        match ended {
            // What was sent last is still being written.
            Ok(Ended::Asked) => match threads.join() {
                Ok(()) => exit::CLEAN,
                Err(_) => exit::FAILED,
            },
            // Nobody reads any more, and the thread that writes may wait for ever.
            Ok(Ended::Gone) => exit::FAILED,
            Err(why) => {
                out.problem(Problem::error("no-client", why));
                exit::FAILED
            }
        }
    }
}
