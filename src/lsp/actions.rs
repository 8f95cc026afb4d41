//! What can be done about what is wrong: words that were probably meant, changes that were tried,
//! and the rule in full.

use std::collections::BTreeMap;
use std::path::PathBuf;

use gen_lsp_types::{
    Code, CodeAction, CodeActionKind, CodeActionParams, CodeActionResponse, Command, Diagnostic,
    ExecuteCommandParams, MessageType, Range, TextEdit, WorkspaceEdit,
};
use lsp_server::ErrorCode;
use serde_json::Value;

use super::client::Refusal;
use super::diagnostics::Places;
use super::document::path_of;
use super::state::{Found, State, View};
use crate::answer::{Edit, facts_read};
use crate::check::{Finding, Outcome};
use crate::report::explain;
use crate::ruleset::{Case, read_cases};
use crate::source::{Sources, Span};

/// The command that explains a rule; its arguments are the file and the rule.
pub(super) const EXPLAIN: &str = "amperule.explain";

fn overlap(a: Range, b: Range) -> bool {
    let key = |p: gen_lsp_types::Position| (p.line, p.character);
    key(a.start) <= key(b.end) && key(b.start) <= key(a.end)
}

/// Edits as the protocol has them.
fn edit(state: &State, sources: &Sources, edits: &[Edit]) -> Option<WorkspaceEdit> {
    let mut places = Places::new(state, sources);
    let mut changes: BTreeMap<PathBuf, Vec<TextEdit>> = BTreeMap::new();
    for e in edits {
        let (path, range) = places.find(e.span)?;
        changes.entry(path).or_default().push(TextEdit {
            range,
            new_text: e.new.clone(),
        });
    }
    Some(state.edit(changes)).filter(|e| e.changes.iter().any(|c| !c.is_empty()))
}

/// What is done, with its title.
fn action(title: String, edit: WorkspaceEdit, about: Vec<Diagnostic>) -> CodeAction {
    CodeAction {
        title,
        kind: Some(CodeActionKind::QuickFix),
        diagnostics: Some(about).filter(|a| !a.is_empty()),
        edit: Some(edit),
        ..CodeAction::default()
    }
}

/// Answers what can be done about a stretch of a text.
pub(super) fn actions(
    state: &mut State,
    params: CodeActionParams,
) -> Option<Vec<CodeActionResponse>> {
    let view = state.view(&path_of(&params.text_document.uri))?;
    let Some(found) = state.found(&view) else {
        return Some(Vec::new());
    };
    let about = |code: &str| {
        let all = params.context.diagnostics.iter();
        let same = |d: &&Diagnostic| matches!(&d.code, Some(Code::String(s)) if s == code);
        all.filter(same).cloned().collect::<Vec<_>>()
    };
    let here = |span: Span| span.file == view.file && overlap(view.range(span), params.range);
    let sources = &view.loaded.sources;
    let mut all: Vec<CodeAction> = Vec::new();
    for p in &found.checked.problems {
        let (Some((written, meant)), Some(label)) = (p.instead.as_deref(), p.labels.first()) else {
            continue;
        };
        if !here(label.span) {
            continue;
        }
        let Some(span) = word(sources, label.span, written) else {
            continue;
        };
        let edits = [Edit {
            span,
            new: meant.clone(),
        }];
        if let Some(edit) = edit(state, sources, &edits) {
            let mut done = action(format!("Write `{meant}`"), edit, about(p.code));
            done.is_preferred = Some(true);
            all.push(done);
        }
    }
    let told = |f: &&Finding| !matches!(f.outcome, Outcome::Met | Outcome::NotApplicable);
    let mut explained: Vec<&str> = Vec::new();
    for f in found.findings().filter(told) {
        if !f.labels.first().is_some_and(|l| here(l.span)) {
            continue;
        }
        mends(state, &view, found, f, &about(&f.rule), &mut all);
        if !explained.contains(&f.rule.as_str()) {
            explained.push(&f.rule);
        }
    }
    if let Some(mending) = &found.mending
        && mending.as_promised == Some(true)
        && mending.found.changes.len() > 1
        && !explained.is_empty()
        && let Some(edit) = edit(state, sources, &mending.found.edits())
    {
        let title = format!(
            "Make all {} changes of the mend",
            mending.found.changes.len()
        );
        all.push(action(title, edit, Vec::new()));
    }
    let file = view.source.name();
    let explain = explained.iter().map(|rule| CodeAction {
        title: format!("Explain {rule}"),
        command: Some(command(file, rule)),
        ..CodeAction::default()
    });
    all.extend(explain);
    let wanted = |a: &CodeAction| match (&params.context.only, &a.kind) {
        (None, _) => true,
        (Some(only), Some(kind)) => only.contains(kind),
        (Some(_), None) => false,
    };
    all.retain(wanted);
    let all = all.into_iter().map(CodeActionResponse::CodeAction);
    Some(all.collect())
}

/// Where in a labelled stretch a word stands.
fn word(sources: &Sources, span: Span, written: &str) -> Option<Span> {
    let text = sources.slice(span);
    let at = text.match_indices(written).find(|(at, _)| {
        let start = span.from() + at;
        let file = sources.get(span.file).map_or("", |f| f.text());
        crate::design::cursor::token(file, start) == (start..start + written.len())
            || text == written
    });
    let start = span.from() + at?.0;
    Some(Span::new(span.file, start, start + written.len()))
}

/// Adds the changes that would mend one breach: those of the whole mend first.
fn mends(
    state: &State,
    view: &View,
    found: &Found,
    f: &Finding,
    about: &[Diagnostic],
    all: &mut Vec<CodeAction>,
) {
    let sources = &view.loaded.sources;
    let mut add = |title: String, edits: &[Edit]| {
        let Some(edit) = edit(state, sources, edits) else {
            return;
        };
        if !all.iter().any(|a| a.edit.as_ref() == Some(&edit)) {
            all.push(action(title, edit, about.to_vec()));
        }
    };
    let changes = found.mending.iter().filter(|m| m.as_promised == Some(true));
    for c in changes.flat_map(|m| &m.found.changes) {
        if c.mends
            .iter()
            .any(|(rule, of)| *rule == f.rule && of.id == f.subject.id)
        {
            add(c.words(), &c.edits);
            c.instead.iter().for_each(|c| add(c.words(), &c.edits));
        }
    }
    let key = (f.rule.clone(), f.subject.id);
    let tried = found.helps.iter().find(|(k, _)| *k == key);
    for help in tried.into_iter().flat_map(|(_, helps)| helps) {
        add(help.text.clone(), &help.edits);
    }
}

/// The command that explains a rule.
pub(super) fn command(file: &str, rule: &str) -> Command {
    Command {
        title: format!("Explain {rule}"),
        command: EXPLAIN.to_owned(),
        arguments: Some(vec![file.into(), rule.into()]),
        ..Command::default()
    }
}

/// Runs a command: the text of a rule, as `amperule explain` has it.
pub(super) fn execute(
    state: &mut State,
    params: ExecuteCommandParams,
) -> Result<Option<Value>, Refusal> {
    let wrong = |why: &str| (ErrorCode::InvalidParams, why.to_owned());
    if params.command != EXPLAIN {
        return Err(wrong(&format!("there is no command `{}`", params.command)));
    }
    let arguments = params.arguments.unwrap_or_default();
    let texts: Vec<&str> = arguments.iter().filter_map(Value::as_str).collect();
    let [file, rule] = texts.as_slice() else {
        return Err(wrong("the arguments are a file and a rule"));
    };
    let view = state.view(file.as_ref());
    let ruleset = view.and_then(|v| v.loaded.ruleset.clone());
    let ruleset =
        ruleset.ok_or_else(|| wrong(&format!("`{file}` is no open design with rules")))?;
    let found = ruleset.rule(rule);
    let found = found.ok_or_else(|| wrong(&format!("there is no rule `{rule}`")))?;
    let (files, _) = read_cases(&ruleset.files, &ruleset.edition.id);
    let cases = files.iter().flat_map(|f| &f.cases);
    let cases: Vec<&Case> = cases.filter(|c| c.rule == found.id).collect();
    let text = explain::text(&ruleset, found, &facts_read(&ruleset, found), &cases);
    if !state.client.shows {
        state.client.show(MessageType::Info, &text);
    }
    Ok(Some(Value::String(text)))
}
