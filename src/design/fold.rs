//! The folding list: one spelling for signs that look alike or stand for the same word.

/// The folding list for words: one spelling for signs that look alike.
pub(super) fn fold_word(raw: &str) -> String {
    if raw.is_ascii() {
        return raw.to_owned();
    }
    let mut out = String::with_capacity(raw.len());
    for c in raw.chars() {
        match c {
            '\u{2126}' | '\u{3A9}' => out.push_str("ohm"),
            '\u{3BC}' => out.push('\u{B5}'),
            '\u{2206}' => out.push('\u{394}'),
            c => out.push(c),
        }
    }
    out
}

/// The folding list for units: as for words, and one spelling of the middle dot and of powers.
pub(super) fn fold_unit(raw: &str) -> String {
    if raw.contains("sq") && raw.contains("mm") {
        return "mm²".to_owned();
    }
    let word = fold_word(raw).replace('\u{22C5}', "\u{B7}");
    if !word.contains(['2', '3']) {
        return word;
    }
    let mut out = String::with_capacity(word.len() + 2);
    let mut before = ' ';
    for c in word.chars() {
        match c {
            '2' if before.is_alphabetic() => out.push('²'),
            '3' if before.is_alphabetic() => out.push('³'),
            c => out.push(c),
        }
        before = c;
    }
    out
}
