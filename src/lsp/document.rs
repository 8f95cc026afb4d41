//! A text that an editor holds, and the edits that it sends.

use std::cell::OnceCell;
use std::path::PathBuf;

use gen_lsp_types::{TextDocumentContentChangeEvent, Uri};

use super::position::{Encoding, Lines};
use crate::design::parse::parse;
use crate::design::tree::Item;
use crate::source::FileId;

/// One open text.
#[derive(Clone, Debug)]
pub(super) struct Document {
    /// As the client spells it.
    pub(super) uri: Uri,
    /// The client's count of its edits.
    pub(super) version: i32,
    pub(super) text: String,
    pub(super) lines: Lines,
    encoding: Encoding,
    /// Worked out when it is asked for.
    only_parts: OnceCell<bool>,
}

impl Document {
    pub(super) fn new(uri: Uri, version: i32, text: String, encoding: Encoding) -> Self {
        Self {
            lines: Lines::new(&text, encoding),
            uri,
            version,
            text,
            encoding,
            only_parts: OnceCell::new(),
        }
    }

    /// Whether it defines parts and says nothing of an installation.
    pub(super) fn only_parts(&self) -> bool {
        *self.only_parts.get_or_init(|| {
            let part = |i: &Item| matches!(i, Item::Define(_) | Item::Use(_));
            parse(FileId(0), &self.text).tree.items.iter().all(part)
        })
    }

    /// Makes edits in the order in which they are given, each in the text that those before it left.
    /// What cannot be meant is put right as far as it can be and returned in words.
    pub(super) fn edit(
        &mut self,
        version: i32,
        changes: Vec<TextDocumentContentChangeEvent>,
    ) -> Vec<String> {
        let mut odd = Vec::new();
        if version <= self.version {
            odd.push(format!(
                "{}: edits of version {version} came after version {}",
                self.uri, self.version
            ));
        }
        self.version = version;
        self.only_parts = OnceCell::new();
        for change in changes {
            match change {
                TextDocumentContentChangeEvent::TextDocumentContentChangeWholeDocument(whole) => {
                    self.text = whole.text;
                }
                TextDocumentContentChangeEvent::TextDocumentContentChangePartial(part) => {
                    let (start, end) = (part.range.start, part.range.end);
                    let from = self.lines.byte(&self.text, start);
                    let until = self.lines.byte(&self.text, end);
                    let there = self.lines.range(&self.text, from, until);
                    if from > until || there.start != start || there.end != end {
                        odd.push(format!(
                            "{}: an edit of {}:{} to {}:{} lies outside of the text",
                            self.uri, start.line, start.character, end.line, end.character
                        ));
                    }
                    let (from, until) = (from.min(until), from.max(until));
                    self.text.replace_range(from..until, &part.text);
                }
            }
            self.lines = Lines::new(&self.text, self.encoding);
        }
        odd
    }
}

/// The path that an address stands for; what is no file stands for itself.
pub(super) fn path_of(uri: &Uri) -> PathBuf {
    uri.to_file_path()
        .unwrap_or_else(|()| PathBuf::from(uri.as_str()))
}

#[cfg(test)]
mod tests {
    use super::Document;
    use crate::lsp::position::Encoding;
    use gen_lsp_types::{Position, TextDocumentContentChangeEvent as Change, Uri};
    use proptest::prelude::*;

    /// The place of a byte, counted one character at a time.
    fn place(text: &str, byte: usize, encoding: Encoding) -> Position {
        let mut at = Position::default();
        let mut chars = text[..byte].chars().peekable();
        while let Some(c) = chars.next() {
            if c == '\n' || c == '\r' {
                // Both together end one line.
                if c == '\r' {
                    let _ = chars.next_if_eq(&'\n');
                }
                at = Position {
                    line: at.line + 1,
                    character: 0,
                };
            } else {
                at.character += match encoding {
                    Encoding::Utf8 => u32::try_from(c.len_utf8()).unwrap_or(0),
                    Encoding::Utf16 => u32::try_from(c.len_utf16()).unwrap_or(0),
                };
            }
        }
        at
    }

    proptest! {
        #[test]
        fn random_edits_come_to_the_full_text(
            first in "[a²Ω😀\r\n ]{0,30}",
            edits in prop::collection::vec((0_usize..60, 0_usize..9, "[b³µ😀\r\n]{0,6}"), 1..30),
            narrow in any::<bool>(),
        ) {
            let encoding = if narrow { Encoding::Utf8 } else { Encoding::Utf16 };
            let uri: Uri = "file:///a.amp".parse().map_err(|_| TestCaseError::fail("an address"))?;
            let mut document = Document::new(uri, 0, first.clone(), encoding);
            let mut whole = first;
            for (version, (start, len, text)) in (1..).zip(edits) {
                // No place is between a carriage return and its line feed.
                let ends: Vec<usize> = (0..=whole.len())
                    .filter(|i| whole.is_char_boundary(*i))
                    .filter(|i| !(whole[*i..].starts_with('\n') && whole[..*i].ends_with('\r')))
                    .collect();
                let from = ends[start % ends.len()];
                let until = ends[(start % ends.len() + len).min(ends.len() - 1)];
                let range = gen_lsp_types::Range {
                    start: place(&whole, from, encoding),
                    end: place(&whole, until, encoding),
                };
                let change = serde_json::json!({ "range": range, "text": text });
                let change: Change = serde_json::from_value(change)
                    .map_err(|e| TestCaseError::fail(e.to_string()))?;
                whole.replace_range(from..until, &text);
                let odd = document.edit(version, vec![change]);
                prop_assert_eq!(odd, Vec::<String>::new());
                prop_assert_eq!(&document.text, &whole);
            }
        }
    }
}
