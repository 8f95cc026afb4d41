//! The finding that a linked rule makes for a subject, refined where plain evaluation leaves it
//! open.

use super::finding::{Finding, Missing, Outcome, Reason, WayState, fingerprint};
use super::link::LeafInfo;
use super::plain;
use super::settings::{Pending, Settings};
use super::show::show_typed;
use super::subject::Subject;
use super::verdicts::Shown;
use crate::design::model::Design;
use crate::expression::{Budget, Cone, Decision, Flags, Fuel, LeafId, Program, Refiner};
use crate::quantity::{TruthSet, Unit, format_quantity};
use crate::ruleset::{Requirement, Ruleset};
use crate::source::{Label, Span};

/// What came of a rule for a subject.
struct Verdict {
    outcome: Outcome,
    reason: Option<Reason>,
    flags: Flags,
    /// What it depends on and what was found of it, where it is undecided.
    open: Option<(Cone, Decision)>,
}

/// What findings read from.
pub(super) struct View<'a> {
    pub(super) ruleset: &'a Ruleset,
    pub(super) design: &'a Design,
    pub(super) leaves: &'a [LeafInfo],
    pub(super) program: &'a Program,
    /// Facts that are written wrongly, each with the rules that rest on it.
    pub(super) mistaken: Vec<(Span, Vec<&'a str>)>,
    /// What the installation is called.
    pub(super) installation: String,
}

/// A refiner that is made when something is first refined: most designs leave nothing.
pub(super) struct Lazy<'a> {
    pub(super) refiner: Option<Refiner<'a>>,
    pub(super) program: &'a Program,
    pub(super) ruleset: &'a Ruleset,
    /// What all verdicts may cost, and how many are not met as they are.
    pub(super) work: Fuel,
    pub(super) verdicts: usize,
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
    pub(super) fn next(&mut self) {
        if let Some(refiner) = &mut self.refiner {
            refiner.next_share();
        }
    }

    /// Whether this verdict has cost all that it may.
    pub(super) fn is_spent(&self) -> bool {
        self.refiner.as_ref().is_some_and(Refiner::is_spent)
    }
}

impl View<'_> {
    /// What came of a rule for a subject, refined where plain evaluation leaves it open.
    fn verdict(&self, p: &Pending<'_>, refiner: &mut Lazy<'_>, settings: &Settings) -> Verdict {
        // Of what is left out, `require` is that it does not matter here.
        let left_out = p.rule.is_left_out();
        let root = if left_out {
            p.verdict.require
        } else {
            p.verdict.root
        };
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
                if let Some(a) = p.verdict.applies
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

    pub(super) fn finding(
        &self,
        p: &Pending<'_>,
        refiner: &mut Lazy<'_>,
        settings: &Settings,
    ) -> Finding {
        let rule = p.rule;
        let Verdict {
            outcome,
            reason,
            flags,
            open,
        } = self.verdict(p, refiner, settings);
        let object = self.design.object(p.verdict.subject);
        let kind = &self.ruleset.vocabulary.kind(object.kind).name;
        let mut finding = Finding {
            rule: rule.id.clone(),
            title: rule.texts.title.clone(),
            outcome,
            severity: rule.severity,
            reason,
            stage: rule.stage,
            clause: rule.texts.origin.clause.clone(),
            source: rule.texts.origin.source.clone(),
            confidence: rule.confidence,
            subject: Subject::new(self.design, p.verdict.subject),
            message: rule.texts.title.clone(),
            labels: Vec::new(),
            missing: Vec::new(),
            witnesses: None,
            help: Vec::new(),
            ways: Vec::new(),
            assumed: flags.any(Flags::ASSUMED),
            because: rule.texts.because.clone(),
            amended: rule.texts.amended.clone(),
            follows_from: None,
            departure: None,
            fingerprint: fingerprint(
                &rule.id,
                kind,
                &self.design.path(p.verdict.subject),
                &self.installation,
            ),
        };
        if matches!(outcome, Outcome::Met | Outcome::NotApplicable) {
            finding.labels.push(Label {
                span: object.head,
                text: String::new(),
            });
            return finding;
        }
        if let Some(texts) = &p.verdict.said {
            let told = outcome == Outcome::Failed || reason == Some(Reason::LeftOut);
            finding.message = match &texts.open {
                _ if told => self.show(&texts.message),
                Some(open) => self.show(open),
                None => format!("whether this holds is not known: {}", rule.texts.title),
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
                rule.texts.title
            );
        }
        let ways = match &rule.require {
            Requirement::Ways(all) => all.as_slice(),
            _ => &[],
        };
        for (way, reg) in ways.iter().zip(&p.verdict.ways) {
            let state = match self.program.val(*reg).as_truth() {
                TruthSet::T => "holds",
                TruthSet::F => "does not hold",
                _ => "is open",
            };
            finding.ways.push(WayState {
                name: way.name.clone(),
                condition: one_line(way.condition.text()),
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
        let applies = (p.verdict.applies)
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
            let same = |o: &Missing| o.of == m.of && o.fact == m.fact;
            if !finding.missing.iter().any(same) {
                finding.missing.push(m);
            }
        }
        if let (Some(y), Some(n), false) = (&d.yes, &d.no, left_out) {
            let y = plain::witness(self.program, refiner.get(), c, y, true, &about);
            let n = plain::witness(self.program, refiner.get(), c, n, false, &about);
            finding.witnesses = Some((self.witness(&y), self.witness(&n)));
        }
        places
    }

    fn show(&self, pieces: &[Shown]) -> String {
        // Digits until what differs looks different.
        let numbers: Vec<(f64, &Unit)> = pieces
            .iter()
            .filter_map(|p| match p {
                Shown::Value(r, ty, Some(u)) if ty.dim().is_some() => {
                    let v = self.program.val(*r);
                    (v.lo == v.hi).then_some((v.lo, u))
                }
                _ => None,
            })
            .collect();
        let clash = |digits: usize| {
            numbers.iter().enumerate().any(|(i, (x, u))| {
                numbers.iter().skip(i + 1).any(|(y, w)| {
                    x != y
                        && u.dim() == w.dim()
                        && format_quantity(*x, u, digits) == format_quantity(*y, w, digits)
                })
            })
        };
        let digits = (3..12).find(|digits| !clash(*digits)).unwrap_or(12);
        let mut out = String::new();
        for p in pieces {
            match p {
                Shown::Text(t) => out.push_str(t),
                Shown::Value(r, ty, unit) => {
                    let val = self.program.val(*r);
                    let point = unit.as_ref().filter(|_| val.lo == val.hi);
                    let vocabulary = &self.ruleset.vocabulary;
                    let all = (val.lo, val.hi) == (f64::NEG_INFINITY, f64::INFINITY);
                    match point.and_then(|unit| vocabulary.name_of(val.lo, unit)) {
                        Some(name) => out.push_str(name),
                        None if all && ty.dim().is_some() => out.push_str("what is not known"),
                        None => out.push_str(&show_typed(&val, ty, unit.as_ref(), digits)),
                    }
                }
            }
        }
        out
    }
}

/// A text of several lines on one.
pub fn one_line(text: &str) -> String {
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
