//! `amperule working`: calculations line by line.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use crate::answer::Working;
use crate::report::working::{AFTER, html, json as as_json, text};
use crate::report::{cautions, render_problems};
use crate::source::{Problem, visible_line};

use super::args::{Pages, Reading};
use super::{Answer, Output, exit};

#[derive(Debug, Args)]
pub(super) struct WorkingOf {
    /// A design file
    file: PathBuf,
    /// A derived fact: `Zs`, `ev.Zs`, `circuit.Zs`; the key figures, if none is named
    fact: Option<String>,
    #[command(flatten)]
    pub(super) reading: Reading,
    #[arg(long, value_enum, default_value_t = Pages::Text)]
    format: Pages,
}

impl WorkingOf {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let r = self
            .reading
            .project()
            .open(&self.file, &self.reading.options());
        if !r.is_sound() {
            let text = render_problems(&r.problems, &r.sources, out.style());
            out.visible(&text);
        }
        let Some(of) = &r.installation else {
            return Ok(exit::FAILED);
        };
        let facts = of.worked_facts(self.fact.as_deref());
        if facts.is_empty() {
            let name = self.fact.clone().unwrap_or_default();
            let kinds = of.ruleset().vocabulary.kinds.iter();
            let names = kinds.flat_map(|k| k.facts.iter().map(|f| f.name.as_str()));
            let text = format!("nothing of this design is worked out under the name `{name}`");
            return Err(Problem::error("unknown-fact", text)
                .did_you_mean(&name, names)
                .into());
        }
        let all: Vec<Working> = of.workings(&facts);
        let (name, ruleset) = (of.name(), of.ruleset());
        let rules = format!("{} [{} {}]", ruleset.title(), ruleset.id, ruleset.hash);
        match self.format {
            Pages::Text => {
                out.line(&format!(
                    "Calculations for {name}\n{}, by {rules}\n",
                    visible_line(&r.path)
                ));
                out.text(&text(&all, &r.sources));
                out.line(&format!("{AFTER}\n\n{}", cautions::ALWAYS));
            }
            Pages::Html => out.text(&html(&name, &r.path, &rules, &all, &r.sources)),
            Pages::Json => {
                let list: Vec<_> = all.iter().map(|w| as_json(w, &r.sources)).collect();
                let answer =
                    json!({"schema": "amperule-working-1", "path": r.path, "workings": list});
                out.json(&cautions::with(answer));
            }
        }
        Ok(if r.is_sound() {
            exit::CLEAN
        } else {
            exit::FAILED
        })
    }
}
