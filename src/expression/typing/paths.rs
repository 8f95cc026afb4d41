//! Names and paths: facts of objects, limits, lines, tables.

use super::super::syntax::{Expr, ExprKind, Range};
use super::super::table::{KeyType, TableId};
use super::super::typed::{LineTerm, ObjectTerm, ReadFact, TermId, TermKind, Ty};
use super::guards::{look_up_text, path_text};
use super::{TypingError, Variable, Work, fits, word_index};
use crate::quantity::Dim;
use crate::source::closest;
use crate::vocabulary::{Fact, FactType, KindId, LINES};

/// How deep aggregates may be nested.
const MOST_NESTED: u8 = 60;

/// An object that a path leads to, its kind, and whether it may be absent.
type Found = (ObjectTerm, KindId, bool);

impl Work<'_, '_> {
    pub(super) fn line_named(&self, name: &str) -> Option<LineTerm> {
        if let Some((i, _)) = (0..).zip(LINES).find(|(_, l)| *l == name) {
            return Some(LineTerm::Fixed(i));
        }
        match self.variable(name) {
            Some((slot, Variable::Line)) => Some(LineTerm::Var(slot)),
            Some((_, Variable::Object(_))) => None,
            None => (name == "line" && self.per_line).then_some(LineTerm::Current),
        }
    }

    /// The slot that the next aggregate's member takes; none, if they are nested too deep.
    pub(super) fn next_slot(&self) -> Option<u8> {
        u8::try_from(self.vars.len())
            .ok()
            .filter(|n| *n < MOST_NESTED)
    }

    /// The member of an enclosing aggregate with a name, the innermost first, and its slot.
    fn variable(&self, name: &str) -> Option<(u8, &Variable)> {
        let named = (0..).zip(&self.vars).filter(|(_, (n, _))| n == name);
        named.last().map(|(slot, (_, v))| (slot, v))
    }

    pub(super) fn name(&mut self, name: &str, range: &Range, expected: Option<&Ty>) -> TermId {
        if let Some(Ty::Word(words)) = expected
            && let Some(i) = word_index(words, name)
        {
            return self.push(TermKind::Word(i), Ty::Word(words.clone()), range, false);
        }
        let e = Expr::new(ExprKind::Name(name.to_owned()), range.clone());
        if let Some((object, kind, optional)) = self.guarded_object(&e) {
            return self.push(TermKind::Object(object), Ty::Object(kind), range, optional);
        }
        let own = self.typer.vocabulary.kind(self.subject);
        if own.fact_named(name).is_some() {
            let subject = (ObjectTerm::Subject, self.subject, false);
            return self.read(&e, subject, name, range, None);
        }
        if name == "pi" {
            let pi = TermKind::Number(std::f64::consts::PI);
            return self.quantity(pi, Some(Dim::NONE), range);
        }
        if self.line_named(name).is_some() {
            let why = format!("`{name}` is a line conductor: write it in `[ ]` or before `among`");
            return self.refuse(range, range, why);
        }
        self.unknown_name(name, range, self.subject, expected);
        self.wrong(range)
    }

    pub(super) fn unknown_name(
        &mut self,
        name: &str,
        range: &Range,
        kind: KindId,
        expected: Option<&Ty>,
    ) {
        let vocabulary = self.typer.vocabulary;
        let k = vocabulary.kind(kind);
        let (why, words) = match expected {
            Some(Ty::Word(words)) => {
                let why = format!("`{name}` is none of {}", words.join(", "));
                (why, words.as_slice())
            }
            _ => (format!("`{}` has no fact `{name}`", k.name), &[][..]),
        };
        let mut error = TypingError::new(range.clone(), why);
        let names = k.facts.iter().map(|f| &f.name);
        let names = names.chain(self.vars.iter().map(|(n, _)| n)).chain(words);
        let names = names.map(String::as_str);
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

    pub(super) fn guarded(&self, e: &Expr) -> bool {
        path_text(e).is_some_and(|p| self.guards.contains(&p))
    }

    /// The path whose presence makes one that may be absent safe: what leads to a fact that is always
    /// there, or the path itself.
    pub(super) fn to_guard(&self, e: &Expr) -> Option<String> {
        match &e.kind {
            ExprKind::Index(base, _) => self.to_guard(base),
            ExprKind::Step(before, name, _) => {
                let fact = self.object(before).and_then(|o| self.find(o.1, name));
                let own = fact.is_none_or(|(_, fact)| fact.optional);
                path_text(if own { e } else { before })
            }
            _ => path_text(e),
        }
    }

    /// The object an expression leads to, its kind, and whether it may be absent (without regard
    /// to guards); none if the expression is no path to an object.
    pub(super) fn object(&self, e: &Expr) -> Option<Found> {
        let (before, kind, name, optional) = match &e.kind {
            ExprKind::Name(name) => {
                match self.variable(name) {
                    Some((slot, Variable::Object(k))) => {
                        return Some((ObjectTerm::Var(slot), *k, false));
                    }
                    Some((_, Variable::Line)) => return None,
                    None => {}
                }
                if name == "subject" {
                    return Some((ObjectTerm::Subject, self.subject, false));
                }
                (ObjectTerm::Subject, self.subject, name, false)
            }
            ExprKind::Step(before, name, _) => {
                let (object, kind, optional) = self.guarded_object(before)?;
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

    /// The same; what a guard shows to be there may not be absent.
    fn guarded_object(&self, e: &Expr) -> Option<Found> {
        let (object, kind, optional) = self.object(e)?;
        Some((object, kind, optional && !self.guarded(e)))
    }

    /// A fact of a kind; of an abstract one, where each of its kinds has it with one type.
    pub(super) fn find(&self, kind: KindId, name: &str) -> Option<(ReadFact, &Fact)> {
        let vocabulary = self.typer.vocabulary;
        let k = vocabulary.kind(kind);
        if !k.is_abstract() {
            let ix = k.fact_named(name)?;
            let by_kind = vec![(kind, ix)];
            return Some((ReadFact { by_kind }, k.fact(ix)));
        }
        let mut by_kind = Vec::new();
        let mut first = None;
        for real in &k.any_of {
            let rk = vocabulary.kind(*real);
            let ix = rk.fact_named(name)?;
            by_kind.push((*real, ix));
            let fact = rk.fact(ix);
            // An optional one anywhere makes the whole optional.
            if first.is_none_or(|f: &Fact| !f.optional && fact.optional) {
                first = Some(fact);
            }
        }
        Some((ReadFact { by_kind }, first?))
    }

    pub(super) fn step(&mut self, e: &Expr, before: &Expr, name: &str, at: &Range) -> TermId {
        if before.name() == Some("limits") {
            return self.limit(name, at, &e.range);
        }
        if let Some((object, kind, optional)) = self.guarded_object(e) {
            let kind = Ty::Object(kind);
            return self.push(TermKind::Object(object), kind, &e.range, optional);
        }
        let Some(from) = self.guarded_object(before) else {
            let errors = self.errors.len();
            let id = self.term(before, None);
            if self.errors.len() == errors {
                let what = self.ty(id);
                let why = format!("this is {what} and has no facts");
                self.error(&before.range, why);
            }
            return self.wrong(&e.range);
        };
        self.read(e, from, name, at, None)
    }

    pub(super) fn limit(&mut self, name: &str, at: &Range, range: &Range) -> TermId {
        let limits = self.typer.limits;
        match limits.names.get(name) {
            Some(id) => {
                let ty = Ty::in_unit(&limits.all[id.0 as usize].unit);
                self.push(TermKind::Limit(*id), ty, range, false)
            }
            None => {
                let mut error = TypingError::new(at.clone(), format!("there is no limit `{name}`"));
                if let Some(n) = closest(name, limits.names.keys().map(String::as_str)) {
                    error = error.help(format!("did you mean `limits.{n}`?"));
                }
                self.refuse_with(range, error)
            }
        }
    }

    pub(super) fn read(
        &mut self,
        e: &Expr,
        (object, kind, optional): Found,
        name: &str,
        at: &Range,
        mut line: Option<LineTerm>,
    ) -> TermId {
        let Some((read, fact)) = self.find(kind, name) else {
            self.unknown_name(name, at, kind, None);
            return self.wrong(&e.range);
        };
        // An empty list is a list: only what is read through may be absent.
        let listed = matches!(fact.ty, FactType::Parts(_) | FactType::References(_));
        let optional = (optional || (fact.optional && !listed)) && !self.guarded(e);
        let fact = fact.clone();
        if let FactType::Quantity { per_line, .. } = fact.ty {
            if per_line && line.is_none() {
                if self.per_line {
                    line = Some(LineTerm::Current);
                } else {
                    let why = format!("`{name}` has one value for each line conductor");
                    let way = format!("write `{name}[L1]`, or `max l in all-lines: {name}[l]`");
                    let error = TypingError::new(at.clone(), why).help(way);
                    self.errors.push(error);
                }
            } else if !per_line && line.is_some() {
                let why = format!("`{name}` has one value, not one for each line conductor");
                self.error(at, why);
            }
        }
        let ty = Ty::of(&fact.ty);
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

    pub(super) fn index(&mut self, e: &Expr, base: &Expr, keys: &[Expr]) -> TermId {
        let line = match keys {
            [key] => key.name().and_then(|n| self.line_named(n)),
            _ => None,
        };
        if let Some(name) = base.name().filter(|_| line.is_none())
            && let Some(table) = self.typer.tables.names.get(name).copied()
        {
            return self.lookup(table, name, keys, e);
        }
        let Some(line) = line else {
            let what = path_text(base).unwrap_or_default();
            let mut error = TypingError::new(
                base.range.clone(),
                format!("`{what}` is neither a table nor a fact with a line conductor"),
            );
            if let Some(n) = closest(&what, self.typer.tables.names.keys().map(String::as_str)) {
                error = error.help(format!("did you mean the table `{n}`?"));
            }
            return self.refuse_with(&e.range, error);
        };
        match &base.kind {
            ExprKind::Name(name) => {
                let subject = (ObjectTerm::Subject, self.subject, false);
                self.read(e, subject, name, &base.range, Some(line))
            }
            ExprKind::Step(before, name, at) => {
                let Some(from) = self.guarded_object(before) else {
                    self.term(before, None);
                    return self.wrong(&e.range);
                };
                self.read(e, from, name, at, Some(line))
            }
            _ => self.refuse(&e.range, &base.range, "only a fact has line conductors"),
        }
    }

    pub(super) fn lookup(&mut self, table: TableId, name: &str, keys: &[Expr], e: &Expr) -> TermId {
        let range = &e.range;
        let Some(t) = self.typer.table_list.get(table.0 as usize) else {
            return self.wrong(range);
        };
        if keys.len() != t.keys.len() {
            let names: Vec<&str> = t.keys.iter().map(|k| k.name.as_str()).collect();
            let (wanted, given) = (t.keys.len(), keys.len());
            let why = format!("the table `{name}` has {wanted} keys, {given} are given");
            let error = TypingError::new(range.clone(), why)
                .help(format!("write `{name}[{}]`", names.join(", ")));
            return self.refuse_with(range, error);
        }
        let mut ids = Vec::new();
        for (given, key) in keys.iter().zip(&t.keys) {
            let wanted = match &key.ty {
                KeyType::Number(d, ..) => Ty::of_table(*d),
                KeyType::Word(w) => Ty::Word(w.clone()),
            };
            let id = self.used(given, Some(&wanted));
            let got = self.ty(id);
            if !fits(&got, &wanted) {
                let key_name = &key.name;
                let why = format!("the key `{key_name}` of `{name}` is {wanted}, this is {got}");
                self.error(&given.range, why);
            }
            ids.push(id);
        }
        // A guard for these very keys makes it safe.
        let guarded = || look_up_text(e).is_some_and(|l| self.guards.contains(&l));
        let (gives, optional) = (t.gives, t.optional && !guarded());
        self.push(
            TermKind::Lookup(table, ids),
            Ty::of_table(gives),
            range,
            optional,
        )
    }
}
