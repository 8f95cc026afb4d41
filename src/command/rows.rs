//! `amperule check --rows`: a template judged for each row of a table.

use std::fs::File;
use std::io::{self, BufRead as _, BufReader, Read};
use std::path::Path;

use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;
use serde_json::json;

use crate::answer::RowReader;
use crate::check::{Outcome, Standing, Totals};
use crate::report::{cautions, plural};
use crate::ruleset::Severity;
use crate::session::{RowResult, Rows, Unmet};
use crate::source::{Problem, visible_line};

use super::args::{Format, Reading};
use super::{Answer, Output};

/// Rows that are judged before they are printed: memory stays flat, and order is that of the file.
const CHUNK: usize = 4096;

/// A row as it was read: its line, and its cells or why it cannot be read.
type Row = (u64, Result<Vec<String>, String>);

/// A row as it is told.
#[derive(Default)]
struct Told {
    text: String,
    /// What it comes to by the severities that decide.
    standing: Standing,
    /// What it comes to by breaches alone.
    breaches: Standing,
    caution: bool,
}

/// What rows come to by breaches alone, and how many have a caution.
type Counts = (Totals, usize);

struct Table<'a> {
    rows: &'a Rows<'a>,
    how: How,
}

/// How rows are judged and told.
pub(super) struct How {
    pub(super) format: Format,
    /// Rows that are met are told, too.
    pub(super) all: bool,
    pub(super) least: Severity,
    pub(super) pool: Option<rayon::ThreadPool>,
}

/// Judges the rows of a file for one template.
pub(super) fn run(
    how: How,
    reading: &Reading,
    file: &Path,
    table: &Path,
    out: &mut Output,
) -> Answer {
    let one = reading.one(file)?;
    let name = table.display();
    let unreadable = |e| Problem::error("unreadable", format!("`{name}` cannot be read: {e}"));
    let (size, source, separator) = opened(table).map_err(unreadable)?;
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .delimiter(separator)
        .from_reader(source);
    let headless = |e| {
        let text = format!("the head of `{name}` cannot be read: {e}");
        Problem::error("bad-table", text).help("save it as CSV in UTF-8")
    };
    let head = reader.headers().map_err(headless)?.clone();
    let head: Vec<&str> = head.iter().collect();
    let mut rows = Rows::new(
        (one.project, &one.loaded, &one.options),
        &one.installation,
        (&head, &name.to_string()),
    )?;
    rows.decimal_commas = separator != b',';
    if !rows.ignored.is_empty() {
        out.note(&format!(
            "columns that are no parameters are left aside: {}",
            visible_line(&rows.ignored.join(", "))
        ));
    }
    // What is said of the template holds for every row, and decides with it.
    for told in [&one.loaded.problems[..], rows.problems()] {
        out.problems(told, &one.loaded.sources);
    }
    let told = Table { rows: &rows, how };
    let bar = ProgressBar::new(size);
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {percent} % of the rows, {eta} left")
    {
        bar.set_style(style);
    }
    if told.how.format == Format::Json {
        out.json_part(&format!(
            "{{\"schema\": \"amperule-rows-1\", \"path\": {}, \"rows\": [\n",
            json!(one.loaded.path)
        ));
    }
    let (counts, standing) = told.all_rows(&mut reader, &bar, out);
    bar.finish_and_clear();
    told.closing(&counts, out);
    Ok(standing.max(rows.standing(told.how.least)).code())
}

/// A table as it is read: its cells between separators, its lines between line feeds.
type Source = BufReader<Lines<File>>;

/// A text whose lines all end with a line feed, however they end in the file.
struct Lines<R> {
    inner: R,
    /// The last byte that was read, and the last that was passed on.
    last: (u8, u8),
}

impl<R: Read> Read for Lines<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        loop {
            let n = self.inner.read(into)?;
            if n == 0 {
                // The last line, too.
                let open = !matches!(self.last.1, 0 | b'\n');
                self.last.1 = b'\n';
                return Ok(match into.first_mut() {
                    Some(first) if open => {
                        *first = b'\n';
                        1
                    }
                    _ => 0,
                });
            }
            let mut kept = 0;
            for i in 0..n {
                let byte = into[i];
                if !(byte == b'\n' && self.last.0 == b'\r') {
                    into[kept] = if byte == b'\r' { b'\n' } else { byte };
                    kept += 1;
                }
                self.last.0 = byte;
            }
            if kept > 0 {
                self.last.1 = into[kept - 1];
                return Ok(kept);
            }
        }
    }
}

/// Opens a table: its size, its text and what its head shows to stand between the cells.
fn opened(table: &Path) -> io::Result<(u64, Source, u8)> {
    let file = File::open(table)?;
    let size = file.metadata()?.len();
    let last = (0, 0);
    let mut source = BufReader::new(Lines { inner: file, last });
    let separator = separator(source.fill_buf()?);
    Ok((size, source, separator))
}

/// What the head of a table shows to stand between its cells.
pub(super) fn separator(begin: &[u8]) -> u8 {
    let mut quoted = false;
    let bare = begin.iter().filter(|byte| {
        quoted ^= **byte == b'"';
        !quoted
    });
    let head: Vec<u8> = bare.copied().take_while(|byte| *byte != b'\n').collect();
    if head.contains(&b';') {
        b';'
    } else if head.contains(&b'\t') && !head.contains(&b',') {
        b'\t'
    } else {
        b','
    }
}

/// Reads the next rows; the last, where there are fewer than a chunk.
fn chunk(reader: &mut csv::Reader<Source>, record: &mut csv::StringRecord) -> Vec<Row> {
    let mut all = Vec::with_capacity(CHUNK);
    while all.len() < CHUNK {
        let read = reader.read_record(record);
        // Every line ends, so the row that was read ends just above.
        let last = reader.position().line().saturating_sub(1);
        match read {
            Ok(true) => {
                let breaks = record.iter().map(|c| c.matches('\n').count() as u64);
                let line = last.saturating_sub(breaks.sum());
                let cells = record.iter().map(|c| c.trim().to_owned());
                all.push((line, Ok(cells.collect())));
            }
            Ok(false) => break,
            Err(e) => {
                let line = last;
                let fatal = matches!(e.kind(), csv::ErrorKind::Io(_));
                all.push((line, Err(e.to_string())));
                if fatal {
                    break;
                }
            }
        }
    }
    all
}

impl Table<'_> {
    fn all_rows(
        &self,
        reader: &mut csv::Reader<Source>,
        bar: &ProgressBar,
        out: &mut Output,
    ) -> (Counts, Standing) {
        let (mut counts, mut standing) = (Counts::default(), Standing::Clean);
        let mut first = true;
        let mut record = csv::StringRecord::new();
        loop {
            let rows = chunk(reader, &mut record);
            let judge = || -> Vec<Told> {
                let each = rows.par_iter();
                each.map_init(
                    || self.rows.reader(),
                    |reader, row| self.one_row(reader, row),
                )
                .collect()
            };
            let told = match &self.how.pool {
                Some(p) => p.install(judge),
                None => judge(),
            };
            for t in told {
                counts.0.add(t.breaches, None);
                counts.1 += usize::from(t.caution);
                standing = standing.max(t.standing);
                if self.how.format == Format::Json && !t.text.is_empty() {
                    out.json_part(if first { "" } else { ",\n" });
                    first = false;
                }
                match self.how.format {
                    Format::Text => out.text(&t.text),
                    Format::Json => out.json_part(&t.text),
                }
            }
            bar.set_position(reader.position().byte());
            if rows.len() < CHUNK {
                return (counts, standing);
            }
        }
    }

    fn one_row(&self, reader: &mut RowReader<'_>, (line, cells): &Row) -> Told {
        let judged = cells.as_ref().map_err(String::clone);
        match judged.and_then(|cells| self.rows.row(reader, cells)) {
            Ok(result) => Told {
                standing: Standing::of(&result.counts, self.how.least),
                breaches: Standing::of(&result.counts, Severity::Breach),
                caution: result.has(Outcome::Failed, Severity::Caution),
                text: self.text(*line, &result),
            },
            Err(why) => Told {
                standing: Standing::Failed,
                breaches: Standing::Failed,
                caution: false,
                text: match self.how.format {
                    Format::Text => {
                        format!("line {line}: cannot be judged: {}\n", visible_line(&why))
                    }
                    Format::Json => json!({"line": line, "error": why}).to_string(),
                },
            },
        }
    }

    fn text(&self, line: u64, result: &RowResult) -> String {
        if self.how.format == Format::Json {
            return json!({"line": line, "findings": self.listed(&result.unmet)}).to_string();
        }
        let said = self.said(&result.unmet, self.how.all);
        said.map(|s| format!("line {line}: {s}\n")).collect()
    }

    /// Verdicts that are not met, for people; `all` are told, or breaches alone.
    fn said(&self, list: &[Unmet], all: bool) -> impl Iterator<Item = String> {
        list.iter().filter_map(move |unmet| {
            let of = &self.rows.verdicts[unmet.verdict];
            let told = of.severity == Severity::Breach || all;
            told.then(|| {
                let word = word(of.severity, unmet.outcome);
                format!("{word} {} for {}", of.rule, of.subject)
            })
        })
    }

    /// Verdicts that are not met, for programs.
    fn listed(&self, list: &[Unmet]) -> Vec<serde_json::Value> {
        list.iter()
            .map(|unmet| {
                let of = &self.rows.verdicts[unmet.verdict];
                json!({
                    "rule": of.rule,
                    "subject": of.subject.label,
                    "severity": of.severity.word(),
                    "outcome": unmet.outcome.word(),
                })
            })
            .collect()
    }

    fn closing(&self, (rows, caution): &Counts, out: &mut Output) {
        let of = |s| rows.of(s);
        let (breach, bad) = (of(Standing::Breach), of(Standing::Failed));
        let (rows, undecided) = (rows.files(), of(Standing::Undecided));
        let every_row = &self.rows.every_row;
        if self.how.format == Format::Json {
            out.json_part(&format!(
                "\n], \"every-row\": {}, \"caution\": {}, \"counts\": {}}}\n",
                json!(self.listed(every_row)),
                cautions::json(),
                json!({"rows": rows, "breach": breach, "undecided": undecided, "caution": caution, "bad": bad})
            ));
            return;
        }
        for said in self.said(every_row, false) {
            out.line(&format!("every line: {said}"));
        }
        out.line(&format!(
            "{}: {breach} in breach, {undecided} undecided, {caution} with a caution, {bad} that cannot be judged\n\n{}",
            plural(rows, "row", "rows"),
            cautions::ALWAYS
        ));
    }
}

/// How a verdict that is not met is told.
fn word(severity: Severity, outcome: Outcome) -> String {
    match outcome {
        Outcome::Failed => severity.word().to_owned(),
        Outcome::Departed => format!("departed {severity}"),
        _ => format!("undecided {severity}"),
    }
}
