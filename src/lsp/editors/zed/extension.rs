//! Starts the program's server for Zed.

use zed_extension_api::{self as zed, Command, LanguageServerId, Result, Worktree};

struct Amperule;

impl zed::Extension for Amperule {
    fn new() -> Self {
        Self
    }

    fn language_server_command(
        &mut self,
        _: &LanguageServerId,
        worktree: &Worktree,
    ) -> Result<Command> {
        let command = worktree
            .which("amperule")
            .ok_or("the program amperule is not on the path")?;
        Ok(Command {
            command,
            args: vec!["lsp".to_owned()],
            env: worktree.shell_env(),
        })
    }
}

zed::register_extension!(Amperule);
