//! `amperule explain`: one rule in full.

use clap::Args;

use crate::answer::facts_read;
use crate::report::{explain, render_problems};
use crate::ruleset::{Case, read_cases};
use crate::source::{Problem, Sources};

use super::check::Format;
use super::rules::{Which, show_problems, split_rules};
use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct Explain {
    /// The rule's id
    rule: String,
    #[command(flatten)]
    which: Which,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

impl Explain {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let library = self.which.library();
        let edition = self
            .which
            .edition
            .clone()
            .or_else(|| library.editions(&split_rules(&self.which.rules).0).pop());
        let loaded = library.load(&self.which.request(edition));
        show_problems(&loaded, &loaded.problems, out);
        let Some(ruleset) = &loaded.ruleset else {
            return exit::FAILED;
        };
        let Some(rule) = ruleset.rule(&self.rule) else {
            let p = Problem::error(
                "unknown-rule",
                format!(
                    "there is no rule `{}` in {} edition {}",
                    self.rule, ruleset.id, ruleset.edition.id
                ),
            )
            .did_you_mean(&self.rule, ruleset.rules.iter().map(|r| r.id.as_str()));
            out.note(render_problems(&[p], &Sources::default(), out.style()).trim_end());
            return exit::FAILED;
        };
        let (files, problems) = read_cases(&loaded.files);
        show_problems(&loaded, &problems, out);
        let cases: Vec<&Case> = files
            .iter()
            .flat_map(|f| &f.cases)
            .filter(|c| c.rule == rule.id)
            .filter(|c| c.edition.as_ref().is_none_or(|e| *e == ruleset.edition.id))
            .collect();
        let reads = facts_read(ruleset, rule);
        match self.format {
            Format::Text => out.text(&explain::text(ruleset, rule, &reads, &cases)),
            Format::Json => {
                out.line(&explain::json(ruleset, rule, &reads, &cases).to_string());
            }
        }
        if problems.is_empty() {
            exit::CLEAN
        } else {
            exit::FAILED
        }
    }
}
