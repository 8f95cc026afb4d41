//! Judges every rule for every subject of a design.

use crate::design::model::{Design, ObjectId, Possible, Status};
use crate::expression::{
    Budget, Compiled, Cone, Decision, Flags, LeafId, ObjectTerm, Op, Refiner, Reg, TermKind, Ty,
    Val, Witness,
};
use crate::quantity::TruthSet;
use rustc_hash::FxHashSet;

use crate::ruleset::{Piece, Requirement, Rule, Ruleset, Severity, Stage, Template, Way};
use crate::source::{Label, Problem, Span, Weight};
use crate::vocabulary::{FactType, Settler};

use super::finding::{
    FigureValue, Finding, Missing, Outcome, Reason, Report, WayState, WitnessValue, fingerprint,
};
use super::link::{LeafInfo, Linker, What};
use super::plain::{self, About};
use super::remedy::remedies;
use super::show::{show_number, show_truth, show_val, show_words};
use super::verdicts::{LinkedRule, link_rule};

/// The day near which dates are chosen in a design that writes none: 2026-01-01.
const DAY_WITHOUT_DATE: i32 = 20_454;

/// For at most this many breaches a mending change is looked for.
const MOST_MENDED: usize = 16;

/// How a design is judged.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The stage the design has reached.
    pub stage: Stage,
    /// Today, in days since 1970-01-01, for departures.
    pub on: Option<i32>,
    /// Boxes for each verdict.
    pub budget: Budget,
    /// Only this rule.
    pub only: Option<String>,
    /// Whether single changes that would mend a breach are looked for.
    pub remedies: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            stage: Stage::Design,
            on: None,
            budget: Budget::default(),
            only: None,
            remedies: true,
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
            if let Some(p) = link(&mut linker, rule, subject, &mut judged.report) {
                pending.push(p);
            }
        }
    }
    let figures = figures(&mut linker, ruleset, design, settings);
    let assumed = assumed(&linker, ruleset, design);
    let Linker {
        program, leaves, ..
    } = linker;
    let mut refiner = Refiner::new(&program, &ruleset.data);
    let view = View {
        ruleset,
        design,
        leaves: &leaves,
        program: &program,
    };
    let installation = view.installation();
    let mut reached: Vec<(usize, Vec<LeafInfo>)> = Vec::new();
    for p in &pending {
        let finding = view.finding(p, &mut refiner, settings, &installation);
        if settings.remedies
            && finding.outcome == Outcome::Failed
            && finding.severity == Severity::Breach
            && reached.len() < MOST_MENDED
        {
            let infos = view
                .reached(p.require)
                .into_iter()
                .filter_map(|l| leaves.get(l.0 as usize).copied())
                .chain(view.known_absent(p))
                .collect();
            reached.push((judged.report.findings.len(), infos));
        }
        count(&mut judged.report, finding.outcome, p.rule);
        judged.report.findings.push(finding);
    }
    let failing: FxHashSet<(String, String)> = judged
        .report
        .findings
        .iter()
        .filter(|f| f.outcome == Outcome::Failed && f.severity == Severity::Breach)
        .map(|f| (f.rule.clone(), f.subject.clone()))
        .collect();
    for (i, infos) in reached {
        if let Some(f) = judged.report.findings.get_mut(i) {
            let pair = (f.rule.clone(), f.subject.clone());
            let found = remedies(ruleset, design, settings, &pair, &infos, &failing);
            // What was tried comes before what is said in general.
            f.help.splice(0..0, found);
        }
    }
    judged.problems = departures(ruleset, design, &mut judged.report, settings);
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
    judged.report.figures = figures;
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

fn count(report: &mut Report, outcome: Outcome, rule: &Rule) {
    *report.counts.0.entry((outcome, rule.severity)).or_insert(0) += 1;
}

fn link<'r>(
    linker: &mut Linker<'_>,
    rule: &'r Rule,
    subject: ObjectId,
    report: &mut Report,
) -> Option<Pending<'r>> {
    let Some(linked) = link_rule(linker, rule, subject) else {
        count(report, Outcome::NotApplicable, rule);
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
    Some(Pending {
        rule,
        subject,
        applies,
        root,
        require,
        ways,
        texts,
        points,
    })
}

fn template(linker: &mut Linker<'_>, t: &Template, subject: ObjectId) -> Vec<Shown> {
    t.pieces
        .iter()
        .map(|p| match p {
            Piece::Text(t) => Shown::Text(t.clone()),
            Piece::Subject => Shown::Text(linker.design.describe(subject)),
            Piece::Value(c, unit) => {
                let ty = c.root_term().ty.clone();
                Shown::Value(linker.expression(c, subject), ty, unit.clone())
            }
        })
        .collect()
}

fn figures(
    linker: &mut Linker<'_>,
    ruleset: &Ruleset,
    design: &Design,
    settings: &Settings,
) -> Vec<FigureValue> {
    let mut all = Vec::new();
    if settings.only.is_some() {
        return all;
    }
    for f in &ruleset.figures {
        let fact = ruleset.vocabulary.fact(f.kind, f.fact);
        let Some(unit) = fact.unit() else { continue };
        for id in design.of_kind(f.kind) {
            let o = design.object(id);
            if o.phantom || o.status == Status::ToGo {
                continue;
            }
            if let Some(w) = &f.where_ {
                let r = linker.expression(w, id);
                if linker.program.val(r).as_truth() != TruthSet::T {
                    continue;
                }
            }
            let reg = linker.fact(id, f.fact, None);
            let val = linker.program.val(reg);
            if val.bits != crate::expression::Presence::PRESENT || val.flags.any(Flags::UNSOUND) {
                continue;
            }
            let mut limit = |ix: Option<crate::vocabulary::FactIx>, upper: bool| {
                let reg = linker.fact(id, ix?, None);
                let v = linker.program.val(reg);
                (v.is_number_point() && !v.flags.any(Flags::UNSOUND)).then_some((v.lo, upper))
            };
            let limit = limit(f.at_most, true).or_else(|| limit(f.at_least, false));
            // A later layer may say what a figure is measured against.
            let name = design.describe(id);
            all.retain(|v: &FigureValue| v.subject != name || v.fact != fact.name);
            all.push(FigureValue {
                subject: design.describe(id),
                fact: fact.name.clone(),
                means: fact.means.clone(),
                low: val.lo,
                high: val.hi,
                unit: unit.clone(),
                limit,
            });
        }
    }
    all
}

fn assumed(linker: &Linker<'_>, ruleset: &Ruleset, design: &Design) -> Vec<String> {
    let mut all: Vec<String> = linker
        .assumed
        .iter()
        .filter_map(|(o, ix)| {
            let kind = design.object(*o).kind;
            let a = ruleset.assumption(kind, *ix)?;
            let fact = ruleset.vocabulary.fact(kind, *ix);
            let cited = a.origin.clause.as_deref().or(a.origin.source.as_deref());
            Some(match cited {
                Some(c) => format!(
                    "{} of each {} where it is not written: {} ({c})",
                    fact.name,
                    ruleset.vocabulary.kind(kind).name,
                    a.text
                ),
                None => format!(
                    "{} of each {} where it is not written: {}",
                    fact.name,
                    ruleset.vocabulary.kind(kind).name,
                    a.text
                ),
            })
        })
        .collect();
    all.sort();
    all.dedup();
    all
}

/// What findings read from.
pub(super) struct View<'a> {
    pub(super) ruleset: &'a Ruleset,
    pub(super) design: &'a Design,
    pub(super) leaves: &'a [LeafInfo],
    pub(super) program: &'a crate::expression::Program,
}

impl View<'_> {
    fn installation(&self) -> String {
        let v = &self.ruleset.vocabulary;
        v.kind_named("installation")
            .and_then(|k| self.design.of_kind(k).next())
            .map(|id| {
                let o = self.design.object(id);
                o.label.clone().unwrap_or_else(|| o.name.clone())
            })
            .unwrap_or_default()
    }

    fn finding(
        &self,
        p: &Pending<'_>,
        refiner: &mut Refiner<'_>,
        settings: &Settings,
        installation: &str,
    ) -> Finding {
        let rule = p.rule;
        let natural = self.program.val(p.root);
        let (mut outcome, mut reason) = (Outcome::Met, None);
        let mut flags = natural.flags;
        let mut decision: Option<Decision> = None;
        let mut cone: Option<Cone> = None;
        let truth = match natural.as_truth() {
            TruthSet::U => {
                let c = refiner.cone(p.root);
                let d = refiner.decide(&c, settings.budget);
                let t = d.truth;
                flags = flags.with(d.flags);
                if t == TruthSet::U {
                    outcome = Outcome::Undecided;
                    reason = Some(why(&d));
                    if d.flags.any(Flags::POISON) && !(d.yes.is_some() && d.no.is_some()) {
                        outcome = Outcome::NotJudged;
                        reason = None;
                    }
                    cone = Some(c);
                }
                decision = Some(d);
                t
            }
            t => t,
        };
        if truth == TruthSet::F {
            outcome = Outcome::Failed;
        } else if truth == TruthSet::T {
            // Not applicable only where `where` is false for all.
            if let Some(a) = p.applies
                && self.program.val(a).as_truth() == TruthSet::U
            {
                let c = refiner.cone(a);
                if refiner.decide(&c, settings.budget).truth == TruthSet::F {
                    outcome = Outcome::NotApplicable;
                }
            }
        }
        let object = self.design.object(p.subject);
        let owner = self.design.nearest_named(p.subject);
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
            subject: self.design.describe(p.subject),
            message: rule.title.clone(),
            labels: Vec::new(),
            missing: Vec::new(),
            witnesses: None,
            help: Vec::new(),
            ways: Vec::new(),
            assumed: flags.any(Flags::ASSUMED),
            because: rule.because.clone(),
            amended: rule.amended.clone(),
            departure: None,
            fingerprint: fingerprint(
                &rule.id,
                kind,
                &format!(
                    "{}/{}",
                    self.design.object(owner).name,
                    self.design.describe(p.subject)
                ),
                installation,
            ),
        };
        if matches!(outcome, Outcome::Met | Outcome::NotApplicable) {
            finding.labels.push(Label {
                span: object.head,
                text: String::new(),
            });
            return finding;
        }
        if let Some(texts) = &p.texts {
            finding.message = match (outcome, &texts.open) {
                (Outcome::Failed, _) => self.show(&texts.message),
                (_, Some(open)) => self.show(open),
                _ => format!("whether this holds is not known: {}", rule.title),
            };
            if let Some(h) = &texts.help
                && outcome == Outcome::Failed
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
        let mut places: Vec<LeafId> = Vec::new();
        if let (Some(c), Some(d)) = (&cone, &decision)
            && outcome == Outcome::Undecided
        {
            let about = |id: LeafId| self.about(id);
            let found = refiner.deciding(c, Budget(24));
            for n in plain::deciding(self.program, refiner, c, found, &about) {
                places.push(n.leaf);
                finding.missing.push(self.missing(n.leaf, n.yes, n.no));
            }
            finding
                .missing
                .dedup_by(|a, b| a.of == b.of && a.fact == b.fact);
            if let (Some(y), Some(n)) = (&d.yes, &d.no) {
                let y = plain::witness(self.program, refiner, c, y, true, &about);
                let n = plain::witness(self.program, refiner, c, n, false, &about);
                finding.witnesses = Some((self.witness(&y), self.witness(&n)));
            }
        }
        finding.labels = self.labels(p, outcome, &places);
        finding
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

    /// Facts of the subject that the rule reads and that are written as `none`: no leaf stands
    /// for them.
    fn known_absent(&self, p: &Pending<'_>) -> Vec<LeafInfo> {
        let mut all = Vec::new();
        let mut add = |c: &Compiled| {
            for term in &c.terms {
                let TermKind::Read {
                    object: ObjectTerm::Subject,
                    fact,
                    ..
                } = &term.kind
                else {
                    continue;
                };
                let o = self.design.object(p.subject);
                let Some(ix) = fact.on(o.kind) else { continue };
                let written = o.facts.get(ix.0 as usize).and_then(Option::as_ref);
                if written.is_some_and(|w| w.value == Possible::Absent) {
                    all.push(super::link_value::info(p.subject, ix, None, What::Fact));
                }
            }
        };
        match &p.rule.require {
            Requirement::One(c) => add(c),
            Requirement::Ways(ways) => ways.iter().for_each(|w| add(&w.condition)),
        }
        all
    }

    /// What is known of a leaf besides its set.
    pub(super) fn about(&self, leaf: LeafId) -> About {
        let mut about = About {
            unit: None,
            whole: false,
            series: None,
            day: None,
        };
        let Some(info) = self.leaves.get(leaf.0 as usize) else {
            return about;
        };
        let v = &self.ruleset.vocabulary;
        if let What::Parameter(id) = info.what {
            about.unit = self
                .design
                .parameters
                .get(id as usize)
                .and_then(|p| crate::quantity::Unit::parse(&p.unit).ok());
            return about;
        }
        if info.what != What::Fact {
            return about;
        }
        let fact = match info.inner {
            Some((k, f)) => v.fact(k, f),
            None => v.fact(self.design.object(info.object).kind, info.fact),
        };
        match &fact.ty {
            FactType::Quantity { unit, whole, .. } => {
                about.unit = Some(unit.clone());
                about.whole = *whole;
                about.series = fact
                    .series
                    .map(|s| v.series(s).members.iter().map(|m| m.value).collect());
            }
            FactType::Date => {
                let day = self.design.newest_date.unwrap_or(DAY_WITHOUT_DATE);
                about.day = Some(f64::from(day) * 86_400.0);
            }
            _ => {}
        }
        about
    }

    fn reached(&self, root: Reg) -> Vec<LeafId> {
        let mut seen = rustc_hash::FxHashSet::default();
        let mut stack = vec![root];
        let mut out = Vec::new();
        while let Some(r) = stack.pop() {
            if !seen.insert(r) {
                continue;
            }
            match self.program.ops[r.ix()] {
                Op::Leaf(id) => out.push(id),
                op => op.operands(&self.program.args, |o| stack.push(o)),
            }
        }
        out.sort_unstable();
        out
    }

    fn missing(&self, leaf: LeafId, yes: Option<Val>, no: Option<Val>) -> Missing {
        let info = self.leaves[leaf.0 as usize];
        let v = &self.ruleset.vocabulary;
        if let What::Parameter(id) = info.what {
            let p = &self.design.parameters[id as usize];
            let unit = crate::quantity::Unit::parse(&p.unit).ok();
            let value = |x: Option<Val>| x.map(|x| show_number(&x, unit.as_ref(), 4));
            return Missing {
                of: "the template".to_owned(),
                fact: p.name.clone(),
                means: "parameter".to_owned(),
                settled_by: Settler::Designer.word(),
                passes: value(yes),
                breaks: value(no),
                span: p.span,
            };
        }
        let o = self.design.object(info.object);
        let fact = v.fact(o.kind, info.fact);
        let span = o
            .facts
            .get(info.fact.0 as usize)
            .and_then(Option::as_ref)
            .map_or(o.head, |w| w.span);
        let (name, means, settler, shown) = match (info.what, info.inner) {
            (What::Rest, _) => {
                let listed = fact.target().map_or("", |k| v.kind(k).name.as_str());
                (
                    format!("all-listed: {listed}"),
                    format!("whether every {listed} is written down"),
                    if o.status == Status::New {
                        Settler::Designer
                    } else {
                        Settler::Site
                    },
                    None,
                )
            }
            (_, Some((k, f))) => {
                let inner = v.fact(k, f);
                (
                    format!("{} of its {}", inner.name, fact.name),
                    inner.means.clone(),
                    inner.settled_by,
                    Some(inner),
                )
            }
            (What::Alternative, _) => {
                (fact.name.clone(), fact.means.clone(), fact.settled_by, None)
            }
            _ => (
                fact.name.clone(),
                fact.means.clone(),
                fact.settled_by,
                Some(fact),
            ),
        };
        // What is found as it is, is the site's to tell.
        let settler = if settler == Settler::Designer && o.status == Status::Existing {
            Settler::Site
        } else {
            settler
        };
        // Whether a value was measured is a question of its own: no value of the fact answers it.
        let asked = self.program.leaves.get(leaf.0 as usize).map(|l| l.kind);
        let shown = shown.filter(|f| {
            asked != Some(crate::expression::LeafKind::Truth) || matches!(f.ty, FactType::YesNo)
        });
        let value = |x: Option<Val>| match (x, shown) {
            (Some(x), Some(f)) => {
                let series = matches!(f.ty, FactType::Quantity { .. })
                    .then_some(f.series)
                    .flatten();
                match series {
                    // The leaf chooses a member of the series.
                    Some(s) => v
                        .series(s)
                        .members
                        .get(x.bits.trailing_zeros() as usize)
                        .map(|m| show_val(&Val::number(m.value), f, v)),
                    None => Some(show_val(&x, f, v)),
                }
            }
            _ => None,
        };
        let line = info.line.map_or(String::new(), |l| {
            format!(" ({})", crate::vocabulary::LINES[(l as usize).min(2)])
        });
        Missing {
            of: self.design.describe(info.object),
            fact: format!("{name}{line}"),
            means,
            settled_by: settler.word(),
            passes: value(yes),
            breaks: value(no),
            span,
        }
    }

    fn witness(&self, w: &Witness) -> Vec<WitnessValue> {
        w.0.iter()
            .take(12)
            .map(|(leaf, val)| {
                let m = self.missing(*leaf, Some(*val), None);
                WitnessValue {
                    fact: format!("{} of {}", m.fact, m.of),
                    value: m.passes.unwrap_or_else(|| "as written".to_owned()),
                }
            })
            .collect()
    }
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

/// Departures act on breaches only; unused and expired ones are said.
fn departures(
    ruleset: &Ruleset,
    design: &Design,
    report: &mut Report,
    settings: &Settings,
) -> Vec<Problem> {
    let mut problems = Vec::new();
    let today = settings.on.or(design.newest_date);
    for d in &design.departures {
        let Some(rule) = ruleset.rule(&d.rule.value) else {
            problems.push(
                Problem::error(
                    "unknown-rule",
                    format!("there is no rule `{}`", d.rule.value),
                )
                .at(d.rule.span, "")
                .did_you_mean(&d.rule.value, ruleset.rules.iter().map(|r| r.id.as_str())),
            );
            continue;
        };
        if settings.only.is_some() {
            continue;
        }
        if !rule.departable {
            problems.push(
                Problem::error(
                    "no-departure",
                    format!("nobody may depart from `{}`", rule.id),
                )
                .at(d.rule.span, ""),
            );
            continue;
        }
        if let (Some(until), Some(today)) = (&d.until, today)
            && today > until.value
        {
            problems.push(
                Problem::caution(
                    "departure-expired",
                    format!("the departure from `{}` has expired", rule.id),
                )
                .at(until.span, "its last day"),
            );
            continue;
        }
        let subject = d.subject.as_ref().map(|s| design.describe(s.value));
        let (mut used, mut pending) = (false, false);
        for f in &mut report.findings {
            if f.rule != rule.id || subject.as_ref().is_some_and(|s| *s != f.subject) {
                continue;
            }
            match f.outcome {
                Outcome::Failed if f.severity == crate::ruleset::Severity::Breach => {
                    used = true;
                    f.outcome = Outcome::Departed;
                    f.departure = d.reason.as_ref().map(|r| r.value.clone());
                    let cell = |o| (o, rule.severity);
                    if let Some(n) = report.counts.0.get_mut(&cell(Outcome::Failed)) {
                        *n = n.saturating_sub(1);
                    }
                    *report.counts.0.entry(cell(Outcome::Departed)).or_insert(0) += 1;
                }
                Outcome::Undecided => pending = true,
                _ => {}
            }
        }
        if !used && !pending {
            problems.push(
                Problem::caution(
                    "departure-unused",
                    format!("the departure from `{}` covers nothing", rule.id),
                )
                .at(d.rule.span, "")
                .help("take it out, or name the subject it is meant for"),
            );
        }
    }
    problems
}
