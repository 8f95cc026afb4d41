//! Where the `}` of a block is missing, as its lines are indented.

/// The line before which the block that opens at `open` should have ended, as the place where it begins
/// and that of its first sign: the first line that stands no deeper than the one that opens the block,
/// where the lines between stand deeper.
pub(super) fn missing(text: &str, open: usize) -> Option<(usize, usize)> {
    let head = text.get(..open)?.rfind(['\n', '\r']).map_or(0, |n| n + 1);
    let indent = blanks(text.get(head..)?);
    let mut at = head;
    let mut deeper = false;
    for line in text.get(head..)?.split_inclusive(['\n', '\r']) {
        let (start, sign) = (at, at + blanks(line));
        at += line.len();
        if start == head || line.trim().is_empty() {
            continue;
        }
        if sign - start <= indent {
            let item = line.trim_start().starts_with(char::is_alphabetic);
            let ends = deeper && (item || line.trim_start().starts_with('}'));
            return ends.then_some((start, sign));
        }
        deeper = true;
    }
    None
}

fn blanks(line: &str) -> usize {
    line.len() - line.trim_start_matches([' ', '\t']).len()
}
