//! Texts inside markup, and templates filled in.

use std::fmt;

use askama::Template;
use askama::filters::Escaper;

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

/// How texts get into the gaps of a page.
#[derive(Clone, Copy)]
pub(super) struct Escaped;

impl Escaper for Escaped {
    fn write_escaped_str<W: fmt::Write>(&self, mut page: W, text: &str) -> fmt::Result {
        page.write_str(&escape(text))
    }
}

/// A template filled in, its last line ended. What fills it are texts in memory, so writing it
/// cannot fail.
#[must_use]
pub fn filled(template: &impl Template) -> String {
    template.render().unwrap_or_else(|e| e.to_string()) + "\n"
}

/// A function that fills in a template: its gaps speak of the arguments, and of what is worked out
/// of them behind `with`.
macro_rules! template {
    (
        $(#[$doc:meta])*
        $vis:vis fn $name:ident($($arg:ident: $ty:ty),*) = $path:tt
        $(with $more:ident: $more_ty:ty = $value:expr;)*
    ) => {
        $(#[$doc])*
        #[must_use]
        $vis fn $name<'a>($($arg: $ty),*) -> String {
            #[derive(askama::Template)]
            #[template(path = $path)]
            struct Filled<'a> {
                $($arg: $ty,)*
                $($more: $more_ty,)*
            }
            $(let $more = $value;)*
            let all = Filled { $($arg,)* $($more,)* };
            // Some of them serve only to work out what is behind `with`.
            $(let _ = &all.$arg;)*
            $crate::report::filled(&all)
        }
    };
}
pub(crate) use template;

#[cfg(test)]
mod tests {
    use super::{escape, filled};

    #[test]
    fn a_text_in_a_gap_is_escaped() {
        #[derive(askama::Template)]
        #[template(source = "<b>{{ text }}</b> {{ number }}", ext = "html")]
        struct Page {
            text: &'static str,
            number: u8,
        }
        let (text, number) = ("a < {{ number }}", 7);
        assert_eq!(
            filled(&Page { text, number }),
            "<b>a &lt; {{ number }}</b> 7\n"
        );
    }

    #[test]
    fn what_has_a_meaning_in_markup_is_named() {
        assert_eq!(
            escape("<a b=\"c\"> & 'd'\u{1b}\u{202e}"),
            "&lt;a b=&quot;c&quot;&gt; &amp; &#39;d&#39;[U+001B][U+202E]"
        );
    }
}
