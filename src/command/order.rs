//! `amperule order`: what is to be bought.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::answer::{Article, together};
use crate::report::order::{self, COLUMNS};
use crate::report::sheet::SheetOf;
use crate::source::Problem;

use super::args::Reading;
use super::sheet::as_designed;
use super::{Output, exit};

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
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let opened: Vec<_> = self
            .files
            .iter()
            .filter_map(|file| self.reading.one(file, out))
            .collect();
        // A list that leaves a house out would be bought from.
        if opened.len() < self.files.len() {
            return exit::FAILED;
        }
        let several = opened.len() > 1;
        let (mut designs, mut paths, mut all) = (Vec::new(), Vec::new(), Vec::new());
        for one in &opened {
            let of = &one.installation;
            let above = SheetOf::new(of, &as_designed(of));
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
            Form::Json => out.line(&order::json(&paths, &list).to_string()),
            Form::Csv => match table(&articles) {
                Ok(text) => out.text(&text),
                Err(e) => {
                    let why = format!("the table cannot be written: {e}");
                    out.problem(Problem::error("table", why));
                    return exit::FAILED;
                }
            },
        }
        exit::CLEAN
    }
}

/// The list as CSV. A cell that a spreadsheet would work out as a formula gets a quote in front.
fn table(articles: &[Article]) -> Result<String, String> {
    let mut to = csv::Writer::from_writer(Vec::new());
    let put = |to: &mut csv::Writer<Vec<u8>>, row: &[String]| {
        let safe = row.iter().map(|cell| match cell.chars().next() {
            Some('=' | '+' | '-' | '@' | '\t' | '\r') => format!("'{cell}"),
            _ => cell.clone(),
        });
        to.write_record(safe).map_err(|e| e.to_string())
    };
    put(&mut to, &COLUMNS.map(str::to_owned))?;
    for row in order::rows(articles) {
        put(&mut to, &row)?;
    }
    let bytes = to.into_inner().map_err(|e| e.to_string())?;
    String::from_utf8(bytes).map_err(|e| e.to_string())
}
