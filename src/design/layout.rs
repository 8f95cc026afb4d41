//! What can be seen of a design file before it is parsed: comments, matching brackets, texts that
//! do not end, and the places where a long file may be cut into pieces that parse alone.
//!
//! The parser reads a copy of the text in which what would overwhelm it (nesting without end,
//! endless lines) is blanked out, byte for byte, so that every place stays true.

mod ends;
mod heads;

use std::borrow::Cow;
use std::ops::Range;

use crate::source::{FileId, Problem, Reports, Span};

/// How deep brackets may nest.
pub(super) const DEEPEST: usize = 64;
/// The longest line that is read, in bytes.
const LONGEST_LINE: usize = 1 << 16;
/// A file is cut between two items once a piece is this long.
const PIECE: usize = 1 << 16;
/// How many problems are kept; with so many the rest of the file is not read.
const MOST_REPORTED: usize = 2000;
/// How many blocks without an end a file may have before the rest is read as it stands.
const MOST_UNCLOSED: usize = 20;

/// The code of the mistake of a text that does not end.
pub(super) const UNTERMINATED: &str = "unterminated-text";

/// The first look at a file.
#[derive(Default)]
pub(super) struct Layout<'t> {
    /// The text to parse; the same length as the original.
    pub text: Cow<'t, str>,
    /// Pieces that parse alone, in order, covering all but a byte order mark.
    pub pieces: Vec<Range<usize>>,
    /// Comments with their `#`.
    pub comments: Vec<Range<usize>>,
    /// Blocks that do not end.
    pub unclosed: Vec<Unclosed>,
    /// What is wrong so far.
    pub problems: Vec<Problem>,
    /// How many `}` close nothing.
    strays: usize,
}

/// A block that does not end.
pub(super) struct Unclosed {
    /// Its opening bracket.
    pub open: usize,
    /// What begins behind its end, if the file goes on: the next item, or the `}` of the block around.
    pub next: Option<usize>,
}

/// An open bracket.
#[derive(Clone, Copy)]
struct Open {
    sign: u8,
    at: usize,
    /// Indentation of the line it stands on.
    indent: usize,
}

/// What stands open behind the signs that were read.
#[derive(Default)]
struct Signs {
    open: Vec<Open>,
    /// A bracket that may lack its end: a line further out closes it.
    suspect: Option<usize>,
    /// The first bracket that is nested too deep.
    deep: Option<usize>,
    /// The last sign that is no blank.
    last: u8,
}

/// Looks a file over. A head whose `{` is missing gets it, and a block whose `}` is.
pub(super) fn look(file: FileId, text: &str) -> Layout<'_> {
    let first = look_once(file, text);
    if !first.unclosed.is_empty() {
        return ended(file, text, first);
    }
    if first.strays == 0 {
        return first;
    }
    let heads = heads::unopened(text);
    let mut bytes = text.as_bytes().to_vec();
    for head in &heads {
        if let Some(byte) = bytes.get_mut(head.end) {
            *byte = b'{';
        }
    }
    let opened = String::from_utf8_lossy(&bytes);
    let again = look_once(file, &opened);
    if again.strays >= first.strays {
        return first;
    }
    let mut problems = again.problems;
    problems.extend(
        heads
            .into_iter()
            .map(|head| heads::missing(file, text, head)),
    );
    Layout {
        text: Cow::Owned(again.text.into_owned()),
        problems,
        ..again
    }
}

/// Ends blocks that do not end where their indentation says so, in place of a blank before what
/// stands there.
fn ended<'t>(file: FileId, text: &'t str, mut look: Layout<'t>) -> Layout<'t> {
    let mut bytes = text.as_bytes().to_vec();
    let mut known: Vec<Unclosed> = Vec::new();
    while known.len() < MOST_UNCLOSED {
        let place = |u: &Unclosed| {
            let (line, sign) = ends::missing(text, u.open)?;
            let item = text.get(sign..)?.starts_with(char::is_alphabetic);
            (item && line < sign).then_some((u.open, line, sign))
        };
        let Some((open, line, sign)) = look.unclosed.iter().find_map(place) else {
            break;
        };
        if let Some(byte) = bytes.get_mut(line) {
            *byte = b'}';
        }
        let closed = String::from_utf8_lossy(&bytes);
        let again = look_once(file, &closed);
        if again.unclosed.len() >= look.unclosed.len() || again.strays > look.strays {
            break;
        }
        let next = Some(sign);
        known.push(Unclosed { open, next });
        look = Layout {
            text: Cow::Owned(again.text.into_owned()),
            ..again
        };
    }
    for other in &mut look.unclosed {
        let sign = ends::missing(text, other.open).map(|(_, sign)| sign);
        other.next = sign.into_iter().chain(other.next).min();
    }
    look.unclosed.extend(known);
    look.unclosed.sort_by_key(|u| u.open);
    look
}

fn look_once(file: FileId, text: &str) -> Layout<'_> {
    let mut look = Look::new(file, text.as_bytes(), Cow::Borrowed(text));
    let mut start = if text.starts_with('\u{FEFF}') { 3 } else { 0 };
    let mut cuts = 0;
    while let Some(next) = look.run(start, cuts < MOST_UNCLOSED) {
        start = next;
        cuts += 1;
    }
    let Look {
        masks,
        ends,
        mut out,
        ..
    } = look;
    if !masks.is_empty() || !ends.is_empty() {
        let mut bytes = text.as_bytes().to_vec();
        for mask in masks {
            blank_out(&mut bytes, mask);
        }
        for end in ends {
            end_text(&mut bytes, text, end);
        }
        out.text = Cow::Owned(String::from_utf8_lossy(&bytes).into_owned());
    }
    out
}

/// Blanks a stretch out, keeping its line breaks.
fn blank_out(bytes: &mut [u8], range: Range<usize>) {
    for byte in bytes.get_mut(range).unwrap_or_default() {
        if !matches!(byte, b'\n' | b'\r') {
            *byte = b' ';
        }
    }
}

/// Gives a text without an end one, in place of its last character. A lone quote becomes `?`:
/// its mistake is reported, and an unknown value claims nothing.
fn end_text(bytes: &mut [u8], text: &str, range: Range<usize>) {
    let last = text
        .get(range.clone())
        .and_then(|t| t.char_indices().next_back())
        .map_or(range.start, |(i, _)| range.start + i);
    if last == range.start {
        if let Some(byte) = bytes.get_mut(last) {
            *byte = b'?';
        }
        return;
    }
    blank_out(bytes, last..range.end);
    if let Some(byte) = bytes.get_mut(range.end - 1) {
        *byte = b'"';
    }
    // A backslash before it would make it part of the text again.
    if let Some(byte) = bytes.get_mut(last - 1)
        && *byte == b'\\'
    {
        *byte = b' ';
    }
}

struct Look<'t> {
    file: FileId,
    text: &'t [u8],
    /// To be blanked out.
    masks: Vec<Range<usize>>,
    /// Texts to be ended.
    ends: Vec<Range<usize>>,
    out: Layout<'t>,
}

impl Reports for Look<'_> {
    /// Keeps a problem, unless there are so many that nobody reads them.
    fn report(&mut self, problem: Problem) {
        if self.out.problems.len() < MOST_REPORTED {
            self.out.problems.push(problem);
        }
    }
}

impl<'t> Look<'t> {
    fn new(file: FileId, text: &'t [u8], whole: Cow<'t, str>) -> Self {
        Self {
            file,
            text,
            masks: Vec::new(),
            ends: Vec::new(),
            out: Layout {
                text: whole,
                ..Layout::default()
            },
        }
    }

    fn byte(&self, at: usize) -> u8 {
        self.text.get(at).copied().unwrap_or(b'\n')
    }

    fn line_end(&self, from: usize) -> usize {
        self.text
            .get(from..)
            .and_then(|t| t.iter().position(|b| matches!(b, b'\n' | b'\r')))
            .map_or(self.text.len(), |n| from + n)
    }

    /// Length of the first signs of a line, ending between two characters.
    fn shown(&self, line: usize, end: usize) -> usize {
        let mut until = (line + 40).min(end);
        while until > line && self.byte(until) & 0xC0 == 0x80 {
            until -= 1;
        }
        until - line
    }

    fn span(&self, start: usize, end: usize) -> Span {
        Span::new(self.file, start, end)
    }

    /// Reads from `start` to the end of the text. Where a block turns out not to end, the place
    /// is returned at which the next item begins (and everything after it is forgotten).
    fn run(&mut self, start: usize, may_cut: bool) -> Option<usize> {
        let kept = (
            self.out.comments.len(),
            self.out.problems.len(),
            self.masks.len(),
            self.ends.len(),
        );
        let mut signs = Signs::default();
        let mut piece = start;
        let mut at = start;
        while at < self.text.len() {
            let line = at;
            let end = self.line_end(line);
            let mut indent = 0;
            while at < end && matches!(self.byte(at), b' ' | b'\t') {
                indent += 1;
                at += 1;
            }
            if end - line > LONGEST_LINE {
                let why = format!("a line of {} bytes is not read", end - line);
                Problem::error("line-too-long", why)
                    .at(
                        self.span(line, line + self.shown(line, end)),
                        "it begins here",
                    )
                    .help(format!("keep lines under {LONGEST_LINE} bytes"))
                    .report(self);
                self.masks.push(line..end);
                at = end;
            } else {
                let key = is_key_line(self.text.get(at..end).unwrap_or_default());
                if key {
                    end_inner(&mut signs.open);
                }
                let continued = b",|+-*/.<>=(".contains(&signs.last) || signs.last >= 0x80;
                if signs.open.is_empty()
                    && indent == 0
                    && line - piece >= PIECE
                    && (key || !continued)
                    && !matches!(self.byte(at), b'{' | b'\n' | b'\r')
                {
                    self.out.pieces.push(piece..line);
                    piece = line;
                }
            }
            self.line(&mut signs, at..end, indent);
            at = end + usize::from(end < self.text.len());
        }
        let Signs {
            mut open,
            suspect,
            deep,
            ..
        } = signs;
        end_inner(&mut open);
        if let Some(outermost) = open.iter().find(|o| o.sign == b'{').copied()
            && deep.is_none()
        {
            let next = if may_cut && outermost.indent == 0 {
                self.next_item(outermost.at)
            } else {
                None
            };
            let innermost = open.last().map_or(outermost.at, |o| o.at);
            self.out.unclosed.push(Unclosed {
                open: suspect.unwrap_or(innermost),
                next,
            });
            if let Some(next) = next {
                self.out.comments.truncate(kept.0);
                self.out.problems.truncate(kept.1);
                self.masks.truncate(kept.2);
                self.ends.truncate(kept.3);
                self.out.pieces.retain(|p| p.end <= start);
                // What lies before the cut is read again, for its comments and problems.
                self.part(start, next);
                return Some(next);
            }
        }
        if let Some(from) = deep {
            self.too_deep(from, self.text.len());
        }
        self.out.pieces.push(piece..self.text.len());
        None
    }

    /// Reads the signs of one line behind its indentation.
    fn line(&mut self, signs: &mut Signs, line: Range<usize>, indent: usize) {
        let (mut at, end) = (line.start, line.end);
        let mut first_on_line = true;
        while at < end {
            let byte = self.byte(at);
            let mut next = at + 1;
            match byte {
                b'#' => {
                    self.out.comments.push(at..end);
                    at = end;
                    continue;
                }
                b'"' => next = self.text_end(at, end),
                b'{' | b'(' | b'[' => {
                    signs.open.push(Open {
                        sign: byte,
                        at,
                        indent,
                    });
                    if signs.open.len() == DEEPEST + 1 && signs.deep.is_none() {
                        signs.deep = Some(at);
                    }
                }
                b'}' => {
                    end_inner(&mut signs.open);
                    let closed = signs.open.pop();
                    self.out.strays += usize::from(closed.is_none());
                    if let Some(closed) = closed
                        && first_on_line
                        && indent < closed.indent
                        && signs.suspect.is_none()
                    {
                        signs.suspect = Some(closed.at);
                    }
                    if signs.open.is_empty() {
                        signs.suspect = None;
                    }
                }
                b')' | b']' => {
                    let sign = if byte == b')' { b'(' } else { b'[' };
                    signs.open.pop_if(|o| o.sign == sign);
                }
                _ => {}
            }
            if signs.open.len() <= DEEPEST
                && let Some(from) = signs.deep.take()
            {
                self.too_deep(from, next);
            }
            if !matches!(byte, b' ' | b'\t') {
                first_on_line = false;
                signs.last = byte;
            }
            at = next;
        }
    }

    /// Reads a stretch that ends before the text does and becomes a piece of its own.
    fn part(&mut self, start: usize, end: usize) {
        let text = self.text.get(..end).unwrap_or_default();
        let mut part = Look::new(self.file, text, Cow::Borrowed(""));
        part.run(start, false);
        self.out.comments.append(&mut part.out.comments);
        self.out.problems.append(&mut part.out.problems);
        self.masks.append(&mut part.masks);
        self.ends.append(&mut part.ends);
        self.out.pieces.append(&mut part.out.pieces);
        if let (Some(unclosed), Some(found)) =
            (self.out.unclosed.last_mut(), part.out.unclosed.pop())
        {
            unclosed.open = found.open;
        }
    }

    /// The end of a text that begins at `at`; reports one that does not end on its line.
    fn text_end(&mut self, at: usize, line_end: usize) -> usize {
        let mut i = at + 1;
        while i < line_end {
            match self.byte(i) {
                b'"' => return i + 1,
                b'\\' => i += 2,
                _ => i += 1,
            }
        }
        // Braces, and what follows the next key, are taken to stand outside.
        let mut end = at + 1;
        while end < line_end && !matches!(self.byte(end), b'{' | b'}') {
            let behind = self.text.get(end + 1..line_end).unwrap_or_default();
            if matches!(self.byte(end), b' ' | b'\t') && is_key_line(behind) {
                break;
            }
            end += 1;
        }
        while end > at + 1 && matches!(self.byte(end - 1), b' ' | b'\t' | b')') {
            end -= 1;
        }
        Problem::error(UNTERMINATED, "a text does not end on its line")
            .at(self.span(at, end), "begun here")
            .help("close it with `\"`")
            .report(self);
        // The blank behind it has room for the missing quote.
        let room = end < line_end && matches!(self.byte(end), b' ' | b'\t');
        self.ends.push(at..end + usize::from(room));
        end
    }

    fn too_deep(&mut self, from: usize, until: usize) {
        let why = format!("brackets nest more than {DEEPEST} deep");
        Problem::error("nested-too-deep", why)
            .at(self.span(from, from + 1), "what stands inside is not read")
            .help("give inner parts a name with `define NAME as …` and use the name")
            .report(self);
        // Braces stay, so that what stands before them still has a block or part.
        if self.byte(from) == b'{' {
            let closed = until > from + 1 && self.byte(until - 1) == b'}';
            self.masks.push(from + 1..until - usize::from(closed));
        } else {
            self.masks.push(from..until);
        }
    }

    /// The start of the next line after `from` that looks like an item of its own, provided that
    /// the lines of the block that begins at `from` are indented.
    fn next_item(&self, from: usize) -> Option<usize> {
        let mut line = self.line_end(from);
        let mut indented = false;
        while line < self.text.len() {
            let start = line + 1;
            let end = self.line_end(start);
            let text = self.text.get(start..end).unwrap_or_default();
            match text.first() {
                Some(b' ' | b'\t') => indented = true,
                Some(b) if b.is_ascii_alphabetic() => {
                    if !indented {
                        return None;
                    }
                    let head = text
                        .iter()
                        .position(|b| matches!(b, b'{' | b':'))
                        .is_some_and(|i| text.get(i) == Some(&b'{'));
                    if head
                        || [&b"define "[..], b"parameter ", b"use \"", b"no "]
                            .iter()
                            .any(|w| text.starts_with(w))
                    {
                        return Some(start);
                    }
                }
                _ => {}
            }
            line = end;
        }
        None
    }
}

/// Ends the round and square brackets that were opened last.
fn end_inner(open: &mut Vec<Open>) {
    while open.pop_if(|o| o.sign != b'{').is_some() {}
}

/// Whether a line begins with a key, which ends any round or square bracket left open.
fn is_key_line(line: &[u8]) -> bool {
    let word = line
        .iter()
        .position(|b| !(b.is_ascii_alphanumeric() || *b == b'-' || *b >= 0x80))
        .unwrap_or(line.len());
    word > 0
        && line
            .get(word..)
            .unwrap_or_default()
            .iter()
            .find(|b| !matches!(b, b' ' | b'\t'))
            == Some(&b':')
}
