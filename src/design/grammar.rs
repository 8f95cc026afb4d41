//! The generated parser, and the mistakes that are collected while its matches are read.

use std::ops::Range;

use super::layout::UNTERMINATED;
use crate::source::{Problem, Reports};

#[derive(pest_derive::Parser)]
#[grammar = "../grammar/design.pest"]
pub(super) struct Grammar;

/// How many problems one file reports; the rest are counted.
pub const MOST_PROBLEMS: usize = 50;

/// Collects problems up to a number, then counts.
#[derive(Debug, Default)]
pub(super) struct Problems {
    list: Vec<Problem>,
    more: usize,
}

impl Reports for Problems {
    fn report(&mut self, problem: Problem) {
        if self.list.len() < MOST_PROBLEMS {
            self.list.push(problem);
        } else {
            self.more += 1;
        }
    }
}

impl Problems {
    /// So many mistakes that reading on would not help anybody.
    pub(super) fn hopeless(&self) -> bool {
        self.more > 20 * MOST_PROBLEMS
    }

    /// Of a line on which a text does not end that is told alone: the rest of it follows from that.
    pub(super) fn first_of_line(&mut self, text: &str, offset: usize) {
        let start = |p: &Problem| {
            p.labels
                .first()
                .map(|l| l.span.from().saturating_sub(offset))
        };
        let open = self.list.iter().filter(|p| p.code == UNTERMINATED);
        let lines: Vec<Range<usize>> = open.filter_map(start).map(|at| line(text, at)).collect();
        let inside = |p: &Problem| start(p).is_some_and(|at| lines.iter().any(|l| l.contains(&at)));
        self.list.retain(|p| p.code == UNTERMINATED || !inside(p));
    }

    pub(super) fn finish(mut self, rest: bool) -> Vec<Problem> {
        self.list.sort_by_key(|p| p.labels.first().map(|l| l.span));
        if self.more > 0 {
            let rest = if rest { " at least" } else { "" };
            self.list.push(Problem::error(
                "more-mistakes",
                format!("there are{rest} {} more mistakes in this file", self.more),
            ));
        }
        self.list
    }
}

/// The line around a place.
fn line(text: &str, at: usize) -> Range<usize> {
    let (before, behind) = (text.get(..at).unwrap_or(""), text.get(at..).unwrap_or(""));
    let from = before.rfind(['\n', '\r']).map_or(0, |i| i + 1);
    from..at + behind.find(['\n', '\r']).unwrap_or(behind.len())
}
