//! What a question is known by in tables and forms: names as a design writes them, with dots.

use std::collections::BTreeMap;

use crate::design::model::{Design, ObjectId, Possible};
use crate::source::Problem;
use crate::vocabulary::{FactIx, KindId, Vocabulary};

/// What an answer is written for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Target {
    /// A fact of an object.
    Fact(ObjectId, FactIx),
    /// A fact inside a part that is not written.
    Inside(ObjectId, FactIx, KindId, FactIx),
    /// Whether all of a kind are written down.
    Listed(ObjectId, KindId),
}

impl Target {
    /// Whether it says what a part is that is not written, as the word that opens one does.
    #[must_use]
    pub fn says_what_it_is(self, v: &Vocabulary) -> bool {
        let Self::Inside(_, _, kind, ix) = self else {
            return false;
        };
        let mut sets = v.kind(kind).heads.iter().flat_map(|h| &h.sets);
        sets.any(|(fact, _)| *fact == ix)
    }
}

/// The names of all objects of a design.
#[derive(Debug)]
pub struct Names {
    of: Vec<String>,
    by_name: BTreeMap<String, ObjectId>,
}

impl Names {
    /// Names every object; what several blocks are called has its kind in front.
    #[must_use]
    pub fn new(v: &Vocabulary, design: &Design) -> Self {
        let mut full: BTreeMap<String, KindId> = BTreeMap::new();
        let mut shared: Vec<String> = Vec::new();
        for id in design.ids().filter(|id| design.object(*id).owner.is_none()) {
            let name = design.full_name(id);
            let kind = design.object(id).kind;
            if full.insert(name.clone(), kind).is_some_and(|k| k != kind) {
                shared.push(name);
            }
        }
        let mut of: Vec<String> = Vec::with_capacity(design.objects.len());
        let mut by_name = BTreeMap::new();
        for id in design.ids() {
            let block = design.nearest_named(id);
            let mut name = design.full_name(block);
            if shared.contains(&name) {
                name = format!("{}.{name}", v.kind(design.object(block).kind).name);
            }
            let mut roles = Vec::new();
            let mut at = id;
            while let Some(owner) = design.object(at).owner {
                // `cables 2` is the second of the cables.
                let role = &design.object(at).name;
                roles.push(match role.split_once(' ') {
                    Some((fact, number)) => format!("{fact}[{number}]"),
                    None => role.clone(),
                });
                at = owner;
            }
            for role in roles.iter().rev() {
                name.push('.');
                name.push_str(role);
            }
            by_name.entry(name.clone()).or_insert(id);
            of.push(name);
        }
        Self { of, by_name }
    }

    /// The name of an object.
    #[must_use]
    pub fn of(&self, id: ObjectId) -> &str {
        self.of.get(id.0 as usize).map_or("", String::as_str)
    }

    /// What a question is about.
    ///
    /// # Errors
    /// A problem, where there is no such object or fact, or nobody writes it.
    pub fn target(&self, v: &Vocabulary, design: &Design, id: &str) -> Result<Target, Problem> {
        let id = id.trim();
        let unknown = || self.unknown(v, design, id);
        if let Some((of, kind)) = id.split_once(".all-listed") {
            let kind = kind.trim_start_matches([':', ' ', '.']);
            let listed = self.by_name.get(of).zip(v.kind_named(kind));
            let listed = listed.map(|(object, kind)| Target::Listed(*object, kind));
            return listed.ok_or_else(unknown);
        }
        let (of, name) = id.rsplit_once('.').ok_or_else(unknown)?;
        if let Some(object) = self.by_name.get(of) {
            let ix = v.kind(design.object(*object).kind).fact_named(name);
            return ix.map(|ix| Target::Fact(*object, ix)).ok_or_else(unknown);
        }
        // A fact inside a part.
        let (of, part) = of.rsplit_once('.').ok_or_else(unknown)?;
        let object = *self.by_name.get(of).ok_or_else(unknown)?;
        let kind = design.object(object).kind;
        let part = v.kind(kind).fact_named(part).ok_or_else(unknown)?;
        let inner = v.fact(kind, part).target().ok_or_else(unknown)?;
        let fact = v.kind(inner).fact_named(name).ok_or_else(unknown)?;
        let written = match design.object(object).written(part).map(|w| &w.value) {
            Some(Possible::List(all)) => all.as_slice(),
            Some(one) => std::slice::from_ref(one),
            None => &[],
        };
        Ok(match written {
            [Possible::Object(o)] => Target::Fact(*o, fact),
            _ => Target::Inside(object, part, inner, fact),
        })
    }

    fn unknown(&self, v: &Vocabulary, design: &Design, id: &str) -> Problem {
        let problem = Problem::error("unknown-question", format!("there is no question `{id}`"));
        let Some((of, name)) = id.rsplit_once('.') else {
            return problem.help("write the thing, a dot and the fact, like `supply.Ze`");
        };
        match self.by_name.get(of) {
            Some(object) => {
                let kind = v.kind(design.object(*object).kind);
                let facts = kind.writable_names().map(|f| format!("{of}.{f}"));
                let facts: Vec<String> = facts.collect();
                problem
                    .did_you_mean(&format!("{of}.{name}"), facts.iter().map(String::as_str))
                    .help(format!(
                        "`amperule rules words {}` lists its facts",
                        kind.name
                    ))
            }
            None => {
                let there: Vec<String> =
                    self.by_name.keys().map(|k| format!("{k}.{name}")).collect();
                problem
                    .did_you_mean(id, there.iter().map(String::as_str))
                    .help("`amperule survey --format csv` lists the open questions")
            }
        }
    }
}
