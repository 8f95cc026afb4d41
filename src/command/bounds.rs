//! `amperule bounds`: how far each fact can go.

use std::path::PathBuf;

use clap::Args;

use crate::report::{bounds, cautions};
use crate::source::{Problem, visible_line};

use super::args::{Format, Reading};
use super::{Answer, Output, exit};

#[derive(Debug, Args)]
pub(super) struct Bounds {
    /// A design file
    file: PathBuf,
    /// Facts: `Ze`, `supply.Ze`, `ev.device.In`; all quantities that are written, if none is named
    facts: Vec<String>,
    #[command(flatten)]
    pub(super) reading: Reading,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

impl Bounds {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let one = self.reading.one(&self.file)?;
        let of = &one.installation;
        let mut problems = Vec::new();
        for name in &self.facts {
            if of.bounded_facts(std::slice::from_ref(name)).is_empty() {
                let kinds = &of.ruleset().vocabulary.kinds;
                let names = kinds.iter().flat_map(|k| k.writable_names());
                let last = name.rsplit('.').next().unwrap_or(name);
                let why = format!("`{name}` is no written quantity or choice of this design");
                problems.push(
                    Problem::error("unknown-fact", why)
                    .did_you_mean(last, names)
                    .help("name it as the list of all bounds does, like `length of cables 1 of ev`; without names, all are listed"),
                );
            }
        }
        if !problems.is_empty() {
            return Err(problems.into());
        }
        let all = of.bounds(&of.bounded_facts(&self.facts));
        let (path, sources) = (&one.loaded.path, &one.loaded.sources);
        match self.format {
            Format::Text => {
                let named = !self.facts.is_empty();
                out.text(&bounds::text(&visible_line(path), &all, named, sources));
            }
            Format::Json => out.json(&cautions::with(bounds::json(path, &all, sources))),
        }
        Ok(exit::CLEAN)
    }
}
