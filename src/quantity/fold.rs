//! Signs that look alike are one sign.

use std::borrow::Cow;

/// Replaces signs that keyboards, word processors and data sheets put for one another by one of
/// them: ohm sign and Greek omega, micro sign and Greek mu, the dots of a product, the signs for
/// degrees, increment and delta, the minus sign and the hyphen, and the blanks that do not break.
///
/// ASCII text comes back as it is. The result may be shorter than what came in, so positions in it
/// are not positions in the source.
#[must_use]
pub fn fold(text: &str) -> Cow<'_, str> {
    if text.is_ascii() || !text.chars().any(|c| folded(c).is_some()) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match folded(c) {
            Some(replacement) => out.push_str(replacement),
            None => out.push(c),
        }
    }
    Cow::Owned(out)
}

/// What stands for a sign that has a commoner twin.
const fn folded(c: char) -> Option<&'static str> {
    match c {
        '\u{2126}' => Some("Ω"),
        '\u{03BC}' => Some("µ"),
        '\u{22C5}' | '\u{2219}' | '\u{2022}' | '\u{2027}' | '\u{30FB}' => Some("·"),
        '\u{2206}' => Some("Δ"),
        '\u{00BA}' | '\u{02DA}' => Some("°"),
        '\u{2103}' => Some("°C"),
        '\u{2109}' => Some("°F"),
        '\u{2212}' | '\u{2010}' | '\u{2011}' => Some("-"),
        '\u{00A0}' | '\u{202F}' | '\u{2007}' | '\u{2009}' => Some(" "),
        '\u{2044}' | '\u{2215}' => Some("/"),
        _ => None,
    }
}
