//! `amperule explain`: one rule in full, or what the code of a mistake means.

use clap::Args;

use crate::answer::facts_read;
use crate::guide::mistakes;
use crate::report::explain;
use crate::ruleset::{Case, Library, Request, read_cases};
use crate::source::Problem;

use super::args::Format;
use super::rules::{Which, show_problems};
use super::{Answer, Output, exit};

#[derive(Debug, Args)]
pub(super) struct Explain {
    /// The rule's id, or the code of a mistake
    #[arg(value_name = "RULE|CODE")]
    rule: String,
    #[command(flatten)]
    pub(super) which: Which,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

impl Explain {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        if let Some((code, means)) = mistakes().find(|(code, _)| *code == self.rule) {
            match self.format {
                Format::Text => out.line(&format!("{code}\n\n{means}")),
                Format::Json => out.json(&explain::code(code, means)),
            }
            return Ok(exit::CLEAN);
        }
        let ruleset = self.which.load(out)?;
        let Some(rule) = ruleset.rule(&self.rule) else {
            let (id, edition) = (&ruleset.id, &ruleset.edition.id);
            let withdrawn = ruleset.withdrawn.iter().find(|w| w.0 == self.rule);
            let text = match withdrawn {
                Some((_, layer, because)) => {
                    format!("`{}` is withdrawn by `{layer}`: {because}", self.rule)
                }
                None => format!(
                    "`{}` is neither a rule in {id} edition {edition} nor the code of a mistake",
                    self.rule
                ),
            };
            let ids = ruleset.rules.iter().map(|r| r.id.as_str());
            let ids = ids.chain(mistakes().map(|(code, _)| code));
            let problem = Problem::error("unknown-rule", text);
            // An id begins with the name of the ruleset that states it.
            let other = self.rule.split_once('-').map(|(base, _)| base);
            let library = Library::new(self.which.rulesets.clone());
            let other = other.filter(|base| library.names().iter().any(|n| n == base));
            let stated = other.filter(|base| *base != ruleset.id).and_then(|base| {
                let request = Request {
                    base: base.to_owned(),
                    edition: library.editions(base).pop(),
                    ..Request::default()
                };
                library.load(&request).ruleset
            });
            let problem = match other {
                Some(base)
                    if stated
                        .as_ref()
                        .is_some_and(|r| r.rule(&self.rule).is_some()) =>
                {
                    problem.help(format!(
                        "ask the ruleset `{base}` for it: `amperule explain {} --rules {base}`",
                        self.rule
                    ))
                }
                // A patch withdrew what the ruleset under it states.
                Some(base) if withdrawn.is_some() => problem.help(format!(
                    "without that layer it holds: `amperule explain {} --rules {base}`",
                    self.rule
                )),
                _ => {
                    let there = stated
                        .iter()
                        .flat_map(|r| r.rules.iter().map(|r| r.id.as_str()));
                    problem.did_you_mean(&self.rule, ids.chain(there))
                }
            };
            return Err(problem.into());
        };
        let (files, problems) = read_cases(&ruleset.files, &ruleset.edition.id);
        show_problems(&ruleset.files, &problems, out);
        let cases: Vec<&Case> = files
            .iter()
            .flat_map(|f| &f.cases)
            .filter(|c| c.rule == rule.id)
            .collect();
        let reads = facts_read(&ruleset, rule);
        match self.format {
            Format::Text => out.text(&explain::text(&ruleset, rule, &reads, &cases)),
            Format::Json => out.json(&explain::json(&ruleset, rule, &reads, &cases)),
        }
        Ok(if problems.is_empty() {
            exit::CLEAN
        } else {
            exit::FAILED
        })
    }
}
