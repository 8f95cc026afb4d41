//! What every block may say of itself: whether it is new, and whether what stands in it is all.

use super::resolver::{Resolver, indices};
use crate::design::model::{ObjectId, Status};
use crate::design::tree::{Entry, FactEntry, Value, ValueKind, Word};
use crate::source::Problem;
use crate::vocabulary::{FactType, KindId};

impl Resolver<'_> {
    /// The status an object has: its own, else that of what it stands in or belongs to.
    pub(super) fn status(&mut self, entries: &[Entry], inherited: Status) -> Status {
        let Some(fact) = facts_called(entries, "status").next() else {
            return inherited;
        };
        let word = match &fact.value.kind {
            ValueKind::Word(word) => word.as_str(),
            ValueKind::Bad => return inherited,
            _ => "",
        };
        if let Some(status) = Status::from_word(word) {
            return status;
        }
        let why = "`status` takes one of `new`, `existing`, `altered` or `to-go`";
        let mut problem = Problem::wrong("wrong-status", fact.value.span, why)
            .did_you_mean(word, Status::ALL.map(Status::word));
        if matches!(fact.value.kind, ValueKind::Unknown) {
            problem = problem.help("what stands there already is `existing`, seen or not");
        }
        problem.report(self);
        inherited
    }

    /// Reads what an object says about being complete: `all-listed`, `no KIND`.
    pub(super) fn read_closed(&mut self, id: ObjectId, entries: &[Entry]) {
        let mut closed = Vec::new();
        for entry in entries {
            if let Entry::No(no) = entry {
                closed.extend(self.kind_listed(&no.kind));
            }
        }
        for fact in facts_called(entries, "all-listed") {
            self.all_listed(&fact.value, &mut closed);
        }
        if let Some(object) = self.object_mut(id) {
            object.closed = closed;
        }
    }

    fn all_listed(&mut self, value: &Value, closed: &mut Vec<KindId>) {
        match &value.kind {
            ValueKind::Word(text) => {
                let word = Word::new(text.clone(), value.span);
                closed.extend(self.kind_listed(&word));
            }
            ValueKind::List(values) => {
                for value in values {
                    self.all_listed(value, closed);
                }
            }
            ValueKind::Unknown | ValueKind::Absent | ValueKind::Bad => {}
            _ => Problem::error("wrong-type", "`all-listed` takes names of kinds")
                .at(value.span, "")
                .help("write for example `all-listed: circuit, load`")
                .report(self),
        }
    }

    pub(super) fn kind_listed(&mut self, word: &Word) -> Option<KindId> {
        let kind = self.vocabulary.kind_named(&word.text);
        if kind.is_none() {
            let names = self.vocabulary.kinds.iter().map(|k| k.name.as_str());
            let why = format!("there is no kind called `{}`", word.text);
            let mut problem = Problem::error("unknown-kind", why)
                .at(word.span, "expected the name of a kind, such as `circuit`");
            // `circuits` is the collection; its kind is what is meant.
            let collection = self.vocabulary.kinds.iter().find_map(|k| {
                let (_, fact) = indices(k).find(|(_, f)| f.name == word.text)?;
                match fact.ty {
                    FactType::Reverse { kind, .. }
                    | FactType::References(kind)
                    | FactType::Parts(kind) => Some(kind),
                    _ => None,
                }
            });
            problem = match collection {
                Some(kind) => problem.help(format!("write `{}`", self.vocabulary.kind(kind).name)),
                None => problem.did_you_mean(&word.text, names),
            };
            problem.report(self);
        }
        kind
    }
}

/// The facts among some entries that are called so.
pub(super) fn facts_called<'e>(
    entries: &'e [Entry],
    key: &str,
) -> impl Iterator<Item = &'e FactEntry> {
    entries.iter().filter_map(move |entry| match entry {
        Entry::Fact(fact) if fact.key.text == key => Some(fact),
        _ => None,
    })
}
