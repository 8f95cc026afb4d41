//! Names that lead to other objects.

use super::expected::in_quotes;
use super::resolver::{Resolver, Site, listed};
use crate::design::model::{Formula, ObjectId, Possible};
use crate::design::tree::{Value, ValueKind, Word};
use crate::quantity::Dim;
use crate::source::{Problem, Span, closest};
use crate::vocabulary::{KindId, with_article};

impl<'a> Resolver<'a> {
    /// One name; alternatives were taken apart before.
    pub(super) fn reference(
        &mut self,
        site: &Site<'_>,
        kind: KindId,
        value: &'a Value,
    ) -> Option<Possible> {
        match &value.kind {
            ValueKind::Word(word) => {
                if self.parameters.contains_key(word.as_str()) {
                    let fact = &site.fact.name;
                    let why = format!("`{fact}` takes a name, and `{word}` is a parameter");
                    return Problem::wrong("wrong-type", value.span, why)
                        .help("write the name itself, or alternatives with `|`")
                        .fail(self);
                }
                self.named(word, value.span, Some(kind))
            }
            ValueKind::Indexed { word, index } => {
                let name = self.indexed_name(site, word, index)?;
                self.named(&name, value.span, Some(kind))
            }
            ValueKind::List(_) | ValueKind::All(_) => Problem::wrong(
                "one-reference",
                value.span,
                format!("`{}` takes one name, and this is several", site.fact.name),
            )
            .help("write one name, or alternatives with `|`")
            .fail(self),
            ValueKind::Text(text) if text.contains('.') => self.named(text, value.span, Some(kind)),
            ValueKind::Text(text) if !self.objects_named(text, Some(kind)).is_empty() => {
                in_quotes(site, "a name", text, value.span).fail(self)
            }
            _ => self.wrong_type(site, value),
        }
    }

    /// Several names.
    pub(super) fn references(
        &mut self,
        site: &Site<'_>,
        kind: KindId,
        value: &'a Value,
    ) -> Option<Possible> {
        let values = value.listed();
        let mut list = Vec::with_capacity(values.len());
        let one = |this: &mut Self, v| this.reference(site, kind, v);
        for value in values {
            match &value.kind {
                ValueKind::All(word) => list.extend(self.all_of(site, kind, word)?),
                _ => list.push(self.member(value, "names", &one)),
            }
        }
        if list.contains(&Possible::Poison) {
            return None;
        }
        let mut seen = rustc_hash::FxHashSet::default();
        let twice = list
            .iter()
            .any(|p| matches!(p, Possible::Object(id) if !seen.insert(*id)));
        if twice {
            let why = format!("`{}` names the same block twice", site.fact.name);
            return Problem::wrong("name-twice", value.span, why)
                .help("leave one of them out")
                .fail(self);
        }
        Some(Possible::List(list))
    }

    /// `all charge-point`
    fn all_of(&mut self, site: &Site<'_>, kind: KindId, word: &Word) -> Option<Vec<Possible>> {
        let Some(named) = self.vocabulary.kind_named(&word.text) else {
            let names = self.vocabulary.kinds.iter().map(|k| k.name.as_str());
            let why = format!("there is no kind called `{}`", word.text);
            return Problem::error("unknown-kind", why)
                .at(
                    word.span,
                    "expected the name of a kind, such as `charge-point`",
                )
                .did_you_mean(&word.text, names)
                .fail(self);
        };
        let vocabulary = self.vocabulary;
        let suits = |id: KindId| vocabulary.fits(id, named) && vocabulary.fits(id, kind);
        if !vocabulary.kind_ids().any(suits) {
            let name = &site.fact.name;
            let what = with_article(&vocabulary.kind(kind).name);
            let other = with_article(&word.text);
            let why = format!("each name in `{name}` is that of {what}, and {other} is none");
            return Problem::wrong("wrong-kind", word.span, why)
                .help(format!(
                    "write for example `all {}`",
                    vocabulary.kind(kind).name
                ))
                .fail(self);
        }
        let own = site.object;
        let all: Vec<_> = self
            .design
            .ids()
            .filter(|id| {
                let object = self.design.object(*id);
                *id != own && object.owner.is_none() && suits(object.kind)
            })
            .map(Possible::Object)
            .collect();
        self.room_for(all.len(), word.span).then_some(all)
    }

    /// The name `bay[3]` that `bay[n]` stands for.
    pub(super) fn indexed_name(
        &mut self,
        site: &Site<'_>,
        word: &Word,
        index: &'a Value,
    ) -> Option<String> {
        let term = self.term(site, index)?;
        let number = match term.formula {
            Formula::Number(x)
                if term.dim == Dim::NONE && x.fract() == 0.0 && (0.0..=1e9).contains(&x) =>
            {
                format!("{x:.0}")
            }
            _ => {
                let why = "a number in square brackets must be whole";
                return Problem::wrong("wrong-index", index.span, why)
                    .help("write a number, `n`, or a calculation with them, as in `bay[n + 1]`")
                    .fail(self);
            }
        };
        Some(format!("{}[{number}]", word.text))
    }

    /// The objects with a name, or with a name inside another (`main.ev`), or of a kind and with a
    /// name (`circuit.ev`, where a charge point is called `ev` too).
    pub(super) fn objects_named(&self, name: &str, wanted: Option<KindId>) -> Vec<ObjectId> {
        let found = self.objects_by_place(name, wanted);
        if !found.is_empty() {
            return found;
        }
        let Some((kind, rest)) = name.split_once('.') else {
            return found;
        };
        let Some(kind) = self.vocabulary.kind_named(kind) else {
            return found;
        };
        let mut all = self.objects_by_place(rest, wanted);
        all.retain(|id| self.vocabulary.fits(self.design.object(*id).kind, kind));
        all
    }

    /// The objects with a name, or with a name inside another (`main.ev`).
    fn objects_by_place(&self, name: &str, wanted: Option<KindId>) -> Vec<ObjectId> {
        let suits = |id: &ObjectId| {
            let kind = self.design.object(*id).kind;
            wanted.is_none_or(|wanted| self.vocabulary.fits(kind, wanted))
        };
        if let Some(ids) = self.names.get(name) {
            return ids.iter().copied().filter(suits).collect();
        }
        let Some((around, inner)) = name.rsplit_once('.') else {
            return Vec::new();
        };
        let ids = self.names.get(inner).into_iter().flatten().copied();
        ids.filter(suits)
            .filter(|id| {
                let outer = self.design.object(*id).scope;
                outer.is_some_and(|o| {
                    self.design.full_name(o) == around || self.design.object(o).name == around
                })
            })
            .collect()
    }

    /// Names that lead to objects of a kind, in the order written.
    pub(super) fn names_fitting(&self, wanted: Option<KindId>) -> Vec<String> {
        self.design
            .objects
            .iter()
            .filter(|o| o.owner.is_none() && self.names.contains_key(&o.name))
            .filter(|o| wanted.is_none_or(|wanted| self.vocabulary.fits(o.kind, wanted)))
            .map(|o| o.name.clone())
            .collect()
    }

    /// The object that a name leads to.
    pub(super) fn named(
        &mut self,
        name: &str,
        span: Span,
        wanted: Option<KindId>,
    ) -> Option<Possible> {
        let found = self.objects_named(name, wanted);
        match found.as_slice() {
            [only] => Some(Possible::Object(*only)),
            [] => self.not_found(name, span, wanted),
            several => self.ambiguous(name, span, several),
        }
    }

    fn ambiguous(&mut self, name: &str, span: Span, several: &[ObjectId]) -> Option<Possible> {
        let why = format!("`{name}` is the name of {} blocks", several.len());
        let mut problem = Problem::error("ambiguous-name", why).at(span, "which one is meant?");
        let mut ways = Vec::new();
        for id in several.iter().take(4) {
            let object = self.design.object(*id);
            let kind = &self.vocabulary.kind(object.kind).name;
            problem = problem.at(object.head, format!("this {kind}"));
            ways.push(self.design.full_name(*id));
        }
        let alone = |ways: &[String]| {
            let once = |way: &String| ways.iter().filter(|w| *w == way).count() == 1;
            ways.iter().all(|way| way != name && once(way))
        };
        let mut told_apart = alone(&ways);
        if !told_apart {
            let by_kind = |id: &ObjectId| {
                let object = self.design.object(*id);
                format!("{}.{}", self.vocabulary.kind(object.kind).name, object.name)
            };
            ways = several.iter().take(4).map(by_kind).collect();
            told_apart = alone(&ways);
        }
        problem = if let (true, Some(fact)) = (told_apart, &self.heading) {
            // A block is headed by one word.
            let ways: Vec<String> = ways.iter().map(|way| format!("{fact}: {way}")).collect();
            problem.help(format!(
                "leave the name of this block out and write {} in it",
                listed(&ways, "or")
            ))
        } else if told_apart {
            problem.help(format!("write {}", listed(&ways, "or")))
        } else {
            problem.help("give one of them another name")
        };
        problem.fail(self)
    }

    fn not_found(&mut self, name: &str, span: Span, wanted: Option<KindId>) -> Option<Possible> {
        let base = name.split_once('[').map_or(name, |(base, _)| base);
        if self.lost.contains(name)
            || self.lost.contains(base)
            || self.is_reported("unknown-name", span)
        {
            return None;
        }
        let kind = wanted.map(|w| self.vocabulary.kind(w).name.as_str());
        if let (Some(kind), Some(other)) = (kind, self.objects_named(name, None).first()) {
            let object = self.design.object(*other);
            let is = &self.vocabulary.kind(object.kind).name;
            let why = format!(
                "`{name}` is {}, and {} is asked for",
                with_article(is),
                with_article(kind)
            );
            let mut problem =
                Problem::wrong("wrong-kind", span, why).at(object.head, "written here");
            let names = self.names_fitting(wanted);
            if let Some(name) = names.first() {
                problem = problem.help(format!(
                    "write the name of {}, such as `{name}`",
                    with_article(kind)
                ));
            }
            return problem.fail(self);
        }
        if let Some((first, last)) = self.repeated.get(base) {
            let problem = if base == name {
                Problem::error("which-of-many", format!("`{name}` is the name of several blocks"))
                    .at(span, "which one is meant?")
                    .help(format!("write `{name}[{first}]` to `{name}[{last}]`, `{name}[n]` in a repeated block, or `{name}[{first}..{last}]` where names are listed"))
            } else {
                Problem::error("unknown-name", format!("there is no `{name}`"))
                    .at(span, format!("`{base}` is numbered {first} to {last}"))
            };
            return problem.fail(self);
        }
        let names = self.names_fitting(wanted);
        // A name for several kinds, such as `tested`, is none that a design writes.
        let several = wanted.is_some_and(|w| self.vocabulary.kind(w).is_abstract());
        let what = kind.filter(|_| !several).unwrap_or("block");
        let why = format!("there is no {what} called `{name}`");
        let mut problem = Problem::wrong("unknown-name", span, why);
        if let Some(close) = closest(name, names.iter().map(String::as_str)) {
            problem = problem.meant(name, close);
        } else if self.defines.contains_key(name) {
            problem = problem.help(format!("`{name}` is a define: a part, not a block"));
        } else if names.is_empty() {
            problem = problem.help(format!("no {what} is written in this design"));
        } else if names.len() <= 12 {
            problem = problem.help(format!("the names here are {}", listed(&names, "and")));
        }
        problem.fail(self)
    }
}
