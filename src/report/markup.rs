//! Texts inside markup.

/// A text as it may stand between tags and in quoted attributes.
#[must_use]
pub fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
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
            escape("<a b=\"c\"> & d"),
            "&lt;a b=&quot;c&quot;&gt; &amp; d"
        );
    }
}
