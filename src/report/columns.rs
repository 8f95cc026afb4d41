//! Rows of text in columns.

/// Lines with their cells under each other, two blanks between them and no blanks at the ends.
#[must_use]
pub fn columns<R: AsRef<[String]>>(rows: &[R], indent: usize) -> String {
    let count = rows.iter().map(|r| r.as_ref().len()).max().unwrap_or(0);
    let width = |i: usize| {
        let cells = rows.iter().filter_map(|r| r.as_ref().get(i));
        cells.map(|c| c.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..count).map(width).collect();
    let mut out = String::new();
    for row in rows {
        let mut line = " ".repeat(indent);
        for (cell, width) in row.as_ref().iter().zip(&widths) {
            line.push_str(cell);
            let pad = width.saturating_sub(cell.chars().count()) + 2;
            line.push_str(&" ".repeat(pad));
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

/// The same below a line that is still to end, and to go on behind it.
pub(super) fn below<R: AsRef<[String]>>(
    rows: impl IntoIterator<Item = R>,
    indent: usize,
) -> String {
    let rows: Vec<R> = rows.into_iter().collect();
    let lines = columns(&rows, indent);
    lines.lines().map(|line| format!("\n{line}")).collect()
}

/// Names with their values, below a line; values longer than a width are broken.
pub(super) fn named(all: impl Iterator<Item = (String, String)>, width: usize) -> String {
    let rows = |(mut name, value): (String, String)| {
        let lines = broken(&value, width).into_iter();
        let rows = lines.map(|line| [std::mem::take(&mut name), line]);
        rows.collect::<Vec<_>>()
    };
    below(all.flat_map(rows), 4)
}

/// A cell broken into lines no longer than a width, at blanks after a comma where there are any.
#[must_use]
pub fn broken(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for piece in text.split_inclusive(", ") {
        match lines.last_mut() {
            Some(last) if last.chars().count() + piece.trim_end().chars().count() <= width => {
                last.push_str(piece);
            }
            _ => lines.push(piece.to_owned()),
        }
    }
    for line in &mut lines {
        line.truncate(line.trim_end().len());
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::{broken, columns};

    #[test]
    fn a_long_cell_is_broken_after_commas() {
        assert_eq!(broken("a, bb, ccc", 6), ["a, bb,", "ccc"]);
        assert_eq!(broken("abcdefgh, i", 4), ["abcdefgh,", "i"]);
        assert!(broken("", 4).iter().all(String::is_empty));
    }

    #[test]
    fn cells_stand_under_each_other() {
        let rows = vec![
            vec!["a".to_owned(), "bb".to_owned()],
            vec!["ccc".to_owned(), "d".to_owned()],
        ];
        assert_eq!(columns(&rows, 2), "  a    bb\n  ccc  d\n");
    }
}
