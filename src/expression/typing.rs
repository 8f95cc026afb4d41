//! Untyped tree → typed tree: resolves names against the vocabulary, limits and tables, checks
//! dimensions, and asks for a guard where something may be absent.

use serde::{Deserialize, Serialize};

use std::cell::RefCell;

use rustc_hash::FxHashMap;

use super::syntax::{Aggregate, BinaryOp, Expr, ExprKind, Range, UnaryOp};
use super::table::{KeyType, Table, TableId};
use super::typed::{
    Call, Compiled, LimitId, LineTerm, ObjectTerm, Over, ReadFact, Term, TermId, TermKind, Ty,
};
use crate::quantity::{Dim, Rounding, Unit, absolute_floor, parse_date, parse_quantity};
use crate::source::{Span, closest};
use crate::vocabulary::{FactType, KindId, LINES, Vocabulary, Words, in_order};

/// A mistake in an expression.
#[derive(Clone, Debug, PartialEq)]
pub struct TypingError {
    /// Where, in bytes of the expression's text.
    pub range: Range,
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub help: Vec<String>,
}

impl TypingError {
    /// An error with its place.
    #[must_use]
    pub fn new(range: Range, message: impl Into<String>) -> Self {
        Self {
            range,
            message: message.into(),
            help: Vec::new(),
        }
    }

    /// Adds a line of help.
    #[must_use]
    pub fn help(mut self, text: impl Into<String>) -> Self {
        self.help.push(text.into());
        self
    }
}

/// A named constant of the ruleset.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Limit {
    /// Its name.
    pub name: String,
    /// What it is.
    pub means: String,
    /// The value in SI units; none, if it is left to a child that has not set it.
    pub value: Option<f64>,
    /// The unit it is written in.
    pub unit: Unit,
    /// The text as written.
    pub text: String,
    /// Where it stands in a standard.
    pub clause: Option<String>,
    /// Where it was seen.
    pub source: Option<String>,
    /// The layer that gave the value.
    pub layer: String,
    /// What it replaced, and from which layer.
    pub replaced: Option<(String, String)>,
    /// Where it is stated.
    pub span: Span,
}

/// Limits by name.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Limits {
    /// The limits; a [`LimitId`] is an index here.
    pub all: Vec<Limit>,
    /// Their names.
    #[serde(serialize_with = "in_order")]
    pub names: FxHashMap<String, LimitId>,
}

/// Tables by name.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Tables {
    /// Names; a [`TableId`] is an index into the ruleset's tables.
    #[serde(serialize_with = "in_order")]
    pub names: FxHashMap<String, TableId>,
}

/// What is known where an expression stands.
#[derive(Clone, Debug)]
pub struct Scope {
    /// The kind of the subject.
    pub subject: KindId,
    /// Whether a per-line fact is being worked out.
    pub per_line: bool,
    /// Paths known to be present.
    pub guards: Vec<String>,
}

/// The most different texts that rules may compare with.
const MOST_TEXTS: usize = 62;

/// Compiles expressions against one vocabulary.
pub struct Typer<'a> {
    vocabulary: &'a Vocabulary,
    limits: &'a Limits,
    tables: &'a Tables,
    table_list: &'a [Table],
    texts: RefCell<Vec<String>>,
}

enum Variable {
    Object(KindId),
    Line,
}

struct Work<'t, 'a> {
    typer: &'t Typer<'a>,
    subject: KindId,
    per_line: bool,
    guards: Vec<String>,
    vars: Vec<(String, Variable)>,
    terms: Vec<Term>,
    errors: Vec<TypingError>,
}

impl<'a> Typer<'a> {
    /// A typer over a vocabulary, limits and tables.
    #[must_use]
    pub fn new(
        vocabulary: &'a Vocabulary,
        limits: &'a Limits,
        tables: &'a Tables,
        table_list: &'a [Table],
    ) -> Self {
        Self {
            vocabulary,
            limits,
            tables,
            table_list,
            texts: RefCell::new(Vec::new()),
        }
    }

    /// The texts that rules compare with, in the order of their indices.
    #[must_use]
    pub fn into_texts(self) -> Vec<String> {
        self.texts.into_inner()
    }

    /// Compiles a parsed expression; `expected` is the type it must have, if that is known.
    ///
    /// # Errors
    /// All mistakes found, with their places.
    pub fn compile(
        &self,
        text: &str,
        span: Span,
        expr: &Expr,
        scope: &Scope,
        expected: Option<&Ty>,
    ) -> Result<Compiled, Vec<TypingError>> {
        let mut work = Work {
            typer: self,
            subject: scope.subject,
            per_line: scope.per_line,
            guards: scope.guards.clone(),
            vars: Vec::new(),
            terms: Vec::new(),
            errors: Vec::new(),
        };
        let root = work.term(expr, expected);
        if let Some(wanted) = expected {
            let got = work.ty(root);
            if !fits(&got, wanted) {
                work.error(
                    expr.range.clone(),
                    format!(
                        "this is {}, where {} is expected",
                        got.describe(),
                        wanted.describe()
                    ),
                );
            }
        }
        if work.errors.is_empty() {
            Ok(Compiled {
                terms: work.terms,
                root,
                text: text.to_owned(),
                span,
            })
        } else {
            Err(work.errors)
        }
    }
}

fn fits(got: &Ty, wanted: &Ty) -> bool {
    match (got, wanted) {
        (Ty::Wrong | Ty::Nothing, _) | (_, Ty::Wrong) => true,
        (Ty::Word(a), Ty::Word(b)) => a == b,
        (a, b) => a == b,
    }
}

/// The path an expression writes, if it is one: `device.In`.
fn path_text(e: &Expr) -> Option<String> {
    match &e.kind {
        ExprKind::Name(n) => Some(n.clone()),
        ExprKind::Step(e, n, _) => {
            let before = path_text(e)?;
            Some(if before == "subject" {
                n.clone()
            } else {
                format!("{before}.{n}")
            })
        }
        ExprKind::Index(e, _) => path_text(e),
        _ => None,
    }
}

/// A look-up as its guard is kept: `t[device.In, 6 mm²]`, the same for any layout of the text.
/// Keys that are worked out on the spot are not compared: they have no such text.
fn look_up_text(e: &Expr) -> Option<String> {
    let ExprKind::Index(base, keys) = &e.kind else {
        return None;
    };
    let ExprKind::Name(table) = &base.kind else {
        return None;
    };
    let keys: Option<Vec<String>> = keys.iter().map(key_text).collect();
    Some(format!("{table}[{}]", keys?.join(", ")))
}

fn key_text(e: &Expr) -> Option<String> {
    match &e.kind {
        ExprKind::Number { digits, unit } => Some(match unit {
            Some((unit, _)) => format!("{digits} {unit}"),
            None => digits.clone(),
        }),
        // Which line conductor is part of what is asked for.
        ExprKind::Index(base, keys) => {
            let keys: Option<Vec<String>> = keys.iter().map(key_text).collect();
            Some(format!("{}[{}]", key_text(base)?, keys?.join(", ")))
        }
        ExprKind::Step(before, name, _) => {
            let before = key_text(before)?;
            Some(if before == "subject" {
                name.clone()
            } else {
                format!("{before}.{name}")
            })
        }
        ExprKind::Name(_) => path_text(e),
        _ => None,
    }
}

/// Paths that must be present where a condition has a truth.
#[must_use]
pub fn present_when(e: &Expr, truth: bool) -> Vec<String> {
    match &e.kind {
        ExprKind::Present(inner, positive) if *positive == truth => {
            let mut all: Vec<String> = look_up_text(inner).into_iter().collect();
            // Several keys, or one that is no name, are those of a table and no line conductor.
            let fact = match &inner.kind {
                ExprKind::Index(_, keys) => {
                    matches!(
                        keys.as_slice(),
                        [Expr {
                            kind: ExprKind::Name(_),
                            ..
                        }]
                    )
                }
                _ => true,
            };
            if fact && let Some(path) = path_text(inner) {
                // `a.b is present` says that `a` is, too.
                let mut at = path.as_str();
                all.push(path.clone());
                while let Some((before, _)) = at.rsplit_once('.') {
                    all.push(before.to_owned());
                    at = before;
                }
            }
            all
        }
        ExprKind::IsKind(inner, ..) if truth => path_text(inner).into_iter().collect(),
        ExprKind::Unary(UnaryOp::Not, inner) => present_when(inner, !truth),
        ExprKind::Binary(BinaryOp::And, a, b) if truth => {
            let mut all = present_when(a, true);
            all.extend(present_when(b, true));
            all
        }
        ExprKind::Binary(BinaryOp::Or, a, b) if !truth => {
            let mut all = present_when(a, false);
            all.extend(present_when(b, false));
            all
        }
        _ => Vec::new(),
    }
}

impl Work<'_, '_> {
    fn error(&mut self, range: Range, message: impl Into<String>) {
        self.errors.push(TypingError::new(range, message));
    }

    fn push(&mut self, kind: TermKind, ty: Ty, range: &Range, optional: bool) -> TermId {
        let id = TermId(u32::try_from(self.terms.len()).unwrap_or(u32::MAX));
        self.terms.push(Term {
            kind,
            ty,
            range: range.clone(),
            optional,
        });
        id
    }

    fn wrong(&mut self, range: &Range) -> TermId {
        self.push(TermKind::Nothing, Ty::Wrong, range, false)
    }

    fn ty(&self, id: TermId) -> Ty {
        self.terms[id.0 as usize].ty.clone()
    }

    fn is_optional(&self, id: TermId) -> bool {
        self.terms[id.0 as usize].optional
    }

    /// A value that is used: it must be there.
    fn needed(&mut self, e: &Expr, id: TermId) -> TermId {
        if self.is_optional(id) && self.ty(id) != Ty::Wrong {
            let look_up = matches!(self.terms[id.0 as usize].kind, TermKind::Lookup(..));
            let path = if look_up { None } else { path_text(e) };
            let text = match (look_up, &path) {
                (true, _) => look_up_text(e).unwrap_or_else(|| "this look-up".to_owned()),
                (false, Some(path)) => path.clone(),
                (false, None) => "this".to_owned(),
            };
            let what = match path.as_deref().and_then(|p| p.rsplit_once('.')) {
                Some((before, _)) => before.to_owned(),
                None => text.clone(),
            };
            self.errors.push(
                TypingError::new(e.range.clone(), format!("`{text}` may be absent")).help(format!(
                    "write `{what} is present and …` before it, `if {what} is present then … else …`, or `… else` a value"
                )),
            );
            self.terms[id.0 as usize].ty = Ty::Wrong;
        }
        id
    }

    fn used(&mut self, e: &Expr, expected: Option<&Ty>) -> TermId {
        let id = self.term(e, expected);
        self.needed(e, id)
    }

    fn with_guards<T>(&mut self, guards: Vec<String>, f: impl FnOnce(&mut Self) -> T) -> T {
        let before = self.guards.len();
        self.guards.extend(guards);
        let out = f(self);
        self.guards.truncate(before);
        out
    }

    fn truth(&mut self, e: &Expr) -> TermId {
        let id = self.used(e, Some(&Ty::Truth));
        match self.ty(id) {
            Ty::Truth | Ty::Wrong => {}
            other => self.error(
                e.range.clone(),
                format!(
                    "this is {}, where a condition is expected",
                    other.describe()
                ),
            ),
        }
        id
    }

    fn number(&mut self, e: &Expr) -> (TermId, Option<Dim>) {
        let id = self.used(e, None);
        match self.ty(id) {
            Ty::Number(d) => (id, Some(d)),
            Ty::Wrong => (id, None),
            other => {
                self.error(
                    e.range.clone(),
                    format!("this is {}, where a number is expected", other.describe()),
                );
                (id, None)
            }
        }
    }

    fn pure(&mut self, e: &Expr) -> TermId {
        let (id, dim) = self.number(e);
        if let Some(d) = dim
            && d != Dim::NONE
        {
            self.error(
                e.range.clone(),
                format!("this is {}, where a pure number is expected", d.describe()),
            );
        }
        id
    }

    #[expect(clippy::too_many_lines, reason = "one arm for each form of expression")]
    fn term(&mut self, e: &Expr, expected: Option<&Ty>) -> TermId {
        let range = &e.range;
        match &e.kind {
            ExprKind::Number { digits, unit } => {
                if unit.is_none()
                    && let Some(Ty::Word(words)) = expected
                    && let Some(i) = word_index(words, digits)
                {
                    return self.push(TermKind::Word(i), Ty::Word(words.clone()), range, false);
                }
                self.literal(digits, unit.as_ref(), range)
            }
            ExprKind::Text(text) => {
                let mut texts = self.typer.texts.borrow_mut();
                let i = texts.iter().position(|t| t == text).unwrap_or_else(|| {
                    texts.push(text.clone());
                    texts.len() - 1
                });
                drop(texts);
                if i >= MOST_TEXTS {
                    self.error(range.clone(), "the rules compare with too many texts");
                }
                let i = u8::try_from(i).unwrap_or(0);
                self.push(TermKind::Text(i), Ty::Text, range, false)
            }
            ExprKind::Date(text) => match parse_date(text) {
                Ok(days) => self.push(
                    TermKind::Date(f64::from(days) * 86_400.0),
                    Ty::Date,
                    range,
                    false,
                ),
                Err(_) => {
                    self.error(
                        range.clone(),
                        format!("`{text}` is not a date of the calendar"),
                    );
                    self.wrong(range)
                }
            },
            ExprKind::Truth(t) => self.push(TermKind::Truth(*t), Ty::Truth, range, false),
            ExprKind::Nothing => {
                let ty = expected.cloned().unwrap_or(Ty::Nothing);
                self.push(TermKind::Nothing, ty, range, true)
            }
            ExprKind::Name(name) => self.name(name, range, expected),
            ExprKind::Step(before, name, at) => self.step(e, before, name, at),
            ExprKind::Index(base, keys) => self.index(e, base, keys),
            ExprKind::Call(name, at, arguments) => self.call(name, at, arguments, range),
            ExprKind::Unary(UnaryOp::Not, inner) => {
                let id = self.truth(inner);
                self.push(TermKind::Not(id), Ty::Truth, range, false)
            }
            ExprKind::Unary(UnaryOp::Negate, inner) => {
                let (id, dim) = self.number(inner);
                let ty = dim.map_or(Ty::Wrong, Ty::Number);
                self.push(TermKind::Neg(id), ty, range, false)
            }
            ExprKind::Binary(op, a, b) => self.binary(*op, a, b, range, expected),
            ExprKind::AmongSet(inner, words) => self.among_set(inner, words, range),
            ExprKind::Among(inner, set) => self.among(inner, set, range),
            ExprKind::Present(inner, positive) => {
                let id = match self.object(inner) {
                    Some((object, _, _)) => {
                        self.push(TermKind::ObjectPresent(object), Ty::Truth, range, false)
                    }
                    None => {
                        let id = self.term(inner, None);
                        if self.ty(id) == Ty::Wrong {
                            return id;
                        }
                        self.push(TermKind::Present(id), Ty::Truth, range, false)
                    }
                };
                if *positive {
                    id
                } else {
                    self.push(TermKind::Not(id), Ty::Truth, range, false)
                }
            }
            ExprKind::Origin(inner, test) => {
                // Where a per-line fact comes from is asked of all its lines at once.
                let per_line = std::mem::replace(&mut self.per_line, true);
                let id = self.term(inner, None);
                self.per_line = per_line;
                let ok = matches!(self.terms[id.0 as usize].kind, TermKind::Read { .. });
                if !ok && self.ty(id) != Ty::Wrong {
                    self.error(
                        inner.range.clone(),
                        "only a fact comes from somewhere: name one here",
                    );
                }
                self.push(TermKind::Origin(id, *test), Ty::Truth, range, false)
            }
            ExprKind::IsKind(inner, kind, at) => {
                let Some(id) = self.typer.vocabulary.kind_named(kind) else {
                    self.unknown_kind(kind, at);
                    return self.wrong(range);
                };
                let Some((object, _, _)) = self.object(inner) else {
                    self.error(
                        inner.range.clone(),
                        "only a reference or a part can be of a kind",
                    );
                    return self.wrong(range);
                };
                let k = self.typer.vocabulary.kind(id);
                let kinds = if k.is_abstract() {
                    k.any_of.clone()
                } else {
                    vec![id]
                };
                self.push(TermKind::IsKind(object, kinds), Ty::Truth, range, false)
            }
            ExprKind::If(c, a, b) => {
                let c_id = self.truth(c);
                let a_id = self.with_guards(present_when(c, true), |w| w.term(a, expected));
                let a_ty = self.ty(a_id);
                let b_expected = match (&a_ty, expected) {
                    (Ty::Nothing | Ty::Wrong, e) => e.cloned(),
                    (ty, _) => Some(ty.clone()),
                };
                let b_id =
                    self.with_guards(present_when(c, false), |w| w.term(b, b_expected.as_ref()));
                let b_ty = self.ty(b_id);
                let ty = match (&a_ty, &b_ty) {
                    (Ty::Nothing | Ty::Wrong, t) | (t, Ty::Nothing | Ty::Wrong) => t.clone(),
                    (x, y) if fits(x, y) => x.clone(),
                    (x, y) => {
                        self.error(
                            b.range.clone(),
                            format!("one branch is {}, the other {}", x.describe(), y.describe()),
                        );
                        Ty::Wrong
                    }
                };
                let optional = self.is_optional(a_id) || self.is_optional(b_id);
                self.push(TermKind::If(c_id, a_id, b_id), ty, range, optional)
            }
            ExprKind::Aggregate {
                op,
                var,
                over,
                filter,
                body,
            } => self.aggregate(*op, var, over, filter.as_deref(), body.as_deref(), range),
        }
    }

    fn literal(&mut self, digits: &str, unit: Option<&(String, Range)>, range: &Range) -> TermId {
        let parsed = match unit {
            None => Unit::parse("").ok(),
            Some((text, at)) => match Unit::parse(text) {
                Ok(u) => Some(u),
                Err(e) => {
                    let mut error =
                        TypingError::new(at.clone(), format!("`{text}` is not a known unit"));
                    if let Some(help) = e.help() {
                        error = error.help(help);
                    }
                    error = error.help("between a number and a name write `*`; around `/` before a name leave blanks");
                    self.errors.push(error);
                    return self.wrong(range);
                }
            },
        };
        match parsed.and_then(|u| parse_quantity(digits, &u).map(|x| (x, u.dim()))) {
            Some((x, dim)) => self.push(TermKind::Number(x), Ty::Number(dim), range, false),
            None => {
                self.error(
                    range.clone(),
                    format!("`{digits}` cannot be read as a number"),
                );
                self.wrong(range)
            }
        }
    }

    fn unknown_kind(&mut self, kind: &str, at: &Range) {
        let mut error = TypingError::new(at.clone(), format!("there is no kind `{kind}`"));
        let names = self.typer.vocabulary.kinds.iter().map(|k| k.name.as_str());
        if let Some(name) = closest(kind, names) {
            error = error.help(format!("did you mean `{name}`?"));
        }
        self.errors.push(error);
    }

    fn line_named(&self, name: &str) -> Option<LineTerm> {
        if let Some(i) = LINES.iter().position(|l| *l == name) {
            return Some(LineTerm::Fixed(u8::try_from(i).unwrap_or(0)));
        }
        if let Some(i) = self.vars.iter().rposition(|(n, _)| n == name) {
            return match self.vars[i].1 {
                Variable::Line => Some(LineTerm::Var(u8::try_from(i).unwrap_or(0))),
                Variable::Object(_) => None,
            };
        }
        (name == "line" && self.per_line).then_some(LineTerm::Current)
    }

    fn name(&mut self, name: &str, range: &Range, expected: Option<&Ty>) -> TermId {
        if let Some(Ty::Word(words)) = expected
            && let Some(i) = word_index(words, name)
        {
            return self.push(TermKind::Word(i), Ty::Word(words.clone()), range, false);
        }
        let e = Expr {
            kind: ExprKind::Name(name.to_owned()),
            range: range.clone(),
        };
        if let Some((object, kind, optional)) = self.object(&e) {
            let optional = optional && !self.guarded(&e);
            return self.push(TermKind::Object(object), Ty::Object(kind), range, optional);
        }
        if self
            .typer
            .vocabulary
            .kind(self.subject)
            .fact_named(name)
            .is_some()
        {
            return self.read(
                &e,
                ObjectTerm::Subject,
                self.subject,
                false,
                name,
                range,
                None,
            );
        }
        if name == "pi" {
            return self.push(
                TermKind::Number(std::f64::consts::PI),
                Ty::Number(Dim::NONE),
                range,
                false,
            );
        }
        if self.line_named(name).is_some() {
            self.error(
                range.clone(),
                format!("`{name}` is a line conductor: write it in `[ ]` or before `among`"),
            );
            return self.wrong(range);
        }
        self.unknown_name(name, range, self.subject, expected);
        self.wrong(range)
    }

    fn unknown_name(&mut self, name: &str, range: &Range, kind: KindId, expected: Option<&Ty>) {
        let vocabulary = self.typer.vocabulary;
        let k = vocabulary.kind(kind);
        let mut error = match expected {
            Some(Ty::Word(words)) => TypingError::new(
                range.clone(),
                format!("`{name}` is none of {}", words.join(", ")),
            ),
            _ => TypingError::new(range.clone(), format!("`{}` has no fact `{name}`", k.name)),
        };
        let words: Vec<&str> = match expected {
            Some(Ty::Word(words)) => words.iter().map(String::as_str).collect(),
            _ => Vec::new(),
        };
        let names = k
            .facts
            .iter()
            .map(|f| f.name.as_str())
            .chain(self.vars.iter().map(|(n, _)| n.as_str()))
            .chain(words);
        if let Some(found) = closest(name, names) {
            error = error.help(format!("did you mean `{found}`?"));
        } else if self.typer.tables.names.contains_key(name) {
            error = error.help(format!("`{name}` is a table: give its keys in `[ ]`"));
        } else {
            let holders: Vec<&str> = vocabulary
                .kinds
                .iter()
                .filter(|k| k.fact_named(name).is_some())
                .map(|k| k.name.as_str())
                .take(4)
                .collect();
            if !holders.is_empty() {
                error = error.help(format!("it is a fact of {}", holders.join(", ")));
            }
        }
        self.errors.push(error);
    }

    fn guarded(&self, e: &Expr) -> bool {
        path_text(e).is_some_and(|p| self.guards.contains(&p))
    }

    /// The object an expression leads to, its kind, and whether it may be absent (without regard
    /// to guards); none if the expression is no path to an object.
    fn object(&self, e: &Expr) -> Option<(ObjectTerm, KindId, bool)> {
        let (before, kind, name, optional) = match &e.kind {
            ExprKind::Name(name) => {
                if let Some(i) = self.vars.iter().rposition(|(n, _)| n == name) {
                    return match self.vars[i].1 {
                        Variable::Object(k) => {
                            Some((ObjectTerm::Var(u8::try_from(i).unwrap_or(0)), k, false))
                        }
                        Variable::Line => None,
                    };
                }
                if name == "subject" {
                    return Some((ObjectTerm::Subject, self.subject, false));
                }
                (ObjectTerm::Subject, self.subject, name, false)
            }
            ExprKind::Step(before, name, _) => {
                let (object, kind, optional) = self.object(before)?;
                let optional = optional && !self.guarded(before);
                (object, kind, name, optional)
            }
            _ => return None,
        };
        let (read, fact) = self.find(kind, name)?;
        match fact.ty {
            FactType::Part(k) | FactType::Reference(k) => Some((
                ObjectTerm::Step(Box::new(before), read),
                k,
                optional || fact.optional,
            )),
            _ => None,
        }
    }

    /// A fact of a kind; of an abstract one, where each of its kinds has it with one type.
    fn find(&self, kind: KindId, name: &str) -> Option<(ReadFact, &crate::vocabulary::Fact)> {
        let vocabulary = self.typer.vocabulary;
        let k = vocabulary.kind(kind);
        if !k.is_abstract() {
            let ix = k.fact_named(name)?;
            return Some((
                ReadFact {
                    name: name.to_owned(),
                    by_kind: vec![(kind, ix)],
                },
                k.fact(ix),
            ));
        }
        let mut by_kind = Vec::new();
        let mut first = None;
        for real in &k.any_of {
            let rk = vocabulary.kind(*real);
            let ix = rk.fact_named(name)?;
            by_kind.push((*real, ix));
            let fact = rk.fact(ix);
            // An optional one anywhere makes the whole optional.
            if first.is_none_or(|f: &crate::vocabulary::Fact| !f.optional && fact.optional) {
                first = Some(fact);
            }
        }
        Some((
            ReadFact {
                name: name.to_owned(),
                by_kind,
            },
            first?,
        ))
    }

    fn step(&mut self, e: &Expr, before: &Expr, name: &str, at: &Range) -> TermId {
        if let ExprKind::Name(n) = &before.kind
            && n == "limits"
        {
            return self.limit(name, at, &e.range);
        }
        if let Some((object, kind, optional)) = self.object(e) {
            let optional = optional && !self.guarded(e);
            return self.push(
                TermKind::Object(object),
                Ty::Object(kind),
                &e.range,
                optional,
            );
        }
        let Some((object, kind, optional)) = self.object(before) else {
            let errors = self.errors.len();
            let id = self.term(before, None);
            if self.errors.len() == errors {
                let what = self.ty(id).describe();
                self.error(
                    before.range.clone(),
                    format!("this is {what} and has no facts"),
                );
            }
            return self.wrong(&e.range);
        };
        let optional = optional && !self.guarded(before);
        self.read(e, object, kind, optional, name, at, None)
    }

    fn limit(&mut self, name: &str, at: &Range, range: &Range) -> TermId {
        let limits = self.typer.limits;
        match limits.names.get(name) {
            Some(id) => {
                let dim = limits.all[id.0 as usize].unit.dim();
                self.push(TermKind::Limit(*id), Ty::Number(dim), range, false)
            }
            None => {
                let mut error = TypingError::new(at.clone(), format!("there is no limit `{name}`"));
                if let Some(n) = closest(name, limits.names.keys().map(String::as_str)) {
                    error = error.help(format!("did you mean `limits.{n}`?"));
                }
                self.errors.push(error);
                self.wrong(range)
            }
        }
    }

    #[expect(clippy::too_many_arguments, reason = "one call describes one read")]
    fn read(
        &mut self,
        e: &Expr,
        object: ObjectTerm,
        kind: KindId,
        optional: bool,
        name: &str,
        at: &Range,
        line: Option<LineTerm>,
    ) -> TermId {
        let Some((read, fact)) = self.find(kind, name) else {
            self.unknown_name(name, at, kind, None);
            return self.wrong(&e.range);
        };
        // An empty list is a list: only what is read through may be absent.
        let listed = matches!(fact.ty, FactType::Parts(_) | FactType::References(_));
        let optional = (optional || (fact.optional && !listed)) && !self.guarded(e);
        let fact = fact.clone();
        let mut line = line;
        let ty = match &fact.ty {
            FactType::Quantity { unit, per_line, .. } => {
                if *per_line && line.is_none() {
                    if self.per_line {
                        line = Some(LineTerm::Current);
                    } else {
                        self.errors.push(
                            TypingError::new(
                                at.clone(),
                                format!("`{name}` has one value for each line conductor"),
                            )
                            .help(format!(
                                "write `{name}[L1]`, or `max l in all-lines: {name}[l]`"
                            )),
                        );
                    }
                } else if !*per_line && line.is_some() {
                    self.error(
                        at.clone(),
                        format!("`{name}` has one value, not one for each line conductor"),
                    );
                }
                Ty::Number(unit.dim())
            }
            FactType::Choice { words, .. } => Ty::Word(words.clone()),
            FactType::Some { words } => Ty::Set(words.clone()),
            FactType::YesNo => Ty::Truth,
            FactType::Text => Ty::Text,
            FactType::Date => Ty::Date,
            FactType::Part(k) | FactType::Reference(k) => Ty::Object(*k),
            FactType::Parts(k) | FactType::References(k) | FactType::Reverse { kind: k, .. } => {
                Ty::Collection(*k)
            }
        };
        self.push(
            TermKind::Read {
                object,
                fact: read,
                line,
            },
            ty,
            &e.range,
            optional,
        )
    }

    fn index(&mut self, e: &Expr, base: &Expr, keys: &[Expr]) -> TermId {
        if let ExprKind::Name(name) = &base.kind
            && let Some(table) = self.typer.tables.names.get(name).copied()
            && !matches!(keys, [Expr { kind: ExprKind::Name(n), .. }] if self.line_named(n).is_some())
        {
            return self.lookup(table, name, keys, e);
        }
        let line = match keys {
            [
                Expr {
                    kind: ExprKind::Name(n),
                    ..
                },
            ] => self.line_named(n),
            _ => None,
        };
        let Some(line) = line else {
            let what = path_text(base).unwrap_or_default();
            let mut error = TypingError::new(
                base.range.clone(),
                format!("`{what}` is neither a table nor a fact with a line conductor"),
            );
            if let Some(n) = closest(&what, self.typer.tables.names.keys().map(String::as_str)) {
                error = error.help(format!("did you mean the table `{n}`?"));
            }
            self.errors.push(error);
            return self.wrong(&e.range);
        };
        match &base.kind {
            ExprKind::Name(name) => {
                let (kind, name) = (self.subject, name.clone());
                self.read(
                    e,
                    ObjectTerm::Subject,
                    kind,
                    false,
                    &name,
                    &base.range,
                    Some(line),
                )
            }
            ExprKind::Step(before, name, at) => {
                let Some((object, kind, optional)) = self.object(before) else {
                    self.term(before, None);
                    return self.wrong(&e.range);
                };
                let optional = optional && !self.guarded(before);
                self.read(e, object, kind, optional, name, at, Some(line))
            }
            _ => {
                self.error(base.range.clone(), "only a fact has line conductors");
                self.wrong(&e.range)
            }
        }
    }

    fn lookup(&mut self, table: TableId, name: &str, keys: &[Expr], e: &Expr) -> TermId {
        let range = &e.range;
        let Some(t) = self.typer.table_list.get(table.0 as usize) else {
            return self.wrong(range);
        };
        if keys.len() != t.keys.len() {
            let names: Vec<&str> = t.keys.iter().map(|k| k.name.as_str()).collect();
            self.errors.push(
                TypingError::new(
                    range.clone(),
                    format!(
                        "the table `{name}` has {} keys, {} are given",
                        t.keys.len(),
                        keys.len()
                    ),
                )
                .help(format!("write `{name}[{}]`", names.join(", "))),
            );
            return self.wrong(range);
        }
        let mut ids = Vec::new();
        for (given, key) in keys.iter().zip(&t.keys) {
            let wanted = match &key.ty {
                KeyType::Number(d, ..) => Ty::Number(*d),
                KeyType::Word(w) => Ty::Word(w.clone()),
            };
            let id = self.used(given, Some(&wanted));
            let got = self.ty(id);
            if !fits(&got, &wanted) {
                self.error(
                    given.range.clone(),
                    format!(
                        "the key `{}` of `{name}` is {}, this is {}",
                        key.name,
                        wanted.describe(),
                        got.describe()
                    ),
                );
            }
            ids.push(id);
        }
        // A guard for these very keys makes it safe.
        let guarded = || look_up_text(e).is_some_and(|l| self.guards.contains(&l));
        let (gives, optional) = (t.gives, t.optional && !guarded());
        self.push(
            TermKind::Lookup(table, ids),
            Ty::Number(gives),
            range,
            optional,
        )
    }

    fn binary(
        &mut self,
        op: BinaryOp,
        a: &Expr,
        b: &Expr,
        range: &Range,
        expected: Option<&Ty>,
    ) -> TermId {
        match op {
            BinaryOp::And | BinaryOp::Or => {
                let a_id = self.truth(a);
                let guards = present_when(a, op == BinaryOp::And);
                let b_id = self.with_guards(guards, |w| w.truth(b));
                let kind = if op == BinaryOp::And {
                    TermKind::And(a_id, b_id)
                } else {
                    TermKind::Or(a_id, b_id)
                };
                self.push(kind, Ty::Truth, range, false)
            }
            BinaryOp::Otherwise => {
                let a_id = self.term(a, expected);
                let a_ty = self.ty(a_id);
                let b_id = self.term(b, Some(&a_ty));
                let b_ty = self.ty(b_id);
                if !fits(&b_ty, &a_ty) {
                    self.error(
                        b.range.clone(),
                        format!(
                            "one side is {}, the other {}",
                            a_ty.describe(),
                            b_ty.describe()
                        ),
                    );
                }
                if matches!(
                    a_ty,
                    Ty::Word(_) | Ty::Number(_) | Ty::Truth | Ty::Date | Ty::Wrong
                ) {
                    let optional = self.is_optional(b_id);
                    self.push(TermKind::Otherwise(a_id, b_id), a_ty, range, optional)
                } else {
                    self.error(a.range.clone(), "`else` follows a number, a word or a date");
                    self.wrong(range)
                }
            }
            BinaryOp::Add | BinaryOp::Sub => self.add(op == BinaryOp::Add, a, b, range),
            BinaryOp::Mul | BinaryOp::Div => {
                let (a_id, a_dim) = self.number(a);
                let (b_id, b_dim) = self.number(b);
                let (kind, ty) = match (op, a_dim, b_dim) {
                    (BinaryOp::Mul, Some(x), Some(y)) => {
                        (TermKind::Mul(a_id, b_id), Ty::Number(x.mul(y)))
                    }
                    (BinaryOp::Mul, ..) => (TermKind::Mul(a_id, b_id), Ty::Wrong),
                    (_, Some(x), Some(y)) => (TermKind::Div(a_id, b_id), Ty::Number(x.div(y))),
                    _ => (TermKind::Div(a_id, b_id), Ty::Wrong),
                };
                self.push(kind, ty, range, false)
            }
            BinaryOp::Pow => {
                let (a_id, dim) = self.number(a);
                let power = match &b.kind {
                    ExprKind::Number { digits, unit: None } => digits.parse::<i32>().ok(),
                    _ => None,
                };
                match power.filter(|n| (1..=8).contains(n)) {
                    Some(n) => {
                        let ty = dim.map_or(Ty::Wrong, |d| Ty::Number(d.powi(n)));
                        self.push(TermKind::Power(a_id, n), ty, range, false)
                    }
                    None => {
                        self.error(b.range.clone(), "the power is a whole number from 1 to 8");
                        self.wrong(range)
                    }
                }
            }
            _ => self.comparison(op, a, b, range),
        }
    }

    fn add(&mut self, plus: bool, a: &Expr, b: &Expr, range: &Range) -> TermId {
        let a_id = self.used(a, None);
        let b_id = self.used(b, None);
        let kind = if plus {
            TermKind::Add(a_id, b_id)
        } else {
            TermKind::Sub(a_id, b_id)
        };
        let seconds = Unit::parse("s").map_or(Dim::NONE, |u| u.dim());
        let ty = match (self.ty(a_id), self.ty(b_id)) {
            (Ty::Wrong, _) | (_, Ty::Wrong) => Ty::Wrong,
            (Ty::Number(x), Ty::Number(y)) if x == y => Ty::Number(x),
            (Ty::Date, Ty::Number(d)) if d == seconds => Ty::Date,
            (Ty::Date, Ty::Date) if !plus => Ty::Number(seconds),
            (x, y) => {
                self.error(
                    range.clone(),
                    format!(
                        "{} and {} cannot be {}",
                        x.describe(),
                        y.describe(),
                        if plus { "added" } else { "subtracted" }
                    ),
                );
                Ty::Wrong
            }
        };
        self.push(kind, ty, range, false)
    }

    fn comparison(&mut self, op: BinaryOp, a: &Expr, b: &Expr, range: &Range) -> TermId {
        // Two references.
        if matches!(op, BinaryOp::Eq | BinaryOp::Ne)
            && let (Some((x, _, xo)), Some((y, _, yo))) = (self.object(a), self.object(b))
        {
            for (e, optional) in [(a, xo), (b, yo)] {
                if optional && !self.guarded(e) {
                    let id = self.push(TermKind::Nothing, Ty::Nothing, &e.range, true);
                    self.needed(e, id);
                }
            }
            let id = self.push(TermKind::SameObject(x, y), Ty::Truth, range, false);
            return self.negate_if(op == BinaryOp::Ne, id, range);
        }
        // A word takes its meaning from the other side.
        let a_first = !matches!(&a.kind, ExprKind::Name(n) if self.find(self.subject, n).is_none());
        let (a_id, b_id) = if a_first {
            let a_id = self.used(a, None);
            let a_ty = self.ty(a_id);
            (a_id, self.used(b, Some(&a_ty)))
        } else {
            let b_id = self.used(b, None);
            let b_ty = self.ty(b_id);
            (self.used(a, Some(&b_ty)), b_id)
        };
        let (x, y) = (self.ty(a_id), self.ty(b_id));
        let (mut a_id, mut b_id) = (a_id, b_id);
        let floor = match (&x, &y) {
            (Ty::Wrong, _) | (_, Ty::Wrong) => return self.wrong(range),
            (Ty::Number(p), Ty::Number(q)) if p == q => Some(absolute_floor(*p)),
            (Ty::Date, Ty::Date) => Some(0.5),
            (Ty::Word(p), Ty::Word(q)) if p == q => {
                if matches!(op, BinaryOp::Eq | BinaryOp::Ne) {
                    None
                } else {
                    let number = Ty::Number(Dim::NONE);
                    let ra = self.terms[a_id.0 as usize].range.clone();
                    a_id = self.push(TermKind::Rank(a_id), number.clone(), &ra, false);
                    let rb = self.terms[b_id.0 as usize].range.clone();
                    b_id = self.push(TermKind::Rank(b_id), number, &rb, false);
                    Some(1e-9)
                }
            }
            (Ty::Truth, Ty::Truth) => None,
            (Ty::Text, Ty::Text) => {
                let literal =
                    |w: &Self, id: TermId| matches!(w.terms[id.0 as usize].kind, TermKind::Text(_));
                if !literal(self, a_id) && !literal(self, b_id) {
                    self.error(
                        range.clone(),
                        "a text can only be compared with a text in quotes",
                    );
                }
                None
            }
            _ => {
                self.error(
                    range.clone(),
                    format!("{} is compared with {}", x.describe(), y.describe()),
                );
                return self.wrong(range);
            }
        };
        let Some(floor) = floor else {
            if !matches!(op, BinaryOp::Eq | BinaryOp::Ne) {
                self.error(range.clone(), format!("{} has no order", x.describe()));
            }
            let id = self.push(TermKind::Same(a_id, b_id), Ty::Truth, range, false);
            return self.negate_if(op == BinaryOp::Ne, id, range);
        };
        let kind = match op {
            BinaryOp::Le => TermKind::Le(a_id, b_id, floor),
            BinaryOp::Ge => TermKind::Le(b_id, a_id, floor),
            BinaryOp::Lt => TermKind::Lt(a_id, b_id, floor),
            BinaryOp::Gt => TermKind::Lt(b_id, a_id, floor),
            _ => TermKind::Equal(a_id, b_id, floor),
        };
        let id = self.push(kind, Ty::Truth, range, false);
        self.negate_if(op == BinaryOp::Ne, id, range)
    }

    fn negate_if(&mut self, negate: bool, id: TermId, range: &Range) -> TermId {
        if negate {
            self.push(TermKind::Not(id), Ty::Truth, range, false)
        } else {
            id
        }
    }

    fn among_set(&mut self, inner: &Expr, words: &[(String, Range)], range: &Range) -> TermId {
        if let ExprKind::Name(n) = &inner.kind
            && let Some(line) = self.line_named(n)
        {
            let mut bits = 0;
            for (w, at) in words {
                match LINES.iter().position(|l| l == w) {
                    Some(i) => bits |= 1 << i,
                    None => self.error(at.clone(), format!("`{w}` is no line conductor")),
                }
            }
            return self.push(TermKind::LineAmong(line, bits), Ty::Truth, range, false);
        }
        let id = self.used(inner, None);
        let all = match self.ty(id) {
            Ty::Word(w) => w,
            Ty::Wrong => return self.wrong(range),
            other => {
                self.errors.push(
                    TypingError::new(
                        inner.range.clone(),
                        format!(
                            "this is {}, where a word of a choice is expected",
                            other.describe()
                        ),
                    )
                    .help("a set of words is asked `WORD among fact`"),
                );
                return self.wrong(range);
            }
        };
        let mut bits = 0;
        for (w, at) in words {
            match word_index(&all, w) {
                Some(i) => bits |= 1_u64 << i,
                None => {
                    let mut error = TypingError::new(
                        at.clone(),
                        format!("`{w}` is none of {}", all.join(", ")),
                    );
                    if let Some(n) = closest(w, all.iter().map(String::as_str)) {
                        error = error.help(format!("did you mean `{n}`?"));
                    }
                    self.errors.push(error);
                }
            }
        }
        self.push(TermKind::Among(id, bits), Ty::Truth, range, false)
    }

    fn among(&mut self, inner: &Expr, set: &Expr, range: &Range) -> TermId {
        let set_id = self.used(set, None);
        let words = match self.ty(set_id) {
            Ty::Set(w) => w,
            Ty::Wrong => return self.wrong(range),
            other => {
                self.error(
                    set.range.clone(),
                    format!(
                        "this is {}, where a set of words is expected",
                        other.describe()
                    ),
                );
                return self.wrong(range);
            }
        };
        if let ExprKind::Name(n) = &inner.kind
            && let Some(line) = self.line_named(n)
        {
            let at = line_indices(&words);
            return self.push(TermKind::HasLine(set_id, line, at), Ty::Truth, range, false);
        }
        let word = match &inner.kind {
            ExprKind::Name(n) => Some(n.clone()),
            ExprKind::Number { digits, unit: None } => Some(digits.clone()),
            _ => None,
        };
        if let Some(i) = word.as_deref().and_then(|w| word_index(&words, w)) {
            return self.push(TermKind::Has(set_id, i), Ty::Truth, range, false);
        }
        let id = self.used(inner, Some(&Ty::Word(words.clone())));
        match self.ty(id) {
            Ty::Word(w) if w == words => {
                self.push(TermKind::MemberOf(id, set_id), Ty::Truth, range, false)
            }
            Ty::Wrong => self.wrong(range),
            other => {
                self.error(
                    inner.range.clone(),
                    format!(
                        "this is {}, the set holds {}",
                        other.describe(),
                        words.join(", ")
                    ),
                );
                self.wrong(range)
            }
        }
    }

    fn call(&mut self, name: &str, at: &Range, arguments: &[Expr], range: &Range) -> TermId {
        let count = |w: &mut Self, n: usize| -> bool {
            if arguments.len() == n {
                return true;
            }
            w.error(
                at.clone(),
                format!(
                    "`{name}` takes {n} arguments, {} are given",
                    arguments.len()
                ),
            );
            false
        };
        match name {
            "min" | "max" => {
                let mut ids = Vec::new();
                let mut dim: Option<Dim> = None;
                for e in arguments {
                    let (id, d) = self.number(e);
                    if let (Some(x), Some(y)) = (dim, d)
                        && x != y
                    {
                        self.error(
                            e.range.clone(),
                            format!("{} is compared with {}", y.describe(), x.describe()),
                        );
                    }
                    dim = dim.or(d);
                    ids.push(id);
                }
                if ids.is_empty() {
                    self.error(range.clone(), format!("`{name}` needs arguments"));
                }
                let call = if name == "min" { Call::Min } else { Call::Max };
                let ty = dim.map_or(Ty::Wrong, Ty::Number);
                self.push(TermKind::Call(call, ids), ty, range, false)
            }
            "abs" | "sqrt" => {
                if !count(self, 1) {
                    return self.wrong(range);
                }
                let (id, dim) = self.number(&arguments[0]);
                let (call, dim) = if name == "abs" {
                    (Call::Abs, dim)
                } else {
                    let root = dim.and_then(Dim::sqrt);
                    if let (Some(d), None) = (dim, root) {
                        self.error(
                            range.clone(),
                            format!("{} has no square root", d.describe()),
                        );
                    }
                    (Call::Sqrt, root)
                };
                let ty = dim.map_or(Ty::Wrong, Ty::Number);
                self.push(TermKind::Call(call, vec![id]), ty, range, false)
            }
            "ln" | "exp" | "sin" | "cos" | "acos" => {
                if !count(self, 1) {
                    return self.wrong(range);
                }
                let id = self.pure(&arguments[0]);
                let call = match name {
                    "ln" => Call::Ln,
                    "exp" => Call::Exp,
                    "sin" => Call::Sin,
                    "cos" => Call::Cos,
                    _ => Call::Acos,
                };
                self.push(
                    TermKind::Call(call, vec![id]),
                    Ty::Number(Dim::NONE),
                    range,
                    false,
                )
            }
            "round" => {
                if !count(self, 3) {
                    return self.wrong(range);
                }
                self.round(arguments, range)
            }
            "next-up" | "next-down" => {
                if !count(self, 2) {
                    return self.wrong(range);
                }
                self.next(name == "next-up", arguments, range)
            }
            "neutral-current" | "open-pen-voltage" => self.physics(name, arguments, range),
            _ => {
                let known = [
                    "min",
                    "max",
                    "abs",
                    "sqrt",
                    "ln",
                    "exp",
                    "sin",
                    "cos",
                    "acos",
                    "round",
                    "next-up",
                    "next-down",
                    "neutral-current",
                    "open-pen-voltage",
                ];
                let mut error =
                    TypingError::new(at.clone(), format!("there is no function `{name}`"));
                if self.typer.tables.names.contains_key(name) {
                    error = error.help(format!("a table is read with `{name}[…]`"));
                } else if let Some(n) = closest(name, known) {
                    error = error.help(format!("did you mean `{n}`?"));
                }
                self.errors.push(error);
                self.wrong(range)
            }
        }
    }

    fn round(&mut self, arguments: &[Expr], range: &Range) -> TermId {
        let (id, dim) = self.number(&arguments[0]);
        let (step_id, step_dim) = self.number(&arguments[1]);
        let step = match self.terms[step_id.0 as usize].kind {
            TermKind::Number(x) if x > 0.0 => x,
            _ => {
                self.error(
                    arguments[1].range.clone(),
                    "the step is a number above zero",
                );
                1.0
            }
        };
        if dim.is_some() && step_dim.is_some() && dim != step_dim {
            self.error(
                arguments[1].range.clone(),
                "the step has the unit of what is rounded",
            );
        }
        let mode = match &arguments[2].kind {
            ExprKind::Name(n) if n == "nearest" => Rounding::Nearest,
            ExprKind::Name(n) if n == "up" => Rounding::Up,
            ExprKind::Name(n) if n == "down" => Rounding::Down,
            _ => {
                self.error(
                    arguments[2].range.clone(),
                    "say `nearest`, `up` or `down` here",
                );
                Rounding::Nearest
            }
        };
        let ty = dim.map_or(Ty::Wrong, Ty::Number);
        self.push(TermKind::Round(id, step, mode), ty, range, false)
    }

    fn next(&mut self, up: bool, arguments: &[Expr], range: &Range) -> TermId {
        let vocabulary = self.typer.vocabulary;
        let name = match &arguments[0].kind {
            ExprKind::Name(n) => n.as_str(),
            _ => "",
        };
        let (id, dim) = self.number(&arguments[1]);
        let Some(series) = vocabulary.series_names.get(name).copied() else {
            let mut error = TypingError::new(
                arguments[0].range.clone(),
                format!("there is no series `{name}`"),
            );
            if let Some(n) = closest(name, vocabulary.series_names.keys().map(String::as_str)) {
                error = error.help(format!("did you mean `{n}`?"));
            }
            self.errors.push(error);
            return self.wrong(range);
        };
        let unit = &vocabulary.series(series).unit;
        if let Some(d) = dim
            && d != unit.dim()
        {
            self.error(
                arguments[1].range.clone(),
                format!(
                    "the series `{name}` holds {}, this is {}",
                    unit.dim().describe(),
                    d.describe()
                ),
            );
        }
        self.push(
            TermKind::Next(series, up, id),
            Ty::Number(unit.dim()),
            range,
            false,
        )
    }

    fn physics(&mut self, name: &str, arguments: &[Expr], range: &Range) -> TermId {
        let unit = |u: &str| Unit::parse(u).map_or(Dim::NONE, |u| u.dim());
        let (wanted, call, gives) = if name == "neutral-current" {
            (vec![unit("A"); 3], Call::NeutralCurrent, unit("A"))
        } else {
            (
                vec![
                    unit("V"),
                    Dim::NONE,
                    unit("A"),
                    unit("A"),
                    unit("A"),
                    unit("ohm"),
                    unit("ohm"),
                ],
                Call::OpenPenVoltage,
                unit("V"),
            )
        };
        if arguments.len() != wanted.len() {
            self.error(
                range.clone(),
                format!(
                    "`{name}` takes {} arguments, {} are given",
                    wanted.len(),
                    arguments.len()
                ),
            );
            return self.wrong(range);
        }
        let mut ids = Vec::new();
        for (e, d) in arguments.iter().zip(wanted) {
            let (id, got) = self.number(e);
            if let Some(got) = got
                && got != d
            {
                self.error(
                    e.range.clone(),
                    format!(
                        "this is {}, where {} is expected",
                        got.describe(),
                        d.describe()
                    ),
                );
            }
            ids.push(id);
        }
        self.push(TermKind::Call(call, ids), Ty::Number(gives), range, false)
    }

    fn aggregate(
        &mut self,
        op: Aggregate,
        var: &str,
        over: &Expr,
        filter: Option<&Expr>,
        body: Option<&Expr>,
        range: &Range,
    ) -> TermId {
        let (over, variable) = match self.over(over) {
            Some(x) => x,
            None => return self.wrong(range),
        };
        let slot = u8::try_from(self.vars.len()).unwrap_or(u8::MAX);
        self.vars.push((var.to_owned(), variable));
        let filter_id = filter.map(|f| self.truth(f));
        let guards = filter.map_or_else(Vec::new, |f| present_when(f, true));
        let wants_truth = matches!(op, Aggregate::Every | Aggregate::Any);
        let body_id = body.map(|b| {
            self.with_guards(guards, |w| {
                if wants_truth {
                    w.truth(b)
                } else {
                    w.number(b).0
                }
            })
        });
        self.vars.pop();
        let (ty, optional) = match op {
            Aggregate::Count => (Ty::Number(Dim::NONE), false),
            Aggregate::Every | Aggregate::Any => (Ty::Truth, false),
            Aggregate::Sum | Aggregate::LargestTwo => {
                (body_id.map_or(Ty::Wrong, |b| self.ty(b)), false)
            }
            // Nothing has neither a least nor a greatest; lines always exist.
            Aggregate::Min | Aggregate::Max => (
                body_id.map_or(Ty::Wrong, |b| self.ty(b)),
                !matches!(over, Over::AllLines | Over::Lines(..)),
            ),
        };
        if body.is_none() && op != Aggregate::Count {
            self.errors.push(
                TypingError::new(range.clone(), format!("`{}` needs a body", op.word()))
                    .help(format!("write `{} {var} in …: …`", op.word())),
            );
        }
        if body.is_some() && op == Aggregate::Count {
            self.errors.push(
                TypingError::new(range.clone(), "`count` takes `where`, not a body")
                    .help("write `count x in … where …`"),
            );
        }
        self.push(
            TermKind::Aggregate {
                op,
                var: slot,
                over,
                filter: filter_id,
                body: body_id,
            },
            ty,
            range,
            optional,
        )
    }

    fn over(&mut self, over: &Expr) -> Option<(Over, Variable)> {
        if let ExprKind::Name(n) = &over.kind
            && n == "all-lines"
        {
            return Some((Over::AllLines, Variable::Line));
        }
        let id = self.term(over, None);
        let term = &self.terms[id.0 as usize];
        match (&term.ty, &term.kind) {
            (Ty::Collection(k), TermKind::Read { object, fact, .. }) => {
                let out = (
                    Over::Collection(object.clone(), fact.clone()),
                    Variable::Object(*k),
                );
                self.needed(over, id);
                Some(out)
            }
            (Ty::Set(words), _) if words.iter().any(|w| LINES.contains(&w.as_str())) => {
                let at = line_indices(words);
                self.needed(over, id);
                Some((Over::Lines(id, at), Variable::Line))
            }
            (Ty::Wrong, _) => None,
            (ty, _) => {
                let what = ty.describe();
                self.error(
                    over.range.clone(),
                    format!("this is {what}, where a collection is expected"),
                );
                None
            }
        }
    }
}

fn word_index(words: &Words, word: &str) -> Option<u8> {
    words
        .iter()
        .position(|w| w == word)
        .and_then(|i| u8::try_from(i).ok())
}

fn line_indices(words: &Words) -> [Option<u8>; 3] {
    LINES.map(|l| word_index(words, l))
}
