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

#[cfg(test)]
mod tests {
    use super::columns;

    #[test]
    fn cells_stand_under_each_other() {
        let rows = vec![
            vec!["a".to_owned(), "bb".to_owned()],
            vec!["ccc".to_owned(), "d".to_owned()],
        ];
        assert_eq!(columns(&rows, 2), "  a    bb\n  ccc  d\n");
    }
}
