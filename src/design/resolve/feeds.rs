//! The feed must not lead back to where it came from, and not through more feeds than may stand one
//! behind the other.

use super::resolver::{Resolver, indices, listed};
use crate::design::model::{ObjectId, Possible, Written};
use crate::source::Problem;
use crate::source::limits::FEEDS;
use crate::vocabulary::{FactIx, FactType};

/// The reference that leads towards the supply.
const FEED: &str = "fed-from";

/// The most objects of a loop that its message shows.
const MOST_SHOWN: usize = 12;

/// How far an object has been followed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Seen {
    Not,
    OnPath,
    Done,
}

impl Resolver<'_> {
    /// Reports each loop of the feed and breaks it: one of its references counts as written
    /// wrongly.
    pub(super) fn break_feed_loops(&mut self) {
        let count = self.design.objects.len();
        let mut seen = vec![Seen::Not; count];
        // Of those that are done: how many feeds lie between them and where they are supplied.
        let mut feeds = vec![0_usize; count];
        let mut far: Vec<ObjectId> = Vec::new();
        for start in self.design.ids() {
            if seen.get(start.0 as usize) != Some(&Seen::Not) {
                continue;
            }
            // The path from `start`, each with the objects that are still to be followed.
            let mut path: Vec<(ObjectId, Vec<ObjectId>)> = vec![(start, self.feeders(start))];
            mark(&mut seen, start, Seen::OnPath);
            while let Some((at, rest)) = path.last_mut() {
                let at = *at;
                let Some(next) = rest.pop() else {
                    mark(&mut seen, at, Seen::Done);
                    path.pop();
                    let through = |from: ObjectId| feeds.get(from.0 as usize).map_or(0, |n| n + 1);
                    let before = self.feeders(at).into_iter().map(through).max();
                    let mut before = before.unwrap_or(0);
                    if before > FEEDS {
                        far.push(at);
                        before = 0;
                    }
                    if let Some(slot) = feeds.get_mut(at.0 as usize) {
                        *slot = before;
                    }
                    continue;
                };
                match seen.get(next.0 as usize) {
                    Some(Seen::Not) => {
                        mark(&mut seen, next, Seen::OnPath);
                        path.push((next, self.feeders(next)));
                    }
                    Some(Seen::OnPath) => {
                        rest.clear();
                        let from = path.iter().position(|(id, _)| *id == next).unwrap_or(0);
                        let members: Vec<_> = path.iter().skip(from).map(|(id, _)| *id).collect();
                        self.break_loop(&members);
                    }
                    Some(Seen::Done) | None => {}
                }
            }
        }
        self.break_far_feeds(&far);
    }

    /// Reports the first of the things that are fed through too many others; the feed of each
    /// counts as written wrongly.
    fn break_far_feeds(&mut self, far: &[ObjectId]) {
        let Some(first) = far.first() else { return };
        let message = format!(
            "`{}` is fed through more than {FEEDS} others one behind the other",
            self.design.label(*first)
        );
        let written = self.feed_of(*first).and_then(|ix| self.fact_of(*first, ix));
        let span = written.map_or(self.design.object(*first).head, |w| w.span);
        Problem::wrong("feed-too-long", span, message)
            .help("feed it from something nearer to the supply, or split the design in two")
            .report(self);
        for id in far {
            self.break_feed(*id);
        }
    }

    /// Lets the feed of an object count as written wrongly.
    fn break_feed(&mut self, id: ObjectId) {
        if let Some(ix) = self.feed_of(id)
            && let Some(written) = self.fact_of(id, ix).cloned()
        {
            let value = Possible::Poison;
            self.set_fact(id, ix, Written { value, ..written });
        }
    }

    fn feed_of(&self, id: ObjectId) -> Option<FactIx> {
        let kind = self.kind_of(id);
        let (ix, _) = indices(kind)
            .find(|(_, f)| f.name == FEED && matches!(f.ty, FactType::Reference(_)))?;
        Some(ix)
    }

    /// The objects that may feed this one.
    fn feeders(&self, id: ObjectId) -> Vec<ObjectId> {
        let written = self.feed_of(id).and_then(|ix| self.fact_of(id, ix));
        let values = match written.map(|w| &w.value) {
            Some(Possible::OneOf(values)) => values,
            Some(only) => std::slice::from_ref(only),
            None => &[],
        };
        let objects = values.iter().filter_map(|v| match v {
            Possible::Object(to) => Some(*to),
            _ => None,
        });
        objects.collect()
    }

    /// `members`: each is fed from the next, the last from the first.
    fn break_loop(&mut self, members: &[ObjectId]) {
        let mut names: Vec<_> = members
            .iter()
            .rev()
            .take(MOST_SHOWN)
            .map(|id| self.design.label(*id))
            .collect();
        if members.len() > MOST_SHOWN {
            names.push(format!("{} more", members.len() - MOST_SHOWN));
        }
        let message = match names.as_slice() {
            [only] => format!("`{only}` feeds itself"),
            names => format!("{} feed each other in a circle", listed(names, "and")),
        };
        let mut problem = Problem::error("circular-feed", message);
        let mut places: Vec<_> = members
            .iter()
            .filter_map(|id| {
                let span = self.fact_of(*id, self.feed_of(*id)?)?.span;
                let name = self.design.label(*id);
                Some((span, format!("says what feeds `{name}`")))
            })
            .collect();
        places.sort();
        for (span, text) in places.into_iter().take(MOST_SHOWN) {
            problem = problem.at(span, text);
        }
        problem
            .help("let one of them be fed from the supply, or from another board")
            .report(self);
        // The innermost step closed the loop; what is left of a long one would be too long a feed.
        let broken = if members.len() > FEEDS {
            members
        } else {
            members.last().map_or(&[][..], std::slice::from_ref)
        };
        for id in broken {
            self.break_feed(*id);
        }
    }
}

fn mark(seen: &mut [Seen], id: ObjectId, state: Seen) {
    if let Some(slot) = seen.get_mut(id.0 as usize) {
        *slot = state;
    }
}
