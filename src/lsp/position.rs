//! Places: bytes of a text here, lines and columns in the protocol.

use gen_lsp_types::{Position, Range};

use crate::source::Span;

/// In what the client counts columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Encoding {
    /// In bytes.
    Utf8,
    /// In units of UTF-16: what every client can do.
    Utf16,
}

impl Encoding {
    /// How many columns a stretch of text takes.
    pub(super) fn columns(self, text: &str) -> u32 {
        let count = match self {
            Self::Utf8 => text.len(),
            Self::Utf16 => text.encode_utf16().count(),
        };
        u32::try_from(count).unwrap_or(u32::MAX)
    }

    /// The byte of a text at which a column begins: the end of the text for a column beyond it, the
    /// beginning of the character for one inside a character.
    fn byte(self, text: &str, column: u32) -> usize {
        let mut left = column;
        for (at, c) in text.char_indices() {
            let width = match self {
                Self::Utf8 => c.len_utf8(),
                Self::Utf16 => c.len_utf16(),
            };
            match left.checked_sub(u32::try_from(width).unwrap_or(u32::MAX)) {
                Some(rest) => left = rest,
                None => return at,
            }
        }
        text.len()
    }
}

/// Where the lines of a text begin. As the protocol has it, a line ends with a line feed, a carriage
/// return, or both.
#[derive(Clone, Debug)]
pub(super) struct Lines {
    starts: Vec<usize>,
    encoding: Encoding,
}

impl Lines {
    pub(super) fn new(text: &str, encoding: Encoding) -> Self {
        let bytes = text.as_bytes();
        let ends = |i: usize| match bytes.get(i) {
            Some(b'\n') => true,
            Some(b'\r') => bytes.get(i + 1) != Some(&b'\n'),
            _ => false,
        };
        let mut starts = vec![0];
        starts.extend((0..bytes.len()).filter(|i| ends(*i)).map(|i| i + 1));
        Self { starts, encoding }
    }

    /// The line, counted from nought, that holds a byte.
    pub(super) fn line_of(&self, byte: usize) -> usize {
        let after = self.starts.partition_point(|s| *s <= byte);
        after.saturating_sub(1)
    }

    /// First byte of a line; none past the last.
    pub(super) fn start(&self, line: usize) -> Option<usize> {
        self.starts.get(line).copied()
    }

    /// A line without what ends it, and its first byte.
    fn line<'t>(&self, text: &'t str, line: usize) -> Option<(usize, &'t str)> {
        let start = self.start(line)?;
        let end = self.start(line + 1).unwrap_or(text.len());
        let whole = text.get(start..end)?;
        Some((start, whole.trim_end_matches(['\n', '\r'])))
    }

    /// The place of a byte; one past the end of its line is that end, one inside a character the
    /// character's beginning.
    pub(super) fn position(&self, text: &str, byte: usize) -> Position {
        let at = self.line_of(byte.min(text.len()));
        let column = self.line(text, at).map_or(0, |(start, line)| {
            let mut end = (byte.min(text.len()) - start).min(line.len());
            while !line.is_char_boundary(end) {
                end -= 1;
            }
            self.encoding.columns(line.get(..end).unwrap_or(""))
        });
        Position {
            line: u32::try_from(at).unwrap_or(u32::MAX),
            character: column,
        }
    }

    /// The byte of a place: the end of its line for a column beyond it, the end of the text for a
    /// line past the last.
    pub(super) fn byte(&self, text: &str, position: Position) -> usize {
        match self.line(text, position.line as usize) {
            Some((start, line)) => start + self.encoding.byte(line, position.character),
            None => text.len(),
        }
    }

    /// The places of a stretch of bytes.
    pub(super) fn range(&self, text: &str, from: usize, until: usize) -> Range {
        Range {
            start: self.position(text, from),
            end: self.position(text, until.max(from)),
        }
    }

    /// The places of a span; `text` is the file that it lies in.
    pub(super) fn of(&self, text: &str, span: Span) -> Range {
        self.range(text, span.from(), span.until())
    }
}

#[cfg(test)]
mod tests {
    use super::{Encoding, Lines};
    use gen_lsp_types::Position;

    const TEXT: &str = "a²Ωb\r\n😀x\rlast\n\nno end Ω";

    fn at(line: u32, character: u32) -> Position {
        Position { line, character }
    }

    #[test]
    fn every_character_has_one_place_in_either_count() {
        for encoding in [Encoding::Utf8, Encoding::Utf16] {
            let lines = Lines::new(TEXT, encoding);
            let mut places = Vec::new();
            for (byte, c) in TEXT.char_indices().chain([(TEXT.len(), ' ')]) {
                let place = lines.position(TEXT, byte);
                // The line feed behind a carriage return is inside the line's end.
                if c == '\n' && TEXT[..byte].ends_with('\r') {
                    continue;
                }
                assert_eq!(lines.byte(TEXT, place), byte, "{encoding:?} {place:?}");
                assert!(!places.contains(&place), "{encoding:?} {place:?}");
                places.push(place);
            }
        }
    }

    #[test]
    fn columns_are_counted_as_agreed() {
        let byte =
            |encoding, line, character| Lines::new(TEXT, encoding).byte(TEXT, at(line, character));
        let b = TEXT.find('b').unwrap_or_default();
        assert_eq!(byte(Encoding::Utf16, 0, 3), b);
        assert_eq!(byte(Encoding::Utf8, 0, 5), b);
        let x = TEXT.find('x').unwrap_or_default();
        assert_eq!(byte(Encoding::Utf16, 1, 2), x);
        assert_eq!(byte(Encoding::Utf8, 1, 4), x);
        // The carriage return ends a line, so these stand on the third and fifth.
        let last = TEXT.find("last").unwrap_or_default();
        assert_eq!(byte(Encoding::Utf16, 2, 0), last);
        assert_eq!(byte(Encoding::Utf16, 4, 8), TEXT.len());
    }

    #[test]
    fn what_lies_outside_is_the_nearest_place_inside() {
        for encoding in [Encoding::Utf8, Encoding::Utf16] {
            let lines = Lines::new(TEXT, encoding);
            let end_of_first = TEXT.find('\r').unwrap_or_default();
            assert_eq!(lines.byte(TEXT, at(0, 99)), end_of_first);
            assert_eq!(lines.byte(TEXT, at(99, 0)), TEXT.len());
            assert_eq!(lines.byte(TEXT, at(u32::MAX, u32::MAX)), TEXT.len());
            // Inside the pair of units, or the four bytes, of one character.
            let face = TEXT.find('😀').unwrap_or_default();
            assert_eq!(lines.byte(TEXT, at(1, 1)), face);
            assert_eq!(lines.position(TEXT, face + 2), lines.position(TEXT, face));
            assert_eq!(
                lines.position(TEXT, 10_000),
                lines.position(TEXT, TEXT.len())
            );
        }
        let empty = Lines::new("", Encoding::Utf16);
        assert_eq!(empty.byte("", at(3, 3)), 0);
        assert_eq!(empty.position("", 7), at(0, 0));
    }
}
