//! The facts of an object: their keys, and what several statements of one fact add up to.

use super::completeness::facts_called;
use super::narrow::is_narrower;
use super::products::contradicts;
use super::resolver::{Pending, Resolver, Site, Turn, indices, listed, nearest, written};
use super::values::cannot_both_hold;
use crate::design::model::{Formula, ObjectId, Possible, Status, Written};
use crate::design::tree::{Entry, FactEntry, Origin, Value, ValueKind};
use crate::source::{Problem, Span, Spanned};
use crate::vocabulary::{FactIx, FactType, Kind, NameRole, PRESENT, WordSet, with_article};

/// The most facts of a kind that a message lists.
const MOST_FACTS: usize = 24;

/// One statement of a fact.
struct Statement {
    key: Span,
    span: Span,
    value: Possible,
    origin: Option<Origin>,
}

impl<'a> Resolver<'a> {
    /// Reads the facts of all objects.
    pub(super) fn read_facts(&mut self) {
        let pending = std::mem::take(&mut self.pending);
        for Pending {
            object,
            entries,
            turn,
            refers,
        } in pending
        {
            if let Some((ix, name, span)) = refers {
                let fact = self.kind_of(object).fact(ix);
                self.heading = Some(&fact.name);
                let value = self.named(&name, span, fact.target());
                let value = value.unwrap_or(Possible::Poison);
                self.heading = None;
                self.set_fact(object, ix, written(value, span, span));
            }
            self.facts(object, entries, turn);
        }
    }

    /// Reads the entries of one object. What is set already is set by where it stands, by its
    /// name, or by the word that opens it.
    pub(super) fn facts(&mut self, id: ObjectId, entries: &'a [Entry], turn: Option<Turn>) {
        let kind = self.kind_of(id);
        let mut stated: Vec<(FactIx, Vec<Statement>)> = Vec::new();
        let mut misspelt: Vec<(FactIx, Span)> = Vec::new();
        let mut seen_special: Vec<(&str, Span)> = Vec::new();
        for entry in entries {
            let Entry::Fact(entry) = entry else { continue };
            let key = entry.key.text.as_str();
            if matches!(key, "status" | "all-listed" | "rest") {
                self.once(&mut seen_special, key, entry.key.span);
                continue;
            }
            let Some(ix) = kind.fact_named(key) else {
                if key == "evidence" {
                    self.once(&mut seen_special, key, entry.key.span);
                    self.evidence(id, entry);
                    continue;
                }
                if let Some(meant) = self.unknown_fact(kind, entry) {
                    misspelt.push((meant, entry.key.span));
                }
                continue;
            };
            let fact = kind.fact(ix);
            let value = if fact.writable && !matches!(fact.ty, FactType::Reverse { .. }) {
                let site = Site {
                    object: id,
                    fact,
                    turn,
                };
                let value = self.value(&site, &entry.value);
                self.narrowed(&site, entry, value)
            } else {
                self.derived(kind, ix, entry)
            };
            // Of values that are taken by turn, its own.
            let own = match (&entry.value.kind, turn) {
                (ValueKind::ByTurn(all), Some(turn)) => {
                    let place = turn.place.checked_rem(all.len());
                    place.and_then(|i| all.get(i)).unwrap_or(&entry.value)
                }
                _ => &entry.value,
            };
            let statement = Statement {
                key: entry.key.span,
                span: own.span,
                value,
                origin: origin(own).or_else(|| origin(&entry.value)),
            };
            match stated.iter_mut().find(|(i, _)| *i == ix) {
                Some((_, statements)) => statements.push(statement),
                None => stated.push((ix, vec![statement])),
            }
        }
        for (ix, statements) in stated {
            if let Some(combined) = self.combine(kind, ix, statements) {
                self.store(id, kind, ix, combined);
            }
        }
        // A key with a slip in it says something about the fact it means, and says it wrongly.
        for (ix, span) in misspelt {
            self.spoil(id, ix, span);
        }
        self.store_status(id, kind, entries);
        self.store_presence(id, kind);
        self.leave_rest(id, kind, entries);
    }

    /// What is written, unless one of the products that the thing is says something else.
    fn narrowed(&mut self, site: &Site<'_>, entry: &'a FactEntry, value: Possible) -> Possible {
        for settled in &entry.settled {
            let said = self.value(site, settled);
            if !is_narrower(&value, &said) {
                return contradicts(&site.fact.name, entry.value.span, settled.span)
                    .fail(self)
                    .unwrap_or(Possible::Poison);
            }
        }
        value
    }

    /// Notes that a key is written; false, if it was before, which is reported.
    pub(super) fn once(
        &mut self,
        seen: &mut Vec<(&'a str, Span)>,
        key: &'a str,
        span: Span,
    ) -> bool {
        let Some((_, first)) = seen.iter().find(|(k, _)| *k == key) else {
            seen.push((key, span));
            return true;
        };
        Problem::error("duplicate-fact", format!("`{key}` is written twice"))
            .at(span, "again")
            .at(*first, "first here")
            .help("leave one of them out")
            .report(self);
        false
    }

    /// Puts a fact in place, unless it is set already.
    fn store(&mut self, id: ObjectId, kind: &Kind, ix: FactIx, mut combined: Written) {
        let Some(preset) = self.fact_of(id, ix).cloned() else {
            self.set_fact(id, ix, combined);
            return;
        };
        let wrong = Possible::Poison;
        if preset.value == combined.value || combined.value == wrong || preset.value == wrong {
            if preset.value == wrong {
                combined.value = wrong;
            }
            self.set_fact(id, ix, combined);
            return;
        }
        let (by, help) = if matches!(kind.name_role, NameRole::Choice(f) | NameRole::Reference(f) if f == ix)
        {
            ("the name of the block", "leave it out, or correct the name")
        } else if self.design.object(id).owner.is_some() {
            (
                "the word that opens the part",
                "leave it out, or open the part with another word",
            )
        } else {
            ("where the block stands", "leave it out, or move the block")
        };
        let name = &kind.fact(ix).name;
        let why = format!("`{name}` is already set to something else by {by}");
        Problem::wrong("fact-set-twice", combined.span, why)
            .at(preset.key, "set by this")
            .help(help)
            .report(self);
        combined.value = wrong;
        self.set_fact(id, ix, combined);
    }

    /// Notes that a thing is said to be absent.
    fn store_presence(&mut self, id: ObjectId, kind: &Kind) {
        let said = kind.fact_named(PRESENT).and_then(|ix| self.fact_of(id, ix));
        let parameters = &self.design.parameters;
        let absent = said.map(|w| match &w.value {
            Possible::Formula(Formula::Parameter(id)) => (parameters.get(usize::from(id.0)))
                .is_some_and(|p| p.value == Possible::Truth(false)),
            value => *value == Possible::Truth(false),
        });
        let Some(absent) = absent else {
            return;
        };
        self.design.doubted = true;
        if let Some(object) = self.object_mut(id) {
            object.absent = absent;
        }
    }

    /// What stands in an absent thing is absent, too. Reports what leads there: nothing would be
    /// judged of it.
    pub(super) fn refuse_absent(&mut self) {
        if !self.design.doubted {
            return;
        }
        // Each with the thing that says so.
        let absent: Vec<(ObjectId, ObjectId)> = (self.design.ids())
            .filter_map(|id| {
                let mut around = std::iter::successors(Some(id), |at| {
                    let o = self.design.object(*at);
                    o.owner.or(o.scope)
                });
                Some((id, around.find(|at| self.design.object(*at).absent)?))
            })
            .collect();
        for (id, _) in &absent {
            if let Some(object) = self.object_mut(*id) {
                object.absent = true;
            }
        }
        let mut told = Vec::new();
        for object in self.design.objects.iter().filter(|o| o.stays()) {
            let kind = self.vocabulary.kind(object.kind);
            for (slot, fact) in object.facts.iter().zip(&kind.facts) {
                let Some(written) = slot else { continue };
                let leads = |(id, _): &&(ObjectId, ObjectId)| written.value.leads_to(*id);
                let Some((id, by)) = absent.iter().find(leads) else {
                    continue;
                };
                let (thing, by) = (self.design.object(*id), self.design.object(*by));
                let why = format!(
                    "`{}` leads to `{}`, which is said to be absent",
                    fact.name, thing.name
                );
                let mut problem = Problem::wrong("leads-to-absent", written.span, why)
                    .help("write what it leads to, or leave out `present: no`");
                let said = self.vocabulary.kind(by.kind).fact_named(PRESENT);
                if let Some(said) = said.and_then(|ix| by.written(ix)) {
                    problem = problem.at(said.span, "said here");
                }
                told.push(problem);
            }
        }
        for problem in told {
            problem.report(self);
        }
    }

    /// Where a kind has `status` among its facts, rules can read it there.
    fn store_status(&mut self, id: ObjectId, kind: &Kind, entries: &[Entry]) {
        let Some(ix) = kind.fact_named("status") else {
            return;
        };
        let Some(words) = kind.fact(ix).words() else {
            return;
        };
        let object = self.design.object(id);
        let word = object.status.word();
        let Some(place) = words.iter().position(|w| w == word) else {
            return;
        };
        let own = facts_called(entries, "status").next();
        // What is written wrongly is not the status of what stands around, there nor inside.
        let wrong = match own.map(|f| &f.value.kind) {
            Some(ValueKind::Word(word)) => Status::from_word(word).is_none(),
            Some(_) => true,
            None => object.scope.or(object.owner).is_some_and(|around| {
                let around = self.design.object(around);
                let ix = self.vocabulary.kind(around.kind).fact_named("status");
                let said = ix.and_then(|ix| around.written(ix));
                said.is_some_and(|w| w.value == Possible::Poison)
            }),
        };
        let own = own.map(|f| (f.value.span, f.key.span));
        let (span, key) = own.unwrap_or((object.head, object.head));
        let value = if wrong {
            Possible::Poison
        } else {
            Possible::Words(WordSet::one(place))
        };
        self.set_fact(id, ix, written(value, span, key));
    }

    /// `evidence`, which every block may say, where its kind does not declare it.
    fn evidence(&mut self, id: ObjectId, entry: &FactEntry) {
        let value = &entry.value;
        let text = match &value.kind {
            ValueKind::Text(text) | ValueKind::Word(text) => text.clone(),
            ValueKind::Unknown | ValueKind::Absent | ValueKind::Bad => return,
            _ => {
                Problem::wrong("wrong-type", value.span, "`evidence` takes a text")
                    .help("write it in quotes, as in `evidence: \"photo 12\"`")
                    .report(self);
                return;
            }
        };
        if let Some(object) = self.object_mut(id) {
            object.evidence = Some(Spanned::new(text, value.span));
        }
    }

    /// Reports a key that is no fact of this kind; gives the fact that was probably meant.
    fn unknown_fact(&mut self, kind: &'a Kind, entry: &FactEntry) -> Option<FactIx> {
        let key = entry.key.text.as_str();
        if self.asked(key, entry.key.span) || entry.no_colon {
            return None;
        }
        let why = format!("{} has no fact called `{key}`", with_article(&kind.name));
        let mut problem = Problem::wrong("unknown-fact", entry.key.span, why);
        let elsewhere: Vec<_> = self
            .vocabulary
            .kinds
            .iter()
            .filter(|k| !k.is_abstract())
            .filter(|k| k.fact_named(key).is_some_and(|ix| k.fact(ix).writable))
            .map(|k| k.name.as_str())
            .collect();
        let writable: Vec<_> = indices(kind)
            .map(|(_, f)| f)
            .filter(|f| f.writable && !matches!(f.ty, FactType::Reverse { .. }))
            .collect();
        let mut names: Vec<_> = writable
            .iter()
            .flat_map(|f| std::iter::once(&f.name).chain(&f.also).map(String::as_str))
            .collect();
        names.extend(["status", "all-listed", "evidence", "rest"]);
        let meant = nearest(key, &names);
        if let Some(meant) = meant {
            problem = problem.meant(key, meant);
        }
        if !elsewhere.is_empty() {
            let shown = elsewhere.get(..6.min(elsewhere.len())).unwrap_or_default();
            problem = problem.help(format!("`{key}` is a fact of {}", listed(shown, "and")));
        } else if meant.is_none() {
            let all: Vec<_> = writable.iter().map(|f| f.name.as_str()).collect();
            problem = match all.get(..MOST_FACTS) {
                Some(first) if first.len() < all.len() => problem.help(format!(
                    "its facts are `{}` and {} more: `amperule rules words {}` shows all",
                    first.join("`, `"),
                    all.len() - first.len(),
                    kind.name
                )),
                _ if all.is_empty() => problem,
                _ => problem.help(format!("its facts are {}", listed(&all, "and"))),
            };
        }
        problem.report(self);
        if elsewhere.is_empty() {
            kind.fact_named(meant?)
        } else {
            None
        }
    }

    fn derived(&mut self, kind: &Kind, ix: FactIx, entry: &FactEntry) -> Possible {
        let fact = kind.fact(ix);
        let name = &fact.name;
        let (why, help) = match fact.ty {
            FactType::Reverse {
                kind: members,
                fact: reference,
            } => {
                let reference = &self.vocabulary.fact(members, reference).name;
                let members = &self.vocabulary.kind(members).name;
                (
                    format!("`{name}` is collected from what refers to this block"),
                    format!("write `{reference}:` in each `{members}` instead"),
                )
            }
            _ => (
                format!("`{name}` is worked out from other facts and cannot be written"),
                "leave the line out".to_owned(),
            ),
        };
        Problem::wrong("derived-fact", entry.key.span, why)
            .help(help)
            .report(self);
        Possible::Poison
    }

    /// What several statements of one fact add up to.
    fn combine(&mut self, kind: &Kind, ix: FactIx, statements: Vec<Statement>) -> Option<Written> {
        let name = &kind.fact(ix).name;
        let mut wrong = false;
        for (place, statement) in statements.iter().enumerate() {
            let same = statements
                .iter()
                .take(place)
                .find(|s| s.origin == statement.origin);
            if let Some(first) = same {
                wrong = true;
                Problem::error("duplicate-fact", format!("`{name}` is written twice"))
                    .at(statement.key.to(statement.span), "again")
                    .at(first.key.to(first.span), "first here")
                    .help("leave one of them out, or say where each comes from, as in `(measured)` and `(declared)`")
                    .report(self);
            }
        }
        wrong |= statements.iter().any(|s| s.value == Possible::Poison);
        for (place, statement) in statements.iter().enumerate() {
            let other = statements
                .iter()
                .take(place)
                .find(|s| !wrong && cannot_both_hold(&s.value, &statement.value));
            if let Some(other) = other {
                Problem::caution(
                    "statements-disagree",
                    format!("two statements of `{name}` cannot both hold"),
                )
                .at(statement.span, "")
                .at(other.span, "the other one")
                .help("every verdict must then hold for both; leave out the one that is wrong")
                .report(self);
                break;
            }
        }
        let origin = joint_origin(statements.iter().map(|s| s.origin));
        let mut statements = statements.into_iter();
        let first = statements.next()?;
        let (key, span) = (first.key, first.span);
        let value = if wrong {
            Possible::Poison
        } else {
            let all = std::iter::once(first).chain(statements);
            self.one_of(all.map(|s| s.value).collect(), span)
        };
        Some(Written {
            value,
            origin,
            span,
            key,
        })
    }
}

/// Where a value comes from: its own origin, or the one that all its pieces share.
pub(super) fn origin(value: &Value) -> Option<Origin> {
    if let Some(origin) = &value.origin {
        return Some(origin.value);
    }
    match &value.kind {
        ValueKind::OneOf(values) | ValueKind::List(values) => {
            joint_origin(values.iter().map(origin))
        }
        ValueKind::PerLine(lines) => joint_origin(lines.iter().map(|(_, v)| origin(v))),
        _ => None,
    }
}

/// The origin of several values together: the same for all, or assumed if any of them is.
fn joint_origin(origins: impl Iterator<Item = Option<Origin>>) -> Option<Origin> {
    let assumed = Some(Origin::Assumed);
    let joint = origins.reduce(|a, b| match a {
        _ if a == assumed || b == assumed => assumed,
        _ if a == b => a,
        _ => None,
    });
    joint.flatten()
}
