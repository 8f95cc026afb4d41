//! `rest: as-required`: what is not written of an article is left to the rules, to be asked of
//! what is bought.

use super::completeness::facts_called;
use super::resolver::{Resolver, indices};
use crate::design::model::{ObjectId, Possible, Status, Written};
use crate::design::tree::{Entry, Origin, ValueKind};
use crate::source::Problem;
use crate::vocabulary::{FactIx, Kind, with_article};

impl Resolver<'_> {
    /// Leaves the silent facts of an article to the rules, where it says so.
    pub(super) fn leave_rest(&mut self, id: ObjectId, kind: &Kind, entries: &[Entry]) {
        let Some(said) = facts_called(entries, "rest").next() else {
            return;
        };
        let problem = |text: String| Problem::wrong("wrong-rest", said.value.span, text);
        match &said.value.kind {
            ValueKind::Word(word) if word == "as-required" => {}
            ValueKind::Bad => return,
            _ => {
                let text = "`rest` takes `as-required` alone".to_owned();
                problem(text).help("write `rest: as-required`").report(self);
                return;
            }
        }
        if !kind.bought {
            let bought: Vec<&str> = self
                .vocabulary
                .kinds
                .iter()
                .filter(|k| k.bought)
                .map(|k| k.name.as_str())
                .collect();
            let text = format!("{} is not bought as one article", with_article(&kind.name));
            let bought = bought.join(", ");
            problem(text)
                .help(format!("`rest: as-required` stands in what is: {bought}; here write what is known, and `?` for the rest"))
                .report(self);
            return;
        }
        let status = self.design.object(id).status;
        if !matches!(status, Status::New | Status::Altered) {
            let text = format!("nothing can be asked of what is `{status}`");
            let mut problem = problem(text);
            let around = self
                .design
                .object(id)
                .owner
                .map(|o| self.design.object(o).head);
            if let Some(around) = around {
                problem = problem.at(around, "it belongs to this");
            }
            problem
                .help("write `new` or `altered` in the head of what these works put in or change, or read what is there")
                .report(self);
            return;
        }
        let silent: Vec<FactIx> = indices(kind)
            .filter(|(ix, fact)| fact.requirable && self.fact_of(id, *ix).is_none())
            .map(|(ix, _)| ix)
            .collect();
        for ix in silent {
            let written = Written {
                value: Possible::Unknown,
                origin: Some(Origin::Required),
                span: said.value.span,
                key: said.key.span,
            };
            self.set_fact(id, ix, written);
        }
    }
}
