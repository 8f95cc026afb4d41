//! Untyped tree → typed tree: resolves names against the vocabulary, limits and tables, checks
//! dimensions, and asks for a guard where something may be absent.

mod calls;
mod guards;
mod operators;
mod paths;

use serde::{Deserialize, Serialize};

use std::cell::RefCell;

use rustc_hash::FxHashMap;

use super::syntax::{Expr, ExprKind, Range, UnaryOp};
use super::table::{Table, TableId};
use super::typed::{Compiled, LimitId, Term, TermId, TermKind, Ty, Wording};
use crate::quantity::{Dim, Unit, parse_date, parse_quantity};
use crate::source::{Span, closest};
use crate::vocabulary::{KindId, LINES, Later, Vocabulary, Words, in_order};

pub use guards::present_when;

use guards::{look_up_text, path_text};

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

    /// Adds "did you mean", if one of the names is close to what was written.
    fn did_you_mean<'n>(self, written: &str, names: impl IntoIterator<Item = &'n str>) -> Self {
        match closest(written, names) {
            Some(name) => self.help(format!("did you mean `{name}`?")),
            None => self,
        }
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
    /// Where each is stated, and by which layer.
    pub stated: Vec<(Span, String)>,
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

impl Scope {
    /// Around an expression about each object of a kind, of which nothing more is known.
    #[must_use]
    pub const fn of(subject: KindId) -> Self {
        Self {
            subject,
            per_line: false,
            guards: Vec::new(),
        }
    }
}

/// Compiles expressions against one vocabulary.
pub struct Typer<'a> {
    vocabulary: &'a Vocabulary,
    limits: &'a Limits,
    tables: &'a Tables,
    table_list: &'a [Table],
    texts: RefCell<Vec<(String, Span)>>,
}

enum Variable {
    Object(KindId),
    Line,
}

struct Work<'t, 'a> {
    typer: &'t Typer<'a>,
    span: Span,
    subject: KindId,
    per_line: bool,
    guards: Vec<String>,
    vars: Vec<(String, Variable)>,
    terms: Vec<Term>,
    /// Where each term stands in the text.
    ranges: Vec<Range>,
    /// Whether there may be no value of each.
    optional: Vec<bool>,
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

    /// The texts that rules compare with, in the order of their indices, each with the place of an
    /// expression that does.
    #[must_use]
    pub fn into_texts(self) -> Vec<(String, Span)> {
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
            span,
            subject: scope.subject,
            per_line: scope.per_line,
            guards: scope.guards.clone(),
            vars: Vec::new(),
            terms: Vec::new(),
            ranges: Vec::new(),
            optional: Vec::new(),
            errors: Vec::new(),
        };
        let root = work.term(expr, expected);
        if let Some(wanted) = expected {
            let got = work.ty(root);
            if !fits(&got, wanted) {
                work.error(
                    &expr.range,
                    format!("this is {got}, where {wanted} is expected"),
                );
            }
        }
        if work.errors.is_empty() {
            let optional = work.is_optional(root);
            Ok(Compiled {
                terms: work.terms,
                root,
                optional,
                wording: Later::from(Wording {
                    text: text.to_owned(),
                    span,
                    ranges: work.ranges,
                }),
            })
        } else {
            Err(work.errors)
        }
    }
}

fn fits(got: &Ty, wanted: &Ty) -> bool {
    match (got, wanted) {
        (Ty::Wrong | Ty::Nothing, _) | (_, Ty::Wrong) => true,
        (a, b) => a == b,
    }
}

impl Work<'_, '_> {
    fn error(&mut self, range: &Range, message: impl Into<String>) {
        self.errors.push(TypingError::new(range.clone(), message));
    }

    /// A term that cannot be read, since something in it is wrong.
    fn refuse(&mut self, term: &Range, at: &Range, message: impl Into<String>) -> TermId {
        self.refuse_with(term, TypingError::new(at.clone(), message))
    }

    fn refuse_with(&mut self, term: &Range, error: TypingError) -> TermId {
        self.errors.push(error);
        self.push(TermKind::Nothing, Ty::Wrong, term, false)
    }

    /// What is true or false.
    fn condition(&mut self, kind: TermKind, range: &Range) -> TermId {
        self.push(kind, Ty::Truth, range, false)
    }

    /// A number; without a dimension something in it is wrong.
    fn quantity(&mut self, kind: TermKind, dim: Option<Dim>, range: &Range) -> TermId {
        self.push(kind, dim.map_or(Ty::Wrong, Ty::Number), range, false)
    }

    fn push(&mut self, kind: TermKind, ty: Ty, range: &Range, optional: bool) -> TermId {
        // An expression is far shorter than it would have to be for more.
        let id = TermId(self.terms.len() as u32);
        self.terms.push(Term { kind, ty });
        self.ranges.push(range.clone());
        self.optional.push(optional);
        id
    }

    fn wrong(&mut self, range: &Range) -> TermId {
        self.push(TermKind::Nothing, Ty::Wrong, range, false)
    }

    fn ty(&self, id: TermId) -> Ty {
        self.terms[id.0 as usize].ty.clone()
    }

    fn is_optional(&self, id: TermId) -> bool {
        self.optional[id.0 as usize]
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
            let what = path
                .and_then(|_| self.to_guard(e))
                .unwrap_or_else(|| text.clone());
            self.errors.push(
                TypingError::new(e.range.clone(), format!("`{text}` may be absent")).help(format!("write `{what} is present and …` before it, `if {what} is present then … else …`, or `… else` a value")),
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
                &e.range,
                format!("this is {other}, where a condition is expected"),
            ),
        }
        id
    }

    /// What has an order: a number or a temperature.
    fn scalar(&mut self, e: &Expr) -> (TermId, Option<Ty>) {
        let id = self.used(e, None);
        match self.ty(id) {
            Ty::Wrong => (id, None),
            ty if ty.dim().is_some() => (id, Some(ty)),
            other => {
                let why = format!("this is {other}, where a number is expected");
                self.error(&e.range, why);
                (id, None)
            }
        }
    }

    fn number(&mut self, e: &Expr) -> (TermId, Option<Dim>) {
        match self.scalar(e) {
            (id, Some(Ty::Number(d))) => (id, Some(d)),
            (id, Some(ty)) => {
                let why = format!("this is {ty}, where a number is expected");
                self.errors
                    .push(TypingError::new(e.range.clone(), why).help(
                    "calculate with its difference to another, which is in K: `(t - 20 °C) / 1 K`",
                ));
                (id, None)
            }
            (id, None) => (id, None),
        }
    }

    fn pure(&mut self, e: &Expr) -> TermId {
        let (id, dim) = self.number(e);
        if let Some(d) = dim
            && d != Dim::NONE
        {
            let why = format!("this is {}, where a pure number is expected", d.describe());
            self.error(&e.range, why);
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
                let i = texts.iter().position(|(t, _)| t == text);
                let i = i.unwrap_or_else(|| {
                    texts.push((text.clone(), self.span));
                    texts.len() - 1
                });
                drop(texts);
                // With more texts than a set holds the ruleset is refused.
                let i = u8::try_from(i).unwrap_or(u8::MAX);
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
                    let why = format!("`{text}` is not a date of the calendar");
                    self.refuse(range, range, why)
                }
            },
            ExprKind::Truth(t) => self.condition(TermKind::Truth(*t), range),
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
                self.condition(TermKind::Not(id), range)
            }
            ExprKind::Unary(UnaryOp::Negate, inner) => {
                // The sign of a literal is its own: -10 °C is no negative of 10 °C.
                if let ExprKind::Number { digits, unit } = &inner.kind {
                    return self.literal(&format!("-{digits}"), unit.as_ref(), range);
                }
                let (id, dim) = self.number(inner);
                self.quantity(TermKind::Neg(id), dim, range)
            }
            ExprKind::Binary(op, a, b) => self.binary(*op, a, b, range, expected),
            ExprKind::AmongSet(inner, words) => self.among_set(inner, words, range),
            ExprKind::Among(inner, set) => self.among(inner, set, range),
            ExprKind::Present(inner, positive) => {
                let id = match self.object(inner) {
                    Some((object, _, _)) => self.condition(TermKind::ObjectPresent(object), range),
                    None => {
                        let id = self.term(inner, None);
                        if self.never_absent(inner, id) {
                            return self.wrong(range);
                        }
                        self.condition(TermKind::Present(id), range)
                    }
                };
                self.negate_if(!*positive, id, range)
            }
            ExprKind::Origin(inner, test) => {
                // Where a per-line fact comes from is asked of all its lines at once.
                let per_line = std::mem::replace(&mut self.per_line, true);
                let id = self.term(inner, None);
                self.per_line = per_line;
                let ok = self.terms[id.0 as usize].kind.fact_read().is_some();
                if !ok && self.ty(id) != Ty::Wrong {
                    self.error(
                        &inner.range,
                        "only a fact comes from somewhere: name one here",
                    );
                }
                self.condition(TermKind::Origin(id, *test), range)
            }
            ExprKind::IsKind(inner, kind, at) => {
                let Some(id) = self.typer.vocabulary.kind_named(kind) else {
                    let names = self.typer.vocabulary.kinds.iter().map(|k| k.name.as_str());
                    let error = TypingError::new(at.clone(), format!("there is no kind `{kind}`"))
                        .did_you_mean(kind, names);
                    return self.refuse_with(range, error);
                };
                let Some((object, _, _)) = self.object(inner) else {
                    return self.refuse(
                        range,
                        &inner.range,
                        "only a reference or a part can be of a kind",
                    );
                };
                let k = self.typer.vocabulary.kind(id);
                let kinds = if k.is_abstract() {
                    k.any_of.clone()
                } else {
                    vec![id]
                };
                self.condition(TermKind::IsKind(object, kinds), range)
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
                        self.error(&b.range, format!("one branch is {x}, the other {y}"));
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

    /// Reports a value of which nobody can ask whether it is there: of such a type none is absent.
    fn never_absent(&mut self, e: &Expr, id: TermId) -> bool {
        let text = path_text(e).unwrap_or_else(|| "this".to_owned());
        let (what, instead) = match self.ty(id) {
            Ty::Wrong => return true,
            Ty::Collection(_) => (
                "a collection",
                format!(
                    "write `(count x in {text}) > 0`, or what must hold of one: `any x in {text}: …`"
                ),
            ),
            Ty::Set(words) => (
                "a set of words",
                format!(
                    "ask for one of its words: `{} among {text}`",
                    words.first().map_or("WORD", String::as_str)
                ),
            ),
            Ty::Truth => (
                "a yes or no",
                format!("write `{text} is written`, or `{text}` alone where yes is meant"),
            ),
            Ty::Line => ("a line conductor", format!("leave `{text}` out")),
            _ => return false,
        };
        self.errors.push(
            TypingError::new(
                e.range.clone(),
                format!("`{text}` is {what}: it is never absent"),
            )
            .help(instead),
        );
        true
    }

    fn literal(&mut self, digits: &str, unit: Option<&(String, Range)>, range: &Range) -> TermId {
        let parsed = match unit {
            None => Unit::parse("").ok(),
            Some((text, at)) => match Unit::parse(text) {
                Ok(u) => Some(u),
                Err(e) => {
                    let mut error =
                        TypingError::new(at.clone(), format!("`{text}` is not a known unit"));
                    error.help.extend(e.help());
                    error = error.help("between a number and a name write `*`; around `/` before a name leave blanks");
                    return self.refuse_with(range, error);
                }
            },
        };
        match parsed.and_then(|u| parse_quantity(digits, &u).map(|x| (x, Ty::in_unit(&u)))) {
            Some((x, ty)) => self.push(TermKind::Number(x), ty, range, false),
            None => {
                let why = format!("`{digits}` cannot be read as a number");
                self.refuse(range, range, why)
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
