//! How tests run the program: without colours, at a fixed width.

#![expect(
    clippy::expect_used,
    reason = "a test stops where the program does not start"
)]

use std::path::Path;
use std::process::Command;

/// Runs it in a folder: exit code, output, what it wrote to standard error.
pub fn run(folder: &Path, arguments: &[&str], width: usize) -> (i32, String, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(arguments)
        .args(["--color", "never"])
        .env("COLUMNS", width.to_string())
        .current_dir(folder)
        .output()
        .expect("the program starts");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let code = done.status.code().unwrap_or(-1);
    (code, text(&done.stdout), text(&done.stderr))
}
