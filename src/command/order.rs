//! `amperule order`: what is to be bought.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::answer::{Article, together};
use crate::report::cautions;
use crate::report::order::{self, COLUMNS};
use crate::report::sheet::SheetOf;
use crate::source::Problem;

use super::args::Reading;
use super::output::csv;
use super::{Answer, Output, exit};

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Form {
    /// Plain text
    Text,
    /// A page that prints well
    Html,
    /// A table for a spreadsheet
    Csv,
    /// For programs
    Json,
}

#[derive(Debug, Args)]
pub(super) struct OrderOf {
    /// Design files; several make one list
    #[arg(required = true)]
    files: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) reading: Reading,
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
}

impl OrderOf {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let mut opened = Vec::new();
        for file in &self.files {
            match self.reading.one(file) {
                Ok(one) => opened.push(one),
                Err(failure) => {
                    out.failed(&failure);
                }
            }
        }
        // A list that leaves a house out would be bought from.
        if opened.len() < self.files.len() {
            return Ok(exit::FAILED);
        }
        let several = opened.len() > 1;
        let (mut designs, mut paths, mut all) = (Vec::new(), Vec::new(), Vec::new());
        for one in &opened {
            let of = &one.installation;
            let above = SheetOf::new(of);
            let wanted = |mut a: Article| {
                if several {
                    for name in &mut a.wanted_for {
                        *name = format!("{}: {name}", above.installation);
                    }
                }
                a
            };
            all.extend(of.order().into_iter().map(wanted));
            designs.push(above);
            paths.push(one.loaded.path.clone());
        }
        let articles = together(all);
        let list = order::OrderOf {
            designs,
            articles: &articles,
        };
        match self.format {
            Form::Text => out.text(&order::text(&list)),
            Form::Html => out.text(&order::html(&list)),
            Form::Json => out.json(&cautions::with(order::json(&paths, &list))),
            Form::Csv => out.text(&table(&articles)?),
        }
        Ok(exit::CLEAN)
    }
}

/// The list as CSV. A cell that a spreadsheet would work out as a formula gets a quote in front.
fn table(articles: &[Article]) -> Result<String, Problem> {
    let safe = |cell: String| match cell.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r') => format!("'{cell}"),
        _ => cell,
    };
    let rows = order::rows(articles).into_iter().map(|row| row.map(safe));
    csv(std::iter::once(COLUMNS.map(str::to_owned)).chain(rows))
}
