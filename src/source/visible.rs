//! Characters that would steer a terminal, turn the direction of reading or not be seen at all,
//! made visible: names, labels, paths and cells are other people's texts.

use std::borrow::Cow;
use std::fmt::Write as _;

/// Whether a character does something else than to be seen; ends of lines and tabs do, too.
#[must_use]
pub const fn is_unseen(c: char) -> bool {
    // Most texts are plain, and all of each is looked at.
    !matches!(c, ' '..='~')
        && matches!(c,
        '\0'..='\u{1F}' | '\u{7F}'..='\u{9F}'
        // Soft hyphen, joiners and fillers without a width.
        | '\u{AD}' | '\u{34F}' | '\u{115F}' | '\u{1160}' | '\u{17B4}' | '\u{17B5}' | '\u{180B}'..='\u{180F}'
        | '\u{200B}'..='\u{200D}' | '\u{2060}'..='\u{2065}' | '\u{3164}' | '\u{FEFF}' | '\u{FFA0}'
        // Marks, overrides and isolates of direction.
        | '\u{61C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{206F}'
        // Ends of lines and paragraphs.
        | '\u{2028}' | '\u{2029}'
        // Notes between lines and tags.
        | '\u{FFF0}'..='\u{FFFB}' | '\u{E0000}'..='\u{E0FFF}')
}

/// A text of several lines as it may be shown: what would not be seen stands as `[U+202E]`.
#[must_use]
pub fn visible(text: &str) -> Cow<'_, str> {
    let unseen = |c: char| is_unseen(c) && !matches!(c, '\n' | '\t');
    spelled(text, unseen, |out, c| {
        let _ = write!(out, "[U+{:04X}]", u32::from(c));
    })
}

/// A name as it may stand in a line: it cannot end the line, either.
#[must_use]
pub fn visible_line(text: &str) -> Cow<'_, str> {
    spelled(text, is_unseen, |out, c| {
        let _ = write!(out, "[U+{:04X}]", u32::from(c));
    })
}

/// JSON that means the same, with such characters as JSON spells them; between its strings there
/// are none but ends of lines.
#[must_use]
pub fn visible_json(json: &str) -> Cow<'_, str> {
    let unseen = |c: char| is_unseen(c) && c != '\n';
    spelled(json, unseen, |out, c| {
        for unit in c.encode_utf16(&mut [0; 2]) {
            let _ = write!(out, "\\u{unit:04x}");
        }
    })
}

fn spelled(
    text: &str,
    unseen: impl Fn(char) -> bool,
    spell: impl Fn(&mut String, char),
) -> Cow<'_, str> {
    let Some(first) = text.find(&unseen) else {
        return Cow::Borrowed(text);
    };
    let (before, rest) = text.split_at(first);
    let mut out = String::with_capacity(text.len() + 16);
    out.push_str(before);
    for c in rest.chars() {
        if unseen(c) {
            spell(&mut out, c);
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::{is_unseen, visible, visible_json, visible_line};

    #[test]
    fn what_is_seen_stays() {
        let text = "Zs ≤ 1,4 Ω · 6 mm²\n\tНасос — 充電 “e\u{301}” 👩\u{FE0F}";
        assert_eq!(visible(text), text);
        assert_eq!(visible_line("a\tb\r\nc"), "a[U+0009]b[U+000D][U+000A]c");
    }

    #[test]
    fn what_is_not_seen_is_spelled() {
        assert_eq!(
            visible("a\u{1b}[31m\u{9b}\r"),
            "a[U+001B][31m[U+009B][U+000D]"
        );
        assert_eq!(visible("\u{202e}gpj"), "[U+202E]gpj");
        for c in
            "\0\u{7}\u{7f}\u{80}\u{9f}\u{200b}\u{2028}\u{2029}\u{2066}\u{2069}\u{feff}\u{e0041}"
                .chars()
        {
            assert!(is_unseen(c), "{c:?}");
        }
    }

    #[test]
    fn json_means_the_same() {
        let text = "a\u{202e}b\u{9b}c\u{7f}\u{e0041}\u{1b}\n\"\\";
        let json = serde_json::to_string(text).unwrap();
        let shown = visible_json(&json);
        assert!(!shown.contains(is_unseen), "{shown}");
        assert_eq!(serde_json::from_str::<String>(&shown).unwrap(), text);
    }
}
