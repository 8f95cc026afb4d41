//! `amperule prove`: which part of a template's parameter ranges passes.

use std::path::PathBuf;

use clap::Args;

use crate::answer::BOXES;
use crate::report::{cautions, prove as report};
use crate::source::{Problem, visible_line};

use super::args::{Format, Reading};
use super::output::shown;
use super::progress::Progress;
use super::write::{Over, put};
use super::{Answer, Output};

/// Cells of a map on a terminal and in a drawing.
const TEXT_CELLS: (usize, usize) = (60, 18);
const DRAWN_CELLS: (usize, usize) = (112, 72);

#[derive(Debug, Args)]
pub(super) struct Prove {
    /// A template
    file: PathBuf,
    #[command(flatten)]
    pub(super) reading: Reading,
    /// Boxes that each rule may be split into
    #[arg(long, default_value_t = BOXES)]
    boxes: u32,
    /// Two parameters for a map: run,demand; with two parameters they are taken
    #[arg(long, value_delimiter = ',', num_args = 1..)]
    over: Vec<String>,
    /// Draws the map into an SVG file
    #[arg(long, value_parser = parse_svg)]
    svg: Option<PathBuf>,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

/// A drawing must not come down on a design.
fn parse_svg(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    if path.extension().is_some_and(|e| e == "amp") {
        return Err("a file that ends in `.amp` is a design; name one like map.svg".to_owned());
    }
    Ok(path)
}

impl Prove {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let one = self.reading.one(&self.file)?;
        let progress = Progress::during("proving");
        let proved = one.installation.prove(self.boxes);
        drop(progress);
        out.problems(&proved.problems, &one.loaded.sources);
        let path = &one.loaded.path;
        let mut axes: Vec<usize> = Vec::new();
        for name in &self.over {
            match proved.parameters.iter().position(|p| p.name == *name) {
                Some(i) => axes.push(i),
                None => {
                    let names = proved.parameters.iter().map(|p| p.name.as_str());
                    let text = format!("no parameter `{name}` varies in this template");
                    let problem = Problem::error("unknown-parameter", text);
                    return Err(problem.did_you_mean(name, names).into());
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
            let text = "a map needs two parameters that are quantities and vary";
            let help = "name them with --over, like --over run,demand";
            return Err(Problem::error("no-map", text).help(help).into());
        }
        let cells =
            |size| drawable.then(|| one.installation.map(&proved, (axes[0], axes[1]), size));
        match self.format {
            Format::Text => {
                let m = cells(TEXT_CELLS);
                out.text(&report::text(&visible_line(path), &proved, m.as_ref()));
            }
            Format::Json => out.json(&cautions::with(report::json(path, &proved))),
        }
        if let (Some(file), Some(m)) = (&self.svg, cells(DRAWN_CELLS)) {
            put(file, Over::Anything, &report::svg(path, &proved, &m))?;
            out.note(&format!("{} written", shown(file)));
        }
        Ok(proved.standing().code())
    }
}
