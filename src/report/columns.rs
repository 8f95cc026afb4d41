//! Rows of text in columns.

/// Lines with their cells under each other, two blanks between them and no blanks at the ends.
#[must_use]
pub fn columns(rows: &[Vec<String>], indent: usize) -> String {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..count)
        .map(|i| {
            rows.iter()
                .filter_map(|r| r.get(i))
                .map(|c| c.chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect();
    let mut out = String::new();
    for row in rows {
        let mut line = " ".repeat(indent);
        for (cell, width) in row.iter().zip(&widths) {
            line.push_str(cell);
            let pad = width.saturating_sub(cell.chars().count()) + 2;
            line.push_str(&" ".repeat(pad));
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
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
