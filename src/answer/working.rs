//! The calculation of a derived fact, line by line: the formula, the numbers put in, the clause,
//! the table row, and where each input stands.

use crate::check::{FactKey, Linker, show_number, show_truth, show_words};
use crate::design::model::{Design, ObjectId, Status};
use crate::expression::{
    Aggregate, Call, Compiled, Op, Presence, Reg, SetWords, TermId, TermKind, Ty, Val,
};
use crate::quantity::{TruthSet, Unit};
use crate::ruleset::{Requirement, Ruleset, default_unit};
use crate::source::Span;
use crate::vocabulary::{Fact, FactIx, FactType, LINES};

/// A value of a fact, in SI units.
#[derive(Clone, Debug)]
pub struct Figure {
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// The unit it is shown in.
    pub unit: Unit,
}

/// A value that was put into a formula.
#[derive(Clone, Debug)]
pub struct Input {
    /// Its name in the formula.
    pub name: String,
    /// Its value.
    pub value: String,
    /// Where it is written, if it is.
    pub span: Option<Span>,
    /// Where a figure comes from: the table, the limit's clause.
    pub source: Option<String>,
}

/// One line of a working.
#[derive(Clone, Debug)]
pub struct WorkingStep {
    /// What is worked out, `Zs of ev`.
    pub what: String,
    /// Its meaning.
    pub means: String,
    /// The formula, as far as it was used: branches that do not apply are left out.
    pub formula: String,
    /// The formula with the numbers put in.
    pub numbers: String,
    /// The result.
    pub result: String,
    /// What was put in.
    pub inputs: Vec<Input>,
    /// Standard, edition, clause.
    pub clause: Option<String>,
    /// Where it was seen.
    pub source: Option<String>,
}

/// A whole working: what it needs first, the fact itself last.
#[derive(Clone, Debug)]
pub struct Working {
    /// The fact.
    pub fact: String,
    /// The object.
    pub subject: String,
    /// The value.
    pub figure: Option<Figure>,
    /// The value as text.
    pub result: String,
    /// The lines.
    pub steps: Vec<WorkingStep>,
}

/// The object with this name (as messages give it), and its fact.
fn find(
    ruleset: &Ruleset,
    design: &Design,
    object: &str,
    fact: &str,
) -> Option<(ObjectId, FactIx)> {
    design
        .ids()
        .filter(|id| design.describe(*id) == object)
        .find_map(|id| {
            let ix = ruleset
                .vocabulary
                .kind(design.object(id).kind)
                .fact_named(fact)?;
            Some((id, ix))
        })
}

fn figure(val: &Val, fact: &Fact) -> Option<Figure> {
    let unit = fact.unit()?.clone();
    (val.bits & Presence::PRESENT != 0 && val.lo <= val.hi).then_some(Figure {
        low: val.lo,
        high: val.hi,
        unit,
    })
}

/// The value of a fact of an object: `value(r, d, "ev", "Zs", None)`. None, if there is no such
/// object or fact, or no number.
#[must_use]
pub fn value(
    ruleset: &Ruleset,
    design: &Design,
    object: &str,
    fact: &str,
    line: Option<u8>,
) -> Option<Figure> {
    let (id, ix) = find(ruleset, design, object, fact)?;
    let mut linker = Linker::new(ruleset, design);
    let reg = linker.fact(id, ix, line);
    let val = linker.program.val(reg);
    figure(&val, ruleset.vocabulary.fact(design.object(id).kind, ix))
}

/// Objects and facts that can be worked out by this name: all derived facts called `fact`, or
/// all figures of the ruleset, if no name is given.
#[must_use]
pub fn worked_facts(
    ruleset: &Ruleset,
    design: &Design,
    fact: Option<&str>,
) -> Vec<(ObjectId, FactIx)> {
    let mut all = Vec::new();
    let wanted = fact.map(|f| match f.split_once('.') {
        Some((object, name)) => (Some(object), name),
        None => (None, f),
    });
    for id in design.ids() {
        let o = design.object(id);
        if o.phantom {
            continue;
        }
        let kind = ruleset.vocabulary.kind(o.kind);
        for (i, f) in kind.facts.iter().enumerate() {
            let ix = FactIx(u16::try_from(i).unwrap_or(u16::MAX));
            if ruleset.derivation(o.kind, ix).is_none() {
                continue;
            }
            let take = match wanted {
                Some((object, name)) => {
                    let object = object.is_none_or(|x| x == o.name || x == kind.name);
                    object && (f.name == name || f.also.iter().any(|a| a == name))
                }
                None => ruleset
                    .figures
                    .iter()
                    .any(|g| g.kind == o.kind && g.fact == ix),
            };
            if take {
                all.push((id, ix));
            }
        }
    }
    all
}

/// The working of one fact.
#[must_use]
pub fn working(ruleset: &Ruleset, design: &Design, object: ObjectId, ix: FactIx) -> Working {
    let mut linker = Linker::new(ruleset, design);
    linker.keep_traces();
    let fact = ruleset.vocabulary.fact(design.object(object).kind, ix);
    let lines: Vec<Option<u8>> = if matches!(fact.ty, FactType::Quantity { per_line: true, .. }) {
        vec![Some(0), Some(1), Some(2)]
    } else {
        vec![None]
    };
    let mut out = Working {
        fact: fact.name.clone(),
        subject: design.describe(object),
        figure: None,
        result: String::new(),
        steps: Vec::new(),
    };
    let mut done: Vec<FactKey> = Vec::new();
    for line in lines {
        let reg = linker.fact(object, ix, line);
        let val = linker.program.val(reg);
        let text = show(&val, fact);
        if out.figure.is_none() {
            out.figure = figure(&val, fact);
            out.result = text;
        } else if let (Some(f), Some(more)) = (&mut out.figure, figure(&val, fact)) {
            f.low = f.low.min(more.low);
            f.high = f.high.max(more.high);
            out.result = format!("{}; {text}", out.result);
        }
        walk(
            &linker,
            (object, ix, line.unwrap_or(3)),
            &mut done,
            &mut out.steps,
            0,
        );
    }
    out.steps
        .extend(verdicts(&mut linker, object, ix, &out.result));
    out
}

/// What the rules say of a fact: each comparison of it that a rule makes of its object, with the
/// other side and how much is in hand.
fn verdicts(
    linker: &mut Linker<'_>,
    object: ObjectId,
    ix: FactIx,
    result: &str,
) -> Vec<WorkingStep> {
    let kind = linker.design.object(object).kind;
    let fact = linker.ruleset.vocabulary.fact(kind, ix);
    let Some(unit) = fact.unit().cloned() else {
        return Vec::new();
    };
    let lines: &[Option<u8>] = if matches!(fact.ty, FactType::Quantity { per_line: true, .. }) {
        &[Some(0), Some(1), Some(2)]
    } else {
        &[None]
    };
    let regs: Vec<Reg> = lines.iter().map(|l| linker.fact(object, ix, *l)).collect();
    let ruleset = linker.ruleset;
    let mut out: Vec<WorkingStep> = Vec::new();
    let design = linker.design;
    for rule in &ruleset.rules {
        for subject in design.of_kind(rule.each) {
            let o = design.object(subject);
            if o.phantom || o.status == Status::ToGo {
                continue;
            }
            if let Some(w) = &rule.where_ {
                let reg = linker.expression(w, subject);
                if linker.program.val(reg).as_truth() != TruthSet::T {
                    continue;
                }
            }
            let conditions: Vec<&Compiled> = match &rule.require {
                Requirement::One(c) => vec![c],
                Requirement::Ways(ways) => ways.iter().map(|w| &w.condition).collect(),
            };
            for c in &conditions {
                let root = linker.expression(c, subject);
                for (other, at_most, truth) in compared(linker, root, &regs) {
                    let limit = linker.program.val(other);
                    let known = limit.bits == Presence::PRESENT && limit.lo.is_finite();
                    let what = format!("check: {} ({})", rule.title, design.describe(subject));
                    if !known || out.iter().any(|s| s.what == what) {
                        continue;
                    }
                    let sign = if at_most { "≤" } else { "≥" };
                    let verdict = match truth {
                        TruthSet::T => "holds",
                        TruthSet::F => "does not hold",
                        _ => "is open",
                    };
                    let mut verdict =
                        format!("{verdict}{}", in_hand(linker, &regs, &limit, at_most));
                    if conditions.len() > 1 {
                        let n = conditions.len();
                        verdict = format!("{verdict}; one of {n} ways, of which one must hold");
                    }
                    out.push(WorkingStep {
                        what,
                        means: rule.id.clone(),
                        formula: one_line(&c.text),
                        numbers: format!("{result} {sign} {}", show_number(&limit, Some(&unit), 5)),
                        result: verdict,
                        inputs: Vec::new(),
                        clause: rule.origin.clause.clone(),
                        source: rule.origin.source.clone(),
                    });
                }
            }
        }
    }
    out
}

/// How far the worst value is from its limit, as a share of the limit.
fn in_hand(linker: &Linker<'_>, regs: &[Reg], limit: &Val, at_most: bool) -> String {
    let all = regs.iter().map(|r| linker.program.val(*r));
    let left = if at_most {
        limit.lo - all.fold(f64::NEG_INFINITY, |m, v| m.max(v.hi))
    } else {
        all.fold(f64::INFINITY, |m, v| m.min(v.lo)) - limit.hi
    };
    let share = left / limit.lo.abs();
    if !share.is_finite() {
        return String::new();
    }
    if share >= 0.0 {
        format!(", {:.0} % in hand", share * 100.0)
    } else {
        format!(", {:.0} % beyond", -share * 100.0)
    }
}

/// The comparisons under a condition that have one of some registers as a side: the other side,
/// whether it is an upper limit, and how the comparison came out.
fn compared(linker: &Linker<'_>, root: Reg, regs: &[Reg]) -> Vec<(Reg, bool, TruthSet)> {
    let mut seen: Vec<Reg> = Vec::new();
    let mut stack = vec![root];
    let mut out = Vec::new();
    while let Some(r) = stack.pop() {
        if seen.contains(&r) || seen.len() > 400 {
            continue;
        }
        seen.push(r);
        let Some(op) = linker.program.ops.get(r.ix()) else {
            continue;
        };
        let truth = linker.program.val(r).as_truth();
        match op {
            Op::Le(a, b, _) | Op::Lt(a, b, _) => {
                if regs.contains(a) {
                    out.push((*b, true, truth));
                } else if regs.contains(b) {
                    out.push((*a, false, truth));
                }
            }
            // A comparison that is turned round says something else.
            Op::And(a, b) | Op::Or(a, b) => stack.extend([*b, *a]),
            _ => {}
        }
    }
    out
}

/// Inputs before what uses them.
fn walk(
    linker: &Linker<'_>,
    key: FactKey,
    done: &mut Vec<FactKey>,
    steps: &mut Vec<WorkingStep>,
    depth: usize,
) {
    if done.contains(&key) || depth > 60 {
        return;
    }
    done.push(key);
    let (object, ix, line) = key;
    let kind = linker.design.object(object).kind;
    let Some(d) = linker.ruleset.derivation(kind, ix) else {
        return;
    };
    let Some(trace) = linker.traces.as_ref().and_then(|t| t.get(&key)) else {
        return;
    };
    for read in &trace.reads {
        walk(linker, *read, done, steps, depth + 1);
    }
    let fact = linker.ruleset.vocabulary.fact(kind, ix);
    let Some(reg) = trace.steps.last().map(|s| s.reg) else {
        return;
    };
    let val = linker.program.val(reg);
    // A line that is not used, and the factors of one and nought that say so, are no work.
    let plain = fact.unit().is_some_and(|u| *u == Unit::ONE);
    let point = val.bits == Presence::PRESENT && val.lo == val.hi;
    if line < 3 && depth > 0 && point && (val.lo == 0.0 || plain && val.lo == 1.0) {
        return;
    }
    let on_line = LINES
        .get(line as usize)
        .map_or(String::new(), |l| format!(" on {l}"));
    let shown: Vec<(TermId, Reg)> = trace.steps.iter().map(|s| (s.term, s.reg)).collect();
    let result = show(&val, fact);
    let (formula, numbers) = used(linker, &d.formula, &shown, &result);
    steps.push(WorkingStep {
        what: format!(
            "{} of {}{on_line}",
            fact.name,
            linker.design.describe(object)
        ),
        means: fact.means.clone(),
        formula,
        numbers,
        result,
        inputs: inputs(linker, &d.formula, &shown),
        clause: d.origin.clause.clone(),
        source: d.origin.source.clone(),
    });
}

/// The words that are in a set for sure.
fn known_words(val: &Val, words: &[String]) -> String {
    let inside: Vec<&str> = (0_u8..)
        .zip(words)
        .filter(|(i, _)| SetWords::has(val.bits, *i) == TruthSet::T)
        .map(|(_, w)| w.as_str())
        .collect();
    if inside.is_empty() {
        "none".to_owned()
    } else {
        inside.join(", ")
    }
}

fn show(val: &Val, fact: &Fact) -> String {
    match &fact.ty {
        FactType::Choice { words, .. } => show_words(val.bits, words),
        FactType::Some { words } => known_words(val, words),
        FactType::YesNo => show_truth(val).to_owned(),
        FactType::Date if val.lo == val.hi => {
            crate::quantity::format_date((val.lo / 86_400.0) as i32)
        }
        _ => show_number(val, fact.unit(), 5),
    }
}

fn unit_of(linker: &Linker<'_>, c: &Compiled, id: TermId) -> Option<Unit> {
    let term = c.term(id);
    match &term.kind {
        TermKind::Read { fact, .. } => fact
            .by_kind
            .first()
            .and_then(|(k, f)| linker.ruleset.vocabulary.fact(*k, *f).unit().cloned()),
        TermKind::Limit(l) => linker
            .ruleset
            .limits
            .all
            .get(l.0 as usize)
            .map(|l| l.unit.clone()),
        _ => match &term.ty {
            Ty::Number(d) => default_unit(*d),
            _ => None,
        },
    }
}

fn term_value(linker: &Linker<'_>, c: &Compiled, id: TermId, reg: Reg) -> String {
    let val = linker.program.val(reg);
    match &c.term(id).ty {
        Ty::Word(w) => show_words(val.bits, w),
        Ty::Set(w) => known_words(&val, w),
        Ty::Truth => show_truth(&val).to_owned(),
        Ty::Date if val.lo == val.hi => crate::quantity::format_date((val.lo / 86_400.0) as i32),
        _ => show_number(&val, unit_of(linker, c, id).as_ref(), 5),
    }
}

/// How tightly an operation binds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Binds {
    Or,
    And,
    Not,
    Compare,
    Sum,
    Product,
    Power,
    Whole,
}

/// A formula as it was used: branches that were not taken fall away, and, if numbers are wanted,
/// values stand for names.
struct Used<'a, 'l> {
    linker: &'a Linker<'l>,
    c: &'a Compiled,
    shown: &'a [(TermId, Reg)],
    numbers: bool,
}

impl Used<'_, '_> {
    fn reg(&self, id: TermId) -> Option<Reg> {
        let mut all = self.shown.iter();
        all.find(|(t, _)| *t == id).map(|(_, r)| *r)
    }

    /// How a condition came out, if it came out the same for every member.
    fn truth(&self, id: TermId) -> Option<bool> {
        let mut all = self
            .shown
            .iter()
            .filter(|(t, _)| *t == id)
            .map(|(_, r)| self.linker.program.val(*r).as_truth().decided());
        let first = all.next()??;
        all.all(|t| t == Some(first)).then_some(first)
    }

    /// Whether all that is left of the formula is one name: then its value is the result.
    fn is_one_name(&self, id: TermId) -> bool {
        match &self.c.term(id).kind {
            TermKind::If(cond, a, b) => match self.truth(*cond) {
                Some(true) => self.is_one_name(*a),
                Some(false) => self.is_one_name(*b),
                None => false,
            },
            TermKind::Otherwise(a, _) => self.is_one_name(*a),
            TermKind::Read { .. } | TermKind::Limit(_) | TermKind::Lookup(..) => true,
            _ => false,
        }
    }

    /// The name, or the value that was put in.
    fn input(&self, id: TermId) -> String {
        match self.reg(id) {
            Some(reg) if self.numbers => term_value(self.linker, self.c, id, reg),
            _ => one_line(self.c.slice(id)),
        }
    }

    fn inside(&self, id: TermId, least: Binds) -> String {
        let (text, binds) = self.part(id);
        if binds < least {
            format!("({text})")
        } else {
            text
        }
    }

    fn two(&self, a: TermId, sign: &str, b: TermId, binds: Binds, right: Binds) -> (String, Binds) {
        let text = format!("{} {sign} {}", self.inside(a, binds), self.inside(b, right));
        (text, binds)
    }

    /// Whether a term was worked out and is nought.
    fn is_nought(&self, id: TermId) -> bool {
        self.reg(id).is_some_and(|r| {
            let v = self.linker.program.val(r);
            v.bits == Presence::PRESENT && v.lo == 0.0 && v.hi == 0.0
        })
    }

    fn part(&self, id: TermId) -> (String, Binds) {
        match &self.c.term(id).kind {
            TermKind::If(cond, a, b) => match self.truth(*cond) {
                Some(true) => self.part(*a),
                Some(false) => self.part(*b),
                None => {
                    let text = format!(
                        "if {} then {} else {}",
                        self.inside(*cond, Binds::Or),
                        self.inside(*a, Binds::Or),
                        self.inside(*b, Binds::Or)
                    );
                    (text, Binds::Or)
                }
            },
            TermKind::Otherwise(a, b) => {
                let present = self.reg(*a).map(|r| self.linker.program.val(r)).map(|v| {
                    (
                        v.bits & Presence::PRESENT != 0,
                        v.bits & Presence::ABSENT != 0,
                    )
                });
                match present {
                    Some((true, false)) => self.part(*a),
                    Some((false, true)) => self.part(*b),
                    _ if matches!(self.c.term(id).ty, Ty::Number(_)) => {
                        let text = format!("({}) else {}", self.part(*a).0, self.part(*b).0);
                        (text, Binds::Or)
                    }
                    _ => self.part(*a),
                }
            }
            // What adds nothing is left out.
            TermKind::Add(a, b) if self.is_nought(*b) => self.part(*a),
            TermKind::Add(a, b) if self.is_nought(*a) => self.part(*b),
            TermKind::Add(a, b) => self.two(*a, "+", *b, Binds::Sum, Binds::Sum),
            TermKind::Sub(a, b) => self.two(*a, "−", *b, Binds::Sum, Binds::Product),
            TermKind::Mul(a, b) => self.two(*a, "·", *b, Binds::Product, Binds::Product),
            TermKind::Div(a, b) => self.two(*a, "/", *b, Binds::Product, Binds::Power),
            TermKind::Neg(a) => (format!("−{}", self.inside(*a, Binds::Product)), Binds::Sum),
            TermKind::Power(a, n) => (
                format!("{}^{n}", self.inside(*a, Binds::Whole)),
                Binds::Power,
            ),
            TermKind::Le(a, b, _) => (
                self.two(*a, "≤", *b, Binds::Sum, Binds::Sum).0,
                Binds::Compare,
            ),
            TermKind::Lt(a, b, _) => (
                self.two(*a, "<", *b, Binds::Sum, Binds::Sum).0,
                Binds::Compare,
            ),
            TermKind::And(a, b) => self.two(*a, "and", *b, Binds::And, Binds::And),
            TermKind::Or(a, b) => self.two(*a, "or", *b, Binds::Or, Binds::Or),
            TermKind::Not(a) => (format!("not {}", self.inside(*a, Binds::Not)), Binds::Not),
            TermKind::Call(call, arguments) => {
                let list: Vec<String> = arguments.iter().map(|a| self.part(*a).0).collect();
                (
                    format!("{}({})", call_name(*call), list.join(", ")),
                    Binds::Whole,
                )
            }
            TermKind::Aggregate {
                body: Some(b), op, ..
            } if self.numbers => {
                let text = self.members(*b, *op, id);
                let several = *op == Aggregate::Sum && text.contains(" + ");
                (text, if several { Binds::Sum } else { Binds::Whole })
            }
            TermKind::Aggregate { body: Some(b), .. } => {
                let (whole, inner) = (self.c.term(id), self.c.term(*b));
                let before = whole.range.start..inner.range.start.max(whole.range.start);
                let before = self.c.text.get(before).unwrap_or("");
                // Brackets that open around the body belong to it.
                let before = one_line(before.trim_end_matches(['(', ' ']));
                (format!("{before} {}", self.part(*b).0), Binds::Sum)
            }
            _ => (self.input(id), self.bound(id)),
        }
    }

    /// The members of a sum, a least or a greatest one, each by its value.
    fn members(&self, body: TermId, op: Aggregate, whole: TermId) -> String {
        let mut values: Vec<String> = self
            .shown
            .iter()
            .filter(|(t, _)| *t == body)
            .map(|(t, r)| term_value(self.linker, self.c, *t, *r))
            .collect();
        if op == Aggregate::Sum && !values.is_empty() {
            let some: Vec<String> = values
                .iter()
                .filter(|v| v.split(' ').next() != Some("0"))
                .cloned()
                .collect();
            if !some.is_empty() {
                values = some;
            }
            return values.join(" + ");
        }
        if values.is_empty() {
            return self.input(whole);
        }
        format!("{}({})", op.word(), values.join(", "))
    }

    /// A negative or ranging value needs brackets beside a sign.
    fn bound(&self, id: TermId) -> Binds {
        if !self.numbers {
            return Binds::Whole;
        }
        match self.reg(id).map(|r| self.linker.program.val(r)) {
            Some(v) if v.lo < v.hi || v.lo < 0.0 => Binds::Or,
            _ => Binds::Whole,
        }
    }
}

fn call_name(call: Call) -> &'static str {
    match call {
        Call::Min => "min",
        Call::Max => "max",
        Call::Abs => "abs",
        Call::Sqrt => "sqrt",
        Call::Ln => "ln",
        Call::Exp => "exp",
        Call::Sin => "sin",
        Call::Cos => "cos",
        Call::Acos => "acos",
        Call::NeutralCurrent => "neutral-current",
        Call::OpenPenVoltage => "open-pen-voltage",
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The formula as it was used, with names and with numbers.
fn used(
    linker: &Linker<'_>,
    c: &Compiled,
    shown: &[(TermId, Reg)],
    result: &str,
) -> (String, String) {
    let mut used = Used {
        linker,
        c,
        shown,
        numbers: false,
    };
    let names = used.part(c.root).0;
    used.numbers = true;
    let numbers = if used.is_one_name(c.root) {
        result.to_owned()
    } else {
        used.part(c.root).0
    };
    (names, numbers)
}

fn inputs(linker: &Linker<'_>, c: &Compiled, shown: &[(TermId, Reg)]) -> Vec<Input> {
    let mut all: Vec<Input> = Vec::new();
    for (id, reg) in shown {
        let term = c.term(*id);
        let source = match &term.kind {
            TermKind::Read { .. } => None,
            TermKind::Limit(l) => linker.ruleset.limits.all.get(l.0 as usize).map(|l| {
                let mut text = l
                    .clause
                    .clone()
                    .unwrap_or_else(|| format!("limit of {}", l.layer));
                if let Some((was, layer)) = &l.replaced {
                    text = format!("{text}; {} replaces {was} of {layer}", l.layer);
                }
                text
            }),
            TermKind::Lookup(t, _) => linker
                .ruleset
                .data
                .tables
                .get(t.0 as usize)
                .map(|t| format!("{}: {}", t.title, t.source)),
            _ => continue,
        };
        let name = c
            .slice(*id)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        let value = term_value(linker, c, *id, *reg);
        let span = leaf_span(linker, *reg);
        if !all.iter().any(|i| i.name == name && i.value == value) {
            all.push(Input {
                name,
                value,
                span,
                source,
            });
        }
    }
    all
}

/// Where the value of a register is written, if it is a written fact.
fn leaf_span(linker: &Linker<'_>, reg: Reg) -> Option<Span> {
    let mut at = reg;
    for _ in 0..4 {
        match linker.program.ops.get(at.ix())? {
            crate::expression::Op::Leaf(id) => {
                let info = linker.leaves.get(id.0 as usize)?;
                let o = linker.design.object(info.object);
                return o
                    .facts
                    .get(info.fact.0 as usize)
                    .and_then(Option::as_ref)
                    .map(|w| w.span);
            }
            crate::expression::Op::Member(s, _) => at = *s,
            _ => return None,
        }
    }
    None
}
