//! The one layout of a design, as edits.

use gen_lsp_types::{DocumentFormattingParams, DocumentRangeFormattingParams, TextEdit, Uri};
use similar::{DiffTag, TextDiff};

use super::document::path_of;
use super::state::State;
use crate::design::format::{format, format_by};

/// Lays a text out.
pub(super) fn layout(state: &mut State, params: DocumentFormattingParams) -> Option<Vec<TextEdit>> {
    edits(state, &params.text_document.uri)
}

/// Lays the lines of a range out, as they are laid out in the whole.
pub(super) fn layout_range(
    state: &mut State,
    params: DocumentRangeFormattingParams,
) -> Option<Vec<TextEdit>> {
    let (first, last) = (params.range.start.line, params.range.end.line);
    let mut found = edits(state, &params.text_document.uri)?;
    found.retain(|e| e.range.start.line <= last && e.range.end.line >= first);
    Some(found)
}

/// What laying a text out changes, stretch by stretch, so that marks and cursors elsewhere stay. A
/// text with mistakes stays as it is: they are told of where they stand.
fn edits(state: &mut State, uri: &Uri) -> Option<Vec<TextEdit>> {
    let view = state.view(&path_of(uri))?;
    let text = view.text();
    let used = view.loaded.trees_beside(view.file);
    let new = match &view.loaded.ruleset {
        Some(ruleset) => format_by(text, &used, &ruleset.vocabulary, false),
        None => format(text),
    };
    let new = match new {
        Ok(new) => new,
        Err(problems) => {
            for p in problems.iter().take(1) {
                state.client.log(&format!("not laid out: {}", p.message));
            }
            return None;
        }
    };
    let diff = TextDiff::from_lines(text, &new);
    let (mut at, mut all) = (0, Vec::new());
    for op in diff.ops() {
        let old: usize = diff.old_slices()[op.old_range()]
            .iter()
            .map(|l| l.len())
            .sum();
        if op.tag() != DiffTag::Equal {
            all.push(TextEdit {
                range: view.lines.range(text, at, at + old),
                new_text: diff.new_slices()[op.new_range()].concat(),
            });
        }
        at += old;
    }
    Some(all)
}
