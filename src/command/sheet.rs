//! `amperule sheet`: what is to be built and tested, and what the network operator is told.

use std::collections::BTreeSet;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::check::Report;
use crate::report::cautions;
use crate::report::notice::{self, Notice};
use crate::report::sheet::{SheetOf, html, json, text};
use crate::ruleset::Stage;
use crate::session::{Ask, Installation};
use crate::vocabulary::Settler;

use super::args::{One, Reading};
use super::{Output, exit};

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Form {
    /// Plain text
    Text,
    /// A page that prints well
    Html,
    /// For programs
    Json,
}

/// Whom a sheet is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Reader {
    /// Those who install and test
    Works,
    /// The network operator
    Network,
}

#[derive(Debug, Args)]
pub(super) struct SheetFor {
    /// A design file
    file: PathBuf,
    #[command(flatten)]
    pub(super) reading: Reading,
    /// Whom it is for
    #[arg(long = "for", value_enum, default_value_t = Reader::Works)]
    reader: Reader,
    #[arg(long, value_enum, default_value_t = Form::Text)]
    format: Form,
}

/// What is judged of readings and papers later is no reason not to build.
pub(super) fn as_designed(of: &Installation) -> Report {
    let ask = Ask {
        met: true,
        ..Ask::default()
    };
    of.at(Stage::Design).check(ask).report
}

impl SheetFor {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let Some(one) = self.reading.one(&self.file, out) else {
            return exit::FAILED;
        };
        let of = &one.installation;
        let judged = as_designed(of);
        if self.reader == Reader::Network {
            return self.notice(&one, &judged, out);
        }
        let head = SheetOf::new(of, &judged);
        let s = of.sheet();
        match self.format {
            Form::Text => out.text(&text(&head, &s)),
            Form::Html => out.text(&html(&head, &s)),
            Form::Json => out.json(&cautions::with(json(&one.loaded.path, &head, &s))),
        }
        exit::CLEAN
    }

    /// What the network operator is told: what is asked about its side belongs to it.
    fn notice(&self, one: &One, report: &Report, out: &mut Output) -> u8 {
        const TOPIC: &str = "network-operator";
        let of = &one.installation;
        let facts = of.told(Settler::Network);
        let installation = of.name();
        if facts.is_empty() {
            out.note(&format!(
                "the ruleset `{}` does not say what the network operator is told",
                of.ruleset().id
            ));
            return exit::FAILED;
        }
        let rules = of.ruleset().rules.iter();
        let concerned: BTreeSet<&str> = rules
            .filter(|r| r.topic == TOPIC)
            .map(|r| r.id.as_str())
            .collect();
        let notice = Notice {
            to: "network operator",
            installation: &installation,
            rules: &of.ruleset().edition.title,
            facts: &facts,
            findings: report
                .findings
                .iter()
                .filter(|f| concerned.contains(f.rule.as_str()))
                .collect(),
        };
        match self.format {
            Form::Text => out.text(&notice::text(&notice)),
            Form::Html => out.text(&notice::html(&notice)),
            Form::Json => out.json(&notice::json(&one.loaded.path, &notice)),
        }
        exit::CLEAN
    }
}
