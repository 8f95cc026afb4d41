//! Judges every rule for every subject of a design.

use crate::design::model::Design;
use crate::expression::{Fuel, Program, Refiner};
use crate::quantity::TruthSet;
use crate::ruleset::{Rule, Ruleset, Severity};
use crate::source::limits::{NESTED, OPERATIONS};
use crate::source::{Problem, Span, Weight};

use super::causes::explain;
use super::departures::{Departures, Used, recorded};
use super::figures::{assumed, computable, figures};
use super::finding::{Finding, Outcome, Reason, Report};
use super::labels::mistaken;
use super::link::Linker;
use super::settings::{Pending, Settings, installation_name};
use super::verdicts::{Linked, Verdict};
use super::view::{Lazy, View};

/// What judging gave.
#[derive(Debug, Default)]
pub struct Judged {
    /// The report.
    pub report: Report,
    /// Departures that are unused or expired, as cautions.
    pub problems: Vec<Problem>,
    /// Operations that were linked, worked out again or looked at: what judging cost.
    pub work: u64,
}

/// Judges a design.
#[must_use]
pub fn check(ruleset: &Ruleset, design: &Design, settings: &Settings) -> Judged {
    let only = settings.only.as_deref();
    let linked = Linked::new(ruleset, design, settings.stage, true, only);
    judge(ruleset, design, settings, linked).0
}

/// Judges a design whose verdicts are linked; they are given back for other answers.
#[must_use]
pub fn judge(
    ruleset: &Ruleset,
    design: &Design,
    settings: &Settings,
    linked: Linked,
) -> (Judged, Linked) {
    let Linked { known, verdicts } = linked;
    let mut linker = Linker::over(ruleset, design, known);
    let mut judged = Judged::default();
    let pending = due(ruleset, design, settings, &verdicts, &mut judged.report);
    let figures = figures(&mut linker, ruleset, design, settings);
    if linker.is_full() {
        judged.problems.push(too_large());
    }
    let assumed = assumed(&linker, ruleset, design);
    let mut known = linker.known;
    known.program.finish();
    let (program, leaves) = (&known.program, &known.leaves);
    let mut refiner = Lazy {
        refiner: None,
        program,
        ruleset,
        work: settings.work,
        verdicts: pending.iter().filter(|p| !plainly_met(program, p)).count(),
    };
    let view = View {
        ruleset,
        design,
        leaves,
        program,
        mistaken: mistaken(ruleset, design),
        installation: installation_name(ruleset, design),
    };
    let mut departures = match settings.only {
        None => Departures::new(ruleset, design, settings.on),
        Some(_) => Departures::none(),
    };
    let mut used = Used::default();
    let mut causes = Vec::new();
    let mut cut_short = 0_usize;
    for p in &pending {
        if !settings.keep_met && plainly_met(program, p) {
            count(&mut judged.report, Outcome::Met, p.rule);
            continue;
        }
        refiner.next();
        let mut finding = view.finding(p, &mut refiner, settings);
        if p.rule.is_left_out() && finding.outcome == Outcome::NotApplicable {
            continue;
        }
        cut_short += usize::from(finding.reason == Some(Reason::Unresolved) && refiner.is_spent());
        let (outcome, by) =
            departures.outcome(p.rule, p.verdict.subject, finding.outcome, &mut used);
        finding.outcome = outcome;
        finding.departure = by.and_then(recorded);
        if p.rule.is_left_out() && by.is_some() {
            // It says how to record what is recorded.
            finding.help.clear();
        }
        count(&mut judged.report, outcome, p.rule);
        if let Some(said) = &p.verdict.said {
            causes.push((judged.report.findings.len(), &said.causes));
        }
        judged.report.findings.push(finding);
    }
    explain(design, &mut judged.report.findings, &causes);
    let refined = refiner.refiner.as_ref().map_or(0, Refiner::work);
    judged.work = program.ops.len() as u64 + refined;
    judged.problems.append(&mut departures.unused(&used));
    judged.problems.append(&mut departures.problems);
    if cut_short > 0 {
        judged.problems.push(work_limit(cut_short, settings.work));
    }
    let place_of = |p: &Problem| p.labels.first().map(|l| (l.span.file, l.span.start));
    judged.problems.sort_by_key(place_of);
    if settings.only.is_none() {
        let own = judged.problems.iter();
        let own = own.filter(|p| p.weight == Weight::Caution).count();
        let (counts, all) = (&mut judged.report.counts, own + design.cautions);
        counts.add(Outcome::Failed, Severity::Caution, all);
    }
    judged
        .report
        .findings
        .sort_by(|a, b| place(a).cmp(&place(b)).then_with(|| a.rule.cmp(&b.rule)));
    judged.report.figures = computable(figures, program, |r| refiner.get().range(r));
    judged.report.assumed = assumed;
    (judged, Linked { known, verdicts })
}

/// The verdicts that are due; of the rest is counted why they are not.
fn due<'a>(
    ruleset: &'a Ruleset,
    design: &Design,
    settings: &Settings,
    verdicts: &'a [Verdict],
    report: &mut Report,
) -> Vec<Pending<'a>> {
    let mut due = Vec::new();
    let mut rest = verdicts.iter().peekable();
    for (ix, rule) in ruleset.rules.iter().enumerate() {
        if settings.only.as_ref().is_some_and(|id| *id != rule.id) {
            continue;
        }
        for subject in design.of_kind(rule.each) {
            if design.object(subject).is_gone() {
                continue;
            }
            if rule.stage > settings.stage {
                count(report, Outcome::NotDue, rule);
            } else if let Some(v) = rest.next_if(|v| v.rule == ix && v.subject == subject) {
                due.push(Pending { rule, verdict: v });
            } else if !rule.is_left_out() {
                count(report, Outcome::NotApplicable, rule);
            }
        }
    }
    due
}

fn place(f: &Finding) -> (u8, u8, Option<Span>) {
    let order = match f.outcome {
        Outcome::Failed => 0,
        Outcome::NotJudged => 1,
        Outcome::Undecided => 2,
        Outcome::Departed => 3,
        _ => 4,
    };
    (order, f.severity as u8, f.labels.first().map(|l| l.span))
}

/// Whether plain evaluation shows that a rule applies and is met.
fn plainly_met(program: &Program, p: &Pending<'_>) -> bool {
    program.val(p.verdict.root).as_truth() == TruthSet::T
        && p.verdict
            .applies
            .is_none_or(|a| program.val(a).as_truth() == TruthSet::T)
}

/// Tells that a design takes more operations than one may: what is linked after them cannot be
/// computed.
#[must_use]
pub fn too_large() -> Problem {
    Problem::error("too-large", format!(
            "judging this design takes more than {OPERATIONS} operations, or more than {NESTED} of them one inside the other"
        ))
        .help("split it into several designs, each an installation of its own")
        .help("write `fed-from` where it is left out: what may be fed from anything is looked at from everywhere")
}

fn work_limit(verdicts: usize, work: Fuel) -> Problem {
    let all = work.0;
    let left = match verdicts {
        1 => "1 verdict is".to_owned(),
        many => format!("{many} verdicts are"),
    };
    let why =
        format!("{left} left undecided: looking into all of them takes more than {all} operations");
    Problem::caution("work-limit", why)
        .help("write down more of what is not known, or split the design, and check again")
}

fn count(report: &mut Report, outcome: Outcome, rule: &Rule) {
    *report.counts.0.entry((outcome, rule.severity)).or_insert(0) += 1;
}
