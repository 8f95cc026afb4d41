//! `amperule check --rows`: a template judged for each row of a table.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path;

use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;
use serde_json::json;

use crate::answer::{Parameter, Residual, RowJudge, RowReader};
use crate::design::model::Possible;
use crate::expression::Val;
use crate::quantity::{TruthSet, Unit, parse_quantity};
use crate::report::render_problems;
use crate::ruleset::Severity;
use crate::source::{Problem, SourceFile, Sources, closest};

use super::check::{Format, Reading};
use super::one::{One, read_one};
use super::read::read;
use super::{Output, exit};

/// Rows that are judged before they are printed: memory stays flat, and order is that of the file.
const CHUNK: usize = 4096;

/// What a column is.
struct Column {
    /// The parameter, as an index.
    parameter: usize,
    /// The unit named in its head.
    unit: Option<Unit>,
}

/// A row that was read.
struct Row {
    line: u64,
    cells: Vec<String>,
}

/// How a row came out.
#[derive(Default)]
struct Told {
    text: String,
    breach: bool,
    undecided: bool,
    caution: bool,
    bad: bool,
}

struct Table<'a> {
    one: &'a One,
    file: &'a Path,
    reading: &'a Reading,
    judge: &'a RowJudge<'a>,
    columns: Vec<Option<Column>>,
    format: Format,
    all: bool,
    /// What each verdict says where it is not met: severity, rule, subject.
    names: Vec<(Severity, String, String)>,
}

/// Judges the rows of a file for one template.
pub(super) fn run(
    file: &Path,
    rows: &Path,
    reading: &Reading,
    ((format, all, deny), jobs): ((Format, bool, Option<&str>), Option<usize>),
    out: &mut Output,
) -> u8 {
    let Some(one) = read_one(file, reading, out) else {
        return exit::FAILED;
    };
    let fail = |p: Problem, out: &mut Output| {
        out.note(render_problems(&[p], &Sources::default(), out.style()).trim_end());
        exit::FAILED
    };
    let opened = File::open(rows).and_then(|f| Ok((f.metadata()?.len(), f)));
    let (size, source) = match opened {
        Ok(o) => o,
        Err(e) => {
            return fail(
                Problem::error(
                    "unreadable",
                    format!("`{}` cannot be read: {e}", rows.display()),
                ),
                out,
            );
        }
    };
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(source);
    let head = match reader.headers() {
        Ok(h) => h.clone(),
        Err(e) => {
            return fail(
                Problem::error(
                    "bad-table",
                    format!("the head of `{}` cannot be read: {e}", rows.display()),
                ),
                out,
            );
        }
    };
    let residual = Residual::new(&one.ruleset, &one.design, &[], one.stage);
    let judge = RowJudge::new(&residual);
    let (columns, problems, ignored) = columns(&head, &judge.parameters, rows);
    if !problems.is_empty() {
        let text = render_problems(&problems, &Sources::default(), out.style());
        out.note(text.trim_end());
        return exit::FAILED;
    }
    if !ignored.is_empty() {
        out.note(&format!(
            "columns that are no parameters are left aside: {}",
            ignored.join(", ")
        ));
    }
    let names = (0..residual.verdicts.len())
        .map(|v| {
            let rule = residual.rule(v);
            (rule.severity, rule.id.clone(), residual.subject(v))
        })
        .collect();
    let table = Table {
        one: &one,
        file,
        reading,
        judge: &judge,
        columns,
        format,
        all,
        names,
    };
    let bar = ProgressBar::new(size);
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {percent} % of the rows, {eta} left")
    {
        bar.set_style(style);
    }
    let pool = jobs.and_then(|n| rayon::ThreadPoolBuilder::new().num_threads(n).build().ok());
    let counts = table.all_rows(&mut reader, pool.as_ref(), &bar, out);
    bar.finish_and_clear();
    table.closing(&counts, deny, out)
}

/// What each column is; heads that look like a parameter misspelt are mistakes.
fn columns(
    head: &csv::StringRecord,
    parameters: &[Parameter],
    rows: &Path,
) -> (Vec<Option<Column>>, Vec<Problem>, Vec<String>) {
    let (mut all, mut problems, mut ignored) = (Vec::new(), Vec::new(), Vec::new());
    for text in head {
        // A byte order mark stands before the first head.
        let text = text.trim_start_matches('\u{feff}').trim();
        let (name, unit) = match text.split_once(['(', '[']) {
            Some((name, rest)) => (
                name.trim(),
                Some(rest.trim_end_matches([')', ']']).trim().to_owned()),
            ),
            None => (text, None),
        };
        let Some(parameter) = parameters.iter().position(|p| p.name == name) else {
            match closest(name, parameters.iter().map(|p| p.name.as_str())) {
                Some(near) => problems.push(
                    Problem::error(
                        "unknown-parameter",
                        format!(
                            "the column `{name}` of `{}` is no parameter of the template",
                            rows.display()
                        ),
                    )
                    .help(if name.contains(';') {
                        "separate the cells by commas, and write decimals with a point".to_owned()
                    } else {
                        format!("did you mean `{near}`?")
                    }),
                ),
                None => ignored.push(name.to_owned()),
            }
            all.push(None);
            continue;
        };
        let unit = match (&unit, &parameters[parameter].unit) {
            (None, _) => None,
            (Some(text), Some(own)) => match Unit::parse(text) {
                Ok(u) if u.dim() == own.dim() => Some(u),
                _ => {
                    problems.push(
                        Problem::error(
                            "wrong-unit",
                            format!(
                                "the column `{name}` is headed `{text}`, which is no unit of it"
                            ),
                        )
                        .help(format!("head it like `{name} ({})`", own.text())),
                    );
                    None
                }
            },
            (Some(_), None) => None,
        };
        all.push(Some(Column { parameter, unit }));
    }
    if problems.is_empty() && all.iter().all(Option::is_none) {
        let names: Vec<&str> = parameters.iter().map(|p| p.name.as_str()).collect();
        problems.push(
            Problem::error(
                "no-parameter",
                format!(
                    "no column of `{}` is headed like a parameter that varies in the template",
                    rows.display()
                ),
            )
            .help(if names.is_empty() {
                "the template declares none; write `parameter run: 5 m .. 40 m`".to_owned()
            } else {
                format!("the parameters are {}", names.join(", "))
            }),
        );
    }
    (all, problems, ignored)
}

#[derive(Default)]
struct Counts {
    rows: usize,
    breach: usize,
    undecided: usize,
    caution: usize,
    bad: usize,
}

impl Table<'_> {
    fn all_rows(
        &self,
        reader: &mut csv::Reader<File>,
        pool: Option<&rayon::ThreadPool>,
        bar: &ProgressBar,
        out: &mut Output,
    ) -> Counts {
        let mut counts = Counts::default();
        if self.format == Format::Json {
            out.text(&format!(
                "{{\"schema\": \"amperule-rows-1\", \"path\": {}, \"rows\": [\n",
                json!(self.one.path)
            ));
        }
        let mut first = true;
        let mut record = csv::StringRecord::new();
        let mut ended = false;
        while !ended {
            let mut chunk: Vec<Result<Row, (u64, String)>> = Vec::with_capacity(CHUNK);
            while chunk.len() < CHUNK {
                let line = reader.position().line();
                match reader.read_record(&mut record) {
                    Ok(true) => chunk.push(Ok(Row {
                        line: record.position().map_or(line, csv::Position::line),
                        cells: record.iter().map(str::to_owned).collect(),
                    })),
                    Ok(false) => {
                        ended = true;
                        break;
                    }
                    Err(e) => {
                        let fatal = matches!(e.kind(), csv::ErrorKind::Io(_));
                        chunk.push(Err((line, e.to_string())));
                        if fatal {
                            ended = true;
                            break;
                        }
                    }
                }
            }
            let judge = || -> Vec<Told> {
                chunk
                    .par_iter()
                    .map_init(
                        || self.judge.reader(),
                        |reader, row| match row {
                            Ok(row) => self.one_row(reader, row),
                            Err((line, why)) => self.bad(*line, why),
                        },
                    )
                    .collect()
            };
            let told = match pool {
                Some(p) => p.install(judge),
                None => judge(),
            };
            for t in told {
                counts.rows += 1;
                counts.breach += usize::from(t.breach);
                counts.undecided += usize::from(t.undecided && !t.breach);
                counts.caution += usize::from(t.caution);
                counts.bad += usize::from(t.bad);
                if self.format == Format::Json && !t.text.is_empty() {
                    out.text(if first { "" } else { ",\n" });
                    first = false;
                }
                out.text(&t.text);
            }
            bar.set_position(reader.position().byte());
        }
        counts
    }

    fn one_row(&self, reader: &mut RowReader<'_>, row: &Row) -> Told {
        let values = match self.values(row) {
            Ok(v) => v,
            Err(why) => return self.bad(row.line, &why),
        };
        let mut unmet = reader.judge(&values);
        unmet.sort_by_key(|(v, _)| (self.names.get(*v).map(|n| n.0), *v));
        let of = |severity: Severity, truth: TruthSet| {
            unmet
                .iter()
                .any(|(v, t)| *t == truth && self.names[*v].0 == severity)
        };
        let mut told = Told {
            breach: of(Severity::Breach, TruthSet::F),
            undecided: of(Severity::Breach, TruthSet::U),
            caution: of(Severity::Caution, TruthSet::F),
            ..Told::default()
        };
        let word = |v: usize, t: TruthSet| match (self.names[v].0, t) {
            (s, TruthSet::F) => s.word().to_owned(),
            (s, _) => format!("undecided {s}"),
        };
        told.text = match self.format {
            Format::Text => {
                let mut text = String::new();
                for (v, t) in &unmet {
                    let (severity, rule, subject) = &self.names[*v];
                    if *severity == Severity::Breach || self.all {
                        text.push_str(&format!(
                            "line {}: {} {rule} for {subject}\n",
                            row.line,
                            word(*v, *t)
                        ));
                    }
                }
                text
            }
            Format::Json => {
                let list = self.listed(&unmet);
                json!({"line": row.line, "findings": list}).to_string()
            }
        };
        told
    }

    /// Verdicts that are not met, for programs.
    fn listed(&self, list: &[(usize, TruthSet)]) -> Vec<serde_json::Value> {
        list.iter()
            .map(|(v, t)| {
                let (severity, rule, subject) = &self.names[*v];
                json!({
                    "rule": rule,
                    "subject": subject,
                    "severity": severity.word(),
                    "outcome": if *t == TruthSet::F { "failed" } else { "undecided" },
                })
            })
            .collect()
    }

    fn bad(&self, line: u64, why: &str) -> Told {
        Told {
            bad: true,
            text: match self.format {
                Format::Text => format!("line {line}: cannot be judged: {why}\n"),
                Format::Json => json!({"line": line, "error": why}).to_string(),
            },
            ..Told::default()
        }
    }

    /// The set of each parameter in a row.
    fn values(&self, row: &Row) -> Result<Vec<Val>, String> {
        if row.cells.len() != self.columns.len() {
            return Err(format!(
                "it has {} {} where the head has {}",
                row.cells.len(),
                if row.cells.len() == 1 {
                    "cell"
                } else {
                    "cells"
                },
                self.columns.len()
            ));
        }
        let mut values: Vec<Val> = self.judge.parameters.iter().map(|p| p.set).collect();
        let mut slow: Vec<(usize, String)> = Vec::new();
        for (column, cell) in self.columns.iter().zip(&row.cells) {
            let Some(column) = column else { continue };
            let p = &self.judge.parameters[column.parameter];
            // An empty cell leaves the parameter as it is declared.
            if cell.is_empty() {
                continue;
            }
            match quick(p, column.unit.as_ref(), cell) {
                Some(val) => values[column.parameter] = val,
                None => slow.push((
                    column.parameter,
                    match &column.unit {
                        // The unit of the head belongs to a cell without one.
                        Some(u) if !cell.contains(|c: char| c.is_alphabetic()) => {
                            format!("{cell} {}", u.text())
                        }
                        _ => cell.clone(),
                    },
                )),
            }
        }
        if !slow.is_empty() {
            self.slow(&slow, &mut values)?;
        }
        Ok(values)
    }

    /// Ranges and mistakes: the whole design is read again with these values set, so that a cell
    /// means what `--set` would mean.
    fn slow(&self, cells: &[(usize, String)], values: &mut [Val]) -> Result<(), String> {
        let mut wanted = self.reading.wanted();
        for (p, text) in cells {
            let name = self.judge.parameters[*p].name.clone();
            wanted.set.push((name, text.clone()));
        }
        wanted.overlay = self
            .one
            .sources
            .own()
            .iter()
            .map(|f: &std::sync::Arc<SourceFile>| (f.name().to_owned(), f.text().to_owned()))
            .collect::<BTreeMap<_, _>>();
        let again = read(self.file, &wanted, &self.one.shelf);
        if let Some(p) = again.problems.iter().find(|p| p.is_error()) {
            let bare = cells
                .iter()
                .find(|(_, text)| text.parse::<f64>().is_ok())
                .and_then(|(p, _)| self.judge.parameters.get(*p));
            return Err(match bare.and_then(|p| Some((p, p.unit.as_ref()?))) {
                Some((parameter, unit)) if !unit.text().is_empty() => format!(
                    "{}; head its column `{} ({})`, or write the unit in the cell",
                    p.message,
                    parameter.name,
                    unit.text()
                ),
                _ => p.message.clone(),
            });
        }
        let design = again.design.ok_or("the template cannot be read with it")?;
        for (p, text) in cells {
            let parameter = &self.judge.parameters[*p];
            let found = design.parameters.iter().find(|x| x.name == parameter.name);
            let val = match found.map(|x| &x.value) {
                Some(Possible::Number(i)) => Val::interval(*i),
                Some(Possible::Unknown) => parameter.set,
                _ => return Err(format!("`{text}` is no value of `{}`", parameter.name)),
            };
            values[*p] = val;
        }
        Ok(())
    }

    fn closing(&self, c: &Counts, deny: Option<&str>, out: &mut Output) -> u8 {
        let fixed = &self.judge.fixed;
        let always = |s: Severity, t: TruthSet| {
            fixed
                .iter()
                .filter(|(v, x)| *x == t && self.names[*v].0 == s)
                .count()
        };
        match self.format {
            Format::Text => {
                for (v, t) in fixed {
                    let (severity, rule, subject) = &self.names[*v];
                    if *severity == Severity::Breach {
                        let word = if *t == TruthSet::F {
                            "breach"
                        } else {
                            "undecided breach"
                        };
                        out.line(&format!("every line: {word} {rule} for {subject}"));
                    }
                }
                out.line(&format!(
                    "{} rows: {} in breach, {} undecided, {} with a caution, {} that cannot be judged",
                    c.rows, c.breach, c.undecided, c.caution, c.bad
                ));
            }
            Format::Json => {
                let list = self.listed(fixed);
                out.line(&format!(
                    "\n], \"every-row\": {}, \"counts\": {}}}",
                    json!(list),
                    json!({"rows": c.rows, "breach": c.breach, "undecided": c.undecided, "caution": c.caution, "bad": c.bad})
                ));
            }
        }
        let deny_cautions = deny.is_some();
        if c.bad > 0 {
            exit::FAILED
        } else if c.breach > 0
            || always(Severity::Breach, TruthSet::F) > 0
            || deny_cautions && (c.caution > 0 || always(Severity::Caution, TruthSet::F) > 0)
        {
            exit::BREACH
        } else if c.undecided > 0 || always(Severity::Breach, TruthSet::U) > 0 {
            exit::UNDECIDED
        } else {
            exit::CLEAN
        }
    }
}

/// A plain number with the parameter's unit, or a word of its alternatives; anything else is read
/// by the language itself.
fn quick(p: &Parameter, head: Option<&Unit>, cell: &str) -> Option<Val> {
    if !p.words.is_empty() {
        let i = p.words.iter().position(|w| w == cell)?;
        return (p.set.bits >> i & 1 != 0).then(|| Val::bits(1 << i));
    }
    let own = p.unit.as_ref()?;
    let end = cell
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
        .unwrap_or(cell.len());
    let (digits, rest) = cell.split_at(end);
    let rest = rest.trim();
    let unit = match (rest.is_empty(), head) {
        (true, Some(u)) => u,
        // A bare number needs its unit in the head, unless it has none.
        (true, None) if own.text().is_empty() => own,
        (false, _) if rest == own.text() => own,
        _ => return None,
    };
    let x = parse_quantity(digits, unit)?;
    (p.set.lo <= x && x <= p.set.hi).then_some(Val {
        lo: x,
        hi: x,
        ..p.set
    })
}
