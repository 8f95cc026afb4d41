//! `amperule mend`: the fewest changes after which nothing is in breach.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use crate::check::Standing;
use crate::report::{cautions, mend as report};
use crate::session::Mending;
use crate::source::{Problem, SourceFile, visible_line};

use super::args::{Format, Reading};
use super::output::shown;
use super::progress::Progress;
use super::write::{Over, Writing, write};
use super::{Answer, Output};

#[derive(Debug, Args)]
pub(super) struct Mend {
    /// A design file
    file: PathBuf,
    #[command(flatten)]
    pub(super) reading: Reading,
    /// Writes the changes into the file, if the result is as promised
    #[arg(long)]
    write: bool,
    /// Writes changes of files outside of the design's folder, too: other designs may use them
    #[arg(long, requires = "write")]
    write_outside: bool,
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
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let one = self.reading.one(&self.file)?;
        let (loaded, of) = (&one.loaded, &one.installation);
        let progress = Progress::during("looking for changes");
        let mending = Mending::new(one.project, loaded, of, &one.options, &self.instead);
        drop(progress);
        let mending = mending?;
        let (found, kept) = (&mending.found, mending.as_promised);
        let (path, sources) = (&loaded.path, &loaded.sources);
        match self.format {
            Format::Text => out.text(&report::text(&visible_line(path), found, kept, sources)),
            Format::Json => out.json(&cautions::with(report::json(path, found, kept, sources))),
        }
        let standing = if kept == Some(false) {
            Standing::Failed
        } else if found.beyond.is_empty() && found.left.is_empty() {
            Standing::Clean
        } else {
            Standing::Breach
        };
        let outside = |(file, _): &&(Arc<SourceFile>, String)| {
            !one.project.is_beside(&self.file, Path::new(file.name()))
        };
        let outside = mending.texts.iter().find(outside);
        if self.write
            && kept == Some(true)
            && !self.write_outside
            && let Some((file, _)) = outside
        {
            let text = format!(
                "`{}` lies outside of the design's folder; nothing was written",
                file.name()
            );
            let help = "other designs may use it; give --write-outside to change it all the same";
            return Err(Problem::error("not-written", text).help(help).into());
        } else if self.write && kept == Some(true) {
            // What will change is told before it does.
            out.flush();
            let texts = mending.texts.iter();
            let all: Vec<Writing<'_>> = texts
                .map(|(file, text)| Writing {
                    path: Path::new(file.name()),
                    over: Over::Text(file.text()),
                    text,
                })
                .collect();
            write(&all)?;
            for w in &all {
                out.note(&format!("{} written", shown(w.path)));
            }
        }
        Ok(standing.code())
    }
}
