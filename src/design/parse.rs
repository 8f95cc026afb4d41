//! Text to syntax tree. Never fails: it gives the sound parts of a file and every mistake in it.

use std::ops::Range;

use pest::Parser as _;
use pest::iterators::Pairs;

pub use super::grammar::MOST_PROBLEMS;
use super::grammar::{Grammar, Problems, Rule};
use super::layout::{self, Layout, Unclosed};
use super::lower::Lower;
use super::syntax_errors;
use super::tree::{Tree, Value, ValueKind};
use crate::source::limits::DESIGN_BYTES;
use crate::source::{FileId, Problem, Reports, Span, Spanned};

/// What was read of a file.
#[derive(Clone, Debug)]
pub struct Parsed {
    /// Everything sound.
    pub tree: Tree,
    /// Every mistake, in the order of the text; at most [`MOST_PROBLEMS`] and one that says how
    /// many more there are.
    pub problems: Vec<Problem>,
    /// The comments with their `#`, in order.
    pub comments: Vec<Spanned<String>>,
}

impl Parsed {
    /// Whether the whole text was understood.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.problems.is_empty()
    }
}

/// Reads a design file. Spans lie in `file`.
#[must_use]
pub fn parse(file: FileId, text: &str) -> Parsed {
    parse_items(file, text, 0)
}

/// Reads a piece of a design that stands inside another file, such as the `add` of a ruleset's
/// test case: what [`parse`] reads, with `offset` bytes added to every place.
#[must_use]
pub fn parse_items(file: FileId, text: &str, offset: usize) -> Parsed {
    let mut problems = Problems::default();
    let mut tree = Tree::default();
    let Some(look) = looked_over(file, text, offset, &mut problems) else {
        return Parsed {
            tree,
            problems: problems.finish(false),
            comments: Vec::new(),
        };
    };
    let mut stopped = false;
    for piece in &look.pieces {
        if problems.hopeless() {
            stopped = true;
            break;
        }
        let slice = look.text.get(piece.clone()).unwrap_or("");
        match pairs(Rule::file, slice) {
            Ok(pairs) => {
                let mut lower = Lower::new(file, slice, offset + piece.start, &mut problems);
                lower.file(pairs, &mut tree.items);
            }
            Err(at) => problems.report(moved(too_much(file, piece, at), offset)),
        }
    }
    problems.first_of_line(text, offset);
    for c in &look.comments {
        if let Some(number) = gauge(text, c) {
            let at = Span::new(file, offset + c.start, offset + c.start + number.len());
            Problem::caution(
                "number-in-remark",
                format!("`#` begins a remark: `{number}` is not read"),
            )
            .at(at, "and all behind it on this line")
            .help("write a gauge without it, as `6 AWG`; a remark with a blank, as `# 6`")
            .report(&mut problems);
        }
    }
    let comments = look
        .comments
        .into_iter()
        .map(|c| {
            let comment = text.get(c.clone()).unwrap_or("").trim_end();
            let start = offset + c.start;
            Spanned::new(
                comment.to_owned(),
                Span::new(file, start, start + comment.len()),
            )
        })
        .collect();
    Parsed {
        tree,
        problems: problems.finish(stopped),
        comments,
    }
}

/// What looks like a gauge behind something else on its line: `size: #6 AWG`.
fn gauge<'a>(text: &'a str, comment: &Range<usize>) -> Option<&'a str> {
    let line = text.get(..comment.start)?.rsplit(['\n', '\r']).next()?;
    let remark = text.get(comment.clone())?;
    let number = remark.split([' ', '\t']).next()?;
    let digit = remark.get(1..2)?.starts_with(|c: char| c.is_ascii_digit());
    // Where a value is missing it is told so.
    let behind = !line.trim().is_empty() && !line.trim_end().ends_with(':');
    (digit && behind).then_some(number)
}

/// Reads one value, as it would stand after `key:`. `offset` is added to every place, for a value
/// that stands inside another file. A text that is no value gives [`ValueKind::Bad`].
#[must_use]
pub fn parse_value(file: FileId, text: &str, offset: usize) -> (Value, Vec<Problem>) {
    let mut problems = Problems::default();
    let whole = Span::new(file, offset, offset + text.len());
    let bad = || Value::plain(ValueKind::Bad, whole);
    let Some(look) = looked_over(file, text, offset, &mut problems) else {
        return (bad(), problems.finish(false));
    };
    let value = match pairs(Rule::value_only, &look.text) {
        Ok(pairs) => {
            let mut lower = Lower::new(file, &look.text, offset, &mut problems);
            lower.value_only(pairs).unwrap_or_else(|| {
                Problem::wrong("missing-value", whole, "a value is missing")
                    .help("write a value with its unit, a word, `?` or `none`")
                    .report(&mut problems);
                bad()
            })
        }
        Err(at) => {
            problems.report(moved(too_much(file, &(0..text.len()), at), offset));
            bad()
        }
    };
    (value, problems.finish(false))
}

/// Runs the grammar, which accepts every text and whose work grows with its length only:
/// tests/linear.rs counts it. What fails all the same is a limit that the process that this runs in
/// has set for all its parsers: the place that was got to is returned.
pub(super) fn pairs(rule: Rule, text: &str) -> Result<Pairs<'_, Rule>, usize> {
    Grammar::parse(rule, text).map_err(|e| match e.location {
        pest::error::InputLocation::Pos(at) => at,
        pest::error::InputLocation::Span((at, _)) => at,
    })
}

/// The first look at a text; none at one that is too large to be read.
fn looked_over<'t>(
    file: FileId,
    text: &'t str,
    offset: usize,
    problems: &mut Problems,
) -> Option<Layout<'t>> {
    let bytes = text.len();
    if bytes > DESIGN_BYTES {
        let at = Span::new(file, offset, offset);
        let why = format!("a text of {bytes} bytes is not read, the most is {DESIGN_BYTES}");
        return Problem::wrong("file-too-large", at, why)
            .help("split it into several designs, each an installation of its own")
            .fail(problems);
    }
    let mut look = layout::look(file, text);
    for problem in look.problems.drain(..) {
        moved(problem, offset).report(problems);
    }
    for unclosed in &look.unclosed {
        moved(unclosed_block(file, text, unclosed), offset).report(problems);
    }
    Some(look)
}

fn too_much(file: FileId, piece: &Range<usize>, at: usize) -> Problem {
    let at = (piece.start + at).min(piece.end);
    let why = "this stretch of the text takes too much work to read";
    Problem::error("text-too-complex", why)
        .at(Span::new(file, at, at), "given up here")
        .help("split the file, and join its parts with `use \"…\"`")
}

fn unclosed_block(file: FileId, text: &str, unclosed: &Unclosed) -> Problem {
    let open = Span::new(file, unclosed.open, unclosed.open + 1);
    let head = syntax_errors::head_before(text, unclosed.open);
    let message = if head.is_empty() {
        "a `{` is not closed".to_owned()
    } else {
        format!("the `{{` of `{head}` is not closed")
    };
    let problem = Problem::error("unclosed-brace", message).at(open, "opened here");
    match unclosed.next {
        Some(next) => {
            let end = text
                .get(next..)
                .and_then(|t| t.find(|c: char| c.is_whitespace() || c == '{'))
                .map_or(text.len(), |n| next + n);
            problem
                .at(
                    Span::new(file, next, end),
                    if text.get(next..end) == Some("}") {
                        "the block around it ends here"
                    } else {
                        "the next item begins here"
                    },
                )
                .help("write the missing `}` before it")
        }
        None => {
            let end = text.trim_end().len();
            problem
                .at(Span::new(file, end, end), "the file ends here")
                .help("write the missing `}`")
        }
    }
}

fn moved(mut problem: Problem, offset: usize) -> Problem {
    for label in &mut problem.labels {
        let Span { file, .. } = label.span;
        label.span = Span::new(
            file,
            label.span.from() + offset,
            label.span.until() + offset,
        );
    }
    problem
}
