//! `amperule rules test`: whether the cases of rules come out as they say, and what of the rules
//! they reach.

use rayon::prelude::*;

use crate::check::{Branches, CaseResult, Seen, run_cases};
use crate::report::render_problems;
use crate::ruleset::{Loaded, Ruleset, check_cases, read_cases};
use crate::source::{Problem, Sources};

use super::{Which, show_problems};
use crate::command::{Answer, Output, exit};

/// The outcomes of which every rule needs a case.
const WANTED: [&str; 3] = ["met", "failed", "undecided"];
/// The outcomes of which everything that is left out needs a case: told, and not.
const WANTED_OF_LEFT_OUT: [&str; 2] = ["undecided", "not-applicable"];

/// Runs the cases of one edition or of all.
pub(super) fn test(which: &Which, coverage: bool, out: &mut Output) -> Answer {
    let library = which.library();
    let (mut passed, mut failed) = (0_usize, 0_usize);
    let mut code = exit::CLEAN;
    let mut shown: Vec<Problem> = Vec::new();
    let mut checked = false;
    for edition in which.editions() {
        let loaded = library.load(&which.request(edition.clone()));
        let edition = edition.unwrap_or_default();
        show_problems(&loaded.files, &loaded.problems, out);
        let Some(ruleset) = &loaded.ruleset else {
            code = exit::FAILED;
            continue;
        };
        let (files, mut problems) = read_cases(&loaded.files, &ruleset.edition.id);
        // The files are the same in each edition.
        if !std::mem::replace(&mut checked, true) {
            problems.extend(check_cases(&loaded.files));
        }
        if !problems.is_empty() {
            code = exit::FAILED;
        }
        // Most mistakes are the same in each edition.
        problems.retain(|p| !shown.contains(p));
        show_problems(&loaded.files, &problems, out);
        shown.append(&mut problems);
        let fallback = files
            .iter()
            .find_map(|f| f.base.as_ref().map(|(t, _)| t.as_str()));
        let branches = Branches::of(ruleset);
        let results: Vec<CaseResult> = files
            .par_iter()
            .flat_map(|f| run_cases(ruleset, &branches, f, fallback))
            .collect();
        let name = format!("{} edition {edition}", which.rules);
        let (came, wrong) = cases(&loaded, &results, &edition, out);
        passed += came;
        failed += wrong;
        let lacking = rules_without_cases(ruleset, &results, &name, out);
        failed += lacking.cases;
        let reached = reached(ruleset, &branches, &results);
        if coverage {
            list_unseen(&loaded, &reached, out);
        }
        let all = ruleset.judging().count();
        let besides = match ruleset.rules.len() - all {
            0 => String::new(),
            n => format!(" and {n} left out"),
        };
        let seen = reached.iter().filter(|r| r.seen.both()).count();
        out.line(&format!(
            "{name}: {all} rules{besides}, {} cases; {} of {all} rules have cases met, failed and \
             undecided; {seen} of {} branches ({}) seen true and seen false",
            results.len(),
            all - lacking.rules,
            reached.len(),
            share(seen, reached.len()),
        ));
    }
    out.line(&format!("{passed} passed, {failed} failed"));
    Ok(if failed > 0 { exit::BREACH } else { code })
}

/// A share in per cent with one decimal, rounded down so that only all of them are 100 %.
fn share(part: usize, whole: usize) -> String {
    let tenths = (part * 1000).checked_div(whole).unwrap_or(1000);
    format!("{}.{} %", tenths / 10, tenths % 10)
}

/// Counts the cases that came out as wanted and those that did not, and shows the latter.
fn cases(
    loaded: &Loaded,
    results: &[CaseResult],
    edition: &str,
    out: &mut Output,
) -> (usize, usize) {
    let wrong: Vec<&CaseResult> = results.iter().filter(|r| !r.passed).collect();
    for r in &wrong {
        let (rule, wanted, got) = (&r.rule, &r.wanted, &r.got);
        let text = format!("a case of `{rule}` is said to be {wanted} and came out: {got}");
        let p = Problem::error("case-failed", text).at(r.span, format!("edition {edition}"));
        let p = match &loaded.ruleset {
            Some(ruleset) if !ruleset.patches.is_empty() => p.help(
                "if a patch turns it on purpose, the patch repeats the case under its new outcome, with `was` and `because`",
            ),
            _ => p,
        };
        show_problems(&loaded.files, &[p], out);
        out.visible(&render_problems(&r.problems, &r.sources, out.style()));
    }
    (results.len() - wrong.len(), wrong.len())
}

/// What is missing among the cases.
#[derive(Default)]
struct Lacking {
    /// Rules that lack at least one.
    rules: usize,
    /// Outcomes without a case, over all rules.
    cases: usize,
}

fn rules_without_cases(
    ruleset: &Ruleset,
    results: &[CaseResult],
    name: &str,
    out: &mut Output,
) -> Lacking {
    let mut lacking = Lacking::default();
    for rule in &ruleset.rules {
        let before = lacking.cases;
        let all: &[&str] = match rule.is_left_out() {
            true => &WANTED_OF_LEFT_OUT,
            false => &WANTED,
        };
        for wanted in all.iter().copied() {
            let mut own = results.iter().filter(|r| r.rule == rule.id);
            if !own.any(|r| r.wanted == wanted) {
                lacking.cases += 1;
                let id = &rule.id;
                out.line(&format!(
                    "{name}: the rule `{id}` has no case that is {wanted}"
                ));
            }
        }
        for cause in &rule.texts.follows_from {
            let mut own = results.iter().filter(|r| r.rule == rule.id);
            if !own.any(|r| r.follows.contains(&cause.rule)) {
                lacking.cases += 1;
                out.line(&format!(
                    "{name}: the rule `{}` has no case in which it follows from `{}`",
                    rule.id, cause.rule
                ));
            }
        }
        lacking.rules += usize::from(lacking.cases > before && !rule.is_left_out());
    }
    lacking
}

/// A branch of a rule, with what all cases together have seen of it.
struct Reached<'a> {
    rule: &'a str,
    branch: &'a crate::check::Branch,
    seen: Seen,
}

fn reached<'a>(
    ruleset: &'a Ruleset,
    branches: &'a Branches,
    results: &[CaseResult],
) -> Vec<Reached<'a>> {
    let mut all = Vec::new();
    for rule in &ruleset.rules {
        let mut own: Vec<Reached<'_>> = branches
            .rule(&rule.id)
            .iter()
            .map(|branch| Reached {
                rule: &rule.id,
                branch,
                seen: Seen::default(),
            })
            .collect();
        for result in results.iter().filter(|r| r.rule == rule.id) {
            for (r, seen) in own.iter_mut().zip(&result.seen) {
                r.seen.add(*seen);
            }
        }
        all.append(&mut own);
    }
    all
}

/// Lists what was not seen both ways, with its place.
fn list_unseen(loaded: &Loaded, reached: &[Reached<'_>], out: &mut Output) {
    let sources = Sources::over(loaded.files.clone());
    for r in reached {
        let what = match (r.seen.held, r.seen.failed) {
            (true, true) => continue,
            (true, false) => "never false",
            (false, true) => "never true",
            (false, false) => "never reached",
        };
        let file = sources.get(r.branch.span.file).map_or("", |f| f.name());
        let place = sources
            .position(r.branch.span)
            .map_or_else(String::new, |p| format!(":{}:{}", p.line, p.column));
        let said = format!("{file}{place}: `{}`: `{}` is {what}", r.rule, r.branch.text);
        out.line(&said);
    }
}
