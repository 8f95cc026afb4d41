//! Terms of expressions → registers. What is decided while linking is not linked further.

use std::sync::Arc;

use super::link::{Linker, Obj, Step, What};
use crate::design::model::ObjectId;
use crate::design::tree::Origin;
use crate::expression::{
    Aggregate, Call, Compiled, Flags, LineTerm, ObjectTerm, Op, OriginTest, Presence, ReadFact,
    Reg, TermId, TermKind, Ty, Val,
};
use crate::quantity::{Interval, TruthSet};
use crate::source::limits::NESTED;
use crate::vocabulary::WordSet;

/// What names of an expression stand for.
#[derive(Clone, Debug)]
pub(super) struct Env {
    subject: Obj,
    line: Option<u8>,
    pub(super) vars: Vec<Var>,
}

#[derive(Clone, Debug)]
pub(super) enum Var {
    Object(Obj),
    Line(u8),
}

impl Env {
    pub(super) fn of(subject: Obj, line: Option<u8>) -> Self {
        Self {
            subject,
            line,
            vars: Vec::new(),
        }
    }
}

/// How a message calls an object of which nothing is known.
const NOT_KNOWN: &str = "what is not known";

impl Linker<'_> {
    /// Links an expression for one subject.
    pub fn expression(&mut self, c: &Compiled, subject: ObjectId) -> Reg {
        self.term(c, c.root, &mut Env::of(Obj::One(subject), None))
    }

    /// The name of the object that an expression leads to, as messages say it.
    pub(super) fn named_object(&mut self, c: &Compiled, subject: ObjectId) -> String {
        let found = self.root_object(c, &mut Env::of(Obj::One(subject), None));
        self.name_of(&found)
    }

    /// The object that an expression certainly leads to.
    pub(super) fn object_at(&mut self, c: &Compiled, subject: ObjectId) -> Option<ObjectId> {
        match self.root_object(c, &mut Env::of(Obj::One(subject), None)) {
            Obj::One(id) => Some(id),
            _ => None,
        }
    }

    fn name_of(&self, o: &Obj) -> String {
        match o {
            Obj::One(id) => self.design.label(*id),
            Obj::Pick(_, several) => {
                let mut names: Vec<String> = several.iter().map(|o| self.name_of(o)).collect();
                names.dedup();
                // A choice with something unknown in it may be anything.
                let open = names.iter().find(|n| *n == NOT_KNOWN);
                open.cloned().unwrap_or_else(|| names.join(" or "))
            }
            Obj::Absent => "none".to_owned(),
            Obj::Unknown(_) | Obj::Poison => NOT_KNOWN.to_owned(),
        }
    }

    /// Links an expression that leads to an object.
    pub(super) fn root_object(&mut self, c: &Compiled, env: &mut Env) -> Obj {
        self.object_value(c, c.root, env)
    }

    fn object_value(&mut self, c: &Compiled, id: TermId, env: &mut Env) -> Obj {
        match &c.term(id).kind {
            TermKind::Object(o) => self.object(o, env),
            TermKind::Nothing => Obj::Absent,
            TermKind::If(cond, a, b) => {
                let reg = self.term(c, *cond, env);
                match self.program.val(reg).as_truth() {
                    TruthSet::T => self.object_value(c, *a, env),
                    TruthSet::F => self.object_value(c, *b, env),
                    _ => {
                        let (a, b) = (self.object_value(c, *a, env), self.object_value(c, *b, env));
                        // A truth is a set of the bits yes and no: a selector of two.
                        Obj::Pick(reg, Arc::new(vec![a, b]))
                    }
                }
            }
            _ => Obj::Poison,
        }
    }

    pub(super) fn object(&mut self, o: &ObjectTerm, env: &Env) -> Obj {
        match o {
            ObjectTerm::Subject => env.subject.clone(),
            ObjectTerm::Var(i) => match env.vars.get(*i as usize) {
                Some(Var::Object(o)) => o.clone(),
                _ => Obj::Poison,
            },
            ObjectTerm::Step(before, fact) => {
                let from = self.object(before, env);
                self.step(&from, fact)
            }
        }
    }

    fn line(l: LineTerm, env: &Env) -> Option<u8> {
        match l {
            LineTerm::Fixed(i) => Some(i),
            LineTerm::Current => env.line,
            LineTerm::Var(i) => match env.vars.get(i as usize) {
                Some(Var::Line(l)) => Some(*l),
                _ => None,
            },
        }
    }

    pub(super) fn push(&mut self, op: Op) -> Reg {
        self.known.program.push(op, &self.ruleset.data)
    }

    pub(super) fn number(&mut self, x: f64) -> Reg {
        self.program.constant(Val::number(x))
    }

    pub(super) fn truth_of(&self, r: Reg) -> TruthSet {
        self.program.val(r).as_truth()
    }

    /// Links a term and records it where traces are kept.
    pub(super) fn term(&mut self, c: &Compiled, id: TermId, env: &mut Env) -> Reg {
        if self.is_full() {
            return self.not_computable();
        }
        self.depth += 1;
        self.too_deep |= self.depth > NESTED;
        let reg = self.link_term(c, id, env);
        self.depth -= 1;
        if let (Some(traces), Some(top)) = (&mut self.known.traces, self.known.stack.last()) {
            traces
                .entry(*top)
                .or_default()
                .steps
                .push(Step { term: id, reg });
        }
        reg
    }

    #[expect(clippy::too_many_lines, reason = "one arm for each kind of term")]
    fn link_term(&mut self, c: &Compiled, id: TermId, env: &mut Env) -> Reg {
        let term = c.term(id);
        match &term.kind {
            TermKind::Number(x) | TermKind::Date(x) => self.number(*x),
            TermKind::Truth(t) => self.truth(*t),
            TermKind::Word(i) | TermKind::Text(i) => {
                let one = WordSet::one(usize::from(*i));
                self.program.constant(Val::words(one))
            }
            TermKind::Nothing => {
                let val = match &term.ty {
                    Ty::Word(_) | Ty::Text => Val::words(WordSet::NONE),
                    _ => Val::ABSENT,
                };
                self.program.constant(val)
            }
            TermKind::Limit(l) => {
                let limit = self.ruleset.limits.all.get(l.0 as usize);
                // Without a value it is left to a child that has not set it.
                let value = limit.and_then(|l| l.value);
                let val = value.map_or(Val::any(Flags::GAP), Val::number);
                self.program.constant(val)
            }
            TermKind::Read { object, fact, line } => {
                let from = self.object(object, env);
                let line = line.and_then(|l| Self::line(l, env));
                self.read(&from, fact, line)
            }
            TermKind::Object(o) | TermKind::ObjectPresent(o) => {
                let o = self.object(o, env);
                self.object_present(&o)
            }
            TermKind::Add(a, b) => self.two(c, *a, *b, env, Op::Add),
            TermKind::Sub(a, b) => self.two(c, *a, *b, env, Op::Sub),
            TermKind::Mul(a, b) => self.two(c, *a, *b, env, Op::Mul),
            TermKind::Div(a, b) => self.two(c, *a, *b, env, Op::Div),
            TermKind::Same(a, b) => self.two(c, *a, *b, env, Op::Same),
            TermKind::Neg(a) => self.one(c, *a, env, Op::Neg),
            TermKind::Power(a, n) => self.one(c, *a, env, |a| Op::Power(a, *n)),
            TermKind::Le(a, b, floor) => {
                let f = self.program.constant_index(Val::number(*floor));
                self.two(c, *a, *b, env, |a, b| Op::Le(a, b, f))
            }
            TermKind::Lt(a, b, floor) => {
                let f = self.program.constant_index(Val::number(*floor));
                self.two(c, *a, *b, env, |a, b| Op::Lt(a, b, f))
            }
            TermKind::Equal(a, b, floor) => {
                let f = self.program.constant_index(Val::number(*floor));
                self.two(c, *a, *b, env, |a, b| Op::Equal(a, b, f))
            }
            TermKind::SameObject(a, b) => {
                let (a, b) = (self.object(a, env), self.object(b, env));
                self.same_object(&a, &b)
            }
            TermKind::Not(a) => self.one(c, *a, env, Op::Not),
            TermKind::And(a, b) => {
                let a = self.term(c, *a, env);
                if self.truth_of(a) == TruthSet::F {
                    return a;
                }
                let b = self.term(c, *b, env);
                self.push(Op::And(a, b))
            }
            TermKind::Or(a, b) => {
                let a = self.term(c, *a, env);
                if self.truth_of(a) == TruthSet::T {
                    return a;
                }
                let b = self.term(c, *b, env);
                self.push(Op::Or(a, b))
            }
            TermKind::Rank(a) => {
                let count = match &c.term(*a).ty {
                    Ty::Word(w) => w.len(),
                    _ => 0,
                };
                let a = self.term(c, *a, env);
                let ranks = (0_u32..).take(count);
                let ranks: Vec<Reg> = ranks.map(|i| self.number(f64::from(i))).collect();
                let (first, n) = self.program.counted(&ranks);
                self.push(Op::Pick(a, first, n))
            }
            TermKind::Among(a, set) => {
                let a = self.term(c, *a, env);
                let set = self.program.constant_index(Val::words(*set));
                self.push(Op::Among(a, set))
            }
            TermKind::Has(a, word) => self.one(c, *a, env, |a| Op::Has(a, *word)),
            TermKind::HasLine(a, line, at) => {
                let word =
                    Self::line(*line, env).and_then(|l| at.get(l as usize).copied().flatten());
                match word {
                    Some(w) => self.one(c, *a, env, |a| Op::Has(a, w)),
                    None => self.truth(false),
                }
            }
            TermKind::LineAmong(line, set) => {
                let line = Self::line(*line, env);
                let within = line.is_some_and(|l| set.has(usize::from(l)));
                self.truth(within)
            }
            TermKind::MemberOf(a, b) => self.two(c, *a, *b, env, Op::MemberOf),
            TermKind::Present(a) => {
                let words = matches!(c.term(*a).ty, Ty::Word(_) | Ty::Text);
                let a = self.term(c, *a, env);
                self.push(if words {
                    Op::WordPresent(a)
                } else {
                    Op::Present(a)
                })
            }
            TermKind::Origin(a, test) => self.origin(c, *a, *test, env),
            TermKind::IsKind(o, kinds) => {
                let o = self.object(o, env);
                self.is_kind(&o, kinds)
            }
            TermKind::If(cond, a, b) => {
                let cond = self.term(c, *cond, env);
                let val = self.program.val(cond);
                match val.as_truth() {
                    TruthSet::U => {
                        let a = self.term(c, *a, env);
                        let b = self.term(c, *b, env);
                        self.push(Op::If(cond, a, b))
                    }
                    known => {
                        let branch = if known == TruthSet::T { a } else { b };
                        let taken = self.term(c, *branch, env);
                        // What the condition assumed the branch rests on, too.
                        if val.flags.any(Flags::ASSUMED) {
                            self.push(Op::If(cond, taken, taken))
                        } else {
                            taken
                        }
                    }
                }
            }
            TermKind::Otherwise(a, b) => {
                let words = matches!(term.ty, Ty::Word(_));
                let a = self.term(c, *a, env);
                if words {
                    let present = self.push(Op::WordPresent(a));
                    return match self.truth_of(present) {
                        TruthSet::T => a,
                        TruthSet::F => self.term(c, *b, env),
                        _ => {
                            let b = self.term(c, *b, env);
                            self.push(Op::If(present, a, b))
                        }
                    };
                }
                if self.program.val(a).bits == Presence::PRESENT {
                    return a;
                }
                let b = self.term(c, *b, env);
                self.push(Op::Otherwise(a, b))
            }
            TermKind::Aggregate {
                op,
                var,
                over,
                filter,
                body,
                never_negative,
            } => {
                // What members that are not listed could add.
                let unlisted = if *never_negative || *op == Aggregate::Count {
                    Interval::at_least(0.0)
                } else {
                    Interval::ALL
                };
                self.aggregate(c, *op, *var, over, *filter, *body, unlisted, env)
            }
            TermKind::Lookup(table, keys) => {
                let regs: Vec<Reg> = keys.iter().map(|k| self.term(c, *k, env)).collect();
                let (first, n) = self.program.counted(&regs);
                self.push(Op::Lookup(*table, first, n))
            }
            TermKind::Call(call, arguments) => {
                let regs: Vec<Reg> = arguments.iter().map(|a| self.term(c, *a, env)).collect();
                self.call(*call, &regs)
            }
            TermKind::Round(a, step, mode) => {
                let a = self.term(c, *a, env);
                let step = self.program.constant_index(Val::number(*step));
                self.push(Op::Round(a, step, *mode))
            }
            TermKind::Next(series, true, a) => self.one(c, *a, env, |a| Op::NextUp(a, *series)),
            TermKind::Next(series, false, a) => self.one(c, *a, env, |a| Op::NextDown(a, *series)),
        }
    }

    fn one(&mut self, c: &Compiled, a: TermId, env: &mut Env, op: impl FnOnce(Reg) -> Op) -> Reg {
        let a = self.term(c, a, env);
        self.push(op(a))
    }

    fn two(
        &mut self,
        c: &Compiled,
        a: TermId,
        b: TermId,
        env: &mut Env,
        op: impl FnOnce(Reg, Reg) -> Op,
    ) -> Reg {
        let a = self.term(c, a, env);
        let b = self.term(c, b, env);
        self.push(op(a, b))
    }

    fn call(&mut self, call: Call, regs: &[Reg]) -> Reg {
        let one = |f: fn(Reg) -> Op| regs.first().map(|r| f(*r));
        let op = match call {
            Call::Min | Call::Max => {
                let mut all = regs.iter().copied();
                let Some(mut acc) = all.next() else {
                    return self.number(0.0);
                };
                for r in all {
                    acc = self.push(if call == Call::Min {
                        Op::Min(acc, r)
                    } else {
                        Op::Max(acc, r)
                    });
                }
                return acc;
            }
            Call::Abs => one(Op::Abs),
            Call::Sqrt => one(Op::Sqrt),
            Call::Ln => one(Op::Ln),
            Call::Exp => one(Op::Exp),
            Call::Sin => one(Op::Sin),
            Call::Cos => one(Op::Cos),
            Call::Acos => one(Op::Acos),
            Call::NeutralCurrent => Some(Op::NeutralCurrent(self.program.list(regs))),
            Call::OpenPenVoltage => Some(Op::OpenPen(self.program.list(regs))),
            Call::BehindSource => Some(Op::BehindSource(self.program.list(regs))),
        };
        match op {
            Some(op) => self.push(op),
            None => self.not_computable(),
        }
    }

    /// Where a fact's value comes from.
    fn origin(&mut self, c: &Compiled, id: TermId, test: OriginTest, env: &mut Env) -> Reg {
        let Some((object, fact)) = c.term(id).kind.fact_read() else {
            return self.truth(false);
        };
        let from = self.object(object, env);
        self.origin_of(&from, fact, test)
    }

    fn origin_of(&mut self, from: &Obj, fact: &ReadFact, test: OriginTest) -> Reg {
        match from {
            Obj::One(id) => {
                let Some(ix) = fact.on(self.kind(*id)) else {
                    return self.truth(false);
                };
                // Of what nobody has written it is not known yet where it comes from.
                let written = self.design.object(*id).written(ix);
                let origin = written.and_then(|w| w.origin);
                let known = match (test, origin) {
                    (OriginTest::Written, _) => Some(written.is_some()),
                    // What is asked of a thing that is yet to be bought says nothing of it.
                    (_, Some(Origin::Required)) => None,
                    (OriginTest::Measured, o) => o.map(|o| o == Origin::Measured),
                    (OriginTest::Calculated, o) => o.map(|o| o == Origin::Calculated),
                    (OriginTest::ByEnquiry, o) => o.map(|o| o == Origin::ByEnquiry),
                    (OriginTest::Declared, o) => o.map(|o| o == Origin::Declared),
                    (OriginTest::Assumed, o) => o.map(|o| o == Origin::Assumed),
                };
                match known {
                    Some(true) => self.truth(true),
                    // What somebody assumed was not measured; a value from elsewhere does not say
                    // that none was.
                    Some(false)
                        if test != OriginTest::Measured || origin == Some(Origin::Assumed) =>
                    {
                        self.truth(false)
                    }
                    _ => self.doubt(*id, ix, What::Fact),
                }
            }
            Obj::Pick(selector, all) => {
                self.each(*selector, all, |this, o| this.origin_of(o, fact, test))
            }
            Obj::Unknown(frame) if test != OriginTest::Written => {
                let f = self.frames[*frame as usize].clone();
                self.doubt(f.owner, f.fact, What::Fact)
            }
            Obj::Unknown(_) | Obj::Absent => self.truth(false),
            Obj::Poison => self.poisoned_truth(),
        }
    }
}
