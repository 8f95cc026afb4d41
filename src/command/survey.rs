//! `amperule survey`: what is still unknown and matters.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::report::fit;
use crate::report::survey::{SheetHead, json, sheet_html, sheet_text, text};
use crate::source::visible_line;

use super::args::{Format, Reading};
use super::{Output, exit};

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Sheet {
    /// Plain text
    Text,
    /// A page that prints well
    Html,
}

#[derive(Debug, Args)]
pub(super) struct SurveyOf {
    /// A design file
    file: PathBuf,
    #[command(flatten)]
    pub(super) reading: Reading,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// A form to take along, with what is known filled in
    #[arg(long, value_enum, num_args = 0..=1, default_missing_value = "text", conflicts_with = "format")]
    sheet: Option<Sheet>,
}

impl SurveyOf {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let Some(one) = self.reading.one(&self.file, out) else {
            return exit::FAILED;
        };
        let of = &one.installation;
        let s = of.survey();
        if let Some(sheet) = self.sheet {
            let head = SheetHead {
                installation: of.name(),
                rules: of.ruleset().edition.title.clone(),
                known: of.known_facts(),
            };
            out.text(&match sheet {
                Sheet::Text => sheet_text(&head, &s),
                Sheet::Html => sheet_html(&head, &s),
            });
            return exit::CLEAN;
        }
        match self.format {
            Format::Text => {
                let path = visible_line(&one.loaded.path);
                let text = text(&path, &s, &one.loaded.sources);
                out.text(&fit(&text, out.style().width.clamp(60, 120)));
            }
            Format::Json => out.json(&json(&one.loaded.path, &s, &one.loaded.sources)),
        }
        exit::CLEAN
    }
}
