//! Texts inside markup.

use crate::source::visible_line;

/// A text as it may stand between tags and in quoted attributes, every character of it seen.
#[must_use]
pub fn escape(text: &str) -> String {
    visible_line(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
        .replace('\'', "&#39;")
}

/// A page up to its title in the opened body.
#[must_use]
pub fn page(title: &str, style: &str) -> String {
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\"><title>{0}</title><style>{style}</style></head>\n<body>\n<h1>{0}</h1>\n",
        escape(title)
    )
}

#[cfg(test)]
mod tests {
    use super::escape;

    #[test]
    fn what_has_a_meaning_in_markup_is_named() {
        assert_eq!(
            escape("<a b=\"c\"> & 'd'\u{1b}\u{202e}"),
            "&lt;a b=&quot;c&quot;&gt; &amp; &#39;d&#39;[U+001B][U+202E]"
        );
    }
}
