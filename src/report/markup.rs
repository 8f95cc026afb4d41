//! Texts inside markup.

/// A text as it may stand between tags and in quoted attributes.
#[must_use]
pub fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
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
