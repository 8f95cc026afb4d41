//! Heads of blocks behind which the `{` is missing.

use std::ops::Range;

use super::is_key_line;
use crate::source::{FileId, Problem, Span};

/// Words that begin a line and head no block.
const NO_HEADS: [&str; 3] = ["use", "parameter", "no"];

/// A line: where it begins, its indentation, and what stands on it before a comment.
struct Line<'t> {
    start: usize,
    indent: usize,
    text: &'t str,
    /// Braces that it opens, less those that it closes.
    opens: isize,
}

/// The heads of a text that lack their `{`, each with a blank or line end behind it. Facts stand
/// deeper behind one and a `}` below it, or where no fact can stand.
pub(super) fn unopened(text: &str) -> Vec<Range<usize>> {
    let all = lines(text);
    let mut found = Vec::new();
    let mut depth = 0;
    for (i, line) in all.iter().enumerate() {
        let behind = all.get(i + 1..).unwrap_or_default();
        let key = behind
            .first()
            .is_some_and(|l| is_key_line(l.text.as_bytes()));
        let deeper = behind.first().is_some_and(|l| l.indent > line.indent);
        let next = behind.iter().find(|l| l.indent <= line.indent);
        let closed = next.is_some_and(|l| l.indent == line.indent && l.text.starts_with('}'));
        let whole = line.opens == 0 && (deeper && closed || key && depth == 0);
        let head = head(line.text);
        let mut opens = line.opens;
        if !head.is_empty() && (whole && head == line.text || line.opens < 0 && head != line.text) {
            found.push(line.start..line.start + head.len());
            opens += 1;
        }
        depth = (depth + opens).max(0);
    }
    let bytes = text.as_bytes();
    found.retain(|h| bytes.get(h.end).is_some_and(u8::is_ascii_whitespace));
    found
}

/// The lines on which something stands.
fn lines(text: &str) -> Vec<Line<'_>> {
    let mut all = Vec::new();
    let mut at = 0;
    for whole in text.split_inclusive(['\n', '\r']) {
        let (mut quoted, mut opens, mut end) = (false, 0, whole.len());
        for (i, c) in whole.char_indices() {
            match c {
                '"' => quoted = !quoted,
                '#' if !quoted => {
                    end = i;
                    break;
                }
                '{' if !quoted => opens += 1,
                '}' if !quoted => opens -= 1,
                _ => {}
            }
        }
        let before = whole.get(..end).unwrap_or("").trim_end();
        let text = before.trim_start();
        let indent = before.len() - text.len();
        if !text.is_empty() {
            let start = at + indent;
            all.push(Line {
                start,
                indent,
                text,
                opens,
            });
        }
        at += whole.len();
    }
    all
}

/// The words with which a line begins that may head a block, up to the first key.
fn head(text: &str) -> &str {
    let first = text.split_whitespace().next().unwrap_or("");
    let mut end = 0;
    let mut at = 0;
    let mut quoted = false;
    for piece in text.split_inclusive([' ', '\t']) {
        let word = piece.trim_end();
        if !quoted
            && (word.contains(['{', '}', '=', '|', ',', ';', '('])
                || is_key_line(text.get(at..).unwrap_or("").as_bytes()))
        {
            break;
        }
        quoted ^= word.matches('"').count() % 2 == 1;
        at += piece.len();
        if !word.is_empty() {
            end = at - piece.len() + word.len();
        }
    }
    let head = text.get(..end).unwrap_or("");
    let begins = head.starts_with(char::is_alphabetic);
    let opens = end == text.len() || is_key_line(text.get(at..).unwrap_or("").as_bytes());
    if begins && opens && !NO_HEADS.contains(&first) {
        head
    } else {
        ""
    }
}

/// What is said of one.
pub(super) fn missing(file: FileId, text: &str, head: Range<usize>) -> Problem {
    let words = text.get(head.clone()).unwrap_or("");
    let last = words.rfind([' ', '\t']).map_or(0, |i| i + 1);
    let at = Span::new(file, head.start + last, head.end);
    Problem::error("missing-brace", format!("no `{{` stands behind `{words}`"))
        .at(at, "the head ends here")
        .help(format!("write `{words} {{`"))
}
