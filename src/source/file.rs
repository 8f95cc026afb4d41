//! Source files with a line index, and spans into them.

use serde::{Deserialize, Serialize};

use std::borrow::Cow;
use std::sync::{Arc, OnceLock};

/// Names one file of a [`Sources`]. Ruleset files have the high bit set, so that one span type
/// serves both a design's own files and the shared files of the ruleset that judges it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct FileId(pub u16);

impl FileId {
    /// First id of the files of a ruleset.
    pub const RULESET: u16 = 0x8000;

    /// The id of a file of a ruleset, by its place among them; none, if they are too many.
    #[must_use]
    pub fn of_ruleset(place: usize) -> Option<Self> {
        let place = u16::try_from(place).ok()?;
        Self::RULESET.checked_add(place).map(Self)
    }

    /// Whether the file belongs to a ruleset (else to a design).
    #[must_use]
    pub const fn is_ruleset(self) -> bool {
        self.0 >= Self::RULESET
    }
}

/// A stretch of bytes in a file, end not included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Span {
    /// The file it lies in.
    pub file: FileId,
    /// First byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

impl Span {
    /// A span of `file` from `start` up to, not including, `end`.
    #[must_use]
    pub fn new(file: FileId, start: usize, end: usize) -> Self {
        let clamp = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        Self {
            file,
            start: clamp(start),
            end: clamp(end.max(start)),
        }
    }

    /// The smallest span that holds both; `self`, if they lie in different files.
    #[must_use]
    pub fn to(self, other: Self) -> Self {
        if self.file != other.file {
            return self;
        }
        Self {
            file: self.file,
            start: self.start.min(other.start),
            end: self.end.max(other.end),
        }
    }

    /// Its first so many bytes.
    #[must_use]
    pub fn first(self, bytes: usize) -> Self {
        Self::new(self.file, self.from(), self.from() + bytes)
    }

    /// First byte, as an index.
    #[must_use]
    pub const fn from(self) -> usize {
        self.start as usize
    }

    /// One past the last byte, as an index.
    #[must_use]
    pub const fn until(self) -> usize {
        self.end as usize
    }
}

/// A value and where it was written.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Spanned<T> {
    /// The value.
    pub value: T,
    /// Where it was written.
    pub span: Span,
}

impl<T> Spanned<T> {
    /// Joins a value with its place.
    pub const fn new(value: T, span: Span) -> Self {
        Self { value, span }
    }
}

/// Line and column, both counted from one; the column counts characters, not bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Position {
    /// Line, from 1.
    pub line: u32,
    /// Column in characters, from 1.
    pub column: u32,
}

/// One text with its name and the starts of its lines.
#[derive(Clone, Debug)]
pub struct SourceFile {
    name: Cow<'static, str>,
    text: Cow<'static, str>,
    /// Worked out when a place is asked for.
    line_starts: OnceLock<Vec<u32>>,
    /// A copy that can be shown, where the text itself cannot; worked out when asked for.
    shown: OnceLock<Option<Box<SourceFile>>>,
}

impl SourceFile {
    /// Takes a text.
    #[must_use]
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self {
            name: Cow::Owned(name.into()),
            text: Cow::Owned(text.into()),
            line_starts: OnceLock::new(),
            shown: OnceLock::new(),
        }
    }

    /// A text that ships inside the program; nothing is copied.
    #[must_use]
    pub const fn shipped(name: &'static str, text: &'static str) -> Self {
        Self {
            name: Cow::Borrowed(name),
            text: Cow::Borrowed(text),
            line_starts: OnceLock::new(),
            shown: OnceLock::new(),
        }
    }

    fn line_starts(&self) -> &[u32] {
        self.line_starts.get_or_init(|| {
            let mut starts = vec![0];
            starts.extend(
                self.text
                    .bytes()
                    .enumerate()
                    .filter(|(_, b)| *b == b'\n')
                    .map(|(i, _)| u32::try_from(i + 1).unwrap_or(u32::MAX)),
            );
            starts
        })
    }

    /// The file as it may be shown: itself, or a copy of the same length that `printable` gives.
    /// Worked out once, since a file is shown for each of its findings.
    pub fn shown(&self, printable: impl FnOnce(&str) -> Option<String>) -> &Self {
        self.shown
            .get_or_init(|| printable(&self.text).map(|t| Box::new(Self::new(self.name(), t))))
            .as_deref()
            .unwrap_or(self)
    }

    /// The name shown in messages: a path as the user gave it.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The whole text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Index of the line that holds a byte, counted from zero.
    #[must_use]
    pub fn line_of(&self, byte: usize) -> usize {
        let byte = u32::try_from(byte).unwrap_or(u32::MAX);
        self.line_starts()
            .partition_point(|s| *s <= byte)
            .saturating_sub(1)
    }

    /// How many lines there are (a text without a newline has one).
    #[must_use]
    pub fn line_count(&self) -> usize {
        self.line_starts().len()
    }

    /// First byte of a line counted from zero; the end of the text for a line past the last.
    #[must_use]
    pub fn line_start(&self, line: usize) -> usize {
        self.line_starts()
            .get(line)
            .map_or(self.text.len(), |s| *s as usize)
    }

    /// The text of a line counted from zero, without its line break.
    #[must_use]
    pub fn line(&self, line: usize) -> &str {
        let start = self.line_start(line);
        let end = self.line_start(line + 1);
        self.text
            .get(start..end)
            .unwrap_or("")
            .trim_end_matches(['\n', '\r'])
    }

    /// Line and column of a byte; a byte inside a character counts as that character.
    #[must_use]
    pub fn position(&self, byte: usize) -> Position {
        let byte = byte.min(self.text.len());
        let line = self.line_of(byte);
        let start = self.line_start(line);
        let column = self
            .text
            .get(start..)
            .unwrap_or("")
            .char_indices()
            .take_while(|(i, _)| start + i < byte)
            .count();
        Position {
            line: u32::try_from(line + 1).unwrap_or(u32::MAX),
            column: u32::try_from(column + 1).unwrap_or(u32::MAX),
        }
    }
}

/// The files one run has read: those of a design, and behind them those of its ruleset.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    own: Vec<Arc<SourceFile>>,
    ruleset: Arc<Vec<Arc<SourceFile>>>,
}

impl Sources {
    /// Sources of a design that is judged by a ruleset with these files.
    #[must_use]
    pub const fn over(ruleset: Arc<Vec<Arc<SourceFile>>>) -> Self {
        Self {
            own: Vec::new(),
            ruleset,
        }
    }

    /// Adds a file of the design and names it.
    pub fn add(&mut self, file: impl Into<Arc<SourceFile>>) -> FileId {
        let id = self.next_id();
        self.own.push(file.into());
        id
    }

    /// The id that the next file gets.
    #[must_use]
    pub fn next_id(&self) -> FileId {
        FileId(u16::try_from(self.own.len()).unwrap_or(FileId::RULESET - 1))
    }

    /// Puts the ruleset's files behind the design's.
    pub fn set_ruleset(&mut self, files: Arc<Vec<Arc<SourceFile>>>) {
        self.ruleset = files;
    }

    /// The file with this id, if it is known here.
    #[must_use]
    pub fn get(&self, id: FileId) -> Option<&Arc<SourceFile>> {
        if id.is_ruleset() {
            self.ruleset.get((id.0 - FileId::RULESET) as usize)
        } else {
            self.own.get(id.0 as usize)
        }
    }

    /// The design's own files, in the order in which they were read.
    #[must_use]
    pub fn own(&self) -> &[Arc<SourceFile>] {
        &self.own
    }

    /// The text under a span; empty if the span lies outside.
    #[must_use]
    pub fn slice(&self, span: Span) -> &str {
        self.get(span.file)
            .and_then(|f| f.text().get(span.from()..span.until()))
            .unwrap_or("")
    }

    /// Where a place is, as `file:line`.
    #[must_use]
    pub fn place(&self, span: Span) -> Option<String> {
        let file = self.get(span.file)?;
        Some(format!(
            "{}:{}",
            file.name(),
            file.position(span.from()).line
        ))
    }

    /// Line and column of the start of a span.
    #[must_use]
    pub fn position(&self, span: Span) -> Option<Position> {
        self.get(span.file).map(|f| f.position(span.from()))
    }
}
