//! `amperule survey`: what is still unknown and matters.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::answer::Asked;
use crate::report::survey::{SheetHead, json, sheet_text, text};
use crate::report::{fit, survey_form};
use crate::source::{Problem, visible_line};

use super::args::Reading;
use super::{Output, exit};

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
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let Some(one) = self.reading.one(&self.file, out) else {
            return exit::FAILED;
        };
        let of = &one.installation;
        let s = match self.full {
            true => of.survey().in_full(),
            false => of.survey(),
        };
        let head = || SheetHead {
            installation: of.name(),
            rules: of.ruleset().edition.title.clone(),
            known: of.known_facts(),
        };
        match self.format {
            Form::Text => {
                let path = visible_line(&one.loaded.path);
                let text = text(&path, &s, &one.loaded.sources);
                out.text(&fit(&text, out.style().width.clamp(60, 120)));
            }
            Form::Sheet => out.text(&sheet_text(&head(), &s)),
            Form::Html => out.text(&survey_form::html(&head(), &of.asked(&s), &s)),
            Form::Csv => match table(&of.asked(&s)) {
                Ok(text) => out.text(&text),
                Err(e) => {
                    let text = format!("the table cannot be written: {e}");
                    out.problem(Problem::error("table", text));
                    return exit::FAILED;
                }
            },
            Form::Json => out.json(&json(&one.loaded.path, &s, &one.loaded.sources)),
        }
        exit::CLEAN
    }
}

/// The questions with a column to fill in; of a part that is not written each that matters of it.
fn table<'a>(asked: &'a [Asked]) -> Result<String, String> {
    let mut to = csv::Writer::from_writer(Vec::new());
    let mut put = |row: [&str; 6]| to.write_record(row).map_err(|e| e.to_string());
    put([
        "question",
        "answer",
        "label",
        "expected",
        "how",
        "settled-by",
    ])?;
    let all = |q: &'a Asked| std::iter::once(q).chain(q.parts());
    for q in asked.iter().flat_map(all) {
        let label = format!("{}, {}", q.label, q.of);
        let how = q.how.as_deref().unwrap_or(&q.means);
        put([&q.id, "", &label, &q.answer, how, q.settled_by.word()])?;
    }
    let bytes = to.into_inner().map_err(|e| e.to_string())?;
    String::from_utf8(bytes).map_err(|e| e.to_string())
}
