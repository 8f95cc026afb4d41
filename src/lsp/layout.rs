//! The one layout of a design, as edits.

use gen_lsp_types::{DocumentFormattingParams, TextEdit};

use super::document::path_of;
use super::requests::Refusal;
use super::state::State;
use crate::design::format::{format, format_by};
use crate::design::tree::Tree;
use crate::source::FileId;

/// Lays a text out. One with mistakes stays as it is: they are told of where they stand.
pub(super) fn layout(
    state: &mut State,
    params: DocumentFormattingParams,
) -> Result<Option<Vec<TextEdit>>, Refusal> {
    let Some(view) = state.view(&path_of(&params.text_document.uri)) else {
        return Ok(None);
    };
    let text = view.text();
    let files = (0_u16..).map(FileId).zip(view.loaded.sources.own());
    let others = files.filter(|(id, _)| *id != view.file);
    let used: Vec<Tree> = others
        .filter_map(|(id, _)| Some(view.loaded.parsed(id)?.tree.clone()))
        .collect();
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
            return Ok(None);
        }
    };
    if new == text {
        return Ok(Some(Vec::new()));
    }
    // What is the same before and behind stays, so that marks and cursors in it do.
    let same = |a: &str, b: &str| {
        let pairs = a.split_inclusive('\n').zip(b.split_inclusive('\n'));
        pairs
            .take_while(|(x, y)| x == y)
            .map(|(x, _)| x.len())
            .sum::<usize>()
    };
    let start = same(text, &new);
    let (old_rest, new_rest) = (&text[start..], &new[start..]);
    let tail = {
        let pairs = old_rest
            .split_inclusive('\n')
            .rev()
            .zip(new_rest.split_inclusive('\n').rev());
        pairs
            .take_while(|(x, y)| x == y)
            .map(|(x, _)| x.len())
            .sum::<usize>()
    };
    Ok(Some(vec![TextEdit {
        range: view.lines.range(text, start, text.len() - tail),
        new_text: new_rest[..new_rest.len() - tail].to_owned(),
    }]))
}
