//! Which branches of rules their own cases reach.
//!
//! A branch is a condition that cannot be taken apart further: an operand of `and` and `or`, the
//! condition or an answer of an `if`, the filter or body of an aggregate, or a whole `where`,
//! `require` or way that is none of these. It is covered when the cases of its rule have seen it
//! true and seen it false, each time where what stands before it left the answer to it: the second
//! operand of an `and` counts only where the first is not false, that of an `or` only where the
//! first is not true. What is undecided is neither.

use rustc_hash::FxHashMap;

use super::link::Linker;
use crate::design::model::{Design, ObjectId};
use crate::expression::{Aggregate, Compiled, Over, Range, Term, TermId, TermKind, Ty};
use crate::quantity::TruthSet;
use crate::ruleset::yaml::{Node, Yaml};
use crate::ruleset::{Rule, Ruleset};
use crate::source::{FileId, Span};

/// One branch of a rule.
#[derive(Clone, Debug)]
pub struct Branch {
    /// Its text.
    pub text: String,
    /// Where it stands in the ruleset.
    pub span: Span,
    /// What must not be decided the other way for the branch to be asked at all.
    guards: Vec<(Compiled, bool)>,
    /// True for the subjects for which the branch holds; inside aggregates, for some member.
    holds: Compiled,
    /// True for the subjects for which the branch does not hold; inside aggregates, for some member.
    fails: Compiled,
    /// Whether it belongs to the requirement, which only counts where `where` is not false.
    required: bool,
}

/// What cases have seen of a branch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// It was true at least once.
    pub held: bool,
    /// It was false at least once.
    pub failed: bool,
}

impl Seen {
    /// Whether both answers were seen.
    #[must_use]
    pub const fn both(self) -> bool {
        self.held && self.failed
    }

    /// Adds what another case has seen.
    pub const fn add(&mut self, other: Self) {
        self.held |= other.held;
        self.failed |= other.failed;
    }
}

/// The branches of all rules of a ruleset, by the id of the rule.
#[derive(Clone, Debug, Default)]
pub struct Branches(FxHashMap<String, Vec<Branch>>);

impl Branches {
    /// Takes the rules of a ruleset apart.
    #[must_use]
    pub fn of(ruleset: &Ruleset) -> Self {
        let rules = ruleset.rules.iter();
        Self(
            rules
                .map(|r| (r.id.clone(), branches(ruleset, r)))
                .collect(),
        )
    }

    /// The branches of one rule, in the order in which they stand.
    #[must_use]
    pub fn rule(&self, id: &str) -> &[Branch] {
        self.0.get(id).map_or(&[], Vec::as_slice)
    }
}

/// What one design shows of the branches of a rule, over all its subjects or the one named.
pub(super) fn seen(
    ruleset: &Ruleset,
    design: &Design,
    rule: &Rule,
    branches: &[Branch],
    only: Option<&str>,
) -> Vec<Seen> {
    let mut linker = Linker::new(ruleset, design);
    let mut all = vec![Seen::default(); branches.len()];
    for subject in design.of_kind(rule.each) {
        let passed_over = design.object(subject).is_gone()
            || only.is_some_and(|name| design.label(subject) != name);
        if passed_over {
            continue;
        }
        let applies = rule
            .where_
            .as_ref()
            .is_none_or(|w| truth(&mut linker, w, subject) != TruthSet::F);
        for (branch, seen) in branches.iter().zip(&mut all) {
            let asked = branch.guards.iter().all(|(guard, answer)| {
                let contrary = if *answer { TruthSet::F } else { TruthSet::T };
                truth(&mut linker, guard, subject) != contrary
            });
            if !asked || (branch.required && !applies) {
                continue;
            }
            seen.held |= truth(&mut linker, &branch.holds, subject) == TruthSet::T;
            seen.failed |= truth(&mut linker, &branch.fails, subject) == TruthSet::T;
        }
    }
    all
}

fn truth(linker: &mut Linker<'_>, condition: &Compiled, subject: ObjectId) -> TruthSet {
    let reg = linker.expression(condition, subject);
    linker.program.val(reg).as_truth()
}

fn branches(ruleset: &Ruleset, rule: &Rule) -> Vec<Branch> {
    let mut all = Vec::new();
    let mut take = |c: &Compiled, required: bool| {
        let mut finder = Finder {
            ruleset,
            whole: c,
            required,
            found: &mut all,
        };
        finder.condition(c.root, &mut Vec::new());
    };
    if let Some(w) = &rule.where_ {
        take(w, false);
    }
    rule.conditions().into_iter().for_each(|c| take(c, true));
    all
}

/// What stands around a term on the way from the whole to it.
#[derive(Clone, Copy)]
enum Around {
    /// It is only asked where this condition has this answer.
    Guard(TermId, bool),
    /// It is asked of each member of this aggregate.
    Body(TermId),
    /// It is the filter of this aggregate.
    Filter(TermId),
}

struct Finder<'a> {
    ruleset: &'a Ruleset,
    whole: &'a Compiled,
    required: bool,
    found: &'a mut Vec<Branch>,
}

impl Finder<'_> {
    /// Takes a condition apart, down to what cannot be taken apart.
    fn condition(&mut self, id: TermId, around: &mut Vec<Around>) {
        let whole = self.whole;
        match &whole.term(id).kind {
            TermKind::And(a, b) | TermKind::Or(a, b) => {
                let goes_on = matches!(whole.term(id).kind, TermKind::And(..));
                self.condition(*a, around);
                self.under(Around::Guard(*a, goes_on), around, |s, ar| {
                    s.condition(*b, ar);
                });
            }
            // Where both have one text it is an operator of its own, as in `a != b`.
            TermKind::Not(a) if whole.range(*a) != whole.range(id) => {
                self.condition(*a, around);
            }
            TermKind::If(c, a, b) => {
                self.condition(*c, around);
                for (answer, term) in [(true, *a), (false, *b)] {
                    self.under(Around::Guard(*c, answer), around, |s, ar| {
                        s.condition(term, ar);
                    });
                }
            }
            // A constant has one answer by nature.
            TermKind::Truth(_) => {}
            _ => {
                self.found.push(self.branch(id, around));
                self.parts(id, around);
            }
        }
    }

    fn under(
        &mut self,
        step: Around,
        around: &mut Vec<Around>,
        then: impl FnOnce(&mut Self, &mut Vec<Around>),
    ) {
        around.push(step);
        then(self, around);
        around.pop();
    }

    /// Looks for conditions inside a value.
    fn value(&mut self, id: TermId, around: &mut Vec<Around>) {
        let whole = self.whole;
        match &whole.term(id).kind {
            TermKind::And(..) | TermKind::Or(..) | TermKind::Not(_) => self.condition(id, around),
            TermKind::If(..) if whole.term(id).ty == Ty::Truth => self.condition(id, around),
            TermKind::If(c, a, b) => {
                self.condition(*c, around);
                for (answer, term) in [(true, *a), (false, *b)] {
                    self.under(Around::Guard(*c, answer), around, |s, ar| {
                        s.value(term, ar);
                    });
                }
            }
            _ => self.parts(id, around),
        }
    }

    /// Looks into the operands of a term that is no `and`, `or`, `not` or `if`.
    fn parts(&mut self, id: TermId, around: &mut Vec<Around>) {
        let whole = self.whole;
        match &whole.term(id).kind {
            TermKind::Aggregate {
                op,
                over,
                filter,
                body,
                ..
            } => {
                if let Over::Lines(set, _) = over {
                    self.value(*set, around);
                }
                if let Some(f) = filter {
                    self.under(Around::Filter(id), around, |s, ar| s.condition(*f, ar));
                }
                if let Some(b) = body {
                    self.under(Around::Body(id), around, |s, ar| {
                        if matches!(op, Aggregate::Every | Aggregate::Any) {
                            s.condition(*b, ar);
                        } else {
                            s.value(*b, ar);
                        }
                    });
                }
            }
            kind => operands(kind)
                .into_iter()
                .for_each(|o| self.value(o, around)),
        }
    }

    fn branch(&self, id: TermId, around: &[Around]) -> Branch {
        let c = self.whole;
        // Guards inside an aggregate are asked of each member, together with the branch.
        let first = around
            .iter()
            .position(|a| !matches!(a, Around::Guard(..)))
            .unwrap_or(around.len());
        let (outside, inside) = around.split_at(first);
        let node = Node {
            value: Yaml::Scalar(c.text().to_owned()),
            span: c.wording.span,
        };
        let index = node.span.file.0.checked_sub(FileId::RULESET);
        let source = index.and_then(|i| self.ruleset.files.get(usize::from(i)));
        let range = closed(c.text(), c.range(id));
        Branch {
            text: c.text().get(range.clone()).unwrap_or("").to_owned(),
            span: source.map_or(node.span, |s| node.place(s, range)),
            guards: outside
                .iter()
                .filter_map(|step| match step {
                    Around::Guard(g, answer) => Some((rooted(c, *g), *answer)),
                    Around::Body(_) | Around::Filter(_) => None,
                })
                .collect(),
            holds: reached(c, id, true, inside),
            fails: reached(c, id, false, inside),
            required: self.required,
        }
    }
}

/// The range of a term without blanks around it, and with the bracket that opens before it and
/// closes in it: `(count p in x) >= 1` begins at its first operand.
fn closed(text: &str, range: Range) -> Range {
    let (mut start, end) = (range.start, range.end);
    loop {
        let inside = text.get(start..end).unwrap_or("");
        let open = inside.matches('(').count() < inside.matches(')').count();
        let before = text.get(..start).unwrap_or("").trim_end();
        if !(open && before.ends_with('(')) {
            let kept = inside.trim_end().len();
            return start..start + kept;
        }
        start = before.len() - 1;
    }
}

/// A term as an expression of its own.
fn rooted(c: &Compiled, root: TermId) -> Compiled {
    Compiled { root, ..c.clone() }
}

/// The condition that a term is reached and has an answer, for some member of every aggregate
/// around it.
fn reached(c: &Compiled, id: TermId, answer: bool, around: &[Around]) -> Compiled {
    let mut all = c.clone();
    let mut add = |kind: TermKind| {
        let id = TermId(u32::try_from(all.terms.len()).unwrap_or(u32::MAX));
        all.terms.push(Term {
            kind,
            ty: Ty::Truth,
        });
        id
    };
    let mut inner = if answer { id } else { add(TermKind::Not(id)) };
    for step in around.iter().rev() {
        inner = match *step {
            Around::Guard(g, true) => add(TermKind::And(g, inner)),
            Around::Guard(g, false) => {
                let not = add(TermKind::Not(g));
                add(TermKind::And(not, inner))
            }
            Around::Body(of) | Around::Filter(of) => {
                let TermKind::Aggregate {
                    var, over, filter, ..
                } = &c.term(of).kind
                else {
                    continue;
                };
                let kept = matches!(step, Around::Body(_)).then_some(*filter).flatten();
                add(TermKind::Aggregate {
                    op: Aggregate::Any,
                    var: *var,
                    over: over.clone(),
                    filter: kept,
                    body: Some(inner),
                    never_negative: false,
                })
            }
        };
    }
    all.root = inner;
    all
}

/// The terms that a term is made of, without aggregates.
fn operands(kind: &TermKind) -> Vec<TermId> {
    match kind {
        TermKind::Add(a, b)
        | TermKind::Sub(a, b)
        | TermKind::Mul(a, b)
        | TermKind::Div(a, b)
        | TermKind::Same(a, b)
        | TermKind::And(a, b)
        | TermKind::Or(a, b)
        | TermKind::MemberOf(a, b)
        | TermKind::Otherwise(a, b)
        | TermKind::Le(a, b, _)
        | TermKind::Lt(a, b, _)
        | TermKind::Equal(a, b, _) => vec![*a, *b],
        TermKind::If(c, a, b) => vec![*c, *a, *b],
        TermKind::Neg(a)
        | TermKind::Not(a)
        | TermKind::Rank(a)
        | TermKind::Present(a)
        | TermKind::Power(a, _)
        | TermKind::Among(a, _)
        | TermKind::Has(a, _)
        | TermKind::HasLine(a, ..)
        | TermKind::Origin(a, _)
        | TermKind::Round(a, ..)
        | TermKind::Next(_, _, a) => vec![*a],
        TermKind::Lookup(_, all) | TermKind::Call(_, all) => all.clone(),
        TermKind::Number(_)
        | TermKind::Truth(_)
        | TermKind::Word(_)
        | TermKind::Text(_)
        | TermKind::Date(_)
        | TermKind::Nothing
        | TermKind::Limit(_)
        | TermKind::Read { .. }
        | TermKind::Object(_)
        | TermKind::SameObject(..)
        | TermKind::LineAmong(..)
        | TermKind::ObjectPresent(_)
        | TermKind::IsKind(..)
        | TermKind::Aggregate { .. } => Vec::new(),
    }
}
