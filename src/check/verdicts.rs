//! Every rule that is due, linked for every subject: the registers of the verdicts, without
//! findings. Answers beyond a check read these.

use crate::design::model::{Design, ObjectId, Status};
use crate::expression::{Op, Reg, Val};
use crate::quantity::TruthSet;
use crate::ruleset::{Requirement, Rule, Ruleset, Severity, Stage, Way};

use super::link::Linker;

/// The verdict of one rule on one subject.
#[derive(Clone, Copy, Debug)]
pub struct Verdict {
    /// Index of the rule in [`Ruleset::rules`].
    pub rule: usize,
    /// The subject.
    pub subject: ObjectId,
    /// Whether it applies; always, if there is none.
    pub applies: Option<Reg>,
    /// *where → require*.
    pub root: Reg,
}

/// Links every rule that is due at a stage for every subject of a design. What can never apply is
/// left out.
pub fn link_verdicts(
    linker: &mut Linker<'_>,
    ruleset: &Ruleset,
    design: &Design,
    stage: Stage,
) -> Vec<Verdict> {
    let mut all = Vec::new();
    for (ix, rule) in ruleset.rules.iter().enumerate() {
        if rule.stage > stage {
            continue;
        }
        for subject in design.of_kind(rule.each) {
            if linker.is_full() {
                return all;
            }
            if design.object(subject).status == Status::ToGo {
                continue;
            }
            if let Some(linked) = link_rule(linker, rule, subject) {
                all.push(Verdict {
                    rule: ix,
                    subject,
                    applies: linked.applies,
                    root: linked.root,
                });
            }
        }
    }
    all
}

/// The registers of a rule for a subject.
pub(super) struct LinkedRule<'r> {
    /// Whether it applies; always, if there is none.
    pub(super) applies: Option<Reg>,
    /// *where → require*.
    pub(super) root: Reg,
    /// What it requires.
    pub(super) require: Reg,
    /// Each named way.
    pub(super) ways: Vec<(&'r Way, Reg)>,
}

/// Links a rule for a subject; nothing, if it can never apply.
pub(super) fn link_rule<'r>(
    linker: &mut Linker<'_>,
    rule: &'r Rule,
    subject: ObjectId,
) -> Option<LinkedRule<'r>> {
    let applies = rule.where_.as_ref().map(|w| linker.expression(w, subject));
    if let Some(a) = applies
        && linker.program.val(a).as_truth() == TruthSet::F
    {
        return None;
    }
    let data = &linker.ruleset.data;
    let mut ways = Vec::new();
    let require = match &rule.require {
        // It is kept only where it does not matter; else nobody can say here.
        Requirement::LeftOut => {
            let a = applies?;
            // Only of what would be a breach it is asked whether it matters.
            let known = linker.program.val(a).as_truth() == TruthSet::T;
            if !known && rule.severity != Severity::Breach {
                return None;
            }
            let spared = linker.program.push(Op::Not(a), data);
            let open = linker.program.constant(Val::truth(TruthSet::U));
            return Some(LinkedRule {
                applies,
                root: linker.program.push(Op::Or(spared, open), data),
                require: spared,
                ways,
            });
        }
        Requirement::One(c) => linker.expression(c, subject),
        Requirement::Ways(list) => {
            let mut acc: Option<Reg> = None;
            for w in list {
                let r = linker.expression(&w.condition, subject);
                ways.push((w, r));
                acc = Some(match acc {
                    None => r,
                    Some(a) => linker.program.push(Op::Or(a, r), data),
                });
            }
            acc?
        }
    };
    let root = match applies {
        None => require,
        Some(a) => {
            let not = linker.program.push(Op::Not(a), data);
            linker.program.push(Op::Or(not, require), data)
        }
    };
    Some(LinkedRule {
        applies,
        root,
        require,
        ways,
    })
}
