//! YAML as a tree in which everything knows its place, so that every mistake can be pointed at.

use std::borrow::Cow;
use std::fmt;

use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_yaml::Spanned as Placed;

use crate::source::{FileId, Problem, SourceFile, Span};

/// A node and its place.
#[derive(Clone, Debug)]
pub struct Node {
    /// What it is.
    pub value: Yaml,
    /// Where it stands; for a map or list, where it begins.
    pub span: Span,
}

/// What a node is.
#[derive(Clone, Debug)]
pub enum Yaml {
    /// Nothing after the key.
    Null,
    /// A text, with quotes taken off; numbers and dates are texts, too.
    Scalar(String),
    /// A list.
    List(Vec<Node>),
    /// A map, in order.
    Map(Vec<(Key, Node)>),
}

/// A key and its place.
#[derive(Clone, Debug)]
pub struct Key {
    /// The key.
    pub text: String,
    /// Where it stands.
    pub span: Span,
}

impl Node {
    /// The text of a scalar.
    #[must_use]
    pub fn text(&self) -> Option<&str> {
        match &self.value {
            Yaml::Scalar(s) => Some(s),
            _ => None,
        }
    }

    /// The entries of a map.
    #[must_use]
    pub fn map(&self) -> Option<&[(Key, Node)]> {
        match &self.value {
            Yaml::Map(m) => Some(m),
            _ => None,
        }
    }

    /// The items of a list.
    #[must_use]
    pub fn list(&self) -> Option<&[Node]> {
        match &self.value {
            Yaml::List(l) => Some(l),
            _ => None,
        }
    }

    /// The node under a key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Node> {
        self.map()?
            .iter()
            .find(|(k, _)| k.text == key)
            .map(|(_, n)| n)
    }

    /// The place of a byte of a scalar's text in the file: quotes, escapes and folded lines are
    /// followed.
    #[must_use]
    pub fn place(&self, source: &SourceFile, range: std::ops::Range<usize>) -> Span {
        let raw = source
            .text()
            .get(self.span.from()..self.span.until())
            .unwrap_or("");
        let text = self.text().unwrap_or("");
        let start = offset_in_raw(raw, text, range.start);
        let end = offset_in_raw(raw, text, range.end.max(range.start));
        Span::new(
            self.span.file,
            self.span.from() + start,
            self.span.from() + end.max(start),
        )
    }
}

/// Where byte `at` of a scalar's value stands in its raw text.
fn offset_in_raw(raw: &str, value: &str, at: usize) -> usize {
    let quote = raw.chars().next().filter(|c| *c == '\'' || *c == '"');
    let mut r = usize::from(quote.is_some());
    let mut v = 0;
    let next = |s: &str, i: usize| s.get(i..).and_then(|s| s.chars().next());
    while v < at {
        let (Some(c), Some(d)) = (next(value, v), next(raw, r)) else {
            break;
        };
        if c.is_whitespace() {
            while let Some(w) = next(value, v).filter(|c| c.is_whitespace()) {
                if v >= at {
                    break;
                }
                v += w.len_utf8();
            }
            while let Some(w) = next(raw, r).filter(|c| c.is_whitespace()) {
                r += w.len_utf8();
            }
            continue;
        }
        r += match (quote, d) {
            (Some('\''), '\'') => 2,
            (Some('"'), '\\') => match next(raw, r + 1) {
                Some('u') => 6,
                Some('x') => 4,
                Some(e) => 1 + e.len_utf8(),
                None => 1,
            },
            _ if d.is_whitespace() => {
                r += d.len_utf8();
                continue;
            }
            _ => d.len_utf8(),
        };
        v += c.len_utf8();
    }
    r.min(raw.len())
}

/// A node as the parser gives it: places still without a file.
enum Raw {
    Null,
    Scalar(Option<String>),
    List(Vec<Placed<Raw>>),
    Map(Vec<(Placed<String>, Placed<Raw>)>),
}

struct RawVisitor;

/// Visits of what is no text to the parser, and keeps the text of the file.
macro_rules! as_written {
    ($($visit:ident: $ty:ty),+) => {$(
        fn $visit<E>(self, _: $ty) -> Result<Raw, E> {
            Ok(Raw::Scalar(None))
        }
    )+};
}

impl<'de> Visitor<'de> for RawVisitor {
    type Value = Raw;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a text, a list or a map")
    }

    fn visit_unit<E>(self) -> Result<Raw, E> {
        Ok(Raw::Null)
    }

    fn visit_none<E>(self) -> Result<Raw, E> {
        Ok(Raw::Null)
    }

    // Numbers and yes/no keep the text of the file: `1.10`, `no`, `2018`.
    as_written!(
        visit_bool: bool,
        visit_i64: i64,
        visit_u64: u64,
        visit_i128: i128,
        visit_u128: u128,
        visit_f64: f64
    );

    fn visit_str<E>(self, s: &str) -> Result<Raw, E> {
        Ok(Raw::Scalar(Some(s.to_owned())))
    }

    fn visit_string<E>(self, s: String) -> Result<Raw, E> {
        Ok(Raw::Scalar(Some(s)))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Raw, A::Error> {
        let mut all = Vec::new();
        while let Some(item) = seq.next_element()? {
            all.push(item);
        }
        Ok(Raw::List(all))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Raw, A::Error> {
        let mut all = Vec::new();
        while let Some(key) = map.next_key()? {
            all.push((key, map.next_value()?));
        }
        Ok(Raw::Map(all))
    }
}

impl<'de> Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(RawVisitor)
    }
}

fn span_of<T>(placed: &Placed<T>, file: FileId) -> Span {
    let place = placed.referenced.span();
    let start = usize::try_from(place.byte_offset().unwrap_or(0)).unwrap_or(0);
    let len = usize::try_from(place.byte_len().unwrap_or(0)).unwrap_or(0);
    Span::new(file, start, start + len)
}

fn settle(raw: Placed<Raw>, file: FileId, text: &str) -> Node {
    let span = span_of(&raw, file);
    let settled = |inner| settle(inner, file, text);
    let value = match raw.value {
        Raw::Null => Yaml::Null,
        Raw::Scalar(Some(s)) => Yaml::Scalar(s),
        Raw::Scalar(None) => {
            Yaml::Scalar(text.get(span.from()..span.until()).unwrap_or("").to_owned())
        }
        Raw::List(items) => Yaml::List(items.into_iter().map(settled).collect()),
        Raw::Map(entries) => {
            let entries = entries.into_iter().map(|(k, v)| {
                let span = span_of(&k, file);
                let text = k.value;
                (Key { text, span }, settled(v))
            });
            Yaml::Map(entries.collect())
        }
    };
    Node { value, span }
}

/// Where the second document of a file begins, if it has one: the byte after the line `---`.
#[must_use]
pub fn second_document(text: &str) -> Option<usize> {
    let mut at = 0;
    let mut seen = false;
    for line in text.split_inclusive('\n') {
        let plain = line.trim_end();
        if plain == "---" && seen {
            return Some(at + line.len());
        }
        seen |= !plain.is_empty() && !plain.starts_with('#') && plain != "---";
        at += line.len();
    }
    None
}

/// What is said of a file whose aliases unfold to more than is read.
const TOO_MUCH: &str = "it unfolds to more than is read of one file";

/// What the parser says, without its own names, and the line and column that it states.
fn said(message: &str) -> (Option<(usize, usize)>, String) {
    let text = message.trim_start_matches("error: ");
    let mut place = None;
    let mut what = text;
    if let Some(rest) = text.strip_prefix("line ")
        && let Some((line, rest)) = rest.split_once(" column ")
        && let Some((column, rest)) = rest.split_once(':')
        && let (Ok(line), Ok(column)) = (line.parse(), column.parse())
    {
        place = Some((line, column));
        what = rest.trim();
    }
    let what = if what.starts_with("budget") || what.contains(" { ") {
        TOO_MUCH.to_owned()
    } else {
        // What its reader would let a program set is nothing to who writes the file.
        what.split(", set ").next().unwrap_or(what).to_owned()
    };
    (place, what)
}

/// What to write instead, by what the reader of YAML took offence at.
fn what_to_write(what: &str) -> &'static str {
    if what == TOO_MUCH {
        "write the lists out instead of naming one inside another"
    } else if what.contains("tab") {
        "indent with blanks, not with tabs"
    } else if what.contains("duplicate") {
        "write it once: one of the two is to go; what is worded otherwise in another edition stands in another file, each with its `in:`"
    } else if what.contains("quoted scalar") {
        "inside single quotes an apostrophe is written twice: `'it''s less'`"
    } else if what.contains("indent") || what.contains("block") {
        "write the keys of one item under each other, two blanks further in than what they belong to"
    } else {
        "put values with `: `, ` #`, `{`, `[`, `>`, `*`, `|` or quotes in single quotes"
    }
}

/// The byte at a line and column, both from one.
fn offset_of(source: &SourceFile, line: usize, column: usize) -> Option<usize> {
    let index = line.checked_sub(1)?;
    let text = source.line(index);
    let within: usize = text
        .chars()
        .take(column.saturating_sub(1))
        .map(char::len_utf8)
        .sum();
    Some(source.line_start(index) + within)
}

/// Reads one document of a file: the first, or what follows `from`.
///
/// # Errors
/// What the YAML parser says, with its place.
pub fn read(file: FileId, source: &SourceFile, from: usize) -> Result<Node, Problem> {
    let text = source.text();
    let part = if from == 0 {
        let end = second_document(text).and_then(|end| text.get(..end)?.rfind("---"));
        Cow::Borrowed(text.get(..end.unwrap_or(text.len())).unwrap_or(""))
    } else {
        // Blank out what comes before, so that places are those of the whole file.
        let mut padded: String = text
            .get(..from)
            .unwrap_or("")
            .bytes()
            .map(|b| if b == b'\n' { '\n' } else { ' ' })
            .collect();
        // Blank lines may not be indented by tabs or hold anything else.
        padded.push_str(text.get(from..).unwrap_or(""));
        Cow::Owned(padded)
    };
    if part.trim().is_empty() {
        return Ok(Node {
            value: Yaml::Null,
            span: Span::new(file, 0, 0),
        });
    }
    let parsed: Result<Placed<Raw>, _> = serde_yaml::from_str(&part);
    match parsed {
        Ok(raw) => Ok(settle(raw, file, text)),
        Err(error) => {
            let place = error.location().map(|l| l.span());
            let message = error.to_string();
            let first = message.lines().next().unwrap_or("").trim();
            let (line, what) = said(first);
            let at = place
                .and_then(|s| s.byte_offset())
                .and_then(|o| usize::try_from(o).ok())
                .filter(|o| *o > 0)
                .or_else(|| line.and_then(|(l, c)| offset_of(source, l, c)))
                .unwrap_or(0)
                .min(text.len().saturating_sub(1));
            let p = Problem::error("yaml", format!("the YAML cannot be read: {what}"))
                .at(Span::new(file, at, (at + 1).min(text.len())), "here");
            Err(p.help(what_to_write(&what)))
        }
    }
}
