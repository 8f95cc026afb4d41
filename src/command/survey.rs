//! `amperule survey`: what is still unknown and matters.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::answer::{Asked, AskedAs};
use crate::report::survey::{json, sheet_text, text};
use crate::report::{fit, survey_form};
use crate::source::{Problem, visible_line};

use super::args::Reading;
use super::output::csv;
use super::{Answer, Output, exit};

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For people
    Text,
    /// A form to take along, with what is known filled in
    Sheet,
    /// A page to fill in on site; `ask --answers` reads what it saves
    Html,
    /// A table to fill in, which `ask --answers` reads
    Csv,
    /// For programs
    Json,
}

#[derive(Debug, Args)]
pub(super) struct SurveyOf {
    /// A design file
    file: PathBuf,
    #[command(flatten)]
    pub(super) reading: Reading,
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
    /// Asks what may follow from the answers too
    #[arg(long)]
    full: bool,
}

impl SurveyOf {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let one = self.reading.one(&self.file)?;
        let of = &one.installation;
        let s = match self.full {
            true => of.survey().in_full(),
            false => of.survey(),
        };
        match self.format {
            Form::Text => {
                let path = visible_line(&one.loaded.path);
                let text = text(&path, &s, &one.loaded.sources);
                out.text(&fit(&text, out.style().width.clamp(60, 120)));
            }
            Form::Sheet => out.text(&sheet_text(of, &s)),
            Form::Html => out.text(&survey_form::html(of, &of.asked(&s), &s)),
            Form::Csv => out.text(&table(&of.asked(&s))?),
            Form::Json => out.json(&json(&one.loaded.path, &s, &one.loaded.sources)),
        }
        Ok(exit::CLEAN)
    }
}

/// The questions with a column to fill in; of a part that is not written each that matters of it.
fn table(asked: &[Asked]) -> Result<String, Problem> {
    let head = [
        "question",
        "answer",
        "label",
        "expected",
        "how",
        "settled-by",
    ];
    let row = |q: &Asked| {
        let label = format!("{}, {}", q.label, q.of);
        let how = q.how.as_ref().unwrap_or(&q.means).clone();
        let by = q.settled_by.word().to_owned();
        let expected = match q.input {
            AskedAs::Choice | AskedAs::Several => format!("{}: {}", q.answer, q.usual.join(", ")),
            _ => q.answer.clone(),
        };
        [q.id.clone(), String::new(), label, expected, how, by]
    };
    let all = asked
        .iter()
        .flat_map(|q| std::iter::once(q).chain(q.parts()));
    csv(std::iter::once(head.map(str::to_owned)).chain(all.map(row)))
}
