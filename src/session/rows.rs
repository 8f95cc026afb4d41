//! A template judged for each row of a table: what the columns are, what a cell means, and what a
//! row comes to, under the same departures and the same standing as a check.

use std::borrow::Cow;
use std::path::Path;
use std::sync::Arc;

use super::installation::Installation;
use super::loaded::Loaded;
use super::options::Options;
use super::project::Project;
use crate::answer::{Parameter, RowJudge, RowReader};
use crate::check::{Counts, Departures, Outcome, Standing, Subject, Used};
use crate::design::model::{Parameter as Declared, Possible};
use crate::expression::Val;
use crate::quantity::{TruthSet, Unit, holds_le, parse_quantity};
use crate::ruleset::{Rule, Severity};
use crate::source::{Memory, Problem, closest};
use crate::vocabulary::WordSet;

/// What a column is.
struct Column {
    /// The parameter.
    parameter: Which,
    /// The unit named in its head.
    unit: Option<Unit>,
}

/// A parameter of the template.
enum Which {
    /// One that a verdict rests on, as an index.
    Varies(usize),
    /// One that none rests on: its cells are read as `--set` reads them, and change nothing.
    Idle(String),
}

/// A template with the head of a table.
pub struct Rows<'a> {
    project: &'a Project,
    loaded: &'a Loaded,
    options: &'a Options,
    judge: RowJudge<'a>,
    columns: Vec<Option<Column>>,
    departures: Departures<'a>,
    /// Columns that are no parameters.
    pub ignored: Vec<String>,
    /// What each verdict is about.
    pub verdicts: Vec<Verdict>,
    /// What is not met whatever the row says.
    pub every_row: Vec<Unmet>,
    /// What is counted for every row.
    fixed: Counts,
    /// The cells are not separated by commas, so a comma in a number is a decimal one.
    pub decimal_commas: bool,
}

/// One rule for one subject.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The rule.
    pub rule: String,
    /// How a failure weighs.
    pub severity: Severity,
    /// The subject.
    pub subject: Subject,
}

/// A verdict that is not met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unmet {
    /// Index into [`Rows::verdicts`].
    pub verdict: usize,
    /// Failed, undecided, or departed.
    pub outcome: Outcome,
}

/// What a row came to.
#[derive(Clone, Debug, Default)]
pub struct RowResult {
    /// What it does not meet, of the verdicts that depend on a parameter: heaviest first.
    pub unmet: Vec<Unmet>,
    /// How these came out; departures that cover nothing in this row are failed cautions.
    pub counts: Counts,
}

impl RowResult {
    /// Whether some verdict of a severity has an outcome.
    #[must_use]
    pub fn has(&self, outcome: Outcome, severity: Severity) -> bool {
        self.counts.cell(outcome, severity) > 0
    }
}

impl<'a> Rows<'a> {
    /// Takes the head of a table, whose name is for messages.
    ///
    /// # Errors
    /// Heads that look like a parameter misspelt, units that do not fit, a table without a column
    /// for any parameter, and a parameter with two columns.
    pub fn new(
        (project, loaded, options): (&'a Project, &'a Loaded, &'a Options),
        installation: &'a Installation,
        (head, table): (&[&str], &str),
    ) -> Result<Self, Vec<Problem>> {
        let design = installation.design();
        let residual = installation.residual();
        let judge = RowJudge::new(residual);
        let (columns, ignored) = columns(head, (&judge.parameters, &design.parameters), table)?;
        let verdicts = (0..residual.verdicts.len()).map(|v| Verdict {
            rule: residual.rule(v).id.clone(),
            severity: residual.rule(v).severity,
            subject: Subject::new(&residual.design, residual.verdicts[v].subject),
        });
        let mut rows = Self {
            verdicts: verdicts.collect(),
            departures: Departures::new(&residual.ruleset, design, installation.on()),
            project,
            loaded,
            options,
            judge,
            columns,
            ignored,
            every_row: Vec::new(),
            fixed: Counts::default(),
            decimal_commas: false,
        };
        let mut counts = Counts::default();
        rows.every_row = rows.outcomes(&rows.judge.fixed, &mut counts, &mut Used::default());
        let cautions = rows.departures.problems.len() + design.cautions;
        counts.add(Outcome::Failed, Severity::Caution, cautions);
        rows.fixed = counts;
        Ok(rows)
    }

    /// Departures that are not in force, to be told once.
    #[must_use]
    pub fn problems(&self) -> &[Problem] {
        &self.departures.problems
    }

    /// The rule of a verdict.
    fn rule(&self, verdict: usize) -> &Rule {
        self.judge.residual.rule(verdict)
    }

    /// Truths as outcomes, counted.
    fn outcomes(
        &self,
        truths: &[(usize, TruthSet)],
        counts: &mut Counts,
        used: &mut Used,
    ) -> Vec<Unmet> {
        let mut all = Vec::new();
        for (verdict, truth) in truths {
            let outcome = match *truth {
                TruthSet::F => Outcome::Failed,
                _ => Outcome::Undecided,
            };
            let (rule, subject) = (self.rule(*verdict), self.verdicts[*verdict].subject.id);
            let (outcome, _) = self.departures.outcome(rule, subject, outcome, used);
            counts.add(outcome, rule.severity, 1);
            all.push(Unmet {
                verdict: *verdict,
                outcome,
            });
        }
        all
    }

    /// A reader for one thread.
    #[must_use]
    pub fn reader(&self) -> RowReader<'_> {
        self.judge.reader()
    }

    /// Judges one row.
    ///
    /// # Errors
    /// Why it cannot be judged.
    pub fn row<S: AsRef<str>>(
        &self,
        reader: &mut RowReader<'_>,
        cells: &[S],
    ) -> Result<RowResult, String> {
        let values = self.values(reader, cells)?;
        let mut truths = reader.judge(&values);
        truths.sort_by_key(|(v, _)| (self.verdicts[*v].severity, *v));
        let mut out = RowResult::default();
        let mut used = Used::default();
        out.unmet = self.outcomes(&truths, &mut out.counts, &mut used);
        if !self.departures.is_empty() {
            self.outcomes(&self.judge.fixed, &mut Counts::default(), &mut used);
            let unused = self.departures.unused(&used).len();
            out.counts.add(Outcome::Failed, Severity::Caution, unused);
        }
        Ok(out)
    }

    /// What everything that holds for every row comes to.
    #[must_use]
    pub fn standing(&self, least: Severity) -> Standing {
        Standing::of(&self.fixed, least)
    }

    /// The set of each parameter in a row.
    fn values<S: AsRef<str>>(
        &self,
        reader: &mut RowReader<'_>,
        cells: &[S],
    ) -> Result<Vec<Val>, String> {
        if cells.len() != self.columns.len() {
            let hint = if cells.len() > self.columns.len() && !self.decimal_commas {
                "; a decimal comma parts a cell: write a point, or separate the cells by semicolons"
            } else {
                ""
            };
            return Err(format!(
                "it has {} {} where the head has {}{hint}",
                cells.len(),
                if cells.len() == 1 { "cell" } else { "cells" },
                self.columns.len()
            ));
        }
        let mut values: Vec<Val> = self.judge.parameters.iter().map(|p| p.set).collect();
        let mut slow: Vec<(&Which, String)> = Vec::new();
        for (column, cell) in self.columns.iter().zip(cells) {
            let Some(column) = column else { continue };
            let cell = cell.as_ref();
            // An empty cell leaves the parameter as it is declared.
            if cell.is_empty() {
                continue;
            }
            let words = self.parameter(&column.parameter).map(|p| &p.words);
            let cell = match words.is_none_or(Vec::is_empty) {
                true => self.with_points(cell)?,
                false => Cow::Borrowed(cell),
            };
            let cell = cell.as_ref();
            let text = || match &column.unit {
                // The unit of the head belongs to a number without one.
                Some(u)
                    if cell.contains(|c: char| c.is_ascii_digit())
                        && !cell.contains(char::is_alphabetic) =>
                {
                    format!("{cell} {}", u.text())
                }
                _ => cell.to_owned(),
            };
            match &column.parameter {
                Which::Varies(i) => {
                    match plain_value(&self.judge.parameters[*i], column.unit.as_ref(), cell) {
                        Some(val) => values[*i] = val,
                        None => slow.push((&column.parameter, text())),
                    }
                }
                Which::Idle(name) => {
                    let text = text();
                    if !reader.taken.contains(&(name.clone(), text.clone())) {
                        slow.push((&column.parameter, text));
                    }
                }
            }
        }
        if !slow.is_empty() {
            self.read_again(&slow, &mut values)?;
        }
        for (which, text) in slow {
            if let Which::Idle(name) = which {
                reader.taken.insert((name.clone(), text));
            }
        }
        Ok(values)
    }

    /// A parameter that verdicts rest on.
    fn parameter(&self, which: &Which) -> Option<&Parameter> {
        match which {
            Which::Varies(i) => self.judge.parameters.get(*i),
            Which::Idle(_) => None,
        }
    }

    /// A cell whose decimal commas are points.
    fn with_points<'c>(&self, cell: &'c str) -> Result<Cow<'c, str>, String> {
        if !cell.contains(',') {
            return Ok(Cow::Borrowed(cell));
        }
        let mut out = String::with_capacity(cell.len());
        let in_number = |c: char| c.is_ascii_digit() || matches!(c, ',' | '.');
        let mut rest = cell;
        while let Some(start) = rest.find(|c: char| c.is_ascii_digit()) {
            out.push_str(&rest[..start]);
            let from = &rest[start..];
            let end = from.find(|c| !in_number(c)).unwrap_or(from.len());
            // A range is no number, and a comma behind one is not inside of it.
            let end = from.find("..").map_or(end, |dots| dots.min(end));
            let number = from[..end].trim_end_matches(',');
            out.push_str(&self.with_point(number)?);
            rest = &from[number.len()..];
        }
        out.push_str(rest);
        Ok(Cow::Owned(out))
    }

    /// One number with a point for a decimal comma, where it is told what the comma means.
    fn with_point(&self, number: &str) -> Result<String, String> {
        let Some((whole, part)) = number.split_once(',') else {
            return Ok(number.to_owned());
        };
        if whole.contains('.') || part.contains([',', '.']) {
            // The last sign is the decimal one where there are several.
            let sign = number.rfind([',', '.']).unwrap_or(number.len());
            let digits = |text: &str| text.replace([',', '.'], "");
            return Err(format!(
                "`{number}` has more than one sign in it; write it with one decimal point, like {}.{}",
                digits(&number[..sign]),
                digits(&number[sign..])
            ));
        }
        let point = format!("{whole}.{part}");
        if part.len() == 3 && whole.len() <= 3 && !whole.starts_with('0') {
            return Err(format!(
                "`{number}` may be {point} or {whole}{part}; write {point}0 or {whole}{part}"
            ));
        }
        if self.decimal_commas {
            return Ok(point);
        }
        Err(format!(
            "`{number}` has a decimal comma; write {point}, or separate the cells by semicolons"
        ))
    }

    /// Mistakes, and what is no plain number or range: the whole design is read again with these values set, so that a cell
    /// means what `--set` would mean.
    fn read_again(&self, cells: &[(&Which, String)], values: &mut [Val]) -> Result<(), String> {
        let mut options = self.options.clone();
        for (which, text) in cells {
            let name = match which {
                Which::Varies(i) => &self.judge.parameters[*i].name,
                Which::Idle(name) => name,
            };
            options.set.push((name.clone(), text.clone()));
        }
        let own = self.loaded.sources.own().iter();
        let texts: Memory = own
            .map(|f| (f.name().to_owned(), f.text().to_owned()))
            .collect();
        let again = self.project.beside(texts);
        let again = again.open(Path::new(&self.loaded.path), &options);
        if let Some(p) = again.problems.iter().find(|p| p.is_error()) {
            let bare = cells
                .iter()
                .find(|(_, text)| text.parse::<f64>().is_ok())
                .and_then(|(which, _)| self.parameter(which));
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
        let installation = again.installation.as_ref();
        let installation = installation.ok_or("the template cannot be read with it")?;
        let design = Arc::clone(installation.design());
        for (which, text) in cells {
            let Which::Varies(p) = which else { continue };
            let parameter = &self.judge.parameters[*p];
            let found = design.parameters.iter().find(|x| x.name == parameter.name);
            values[*p] = match found.map(|x| (&x.value, &x.declared)) {
                Some((Possible::Unknown, _)) => parameter.set,
                // One of the declared alternatives, in whatever unit.
                Some((value, Possible::OneOf(list))) => {
                    let place = list.iter().position(|one| alike(one, value));
                    let place = place.filter(|i| parameter.set.as_words().has(*i));
                    let none = || format!("`{text}` is no alternative of `{}`", parameter.name);
                    Val::words(WordSet::one(place.ok_or_else(none)?))
                }
                Some((Possible::Number(i), _)) => Val::interval(*i),
                _ => return Err(format!("`{text}` is no value of `{}`", parameter.name)),
            };
        }
        Ok(())
    }
}

/// Columns, and the heads of those that are no parameters.
type Head = (Vec<Option<Column>>, Vec<String>);

/// What each column is, and the heads of those that are no parameters.
fn columns(
    head: &[&str],
    (parameters, declared): (&[Parameter], &[Declared]),
    table: &str,
) -> Result<Head, Vec<Problem>> {
    let (mut all, mut problems, mut ignored) = (Vec::new(), Vec::new(), Vec::new());
    let mut seen: Vec<Option<&str>> = vec![None; declared.len()];
    for text in head {
        // A byte order mark stands before the first head.
        let text = text.trim_start_matches('\u{feff}').trim();
        let (name, unit) = match text.split_once(['(', '[']) {
            Some((name, rest)) => {
                let unit = rest.trim_end_matches([')', ']']).trim();
                (name.trim(), Some(unit))
            }
            None => (text, None),
        };
        let Some(place) = declared.iter().position(|p| p.name == name) else {
            match closest(name, declared.iter().map(|p| p.name.as_str())) {
                Some(near) => problems.push(misspelt(name, near, table)),
                None => ignored.push(name.to_owned()),
            }
            all.push(None);
            continue;
        };
        if let Some(first) = seen[place].replace(text) {
            let why = format!("`{table}` has two columns for the parameter `{name}`");
            problems.push(Problem::error("column-twice", why).help(format!(
                "they are headed `{first}` and `{text}`; take one out"
            )));
        }
        let parameter = match parameters.iter().position(|p| p.name == name) {
            Some(i) => Which::Varies(i),
            None => Which::Idle(name.to_owned()),
        };
        let own = match parameter {
            Which::Varies(i) => parameters[i].unit.clone(),
            Which::Idle(_) => Unit::parse(&declared[place].unit).ok(),
        };
        let unit = match unit.zip(own) {
            None => None,
            Some((text, own)) => match Unit::parse(text) {
                Ok(u) if u.dim() == own.dim() => Some(u),
                _ => {
                    let message =
                        format!("the column `{name}` is headed `{text}`, which is no unit of it");
                    problems.push(
                        Problem::error("wrong-unit", message)
                            .help(format!("head it like `{name} ({})`", own.text())),
                    );
                    None
                }
            },
        };
        all.push(Some(Column { parameter, unit }));
    }
    if problems.is_empty() && all.iter().all(Option::is_none) {
        problems.push(no_parameter(declared, table));
    }
    if problems.is_empty() {
        Ok((all, ignored))
    } else {
        Err(problems)
    }
}

fn misspelt(name: &str, near: &str, table: &str) -> Problem {
    Problem::error(
        "unknown-parameter",
        format!("the column `{name}` of `{table}` is no parameter of the template"),
    )
    .help(format!("did you mean `{near}`?"))
}

fn no_parameter(declared: &[Declared], table: &str) -> Problem {
    let names: Vec<&str> = declared.iter().map(|p| p.name.as_str()).collect();
    Problem::error(
        "no-parameter",
        format!("no column of `{table}` is headed like a parameter of the template"),
    )
    .help(if names.is_empty() {
        "the template declares none; write `parameter run: 5 m .. 40 m`".to_owned()
    } else {
        format!("the parameters are {}", names.join(", "))
    })
}

/// Whether two values are the same, but for the rounding of a unit.
fn alike(a: &Possible, b: &Possible) -> bool {
    let same = |x: f64, y: f64| holds_le(x, y, 0.0) && holds_le(y, x, 0.0);
    match (a, b) {
        (Possible::Number(a), Possible::Number(b)) => same(a.lo, b.lo) && same(a.hi, b.hi),
        _ => a == b,
    }
}

/// A plain number or range with the parameter's unit, or a word of its alternatives; anything else
/// is read by the language itself.
fn plain_value(p: &Parameter, head: Option<&Unit>, cell: &str) -> Option<Val> {
    if !p.words.is_empty() {
        let i = p.words.iter().position(|w| w == cell)?;
        return p.set.as_words().has(i).then(|| Val::words(WordSet::one(i)));
    }
    let (lo, hi) = match cell.split_once("..") {
        None => {
            let (x, _) = plain_number(p, head, cell)?;
            (x, x)
        }
        Some((from, to)) => {
            let (lo, bare_from) = plain_number(p, head, from.trim())?;
            let (hi, bare_to) = plain_number(p, head, to.trim())?;
            // A unit behind the second number is that of the first, too, whatever the head says.
            if lo > hi || bare_from != bare_to {
                return None;
            }
            (lo, hi)
        }
    };
    (p.set.lo <= lo && hi <= p.set.hi).then_some(Val { lo, hi, ..p.set })
}

/// A plain number, and whether it stands without a unit.
fn plain_number(p: &Parameter, head: Option<&Unit>, text: &str) -> Option<(f64, bool)> {
    let own = p.unit.as_ref()?;
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
        .unwrap_or(text.len());
    let (digits, rest) = text.split_at(end);
    let rest = rest.trim();
    let unit = match (rest.is_empty(), head) {
        (true, Some(u)) => u,
        // A bare number needs its unit in the head, unless it has none.
        (true, None) if own.text().is_empty() => own,
        (false, _) if rest == own.text() => own,
        _ => return None,
    };
    Some((parse_quantity(digits, unit)?, rest.is_empty()))
}
