//! `amperule ask`: the open questions one by one, or answers from a table, written into the file.

use std::io::{IsTerminal as _, stderr, stdin};
use std::path::{Path, PathBuf};

use clap::Args;

use crate::report::plural;
use crate::session::{Given, answer_all};
use crate::source::{FileId, Problem, SourceFile, Sources, Span};

use super::args::{One, Reading};
use super::ask_terminal::{self, text_of};
use super::output::shown;
use super::rows::separator;
use super::write::{Over, put};
use super::{Answer, Output, exit};

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
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        if self.answers.is_none() && !(stdin().is_terminal() && stderr().is_terminal()) {
            let text = "there is no terminal to ask on";
            let help = "give the answers in a table: --answers answers.csv; `amperule survey --format csv` writes one to fill in";
            return Err(Problem::error("no-terminal", text).help(help).into());
        }
        let one = self.reading.one(&self.file)?;
        match &self.answers {
            Some(table) => self.take_table(&one, table, out),
            None => ask_terminal::run(&one, &self.file, out),
        }
    }

    fn take_table(&self, one: &One, table: &Path, out: &mut Output) -> Answer {
        let mut sources = Sources::default();
        let read = read(one, table, &mut sources);
        let (given, places) = read.map_err(|problems| (problems, sources.clone()))?;
        let answered = match answer_all((one.project, &one.options), &one.loaded, &given) {
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
                return Ok(exit::FAILED);
            }
        };
        out.problems(&answered.cautions, &Sources::default());
        let before = text_of(&one.loaded);
        if before != answered.text {
            put(&self.file, Over::Text(before), &answered.text)?;
        }
        let of = answered.loaded.sound();
        let open = of.map_or(0, |of| of.survey().questions.len());
        let all = given.iter();
        let given = all.filter(|g| !matches!(g.answer.as_str(), "" | "?"));
        let (file, given) = (shown(&self.file), given.count());
        out.line(&format!(
            "{file}: {} in it, {} open",
            plural(given, "answer", "answers"),
            plural(open, "question", "questions")
        ));
        Ok(exit::CLEAN)
    }
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
    let (records, wrong): (Vec<_>, Vec<_>) = reader.records().partition(Result::is_ok);
    if !wrong.is_empty() {
        let unread = |e| Problem::error("bad-table", format!("a row cannot be read: {e}"));
        let wrong = wrong.into_iter().filter_map(Result::err);
        return Err(wrong.map(unread).collect());
    }
    let mut records = records.into_iter().flatten();
    let cell = |record: &csv::StringRecord, i: usize| {
        let cell = record.get(i).unwrap_or("").trim();
        cell.trim_start_matches('\u{feff}').to_owned()
    };
    let Some(heads) = records.next() else {
        return Ok(Table::default());
    };
    let is = |i: &usize, name: &&str| cell(&heads, *i).eq_ignore_ascii_case(name);
    let find = |names: [&str; 2]| (0..heads.len()).find(|i| names.iter().any(|n| is(i, n)));
    let columns = find(QUESTION).zip(find(ANSWER));
    let Some((question, answer)) = columns else {
        let text = "the first line names no columns `question` and `answer`";
        let help = "begin the table with the line `question,answer`";
        let head = text.lines().next().map_or(0, str::len);
        let span = Span::new(file, 0, head);
        return Err(vec![
            Problem::error("bad-table", text).at(span, "").help(help),
        ]);
    };
    let (mut given, mut places) = (Vec::new(), Vec::new());
    for record in records {
        let (question, answer) = (cell(&record, question), cell(&record, answer));
        if question.is_empty() && answer.is_empty() {
            continue;
        }
        given.push(Given { question, answer });
        let begin = record.position().map_or(0, csv::Position::byte);
        places.push(line_at(&text, usize::try_from(begin).unwrap_or(0), file));
    }
    Ok((given, places))
}

/// The line that holds a place, or the next that holds anything.
fn line_at(text: &str, begin: usize, file: FileId) -> Span {
    let rest = text.get(begin..).unwrap_or("");
    let blank = rest.len() - rest.trim_start_matches(['\n', '\r']).len();
    let line = rest
        .get(blank..)
        .and_then(|l| l.lines().next())
        .unwrap_or("");
    Span::new(file, begin + blank, begin + blank + line.len())
}
