//! `amperule prove`: which part of a template's parameter ranges passes.

use std::path::PathBuf;

use clap::Args;

use crate::answer::{BOXES, State, map, prove};
use crate::report::{prove as report, render_problems};
use crate::ruleset::Severity;
use crate::source::{Problem, Sources};

use super::check::{Format, Reading};
use super::format::write_whole;
use super::one::read_one;
use super::{Output, exit};

/// Cells of a map on a terminal and in a drawing.
const TEXT_CELLS: (usize, usize) = (60, 18);
const DRAWN_CELLS: (usize, usize) = (112, 72);

#[derive(Debug, Args)]
pub(super) struct Prove {
    /// A template
    file: PathBuf,
    #[command(flatten)]
    reading: Reading,
    /// Boxes that each rule may be split into
    #[arg(long, default_value_t = BOXES)]
    boxes: u32,
    /// Two parameters for a map: run,demand; with two parameters they are taken
    #[arg(long, value_delimiter = ',', num_args = 1..)]
    over: Vec<String>,
    /// Draws the map into an SVG file
    #[arg(long)]
    svg: Option<PathBuf>,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

impl Prove {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let Some(one) = read_one(&self.file, &self.reading, out) else {
            return exit::FAILED;
        };
        let proved = prove(&one.ruleset, &one.design, one.stage, self.boxes);
        let fail = |p: Problem, out: &mut Output| {
            out.note(render_problems(&[p], &Sources::default(), out.style()).trim_end());
            exit::FAILED
        };
        let mut axes: Vec<usize> = Vec::new();
        for name in &self.over {
            match proved.parameters.iter().position(|p| p.name == *name) {
                Some(i) => axes.push(i),
                None => {
                    let names = proved.parameters.iter().map(|p| p.name.as_str());
                    return fail(
                        Problem::error(
                            "unknown-parameter",
                            format!("no parameter `{name}` varies in this template"),
                        )
                        .did_you_mean(name, names),
                        out,
                    );
                }
            }
        }
        if axes.is_empty() && proved.parameters.len() == 2 {
            axes = vec![0, 1];
        }
        let drawable = axes.len() == 2
            && axes[0] != axes[1]
            && axes.iter().all(|i| proved.parameters[*i].words.is_empty());
        if (self.svg.is_some() || !self.over.is_empty()) && !drawable {
            return fail(
                Problem::error(
                    "no-map",
                    "a map needs two parameters that are quantities and vary",
                )
                .help("name them with --over, like --over run,demand"),
                out,
            );
        }
        let cells = |size| {
            drawable.then(|| {
                map(
                    &one.ruleset,
                    &one.design,
                    one.stage,
                    &proved,
                    (axes[0], axes[1]),
                    size,
                )
            })
        };
        match self.format {
            Format::Text => {
                let m = cells(TEXT_CELLS);
                out.text(&report::text(&one.path, &proved, m.as_ref()));
            }
            Format::Json => out.line(&report::json(&one.path, &proved).to_string()),
        }
        if let (Some(file), Some(m)) = (&self.svg, cells(DRAWN_CELLS)) {
            match write_whole(file, &report::svg(&one.path, &proved, &m)) {
                Ok(()) => out.note(&format!("{} written", file.display())),
                Err(e) => {
                    return fail(
                        Problem::error(
                            "not-written",
                            format!("`{}` was not written: {e}", file.display()),
                        ),
                        out,
                    );
                }
            }
        }
        let some = |s: State| {
            proved
                .proofs
                .iter()
                .filter(|p| p.severity == Severity::Breach)
                .any(|p| p.parts.iter().any(|x| x.state == s))
        };
        let breach = Severity::Breach;
        if some(State::Breaks) || proved.always_broken.iter().any(|(_, _, s)| *s == breach) {
            exit::BREACH
        } else if some(State::Open) || proved.always_open.iter().any(|(s, _)| *s == breach) {
            exit::UNDECIDED
        } else {
            exit::CLEAN
        }
    }
}
