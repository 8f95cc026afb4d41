//! `amperule mend`: the fewest changes after which nothing is in breach.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::check::Standing;
use crate::report::mend as report;
use crate::session::Mending;
use crate::source::Problem;

use super::args::{Format, Reading};
use super::format::write_whole;
use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct Mend {
    /// A design file
    file: PathBuf,
    #[command(flatten)]
    pub(super) reading: Reading,
    /// Writes the changes into the file, if the result is as promised
    #[arg(long)]
    write: bool,
    /// Takes an alternative in place of a change: `1.2` is the second alternative of change 1
    #[arg(long, value_parser = parse_instead)]
    instead: Vec<(usize, usize)>,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

fn parse_instead(text: &str) -> Result<(usize, usize), String> {
    let wrong = || format!("`{text}` is not of the form 1.2: change, then alternative");
    let (a, b) = text.split_once('.').ok_or_else(wrong)?;
    match (a.parse::<usize>(), b.parse::<usize>()) {
        (Ok(a), Ok(b)) if a > 0 && b > 0 => Ok((a, b)),
        _ => Err(wrong()),
    }
}

impl Mend {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let Some(one) = self.reading.one(&self.file, out) else {
            return exit::FAILED;
        };
        let (loaded, of) = (&one.loaded, &one.installation);
        let mending = Mending::new(&one.project, loaded, of, &one.options, &self.instead);
        let mending = match mending {
            Ok(m) => m,
            Err(problem) => {
                out.problem(problem);
                return exit::FAILED;
            }
        };
        let (found, kept) = (&mending.found, mending.as_promised);
        let (path, sources) = (&loaded.path, &loaded.sources);
        match self.format {
            Format::Text => out.text(&report::text(path, found, kept, sources)),
            Format::Json => out.line(&report::json(path, found, kept, sources).to_string()),
        }
        let mut standing = if kept == Some(false) {
            Standing::Failed
        } else if found.beyond.is_empty() && found.left.is_empty() {
            Standing::Clean
        } else {
            Standing::Breach
        };
        if self.write && kept == Some(true) {
            for (name, text) in &mending.texts {
                match write_whole(Path::new(name), text) {
                    Ok(()) => out.note(&format!("{name} written")),
                    Err(e) => {
                        let text = format!("`{name}` was not written: {e}");
                        out.problem(Problem::error("not-written", text));
                        standing = Standing::Failed;
                    }
                }
            }
        }
        standing.code()
    }
}
