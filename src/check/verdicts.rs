//! Every rule that is due, linked for every subject: the registers of the verdicts, without
//! findings. Answers beyond a check read these.

use crate::design::model::{Design, ObjectId};
use crate::expression::{Op, Reg, Ty, Val};
use crate::quantity::{TruthSet, Unit};
use crate::ruleset::{Piece, Requirement, Rule, Ruleset, Severity, Stage, Template};

use super::causes::Causes;
use super::link::{Known, Linker};

/// The verdict of one rule on one subject: its registers.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// Index of the rule in [`Ruleset::rules`].
    pub rule: usize,
    /// The subject.
    pub subject: ObjectId,
    /// Whether it applies; always, if there is none.
    pub applies: Option<Reg>,
    /// *where → require*.
    pub root: Reg,
    /// What it requires.
    pub(super) require: Reg,
    /// Each of its named ways.
    pub(super) ways: Vec<Reg>,
    /// What is said of it, where it is not met and somebody is to be told.
    pub(super) said: Option<Box<Said>>,
}

impl Verdict {
    /// Follows its registers to their places in a program that keeps those of the verdict alone:
    /// what is said of it has been said.
    pub fn moved(&mut self, places: &[Reg]) {
        let to = |r: Reg| places[r.ix()];
        self.applies = self.applies.map(to);
        self.root = to(self.root);
        (self.require, self.ways, self.said) = (self.root, Vec::new(), None);
    }
}

/// The texts of a rule with what stands in them, and what they go with.
#[derive(Clone, Debug)]
pub(super) struct Said {
    pub(super) message: Vec<Shown>,
    pub(super) open: Option<Vec<Shown>>,
    pub(super) help: Option<Vec<Shown>>,
    /// What it points at.
    pub(super) points: Vec<Reg>,
    /// Rules and subjects whose failure would explain this one.
    pub(super) causes: Vec<(String, ObjectId)>,
}

/// A piece of a text.
#[derive(Clone, Debug)]
pub(super) enum Shown {
    Text(String),
    Value(Reg, Ty, Option<Unit>),
}

/// All verdicts of a design, and what was come to know while they were linked.
#[derive(Debug)]
pub struct Linked {
    /// What messages and figures go on from.
    pub known: Known,
    /// The verdicts, by rule and subject.
    pub verdicts: Vec<Verdict>,
}

impl Linked {
    /// Links every rule that is due at a stage for every subject of a design, or one rule alone;
    /// `told` links what is said of what is not met, too.
    #[must_use]
    pub fn new(
        ruleset: &Ruleset,
        design: &Design,
        stage: Stage,
        told: bool,
        only: Option<&str>,
    ) -> Self {
        let mut linker = Linker::new(ruleset, design);
        let (mut verdicts, mut causes) = (Vec::new(), Causes::default());
        for (ix, rule) in ruleset.rules.iter().enumerate() {
            if rule.stage > stage || only.is_some_and(|id| id != rule.id) {
                continue;
            }
            for subject in design.of_kind(rule.each) {
                if design.object(subject).is_gone() {
                    continue;
                }
                let Some(mut verdict) = link_rule(&mut linker, ix, rule, subject) else {
                    continue;
                };
                if told && linker.truth_of(verdict.root) != TruthSet::T {
                    verdict.said = Some(Box::new(said(&mut linker, rule, subject, &mut causes)));
                }
                verdicts.push(verdict);
            }
        }
        verdicts.shrink_to_fit();
        Self {
            known: linker.known,
            verdicts,
        }
    }
}

/// What is said of a rule that is not met.
fn said<'r>(
    linker: &mut Linker<'_>,
    rule: &'r Rule,
    subject: ObjectId,
    causes: &mut Causes<'r>,
) -> Said {
    let texts = &rule.texts;
    let mut text = |t: &Template| template(linker, t, subject);
    Said {
        message: text(&texts.message),
        open: texts.open.as_ref().map(&mut text),
        help: texts.help.as_ref().map(&mut text),
        points: (texts.point_at.iter())
            .map(|c| linker.expression(c, subject))
            .collect(),
        causes: causes.of(linker, rule, subject),
    }
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

/// The registers of a rule for a subject; nothing, if it can never apply.
fn link_rule(
    linker: &mut Linker<'_>,
    ix: usize,
    rule: &Rule,
    subject: ObjectId,
) -> Option<Verdict> {
    let stated = rule.where_.as_ref().map(|w| linker.expression(w, subject));
    let there = linker.presence(subject);
    let taken = linker.taken(subject);
    let there = linker.both(there, taken);
    let applies = linker.both(there, stated);
    if applies.is_some_and(|a| linker.truth_of(a) == TruthSet::F) {
        return None;
    }
    let mut ways = Vec::new();
    let require = match &rule.require {
        // It is kept only where it does not matter; else nobody can say here.
        Requirement::LeftOut => {
            let a = applies?;
            // Only of what would be a breach it is asked whether it matters.
            let known = linker.truth_of(a) == TruthSet::T;
            if !known && rule.severity != Severity::Breach {
                return None;
            }
            linker.push(Op::Not(a))
        }
        Requirement::One(c) => linker.expression(c, subject),
        Requirement::Ways(list) => {
            let mut acc: Option<Reg> = None;
            for w in list {
                let r = linker.expression(&w.condition, subject);
                ways.push(r);
                acc = linker.either(acc, Some(r));
            }
            acc?
        }
    };
    let root = match applies {
        _ if rule.is_left_out() => {
            let open = linker.program.constant(Val::truth(TruthSet::U));
            linker.push(Op::Or(require, open))
        }
        None => require,
        Some(a) => {
            let not = linker.push(Op::Not(a));
            linker.push(Op::Or(not, require))
        }
    };
    Some(Verdict {
        rule: ix,
        subject,
        applies,
        root,
        require,
        ways,
        said: None,
    })
}
