//! What was found in a design, an entry for each mistake and finding: what lines, annotations and
//! formats for other programs are made of.

use std::fmt::Write as _;

use crate::check::{Finding, Outcome, Reason};
use crate::ruleset::Severity;
use crate::source::{Label, Position, Problem, Sources, visible_line};

use super::FileReport;

/// How much an entry weighs for whoever waits for the run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// It decides the exit code.
    Error,
    /// It is open and could, or is to be looked at.
    Warning,
    /// Worth knowing.
    Note,
}

/// One mistake or finding.
#[derive(Clone, Debug)]
pub struct Entry<'a> {
    /// How much it weighs.
    pub level: Level,
    /// What it is called: `error`, `breach`, `undecided caution`.
    pub word: &'static str,
    /// The rule, or the code of a mistake.
    pub rule: &'a str,
    /// What is wrong or open.
    pub message: &'a str,
    /// What would help.
    pub help: &'a [String],
    /// Where, the main place first.
    pub places: Vec<Place<'a>>,
    /// The finding; none of a mistake.
    pub finding: Option<&'a Finding>,
}

/// A stretch of a file.
#[derive(Clone, Copy, Debug)]
pub struct Place<'a> {
    /// The file, as it was given.
    pub file: &'a str,
    /// Its first character.
    pub from: Position,
    /// The one behind its last.
    pub until: Position,
}

/// How a finding is called.
#[must_use]
pub fn word(f: &Finding) -> &'static str {
    let left_out = f.reason == Some(Reason::LeftOut);
    match (f.outcome, f.severity) {
        (Outcome::Failed, Severity::Breach) => "breach",
        (Outcome::Failed, Severity::Caution) => "caution",
        (Outcome::Failed, Severity::Advice) => "advice",
        (Outcome::Departed, _) if left_out => "judged elsewhere",
        (Outcome::Departed, _) => "departed",
        (_, _) if left_out => "not judged",
        (_, Severity::Breach) => "undecided",
        (_, Severity::Caution) => "undecided caution",
        (_, Severity::Advice) => "undecided advice",
    }
}

/// The mistakes of a design, then what failed, is undecided or departed from; what is at least as
/// severe as `least` decides.
#[must_use]
pub fn entries<'a>(file: &'a FileReport<'a>, least: Severity) -> Vec<Entry<'a>> {
    let mistakes = file.problems.iter().map(|p| mistake(p, file.sources));
    let findings = file.report.map_or(&[][..], |r| r.findings.as_slice());
    let told = |f: &&Finding| {
        matches!(
            f.outcome,
            Outcome::Failed | Outcome::Undecided | Outcome::Departed
        )
    };
    let found = findings.iter().filter(told).map(|f| {
        let level = match f.outcome {
            Outcome::Failed if f.severity <= least => Level::Error,
            Outcome::Failed if f.severity == Severity::Caution => Level::Warning,
            Outcome::Undecided if f.severity <= least => Level::Warning,
            _ => Level::Note,
        };
        Entry {
            level,
            word: word(f),
            rule: &f.rule,
            message: &f.message,
            help: &f.help,
            places: places(&f.labels, file.sources),
            finding: Some(f),
        }
    });
    mistakes.chain(found).collect()
}

fn mistake<'a>(p: &'a Problem, sources: &'a Sources) -> Entry<'a> {
    let (level, word) = match p.is_error() {
        true => (Level::Error, "error"),
        false => (Level::Warning, "caution"),
    };
    Entry {
        level,
        word,
        rule: p.code,
        message: &p.message,
        help: &p.help,
        places: places(&p.labels, sources),
        finding: None,
    }
}

fn places<'a>(labels: &[Label], sources: &'a Sources) -> Vec<Place<'a>> {
    let place = |l: &Label| {
        let file = sources.get(l.span.file)?;
        Some(Place {
            file: file.name(),
            from: file.position(l.span.from()),
            until: file.position(l.span.until()),
        })
    };
    labels.iter().filter_map(place).collect()
}

impl Entry<'_> {
    /// What is said about which rule, for what: `… [rule] for ev`.
    fn said(&self) -> String {
        let of = self.finding.map_or(String::new(), |f| {
            let label = &f.subject.label;
            format!(" for {label}")
        });
        format!("{} [{}]{of}", self.message, self.rule)
    }

    /// One line, `FILE:LINE:COLUMN: word: what is said [rule] for subject`.
    #[must_use]
    pub fn line(&self, path: &str) -> String {
        let mut out = match self.places.first() {
            Some(p) => format!("{}:{}:{}", p.file, p.from.line, p.from.column),
            None => path.to_owned(),
        };
        let _ = write!(out, ": {}: {}", self.word, self.said());
        format!("{}\n", visible_line(&out))
    }

    /// An annotation as a workflow of a forge reads it from the output.
    #[must_use]
    pub fn annotation(&self, path: &str) -> String {
        let command = match self.level {
            Level::Error => "error",
            Level::Warning => "warning",
            Level::Note => "notice",
        };
        let file = self.places.first().map_or(path, |p| p.file);
        let mut out = format!("::{command} file={}", property(file));
        if let Some(p) = self.places.first() {
            let _ = write!(out, ",line={},endLine={}", p.from.line, p.until.line);
            // Columns are understood within one line only.
            if p.from.line == p.until.line {
                let (from, until) = (p.from.column, p.until.column.max(p.from.column + 1));
                let _ = write!(out, ",col={from},endColumn={until}");
            }
        }
        let _ = write!(out, ",title={}", property(self.word));
        let mut text = self.said();
        for h in self.help {
            let _ = write!(text, "\n{h}");
        }
        let _ = writeln!(out, "::{}", data(&text));
        out
    }
}

/// A text of an annotation on one line.
fn data(text: &str) -> String {
    text.replace('%', "%25")
        .replace('\r', "%0D")
        .replace('\n', "%0A")
}

/// A value among others in an annotation.
fn property(text: &str) -> String {
    data(text).replace(':', "%3A").replace(',', "%2C")
}
