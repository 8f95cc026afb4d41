//! `amperule compare`: two rulesets or editions over designs, or two versions of one design.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;
use rayon::prelude::*;

use crate::answer::{Comparison, differences, share_rules};
use crate::check::{Report, Standing};
use crate::report::{cautions, compare};
use crate::session::{Ask, Loaded, Options, Project};
use crate::source::Problem;

use super::args::{Format, parse_on, parse_stage};
use super::progress::Progress;
use super::{Answer, Output, exit};

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
    pub(super) rulesets: Vec<PathBuf>,
    /// Lets `use` read files outside of the design's folder
    #[arg(long)]
    allow_outside: bool,
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

fn judged(r: &Loaded) -> Option<Report> {
    let installation = r.installation.as_ref()?;
    let ask = Ask {
        met: true,
        ..Ask::default()
    };
    Some(installation.check(ask).report)
}

/// Facts and kinds one ruleset knows and the other does not are no mistakes here.
fn is_not_read(p: &Problem) -> bool {
    matches!(p.code, "unknown-fact" | "unknown-kind" | "unknown-word")
}

/// Whether a mistake is one for another ruleset, too.
fn is_told(p: &Problem, other: &Loaded) -> bool {
    let place = |p: &Problem| p.labels.first().map(|l| l.span);
    let mut all = other.problems.iter();
    all.any(|q| q.code == p.code && place(q) == place(p))
}

impl Compare {
    pub(super) fn run(&self, out: &mut Output) -> Answer {
        let project = Project::on_disk(self.rulesets.clone());
        let options = |rules: Option<&str>| {
            let (rules, edition) = match rules.map(split_edition) {
                Some((r, e)) => (Some(r), e),
                None => (None, None),
            };
            Options {
                rules,
                edition,
                on: self.on,
                stage: self.stage,
                allow_outside: self.allow_outside,
                ..Options::default()
            }
        };
        let files = is_design(&self.from) && is_design(&self.to);
        let pairs: Vec<(String, Arc<Loaded>, Arc<Loaded>)> = if files {
            let w = options(None);
            let one = |p: &str| project.open(Path::new(p), &w);
            vec![(self.to.clone(), one(&self.from), one(&self.to))]
        } else {
            if self.paths.is_empty() {
                let p = Problem::error("no-designs", "no design to compare the rulesets over")
                    .help("name design files or folders after the two rulesets, or two design files as --from and --to");
                return Err(p.into());
            }
            let (paths, problems) = project.designs(&self.paths);
            if !problems.is_empty() {
                let problems: Vec<Problem> = problems.into_iter().map(|(_, p)| p).collect();
                return Err(problems.into());
            }
            let (a, b) = (options(Some(&self.from)), options(Some(&self.to)));
            let pair = |p: &PathBuf| {
                let name = p.display().to_string();
                (name, project.open(p, &a), project.open(p, &b))
            };
            paths.par_iter().map(pair).collect()
        };
        let mut all = Comparison::default();
        let mut failed = false;
        let progress = Progress::of(pairs.len(), "designs");
        let done: Vec<_> = pairs
            .par_iter()
            .map(|(name, a, b)| {
                let both = (name, a, judged(a), b, judged(b));
                progress.one_more();
                both
            })
            .collect();
        drop(progress);
        for (name, a, before, b, after) in &done {
            for (r, other) in [(a, b), (b, a)] {
                let errors = r.problems.iter().filter(|p| p.is_error()).cloned();
                let (unread, wrong): (Vec<_>, Vec<_>) =
                    errors.partition(|p| !files && is_not_read(p) && !is_told(p, other));
                all.not_read += unread.len();
                failed |= !wrong.is_empty();
                // What is wrong for both is told once.
                let again = |p: &Problem| std::ptr::eq(r, b) && is_told(p, other);
                let wrong: Vec<Problem> = wrong.into_iter().filter(|p| !again(p)).collect();
                if !wrong.is_empty() {
                    out.problems(&wrong, &r.sources);
                }
            }
            let (Some(x), Some(y), Some(from), Some(to)) = (before, after, &a.ruleset, &b.ruleset)
            else {
                failed = true;
                continue;
            };
            if all.designs == 0 {
                all.by_topic = !share_rules(from, to);
                if !all.by_topic {
                    all.differences = differences(from, to);
                }
            }
            all.add(name, (from, x), (to, y));
        }
        // Where nothing could be read there is nothing to show, and zeros would look like a result.
        if all.designs == 0 && failed {
            return Ok(exit::FAILED);
        }
        match self.format {
            Format::Text => out.text(&compare::text(&self.from, &self.to, &all)),
            Format::Json => out.json(&cautions::with(compare::json(&self.from, &self.to, &all))),
        }
        let standing = if failed {
            Standing::Failed
        } else {
            all.standing()
        };
        Ok(standing.code())
    }
}
