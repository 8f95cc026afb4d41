//! Writing to the terminal: colours decided once, every character of other people's texts seen, a
//! closed pipe a quiet end.

use std::env;
use std::io::{self, IsTerminal, Write};

use serde_json::Value;

use crate::report::{Style, Visible, render_problems};
use crate::source::{Problem, Sources, visible, visible_json};

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
            // Not locked: the server for editors writes from a thread of its own.
            out: Box::new(io::BufWriter::new(io::stdout())),
            style: Style { color, width },
            failed: None,
        }
    }

    /// How to write.
    #[must_use]
    pub fn style(&self) -> Style {
        self.style
    }

    /// Writes a text to standard output, of which every character is seen.
    pub fn text(&mut self, text: &str) {
        self.raw(&visible(text));
    }

    /// Writes what is visible already, with its colours.
    pub fn visible(&mut self, text: &Visible) {
        self.raw(text.as_str());
    }

    /// Writes JSON to standard output, in a line.
    pub fn json(&mut self, value: &Value) {
        self.json_part(&format!("{value}\n"));
    }

    /// Writes a part of JSON to standard output.
    pub fn json_part(&mut self, json: &str) {
        self.raw(&visible_json(json));
    }

    /// The only way out; a failure is kept until the end.
    fn raw(&mut self, text: &str) {
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

    /// Passes on what was written.
    pub(super) fn flush(&mut self) {
        if self.failed.is_none()
            && let Err(e) = self.out.flush()
        {
            self.failed = Some(e);
        }
    }

    /// Writes a line to standard error.
    pub fn note(&mut self, text: &str) {
        // Nobody is left to tell if standard error is closed.
        let _ = writeln!(io::stderr().lock(), "{}", visible(text));
    }

    /// Writes problems to standard error.
    pub(super) fn problems(&mut self, problems: &[Problem], sources: &Sources) {
        let text = render_problems(problems, sources, self.style);
        let _ = writeln!(io::stderr().lock(), "{}", text.as_str().trim_end());
    }

    /// Writes a problem that has no place in any text to standard error.
    pub(super) fn problem(&mut self, problem: Problem) {
        self.problems(&[problem], &Sources::default());
    }

    /// Ends the output and gives the exit code: a reader that went away is no failure.
    pub(super) fn finish(mut self, code: u8) -> u8 {
        self.flush();
        match self.failed {
            Some(e) if e.kind() != io::ErrorKind::BrokenPipe => {
                let _ = writeln!(io::stderr().lock(), "the output cannot be written: {e}");
                exit::FAILED
            }
            _ => code,
        }
    }
}
