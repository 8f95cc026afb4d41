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

/// A page as it is written. What its markup has gaps for is a text: it is escaped here.
pub(super) struct Page(String);

impl Page {
    /// A page up to its title.
    pub(super) fn new(title: &str, style: &str) -> Self {
        Self(page(title, style))
    }

    /// Adds markup, a text in each of its gaps `{}`.
    pub(super) fn put(&mut self, markup: &str, texts: &[&str]) {
        let mut texts = texts.iter();
        for (i, piece) in markup.split("{}").enumerate() {
            if i > 0 {
                self.0.push_str(&escape(texts.next().unwrap_or(&"")));
            }
            self.0.push_str(piece);
        }
    }

    /// The whole page, what is said below all its last line.
    pub(super) fn end(mut self, after: &str) -> String {
        self.put("<p class=\"warn\">{}</p>\n</body></html>\n", &[after]);
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::{Page, escape};

    #[test]
    fn a_text_in_a_gap_is_escaped() {
        let mut page = Page(String::new());
        page.put("<b>{}</b> {}\n", &["a < {}", "b"]);
        assert_eq!(page.0, "<b>a &lt; {}</b> b\n");
    }

    #[test]
    fn what_has_a_meaning_in_markup_is_named() {
        assert_eq!(
            escape("<a b=\"c\"> & 'd'\u{1b}\u{202e}"),
            "&lt;a b=&quot;c&quot;&gt; &amp; &#39;d&#39;[U+001B][U+202E]"
        );
    }
}
