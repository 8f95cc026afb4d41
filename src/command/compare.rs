//! `amperule compare`: two rulesets or editions over designs, or two versions of one design.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;
use rayon::prelude::*;

use crate::answer::{Comparison, fates, share_rules};
use crate::check::{Report, Settings, check};
use crate::report::{compare, render_problems};
use crate::ruleset::{Library, Ruleset};
use crate::source::{Problem, Sources};

use super::check::{Format, parse_stage};
use super::read::{Read, Shelf, Wanted, design_files, parse_on, read};
use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct Compare {
    /// A ruleset with its edition and patches (`gb@A2`, `gb@A4 + our-firm`), or a design file
    #[arg(long)]
    from: String,
    /// What it is compared with, of the same sort
    #[arg(long)]
    to: String,
    /// Design files, or folders that hold some; none where two versions of a design are compared
    paths: Vec<PathBuf>,
    /// Today, for editions and departures: 2026-11-02
    #[arg(long, value_parser = parse_on)]
    on: Option<i32>,
    /// The stage reached: survey, design, verify or handover
    #[arg(long, value_parser = parse_stage)]
    stage: Option<crate::ruleset::Stage>,
    /// A folder that holds rulesets, besides those in the program
    #[arg(long)]
    rulesets: Vec<PathBuf>,
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

/// Splits `gb@A4 + our-firm` into the rules and the edition.
fn split_edition(text: &str) -> (String, Option<String>) {
    let mut edition = None;
    let rules: Vec<String> = text
        .split('+')
        .map(|part| match part.trim().split_once('@') {
            Some((base, e)) => {
                edition = Some(e.trim().to_owned());
                base.trim().to_owned()
            }
            None => part.trim().to_owned(),
        })
        .collect();
    (rules.join(" + "), edition)
}

fn is_design(text: &str) -> bool {
    let path = Path::new(text);
    path.extension().is_some_and(|e| e == "amp")
}

fn judged(r: &Read) -> Option<(Arc<Ruleset>, Report)> {
    let ruleset = r.ruleset.as_ref()?;
    let settings = Settings {
        stage: r.stage,
        on: r.on,
        ..Settings::default()
    };
    let done = check(ruleset, r.design.as_ref()?, &settings);
    Some((Arc::clone(ruleset), done.report))
}

/// Facts and kinds one ruleset knows and the other does not are no mistakes here.
fn is_not_read(p: &Problem) -> bool {
    matches!(p.code, "unknown-fact" | "unknown-kind" | "unknown-word")
}

impl Compare {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let shelf = Shelf::new(Library::new(self.rulesets.clone()));
        let wanted = |rules: Option<&str>| {
            let (rules, edition) = match rules.map(split_edition) {
                Some((r, e)) => (Some(r), e),
                None => (None, None),
            };
            Wanted {
                rules,
                edition,
                on: self.on,
                stage: self.stage,
                ..Wanted::default()
            }
        };
        let files = is_design(&self.from) && is_design(&self.to);
        let pairs: Vec<(String, Read, Read)> = if files {
            let w = wanted(None);
            let one = |p: &str| read(Path::new(p), &w, &shelf);
            vec![(self.to.clone(), one(&self.from), one(&self.to))]
        } else {
            if self.paths.is_empty() {
                let p = Problem::error("no-designs", "no design to compare the rulesets over")
                    .help("name design files or folders after the two rulesets, or two design files as --from and --to");
                out.note(render_problems(&[p], &Sources::default(), out.style()).trim_end());
                return exit::FAILED;
            }
            let (paths, problems) = design_files(&self.paths);
            if !problems.is_empty() {
                out.note(render_problems(&problems, &Sources::default(), out.style()).trim_end());
                return exit::FAILED;
            }
            let (a, b) = (wanted(Some(&self.from)), wanted(Some(&self.to)));
            paths
                .par_iter()
                .map(|p| {
                    (
                        p.display().to_string(),
                        read(p, &a, &shelf),
                        read(p, &b, &shelf),
                    )
                })
                .collect()
        };
        let mut all = Comparison::default();
        let mut failed = false;
        let done: Vec<_> = pairs
            .par_iter()
            .map(|(name, a, b)| (name, a, judged(a), b, judged(b)))
            .collect();
        for (name, a, before, b, after) in &done {
            for r in [a, b] {
                let wrong: Vec<Problem> = r
                    .problems
                    .iter()
                    .filter(|p| p.is_error())
                    .filter(|p| files || !is_not_read(p))
                    .cloned()
                    .collect();
                all.not_read += r
                    .problems
                    .iter()
                    .filter(|p| p.is_error() && !files && is_not_read(p))
                    .count();
                if !wrong.is_empty() {
                    failed = true;
                    out.note(render_problems(&wrong, &r.sources, out.style()).trim_end());
                }
            }
            let (Some((from, x)), Some((to, y))) = (before, after) else {
                failed = true;
                continue;
            };
            if all.designs == 0 {
                all.by_topic = !share_rules(from, to);
                if !all.by_topic {
                    all.rules = fates(from, to);
                }
            }
            all.add(name, (from, x), (to, y));
        }
        // Where nothing could be read there is nothing to show, and zeros would look like a result.
        if all.designs == 0 && failed {
            return exit::FAILED;
        }
        match self.format {
            Format::Text => out.text(&compare::text(&self.from, &self.to, &all)),
            Format::Json => out.line(&compare::json(&self.from, &self.to, &all).to_string()),
        }
        if failed {
            exit::FAILED
        } else if all.breaks() {
            exit::BREACH
        } else if all.opens() {
            exit::UNDECIDED
        } else {
            exit::CLEAN
        }
    }
}
