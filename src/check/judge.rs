//! Judges every rule for every subject of a design.

use crate::design::model::{Design, ObjectId, Status};
use crate::expression::{Budget, Cone, Decision, Flags, Fuel, LeafId, Refiner, Reg, Ty};
use crate::quantity::TruthSet;

use crate::ruleset::{Piece, Rule, Ruleset, Severity, Stage, Template, Way};
use crate::source::limits::{NESTED, OPERATIONS, WORK};
use crate::source::{Label, Problem, Span, Weight};

use super::causes::{Causes, explain};
use super::departures::{Departures, Used, recorded};
use super::figures::{assumed, computable, figures};
use super::finding::{Finding, Outcome, Reason, Report, WayState, fingerprint};
use super::labels::mistaken;
use super::link::{LeafInfo, Linker};
use super::plain;
use super::show::{show_number, show_set, show_truth, show_words};
use super::subject::Subject;
use super::verdicts::{LinkedRule, link_rule};

/// How a design is judged.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The stage the design has reached.
    pub stage: Stage,
    /// Today, in days since 1970-01-01, for departures.
    pub on: Option<i32>,
    /// Boxes for each verdict.
    pub budget: Budget,
    /// Operations for looking into all of them.
    pub work: Fuel,
    /// Only this rule.
    pub only: Option<String>,
    /// Findings of what is met are kept; else most of them are only counted.
    pub keep_met: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            stage: Stage::Design,
            on: None,
            budget: Budget::default(),
            work: Fuel(WORK),
            only: None,
            keep_met: true,
        }
    }
}

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

/// A rule linked for a subject.
pub(super) struct Pending<'r> {
    pub(super) rule: &'r Rule,
    pub(super) subject: ObjectId,
    applies: Option<Reg>,
    root: Reg,
    pub(super) require: Reg,
    ways: Vec<(&'r Way, Reg)>,
    texts: Option<Texts>,
    pub(super) points: Vec<Reg>,
    /// Rules and subjects whose failure would explain this one.
    causes: Vec<(&'r str, ObjectId)>,
}

/// What came of a rule for a subject.
struct Verdict {
    outcome: Outcome,
    reason: Option<Reason>,
    flags: Flags,
    /// What it depends on and what was found of it, where it is undecided.
    open: Option<(Cone, Decision)>,
}

struct Texts {
    message: Vec<Shown>,
    open: Option<Vec<Shown>>,
    help: Option<Vec<Shown>>,
}

enum Shown {
    Text(String),
    Value(Reg, Ty, Option<crate::quantity::Unit>),
}

/// Judges a design.
#[must_use]
pub fn check(ruleset: &Ruleset, design: &Design, settings: &Settings) -> Judged {
    let mut linker = Linker::new(ruleset, design);
    let mut judged = Judged::default();
    let mut pending: Vec<Pending<'_>> = Vec::new();
    let mut leads = Causes::default();
    for rule in &ruleset.rules {
        if settings.only.as_ref().is_some_and(|id| *id != rule.id) {
            continue;
        }
        for subject in design.of_kind(rule.each) {
            if design.object(subject).status == Status::ToGo {
                continue;
            }
            if rule.stage > settings.stage {
                count(&mut judged.report, Outcome::NotDue, rule);
                continue;
            }
            if let Some(p) = link(&mut linker, rule, subject, &mut judged.report, &mut leads) {
                pending.push(p);
            }
        }
    }
    let figures = figures(&mut linker, ruleset, design, settings);
    if linker.is_full() {
        judged.problems.push(too_large());
    }
    let assumed = assumed(&linker, ruleset, design);
    let Linker {
        mut program,
        leaves,
        ..
    } = linker;
    program.finish();
    let mut refiner = Lazy {
        refiner: None,
        program: &program,
        ruleset,
        work: settings.work,
        verdicts: pending.iter().filter(|p| !plainly_met(&program, p)).count(),
    };
    let view = View {
        ruleset,
        design,
        leaves: &leaves,
        program: &program,
        mistaken: mistaken(ruleset, design),
    };
    let installation = view.installation();
    let mut departures = match settings.only {
        None => Departures::new(ruleset, design, settings.on),
        Some(_) => Departures::none(),
    };
    let mut used = Used::default();
    let mut causes = Vec::new();
    let mut cut_short = 0_usize;
    for p in &pending {
        if !settings.keep_met && plainly_met(&program, p) {
            count(&mut judged.report, Outcome::Met, p.rule);
            continue;
        }
        refiner.next();
        let mut finding = view.finding(p, &mut refiner, settings, &installation);
        if p.rule.is_left_out() && finding.outcome == Outcome::NotApplicable {
            continue;
        }
        cut_short += usize::from(finding.reason == Some(Reason::Unresolved) && refiner.is_spent());
        let (outcome, by) = departures.outcome(p.rule, p.subject, finding.outcome, &mut used);
        finding.outcome = outcome;
        finding.departure = by.and_then(recorded);
        if p.rule.is_left_out() && by.is_some() {
            // It says how to record what is recorded.
            finding.help.clear();
        }
        count(&mut judged.report, outcome, p.rule);
        if !p.causes.is_empty() {
            causes.push((judged.report.findings.len(), p.causes.clone()));
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
        let cautions = judged
            .problems
            .iter()
            .filter(|p| p.weight == Weight::Caution)
            .count()
            + design.cautions;
        if cautions > 0 {
            let cell = (Outcome::Failed, Severity::Caution);
            *judged.report.counts.0.entry(cell).or_insert(0) += cautions;
        }
    }
    judged
        .report
        .findings
        .sort_by(|a, b| place(a).cmp(&place(b)).then_with(|| a.rule.cmp(&b.rule)));
    judged.report.figures = computable(figures, &program, |r| refiner.get().range(r));
    judged.report.assumed = assumed;
    judged
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
fn plainly_met(program: &crate::expression::Program, p: &Pending<'_>) -> bool {
    program.val(p.root).as_truth() == TruthSet::T
        && p.applies
            .is_none_or(|a| program.val(a).as_truth() == TruthSet::T)
}

/// Tells that a design takes more operations than one may: what is linked after them cannot be
/// computed.
#[must_use]
pub fn too_large() -> Problem {
    Problem::error(
        "too-large",
        format!(
            "judging this design takes more than {OPERATIONS} operations, or more than {NESTED} of them one inside the other"
        ),
    )
    .help("split it into several designs, each an installation of its own")
    .help("write `fed-from` where it is left out: what may be fed from anything is looked at from everywhere")
}

fn work_limit(verdicts: usize, work: Fuel) -> Problem {
    Problem::caution(
        "work-limit",
        format!(
            "{verdicts} verdicts are left undecided: looking into all of them takes more than {} operations",
            work.0
        ),
    )
    .help("write down more of what is not known, or split the design, and check again")
}

fn count(report: &mut Report, outcome: Outcome, rule: &Rule) {
    *report.counts.0.entry((outcome, rule.severity)).or_insert(0) += 1;
}

fn link<'r>(
    linker: &mut Linker<'_>,
    rule: &'r Rule,
    subject: ObjectId,
    report: &mut Report,
    causes: &mut Causes<'r>,
) -> Option<Pending<'r>> {
    let Some(linked) = link_rule(linker, rule, subject) else {
        if !rule.is_left_out() {
            count(report, Outcome::NotApplicable, rule);
        }
        return None;
    };
    let LinkedRule {
        applies,
        root,
        require,
        ways,
    } = linked;
    let met = linker.program.val(root).as_truth() == TruthSet::T;
    let texts = (!met).then(|| Texts {
        message: template(linker, &rule.message, subject),
        open: rule.open.as_ref().map(|t| template(linker, t, subject)),
        help: rule.help.as_ref().map(|t| template(linker, t, subject)),
    });
    let points = if met {
        Vec::new()
    } else {
        rule.point_at
            .iter()
            .map(|c| linker.expression(c, subject))
            .collect()
    };
    let causes = if met {
        Vec::new()
    } else {
        causes.of(linker, rule, subject)
    };
    Some(Pending {
        rule,
        subject,
        applies,
        root,
        require,
        ways,
        texts,
        points,
        causes,
    })
}

fn template(linker: &mut Linker<'_>, t: &Template, subject: ObjectId) -> Vec<Shown> {
    t.pieces
        .iter()
        .map(|p| match p {
            Piece::Text(t) => Shown::Text(t.clone()),
            Piece::Subject => Shown::Text(linker.design.label(subject)),
            Piece::Value(c, _) if matches!(c.root_term().ty, Ty::Object(_)) => {
                Shown::Text(linker.named_object(c, subject))
            }
            Piece::Value(c, unit) => {
                let ty = c.root_term().ty.clone();
                Shown::Value(linker.expression(c, subject), ty, unit.clone())
            }
        })
        .collect()
}

/// What findings read from.
pub(super) struct View<'a> {
    pub(super) ruleset: &'a Ruleset,
    pub(super) design: &'a Design,
    pub(super) leaves: &'a [LeafInfo],
    pub(super) program: &'a crate::expression::Program,
    /// Facts that are written wrongly, each with the rules that rest on it.
    pub(super) mistaken: Vec<(Span, Vec<&'a str>)>,
}

/// A refiner that is made when something is first refined: most designs leave nothing.
pub(super) struct Lazy<'a> {
    refiner: Option<Refiner<'a>>,
    program: &'a crate::expression::Program,
    ruleset: &'a Ruleset,
    /// What all verdicts may cost, and how many are not met as they are.
    work: Fuel,
    verdicts: usize,
}

impl<'a> Lazy<'a> {
    pub(super) fn get(&mut self) -> &mut Refiner<'a> {
        self.refiner.get_or_insert_with(|| {
            let mut made = Refiner::new(self.program, &self.ruleset.data);
            made.share_out(self.work, self.verdicts);
            made.next_share();
            made
        })
    }

    /// Begins with another verdict.
    fn next(&mut self) {
        if let Some(refiner) = &mut self.refiner {
            refiner.next_share();
        }
    }

    /// Whether this verdict has cost all that it may.
    fn is_spent(&self) -> bool {
        self.refiner.as_ref().is_some_and(Refiner::is_spent)
    }
}

impl View<'_> {
    fn installation(&self) -> String {
        installation_name(self.ruleset, self.design)
    }

    /// What came of a rule for a subject, refined where plain evaluation leaves it open.
    fn verdict(&self, p: &Pending<'_>, refiner: &mut Lazy<'_>, settings: &Settings) -> Verdict {
        // Of what is left out, `require` is that it does not matter here.
        let left_out = p.rule.is_left_out();
        let root = if left_out { p.require } else { p.root };
        let natural = self.program.val(root);
        let mut verdict = Verdict {
            outcome: Outcome::Met,
            reason: None,
            flags: natural.flags,
            open: None,
        };
        let truth = match natural.as_truth() {
            TruthSet::U => {
                let cone = refiner.get().cone(root);
                let d = refiner.get().decide(&cone, settings.budget);
                verdict.flags = verdict.flags.with(d.flags);
                let truth = d.truth;
                if truth == TruthSet::U {
                    // What is written wrongly leaves everything open, until the work limit is met.
                    let poisoned = d.flags.any(Flags::POISON)
                        || d.exhausted && natural.flags.any(Flags::POISON);
                    if poisoned && !(d.yes.is_some() && d.no.is_some()) {
                        verdict.outcome = Outcome::NotJudged;
                    } else {
                        verdict.outcome = Outcome::Undecided;
                        verdict.reason = Some(why(&d));
                        verdict.open = Some((cone, d));
                    }
                }
                truth
            }
            truth => truth,
        };
        match truth {
            TruthSet::F if left_out => {
                verdict.outcome = Outcome::Undecided;
                verdict.reason = Some(Reason::LeftOut);
            }
            TruthSet::F => verdict.outcome = Outcome::Failed,
            TruthSet::T if left_out => verdict.outcome = Outcome::NotApplicable,
            // Not applicable only where `where` is false for all.
            TruthSet::T => {
                if let Some(a) = p.applies
                    && self.program.val(a).as_truth() == TruthSet::U
                {
                    let c = refiner.get().cone(a);
                    if refiner.get().decide(&c, settings.budget).truth == TruthSet::F {
                        verdict.outcome = Outcome::NotApplicable;
                    }
                }
            }
            _ => {}
        }
        verdict
    }

    fn finding(
        &self,
        p: &Pending<'_>,
        refiner: &mut Lazy<'_>,
        settings: &Settings,
        installation: &str,
    ) -> Finding {
        let rule = p.rule;
        let Verdict {
            outcome,
            reason,
            flags,
            open,
        } = self.verdict(p, refiner, settings);
        let object = self.design.object(p.subject);
        let kind = &self.ruleset.vocabulary.kind(object.kind).name;
        let mut finding = Finding {
            rule: rule.id.clone(),
            title: rule.title.clone(),
            outcome,
            severity: rule.severity,
            reason,
            stage: rule.stage,
            clause: rule.origin.clause.clone(),
            source: rule.origin.source.clone(),
            confidence: rule.confidence,
            subject: Subject::new(self.design, p.subject),
            message: rule.title.clone(),
            labels: Vec::new(),
            missing: Vec::new(),
            witnesses: None,
            help: Vec::new(),
            ways: Vec::new(),
            assumed: flags.any(Flags::ASSUMED),
            because: rule.because.clone(),
            amended: rule.amended.clone(),
            follows_from: None,
            departure: None,
            fingerprint: fingerprint(&rule.id, kind, &self.design.path(p.subject), installation),
        };
        if matches!(outcome, Outcome::Met | Outcome::NotApplicable) {
            finding.labels.push(Label {
                span: object.head,
                text: String::new(),
            });
            return finding;
        }
        if let Some(texts) = &p.texts {
            let told = outcome == Outcome::Failed || reason == Some(Reason::LeftOut);
            finding.message = match &texts.open {
                _ if told => self.show(&texts.message),
                Some(open) => self.show(open),
                None => format!("whether this holds is not known: {}", rule.title),
            };
            if let Some(h) = &texts.help
                && told
            {
                finding.help.push(self.show(h));
            }
        }
        if outcome == Outcome::NotJudged {
            finding.message = format!(
                "not judged, since a fact it needs is written wrongly: {}",
                rule.title
            );
        }
        for (way, reg) in &p.ways {
            let state = match self.program.val(*reg).as_truth() {
                TruthSet::T => "holds",
                TruthSet::F => "does not hold",
                _ => "is open",
            };
            finding.ways.push(WayState {
                name: way.name.clone(),
                condition: one_line(&way.condition.text),
                state,
            });
        }
        let places = match &open {
            Some((cone, decision)) => self.open(p, refiner, cone, decision, &mut finding),
            None => Vec::new(),
        };
        finding.labels = self.labels(p, outcome, &places, refiner);
        if outcome == Outcome::NotJudged {
            self.point_at_mistakes(p, &mut finding.labels);
        }
        finding
    }

    /// Adds what could decide an undecided rule, and what passes and what breaks; gives the leaves that
    /// could decide it.
    fn open(
        &self,
        p: &Pending<'_>,
        refiner: &mut Lazy<'_>,
        c: &Cone,
        d: &Decision,
        finding: &mut Finding,
    ) -> Vec<LeafId> {
        let left_out = p.rule.is_left_out();
        let mut places: Vec<LeafId> = Vec::new();
        let about = |id: LeafId| self.about(id);
        let found = refiner.get().deciding(c, Budget(24));
        let applies = p
            .applies
            .filter(|a| self.program.val(*a).as_truth() == TruthSet::U)
            .map(|a| refiner.get().cone(a));
        for n in plain::deciding(self.program, refiner.get(), c, found, &about) {
            places.push(n.leaf);
            // A value that only takes the rule away does not pass: the rule is not kept by it.
            let away = n.yes.is_some_and(|y| {
                applies.as_ref().is_some_and(|a| {
                    refiner.get().run_with(a, &[(n.leaf, y)]).as_truth() == TruthSet::F
                })
            });
            let breaks = n.no.filter(|_| !left_out);
            let mut m = self.missing(n.leaf, n.yes, breaks);
            if away {
                m.passes = None;
            }
            finding.missing.push(m);
        }
        finding
            .missing
            .dedup_by(|a, b| a.of == b.of && a.fact == b.fact);
        if let (Some(y), Some(n), false) = (&d.yes, &d.no, left_out) {
            let y = plain::witness(self.program, refiner.get(), c, y, true, &about);
            let n = plain::witness(self.program, refiner.get(), c, n, false, &about);
            finding.witnesses = Some((self.witness(&y), self.witness(&n)));
        }
        places
    }

    fn show(&self, pieces: &[Shown]) -> String {
        // Digits until what differs looks different.
        let numbers: Vec<(f64, &crate::quantity::Unit)> = pieces
            .iter()
            .filter_map(|p| match p {
                Shown::Value(r, Ty::Number(_), Some(u)) => {
                    let v = self.program.val(*r);
                    (v.lo == v.hi).then_some((v.lo, u))
                }
                _ => None,
            })
            .collect();
        let mut digits = 3;
        while digits < 12 {
            let clash = numbers.iter().enumerate().any(|(i, (x, u))| {
                numbers.iter().skip(i + 1).any(|(y, w)| {
                    x != y
                        && u.dim() == w.dim()
                        && crate::quantity::format_quantity(*x, u, digits)
                            == crate::quantity::format_quantity(*y, w, digits)
                })
            });
            if !clash {
                break;
            }
            digits += 1;
        }
        let mut out = String::new();
        for p in pieces {
            match p {
                Shown::Text(t) => out.push_str(t),
                Shown::Value(r, ty, unit) => {
                    let val = self.program.val(*r);
                    match ty {
                        Ty::Word(w) => out.push_str(&show_words(val.bits, w)),
                        Ty::Set(w) => out.push_str(&show_set(val.bits, w)),
                        Ty::Truth => out.push_str(show_truth(&val)),
                        Ty::Date => {
                            out.push_str(&crate::quantity::format_date((val.lo / 86_400.0) as i32));
                        }
                        _ => out.push_str(&show_number(&val, unit.as_ref(), digits)),
                    }
                }
            }
        }
        out
    }
}

/// What the installation is called: its label, or its name.
#[must_use]
pub fn installation_name(ruleset: &Ruleset, design: &Design) -> String {
    let v = &ruleset.vocabulary;
    v.kind_named("installation")
        .and_then(|k| design.of_kind(k).next())
        .map(|id| {
            let o = design.object(id);
            o.label.clone().unwrap_or_else(|| o.name.clone())
        })
        .unwrap_or_default()
}

/// A text of several lines on one.
fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn why(d: &Decision) -> Reason {
    if d.yes.is_some() && d.no.is_some() {
        Reason::Open
    } else if d.flags.any(Flags::GAP) {
        Reason::Gap
    } else if d.flags.any(Flags::NOT_COMPUTABLE) {
        Reason::NotComputable
    } else {
        Reason::Unresolved
    }
}
