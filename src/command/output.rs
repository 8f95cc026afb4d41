//! Writing to the terminal: colours decided once, a closed pipe is a quiet end.

use std::env;
use std::io::{self, IsTerminal, Write};

use crate::report::Style;

use super::exit;

/// Standard output and error of one run.
pub struct Output {
    out: Box<dyn Write>,
    style: Style,
    failed: Option<io::Error>,
}

impl Output {
    pub(super) fn new(color: Option<bool>) -> Self {
        let set = |name: &str| env::var_os(name).is_some_and(|v| !v.is_empty() && v != "0");
        let terminal = io::stdout().is_terminal();
        let color = color.unwrap_or_else(|| {
            if set("NO_COLOR") {
                false
            } else if set("FORCE_COLOR") || set("CLICOLOR_FORCE") {
                true
            } else {
                terminal && env::var_os("TERM").is_none_or(|t| t != "dumb")
            }
        });
        let width = env::var("COLUMNS")
            .ok()
            .and_then(|c| c.parse().ok())
            .or_else(|| terminal_size::terminal_size().map(|(w, _)| usize::from(w.0)))
            .unwrap_or(100);
        Self {
            out: Box::new(io::BufWriter::new(io::stdout().lock())),
            style: Style { color, width },
            failed: None,
        }
    }

    /// How to write.
    #[must_use]
    pub fn style(&self) -> Style {
        self.style
    }

    /// Writes text to standard output; a failure is kept until the end.
    pub fn text(&mut self, text: &str) {
        if self.failed.is_none()
            && let Err(e) = self.out.write_all(text.as_bytes())
        {
            self.failed = Some(e);
        }
    }

    /// Writes a line to standard output.
    pub fn line(&mut self, text: &str) {
        self.text(text);
        self.text("\n");
    }

    /// Writes a line to standard error.
    pub fn note(&mut self, text: &str) {
        // Nobody is left to tell if standard error is closed.
        let _ = writeln!(io::stderr().lock(), "{text}");
    }

    /// Ends the output and gives the exit code: a reader that went away is no failure.
    pub(super) fn finish(mut self, code: u8) -> u8 {
        if self.failed.is_none()
            && let Err(e) = self.out.flush()
        {
            self.failed = Some(e);
        }
        match self.failed {
            Some(e) if e.kind() != io::ErrorKind::BrokenPipe => {
                let _ = writeln!(io::stderr().lock(), "the output cannot be written: {e}");
                exit::FAILED
            }
            _ => code,
        }
    }
}
