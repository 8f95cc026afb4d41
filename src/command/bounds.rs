//! `amperule bounds`: how far each fact can go.

use std::path::PathBuf;

use clap::Args;

use crate::answer::{bounded_facts, bounds};
use crate::report;
use crate::source::{Problem, Sources};

use super::check::{Format, Reading};
use super::one::read_one;
use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct Bounds {
    /// A design file
    file: PathBuf,
    /// Facts: `Ze`, `supply.Ze`, `ev.device.In`; all quantities that are written, if none is named
    facts: Vec<String>,
    #[command(flatten)]
    reading: Reading,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

impl Bounds {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let Some(one) = read_one(&self.file, &self.reading, out) else {
            return exit::FAILED;
        };
        let mut problems = Vec::new();
        for name in &self.facts {
            let alone = std::slice::from_ref(name);
            if bounded_facts(&one.ruleset, &one.design, alone).is_empty() {
                let kinds = &one.ruleset.vocabulary.kinds;
                let names = kinds.iter().flat_map(|k| k.writable_names());
                let last = name.rsplit('.').next().unwrap_or(name);
                problems.push(
                    Problem::error(
                        "unknown-fact",
                        format!("`{name}` is no written quantity or choice of this design"),
                    )
                    .did_you_mean(last, names)
                    .help("name it as the list of all bounds does, like `length of cables 1 of ev`; without names, all are listed"),
                );
            }
        }
        if !problems.is_empty() {
            let text = report::render_problems(&problems, &Sources::default(), out.style());
            out.note(text.trim_end());
            return exit::FAILED;
        }
        let places = bounded_facts(&one.ruleset, &one.design, &self.facts);
        let all = bounds(&one.ruleset, &one.design, &places, one.stage);
        match self.format {
            Format::Text => out.text(&report::bounds::text(
                &one.path,
                &all,
                !self.facts.is_empty(),
                &one.sources,
            )),
            Format::Json => {
                out.line(&report::bounds::json(&one.path, &all, &one.sources).to_string());
            }
        }
        exit::CLEAN
    }
}
