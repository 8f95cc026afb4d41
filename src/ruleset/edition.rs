//! Editions: which one is usable on a day, and which items hold in it.

use serde::{Deserialize, Serialize};

use super::reader::Fields;
use super::schema;
use super::yaml::Node;
use crate::quantity::{format_date, parse_date};
use crate::source::{Problem, Span};

/// Which ruleset to compile.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Request {
    /// The base.
    pub base: String,
    /// Patches on top, in order.
    pub patches: Vec<String>,
    /// The edition, if it is named.
    pub edition: Option<String>,
    /// The day by which it is chosen otherwise, in days since 1970-01-01.
    pub on: Option<i32>,
}

/// An edition of a ruleset.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Edition {
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// First day on which it may be used.
    pub usable_from: Option<i32>,
    /// First day from which it must be used.
    pub required_from: Option<i32>,
    /// First day on which it may no longer be used.
    pub withdrawn_on: Option<i32>,
    /// The edition of the parent that goes with it; its newest, if none is named.
    pub parent: Option<String>,
}

impl Edition {
    fn read(node: &Node, problems: &mut Vec<Problem>) -> Option<Self> {
        let f = Fields::new(node, node.span, &schema::EDITION, problems)?;
        let id = f.needed("id", problems)?.to_owned();
        let mut date = |key: &str| {
            let text = f.text(key, problems)?;
            match parse_date(text) {
                Ok(d) => Some(d),
                Err(_) => {
                    let at = f.at(key);
                    Problem::wrong("bad-date", at, format!("`{text}` is not a date"))
                        .help("write it like `2026-10-15`")
                        .fail(problems)
                }
            }
        };
        let (usable_from, required_from, withdrawn_on) = (
            date("usable-from"),
            date("required-from"),
            date("withdrawn-on"),
        );
        Some(Self {
            title: f.owned("title", problems).unwrap_or_else(|| id.clone()),
            parent: f.owned("parent-edition", problems),
            id,
            usable_from,
            required_from,
            withdrawn_on,
        })
    }

    /// The editions of a ruleset, oldest first.
    pub(super) fn read_all(list: &[Node], problems: &mut Vec<Problem>) -> Vec<Self> {
        let mut all: Vec<(Self, Span)> = Vec::new();
        for node in list {
            let Some(edition) = Self::read(node, problems) else {
                continue;
            };
            if let Some((_, first)) = all.iter().find(|(e, _)| e.id == edition.id) {
                let why = format!("there are two editions `{}`", edition.id);
                Problem::wrong("stated-twice", node.span, why)
                    .at(*first, "the first one")
                    .help("give each an id of its own")
                    .report(problems);
            }
            let of = edition.usable_from;
            let last = all
                .iter()
                .rev()
                .find_map(|(e, at)| Some((e.usable_from?, *at)));
            if let Some((_, before)) = last.filter(|(day, _)| of.is_some_and(|d| d < *day)) {
                let why = "this edition is usable before the one above it";
                Problem::wrong("bad-date", node.span, why)
                    .at(before, "the one above")
                    .help("write the editions in their order, the oldest first")
                    .report(problems);
            }
            let days = [
                ("usable-from", of),
                ("required-from", edition.required_from),
                ("withdrawn-on", edition.withdrawn_on),
            ];
            let days: Vec<_> = days
                .iter()
                .filter_map(|(key, d)| Some((key, (*d)?)))
                .collect();
            for pair in days.windows(2) {
                if let [(first, a), (then, b)] = pair
                    && b < a
                {
                    let why = format!("`{then}` lies before `{first}`");
                    Problem::wrong("bad-date", node.span, why)
                        .help("correct one of the two days")
                        .report(problems);
                }
            }
            all.push((edition, node.span));
        }
        all.into_iter().map(|(e, _)| e).collect()
    }

    /// Whether it may be used on a day; editions without dates never are by date.
    #[must_use]
    pub fn usable_on(&self, day: i32) -> bool {
        self.usable_from.is_some_and(|d| d <= day) && self.withdrawn_on.is_none_or(|d| day < d)
    }
}

/// What was chosen and why.
#[derive(Default)]
pub(super) struct Choice {
    pub(super) index: usize,
    pub(super) others: Vec<String>,
    pub(super) note: Option<String>,
}

/// Chooses an edition: the one named, else the newest usable on the day, else the newest.
pub(super) fn choose(
    ruleset: &str,
    editions: &[Edition],
    request: &Request,
) -> Result<Choice, Problem> {
    if let Some(name) = &request.edition {
        return match editions.iter().position(|e| e.id == *name) {
            Some(index) => Ok(Choice {
                index,
                ..Choice::default()
            }),
            None => Err(Problem::error(
                "unknown-edition",
                format!("the ruleset `{ruleset}` has no edition `{name}`"),
            )
            .help(format!("its editions are {}", list(editions)))
            .did_you_mean(name, editions.iter().map(|e| e.id.as_str()))),
        };
    }
    let Some(last) = editions.len().checked_sub(1) else {
        return Err(Problem::error(
            "no-edition",
            format!("the ruleset `{ruleset}` states no edition"),
        )
        .help("give it one under `editions:`, as in `- {id: '2026', title: …}`"));
    };
    let dated = editions.iter().any(|e| e.usable_from.is_some());
    if !dated && last > 0 {
        return Err(Problem::error(
            "edition-needed",
            format!("which edition of `{ruleset}` applies is for the authority to say: name it"),
        )
        .help(format!(
            "write `edition: \"{0}\"` in the installation block, or give `--edition {0}`, to `compare` `{ruleset}@{0}`; there are {1}",
            editions[last].id,
            list(editions)
        )));
    }
    let Some(day) = request.on.filter(|_| dated) else {
        let note = dated.then(|| "no date is written: judged by the newest edition".to_owned());
        return Ok(Choice {
            index: last,
            note,
            ..Choice::default()
        });
    };
    let usable: Vec<usize> = (0..editions.len())
        .filter(|i| editions[*i].usable_on(day))
        .collect();
    match usable.split_last() {
        Some((index, others)) => Ok(Choice {
            index: *index,
            others: others.iter().map(|i| editions[*i].id.clone()).collect(),
            note: Some(format!("chosen for {}", format_date(day))),
        }),
        None => Err(Problem::error(
            "no-usable-edition",
            format!(
                "no edition of `{ruleset}` is usable on {}",
                format_date(day)
            ),
        )
        .help(format!(
            "correct the date, or name one of {} with `edition:` or --edition",
            list(editions)
        ))),
    }
}

pub(super) fn list(editions: &[Edition]) -> String {
    let ids: Vec<&str> = editions.iter().map(|e| e.id.as_str()).collect();
    ids.join(", ")
}

/// Whether an item with this `in:` holds in an edition: `A1 .. A3`, `A2 ..`, `.. A1`, `2018, A1`.
pub(super) fn holds(
    span: &str,
    at: Span,
    editions: &[Edition],
    chosen: usize,
    problems: &mut Vec<Problem>,
) -> bool {
    let find = |id: &str, problems: &mut Vec<Problem>| {
        let found = editions.iter().position(|e| e.id == id);
        if found.is_none() {
            Problem::wrong("unknown-edition", at, format!("there is no edition `{id}`"))
                .did_you_mean(id, editions.iter().map(|e| e.id.as_str()))
                .report(problems);
        }
        found
    };
    span.split(',').any(|part| {
        let part = part.trim();
        match part.split_once("..") {
            None => find(part, problems) == Some(chosen),
            Some((from, to)) => {
                let (from, to) = (from.trim(), to.trim());
                let low = if from.is_empty() {
                    Some(0)
                } else {
                    find(from, problems)
                };
                let high = if to.is_empty() {
                    Some(usize::MAX)
                } else {
                    find(to, problems)
                };
                let (Some(low), Some(high)) = (low, high) else {
                    return false;
                };
                if low > high {
                    let why = format!("`{part}` holds no edition: `{to}` comes before `{from}`");
                    Problem::wrong("unknown-edition", at, why)
                        .help(format!("write `{to} .. {from}`, the older one first"))
                        .report(problems);
                }
                low <= chosen && chosen <= high
            }
        }
    })
}
