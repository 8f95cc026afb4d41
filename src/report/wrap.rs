//! Text in lines of a width.

use crate::source::visible_line;

/// Breaks a text at blanks into lines of at most `width` columns. The first begins with `lead`, the
/// others with `hang` blanks. A word that no line holds stands on a line of its own.
pub(super) fn wrapped(lead: &str, text: &str, hang: usize, width: usize) -> String {
    let mut out = String::new();
    let mut line = lead.to_owned();
    let mut begun = false;
    for word in text.split_whitespace() {
        let blank = usize::from(begun);
        if begun && line.chars().count() + blank + word.chars().count() > width {
            out.push_str(line.trim_end());
            out.push('\n');
            line = " ".repeat(hang);
            begun = false;
        }
        if begun {
            line.push(' ');
        }
        line.push_str(&visible_line(word));
        begun = true;
    }
    out.push_str(line.trim_end());
    out.push('\n');
    out
}

/// A text of which lines that are longer than a width are broken, each behind its own indent.
#[must_use]
pub fn fit(text: &str, width: usize) -> String {
    let mut out = String::new();
    for line in text.lines() {
        if line.chars().count() <= width {
            out.push_str(line);
            out.push('\n');
            continue;
        }
        let (lead, rest) = line.split_at(line.len() - line.trim_start().len());
        out.push_str(&wrapped(lead, rest, lead.len() + 2, width));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::{fit, wrapped};

    #[test]
    fn only_long_lines_are_broken() {
        assert_eq!(fit("a  b\n  one two\n\n", 7), "a  b\n  one\n    two\n\n");
    }

    #[test]
    fn lines_break_at_blanks_and_hang() {
        assert_eq!(
            wrapped("  a: ", "one two three", 4, 12),
            "  a: one two\n    three\n"
        );
        assert_eq!(wrapped("", "mm² mm²", 0, 7), "mm² mm²\n");
        assert_eq!(wrapped("", "mm² mm²", 0, 6), "mm²\nmm²\n");
        assert_eq!(wrapped("  x", "", 2, 10), "  x\n");
        assert_eq!(wrapped("", "a longword b", 1, 4), "a\n longword\n b\n");
    }
}
