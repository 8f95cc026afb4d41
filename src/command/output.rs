//! Writing to the terminal: colours decided once, every character of other people's texts seen, a
//! closed pipe a quiet end.

use std::env;
use std::fmt;
use std::io::{self, IsTerminal, Write};
use std::path::Path;

use serde_json::Value;

use crate::report::{Style, Visible, render_problems};
use crate::source::{Problem, Sources, visible, visible_json, visible_line};

use super::exit;

/// The exit code of a command, or what keeps it from its job.
pub(super) type Answer = Result<u8, Failure>;

/// Problems that end a command, and the texts that they point into; none that were shown before.
#[derive(Default)]
pub(super) struct Failure {
    problems: Vec<Problem>,
    sources: Sources,
}

impl From<(Vec<Problem>, Sources)> for Failure {
    fn from((problems, sources): (Vec<Problem>, Sources)) -> Self {
        Self { problems, sources }
    }
}

impl From<Vec<Problem>> for Failure {
    fn from(problems: Vec<Problem>) -> Self {
        Self::from((problems, Sources::default()))
    }
}

impl From<Problem> for Failure {
    fn from(problem: Problem) -> Self {
        Self::from(vec![problem])
    }
}

/// The name of a file, of which every character is seen.
pub(super) fn shown(path: &Path) -> String {
    visible_line(&path.display().to_string()).into_owned()
}

/// Rows of cells as CSV.
pub(super) fn csv<R>(rows: impl IntoIterator<Item = R>) -> Result<String, Problem>
where
    R: IntoIterator<Item: AsRef<[u8]>>,
{
    let wrong =
        |e: &dyn fmt::Display| Problem::error("table", format!("the table cannot be written: {e}"));
    let mut to = csv::Writer::from_writer(Vec::new());
    for row in rows {
        to.write_record(row).map_err(|e| wrong(&e))?;
    }
    let bytes = to.into_inner().map_err(|e| wrong(&e))?;
    String::from_utf8(bytes).map_err(|e| wrong(&e))
}

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

    /// Writes problems to standard error, if there are any.
    pub(super) fn problems(&mut self, problems: &[Problem], sources: &Sources) {
        if problems.is_empty() {
            return;
        }
        let text = render_problems(problems, sources, self.style);
        let _ = writeln!(io::stderr().lock(), "{}", text.as_str().trim_end());
    }

    /// Writes what ended a command to standard error, and gives its exit code.
    pub(super) fn failed(&mut self, failure: &Failure) -> u8 {
        self.problems(&failure.problems, &failure.sources);
        exit::FAILED
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
