//! What is shown beside the text: figures with their margins, and how far facts can go.

use std::collections::BTreeMap;

use gen_lsp_types::{CodeLens, CodeLensParams, InlayHint, InlayHintParams, Label, Tooltip};

use super::actions::command;
use super::context::judged;
use super::document::path_of;
use super::state::State;
use crate::answer::End;
use crate::report::{bounds, terminal};

/// Answers figures that have a limit, behind the head of the thing that they are of; all of its
/// figures when it is pointed at.
pub(super) fn hints(state: &mut State, params: InlayHintParams) -> Option<Vec<InlayHint>> {
    let view = state.view(&path_of(&params.text_document.uri))?;
    let found = state.found(&view);
    let checked = found.and_then(|f| f.checked.judged.as_ref());
    let (Some(checked), Some((_, design))) = (checked, judged(&view)) else {
        return Some(Vec::new());
    };
    let mut lines: BTreeMap<usize, (Vec<String>, Vec<String>)> = BTreeMap::new();
    for f in &checked.report.figures {
        let object = design.object(f.subject.id);
        if object.head.file != view.file || object.phantom {
            continue;
        }
        let (short, long) = lines
            .entry(view.lines.line_of(object.head.from()))
            .or_default();
        let cells = terminal::cells(f);
        long.push(cells.join("  ").trim_end().to_owned());
        if let ([_, value, limit, margin], true) = (cells.as_slice(), f.limit.is_some()) {
            short.push(format!("{} {value} ({limit}, {margin})", f.fact));
        }
    }
    let asked = params.range.start.line as usize..=params.range.end.line as usize;
    let inside = lines.into_iter().filter(|(line, _)| asked.contains(line));
    let limited = inside.filter(|(_, (short, _))| !short.is_empty());
    let hints = limited.map(|(line, (short, long))| {
        let end = view.lines.start(line + 1).unwrap_or(view.text().len() + 1) - 1;
        InlayHint {
            position: view.lines.position(view.text(), end),
            label: Label::String(short.join("; ")),
            kind: None,
            text_edits: None,
            tooltip: Some(Tooltip::String(long.join("\n"))),
            padding_left: Some(true),
            padding_right: None,
            data: None,
        }
    });
    Some(hints.collect())
}

/// Answers how far each fact can go that a rule stops.
pub(super) fn lenses(state: &mut State, params: CodeLensParams) -> Option<Vec<CodeLens>> {
    let view = state.view(&path_of(&params.text_document.uri))?;
    let Some(all) = state.found(&view).and_then(|f| f.bounds.as_ref()) else {
        return Some(Vec::new());
    };
    let lenses = all
        .bounds
        .iter()
        .filter(|b| b.span.file == view.file)
        .filter_map(|b| {
            let title = bounds::line(b)?;
            let stops = [&b.high, &b.low];
            let mut rules = stops.into_iter().filter_map(|end| match end {
                End::Stopped(stop) => Some(&stop.rule),
                End::Free => None,
            });
            let mut command = command(view.source.name(), rules.next()?);
            command.title = title;
            Some(CodeLens {
                range: view.range(b.span),
                command: Some(command),
                data: None,
            })
        });
    Some(lenses.collect())
}
