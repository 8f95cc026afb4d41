//! `amperule ask`: the open questions one by one, or answers from a table, written into the file.

use std::io::{IsTerminal as _, stderr, stdin};
use std::path::{Path, PathBuf};

use clap::Args;

use crate::session::{Given, answer_all};
use crate::source::{Problem, SourceFile, Sources, Span, visible_line};

use super::args::{One, Reading};
use super::rows::separator;
use super::write::{Over, Writing, write};
use super::{Output, ask_terminal, exit};

#[derive(Debug, Args)]
pub(super) struct Ask {
    /// A design file; the answers are written into it
    file: PathBuf,
    #[command(flatten)]
    pub(super) reading: Reading,
    /// Takes the answers from a table (CSV) with the columns `question` and `answer`
    #[arg(long)]
    answers: Option<PathBuf>,
}

/// Columns of a table of answers, and what else they may be called.
const QUESTION: [&str; 2] = ["question", "fact"];
const ANSWER: [&str; 2] = ["answer", "value"];

/// Answers and where each stands.
type Table = (Vec<Given>, Vec<Span>);

impl Ask {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        if self.answers.is_none() && !(stdin().is_terminal() && stderr().is_terminal()) {
            let text = "there is no terminal to ask on";
            let help = "give the answers in a table: --answers answers.csv; `amperule survey --format csv` writes one to fill in";
            out.problem(Problem::error("no-terminal", text).help(help));
            return exit::FAILED;
        }
        let Some(one) = self.reading.one(&self.file, out) else {
            return exit::FAILED;
        };
        match &self.answers {
            Some(table) => self.take_table(&one, table, out),
            None => ask_terminal::run(&one, &self.file, out),
        }
    }

    fn take_table(&self, one: &One, table: &Path, out: &mut Output) -> u8 {
        let mut sources = Sources::default();
        let (given, places) = match read(one, table, &mut sources) {
            Ok(read) => read,
            Err(problems) => {
                out.problems(&problems, &sources);
                return exit::FAILED;
            }
        };
        let answered = match answer_all((&one.project, &one.options), &one.loaded, &given) {
            Ok(answered) => answered,
            Err(wrong) => {
                let mut all = Vec::new();
                for (i, problems) in wrong {
                    let place = places.get(i).copied();
                    all.extend(problems.into_iter().map(|p| match place {
                        Some(place) => p.at(place, ""),
                        None => p,
                    }));
                }
                out.problems(&all, &sources);
                out.note("nothing was written");
                return exit::FAILED;
            }
        };
        if !answered.cautions.is_empty() {
            out.problems(&answered.cautions, &Sources::default());
        }
        let before = one.loaded.sources.get(crate::source::FileId(0));
        let before = before.map_or("", |file| file.text());
        if before != answered.text
            && let Err(problem) = put(&self.file, before, &answered.text)
        {
            out.problem(problem);
            return exit::FAILED;
        }
        let open = answered.loaded.sound().map_or(0, |of| of.asked().len());
        let given = given
            .iter()
            .filter(|g| !matches!(g.answer.as_str(), "" | "?"));
        let path = self.file.display().to_string();
        out.line(&format!(
            "{}: {} answers in it, {open} questions open",
            visible_line(&path),
            given.count()
        ));
        exit::CLEAN
    }
}

/// Writes the design, if it is still what was read.
pub(super) fn put(file: &Path, before: &str, text: &str) -> Result<(), Problem> {
    write(&[Writing {
        path: file,
        over: Over::Text(before),
        text,
    }])
}

/// Reads a table of answers.
fn read(one: &One, table: &Path, sources: &mut Sources) -> Result<Table, Vec<Problem>> {
    let text = one.project.text(table).map_err(|p| vec![p])?;
    let file = sources.add(SourceFile::new(table.display().to_string(), text.clone()));
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .has_headers(false)
        .delimiter(separator(text.as_bytes()))
        .from_reader(text.as_bytes());
    let mut columns: Option<(usize, usize)> = None;
    let (mut given, mut places, mut wrong) = (Vec::new(), Vec::new(), Vec::new());
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(e) => {
                wrong.push(Problem::error(
                    "bad-table",
                    format!("a row cannot be read: {e}"),
                ));
                continue;
            }
        };
        let cell = |i: usize| {
            record
                .get(i)
                .unwrap_or("")
                .trim()
                .trim_start_matches('\u{feff}')
        };
        let Some((question, answer)) = columns else {
            let find = |names: [&str; 2]| {
                (0..record.len()).find(|i| names.iter().any(|n| cell(*i).eq_ignore_ascii_case(n)))
            };
            let (Some(q), Some(a)) = (find(QUESTION), find(ANSWER)) else {
                let text = "the first line names no columns `question` and `answer`";
                let help = "begin the table with the line `question,answer`";
                let head = text.lines().next().map_or(0, str::len);
                let span = Span::new(file, 0, head);
                return Err(vec![
                    Problem::error("bad-table", text).at(span, "").help(help),
                ]);
            };
            columns = Some((q, a));
            continue;
        };
        let question = cell(question);
        if question.is_empty() && cell(answer).is_empty() {
            continue;
        }
        given.push(Given {
            question: question.to_owned(),
            answer: cell(answer).to_owned(),
        });
        let begin = record
            .position()
            .map_or(0, |p| usize::try_from(p.byte()).unwrap_or(0));
        places.push(line_at(&text, begin, file));
    }
    if wrong.is_empty() {
        Ok((given, places))
    } else {
        Err(wrong)
    }
}

/// The line that holds a place, or the next that holds anything.
fn line_at(text: &str, begin: usize, file: crate::source::FileId) -> Span {
    let rest = text.get(begin..).unwrap_or("");
    let blank = rest.len() - rest.trim_start_matches(['\n', '\r']).len();
    let line = rest
        .get(blank..)
        .and_then(|l| l.lines().next())
        .unwrap_or("");
    Span::new(file, begin + blank, begin + blank + line.len())
}
