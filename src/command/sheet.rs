//! `amperule sheet`: what is to be built and tested, and what the network operator is told.

use std::collections::BTreeSet;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::report::cautions;
use crate::report::notice::{self, Notice};
use crate::report::sheet::{SheetOf, as_designed, html, json, text};
use crate::vocabulary::Settler;

use super::args::{One, Pages, Reading};
use super::{Answer, Output, exit};

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
    #[arg(long, value_enum, default_value_t = Pages::Text)]
    format: Pages,
}

impl SheetFor {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let one = self.reading.one(&self.file)?;
        let of = &one.installation;
        if self.reader == Reader::Network {
            return self.notice(&one, out);
        }
        let head = SheetOf::new(of);
        let s = of.sheet();
        match self.format {
            Pages::Text => out.text(&text(&head, &s)),
            Pages::Html => out.text(&html(&head, &s)),
            Pages::Json => out.json(&cautions::with(json(&one.loaded.path, &head, &s))),
        }
        Ok(exit::CLEAN)
    }

    /// What the network operator is told: what is asked about its side belongs to it.
    fn notice(&self, one: &One, out: &mut Output) -> Answer {
        const TOPIC: &str = "network-operator";
        let of = &one.installation;
        let facts = of.told(Settler::Network);
        if facts.is_empty() {
            out.note(&format!(
                "the ruleset `{}` does not say what the {} is told",
                of.ruleset().id,
                of.ruleset().network_operator
            ));
            return Ok(exit::FAILED);
        }
        let rules = of.ruleset().rules.iter();
        let rules = rules.filter(|r| r.texts.topic == TOPIC);
        let concerned: BTreeSet<&str> = rules.map(|r| r.id.as_str()).collect();
        let report = as_designed(of);
        let findings = report.findings.iter();
        let findings = findings.filter(|f| concerned.contains(f.rule.as_str()));
        let notice = Notice {
            to: &of.ruleset().network_operator,
            of,
            facts: &facts,
            findings: findings.collect(),
        };
        match self.format {
            Pages::Text => out.text(&notice::text(&notice)),
            Pages::Html => out.text(&notice::html(&notice)),
            Pages::Json => out.json(&cautions::with(notice::json(&one.loaded.path, &notice))),
        }
        Ok(exit::CLEAN)
    }
}
