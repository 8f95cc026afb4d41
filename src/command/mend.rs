//! `amperule mend`: the fewest changes after which nothing is in breach.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use clap::Args;

use crate::answer::{MendChange, Mended, mend};
use crate::check::{Outcome, Report, Settings, check};
use crate::report::{mend as report, render_problems};
use crate::ruleset::Severity;
use crate::source::{Problem, Sources};

use super::check::{Format, Reading};
use super::format::write_whole;
use super::one::{One, read_one};
use super::read::read;
use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct Mend {
    /// A design file
    file: PathBuf,
    #[command(flatten)]
    reading: Reading,
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

/// What must not get worse: rule, subject and outcome of everything that is not met.
fn troubles(report: &Report) -> BTreeSet<(String, String, Outcome)> {
    report
        .findings
        .iter()
        .filter(|f| f.severity != Severity::Advice)
        .filter(|f| {
            matches!(
                f.outcome,
                Outcome::Failed | Outcome::Undecided | Outcome::NotJudged
            )
        })
        .map(|f| (f.rule.clone(), f.subject.clone(), f.outcome))
        .collect()
}

impl Mend {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let Some(one) = read_one(&self.file, &self.reading, out) else {
            return exit::FAILED;
        };
        let text = |span| one.sources.slice(span).to_owned();
        let mut found = mend(&one.ruleset, &one.design, one.stage, one.on, &text);
        if let Err(p) = self.take_instead(&mut found) {
            out.note(render_problems(&[p], &Sources::default(), out.style()).trim_end());
            return exit::FAILED;
        }
        let edits = found.edits();
        let texts: Vec<(String, String)> = one
            .sources
            .own()
            .iter()
            .zip(0_u16..)
            .map(|(f, i)| {
                let id = crate::source::FileId(i);
                (f.name().to_owned(), report::edited(f, id, &edits))
            })
            .collect();
        let kept = (!edits.is_empty()).then(|| self.as_promised(&one, &found, &texts));
        match self.format {
            Format::Text => out.text(&report::text(&one.path, &found, kept, &one.sources)),
            Format::Json => {
                out.line(&report::json(&one.path, &found, kept, &one.sources).to_string());
            }
        }
        let mut code = if kept == Some(false) {
            exit::FAILED
        } else if found.beyond.is_empty() && found.left.is_empty() {
            exit::CLEAN
        } else {
            exit::BREACH
        };
        if self.write && kept == Some(true) {
            for (file, (name, new)) in one.sources.own().iter().zip(&texts) {
                if file.text() == new {
                    continue;
                }
                match write_whole(Path::new(name), new) {
                    Ok(()) => out.note(&format!("{name} written")),
                    Err(e) => {
                        let p =
                            Problem::error("not-written", format!("`{name}` was not written: {e}"));
                        out.note(
                            render_problems(&[p], &Sources::default(), out.style()).trim_end(),
                        );
                        code = exit::FAILED;
                    }
                }
            }
        }
        code
    }

    fn take_instead(&self, found: &mut Mended) -> Result<(), Problem> {
        for (change, other) in &self.instead {
            let slot = found.changes.get_mut(change - 1);
            let taken: Option<MendChange> = slot
                .as_ref()
                .and_then(|c| c.instead.get(other - 1))
                .cloned();
            match (slot, taken) {
                (Some(slot), Some(mut taken)) => {
                    taken.mends.clone_from(&slot.mends);
                    *slot = taken;
                }
                _ => {
                    return Err(Problem::error(
                        "no-alternative",
                        format!("there is no alternative {change}.{other}"),
                    )
                    .help("run without --instead to see the alternatives and their numbers"));
                }
            }
        }
        Ok(())
    }

    /// Judges the edited text as a whole: the breaches that were to go are gone, and nothing is
    /// new.
    fn as_promised(&self, one: &One, found: &Mended, texts: &[(String, String)]) -> bool {
        let mut wanted = self.reading.wanted();
        wanted.overlay = texts.iter().cloned().collect();
        let again = read(&self.file, &wanted, &self.reading.shelf());
        if again.problems.iter().any(Problem::is_error) {
            return false;
        }
        let settings = Settings {
            stage: one.stage,
            on: one.on,
            ..Settings::default()
        };
        let (Some(ruleset), Some(design)) = (&again.ruleset, &again.design) else {
            return false;
        };
        let before = troubles(&check(&one.ruleset, &one.design, &settings).report);
        let after = troubles(&check(ruleset, design, &settings).report);
        let gone = found
            .changes
            .iter()
            .flat_map(|c| &c.mends)
            .all(|(r, s)| !after.iter().any(|(x, y, _)| x == r && y == s));
        gone && after.is_subset(&before)
    }
}
