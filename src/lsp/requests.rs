//! Requests: which is answered where.

use gen_lsp_types::{
    CodeActionRequest, CodeLensRequest, CompletionRequest, CompletionResolveRequest,
    DefinitionRequest, DocumentFormattingRequest, DocumentRangeFormattingRequest,
    DocumentSymbolRequest, ExecuteCommandRequest, FoldingRangeRequest, HoverRequest,
    InlayHintRequest, LspRequestMethod as Asked, PrepareRenameRequest, ReferencesRequest,
    RenameRequest, Request as Kind, SelectionRangeRequest, SemanticTokensRequest,
    WorkspaceSymbolRequest,
};
use lsp_server::{ErrorCode, Request};
use serde_json::Value;

use super::client::Refusal;
use super::state::State;
use super::{actions, beside, completion, hover, layout, names, outline};

/// Answers a request.
pub(super) fn answer(state: &mut State, request: Request) -> Result<Value, Refusal> {
    let (s, r) = (state, request);
    match Asked::from(r.method.as_str()) {
        Asked::TextDocumentHover => with::<HoverRequest>(s, r, hover::hover),
        Asked::TextDocumentCompletion => with::<CompletionRequest>(s, r, completion::completion),
        Asked::CompletionItemResolve => with::<CompletionResolveRequest>(s, r, completion::resolve),
        Asked::TextDocumentFormatting => with::<DocumentFormattingRequest>(s, r, layout::layout),
        Asked::TextDocumentRangeFormatting => {
            with::<DocumentRangeFormattingRequest>(s, r, layout::layout_range)
        }
        Asked::TextDocumentDocumentSymbol => with::<DocumentSymbolRequest>(s, r, outline::symbols),
        Asked::TextDocumentFoldingRange => with::<FoldingRangeRequest>(s, r, outline::folds),
        Asked::TextDocumentSelectionRange => {
            with::<SelectionRangeRequest>(s, r, outline::selections)
        }
        Asked::TextDocumentSemanticTokensFull => {
            with::<SemanticTokensRequest>(s, r, outline::colours)
        }
        Asked::WorkspaceSymbol => with::<WorkspaceSymbolRequest>(s, r, outline::all_symbols),
        Asked::TextDocumentDefinition => with::<DefinitionRequest>(s, r, names::definition),
        Asked::TextDocumentReferences => with::<ReferencesRequest>(s, r, names::references),
        Asked::TextDocumentPrepareRename => with::<PrepareRenameRequest>(s, r, names::prepare),
        Asked::TextDocumentRename => or_refuse::<RenameRequest>(s, r, names::rename),
        Asked::TextDocumentCodeAction => with::<CodeActionRequest>(s, r, actions::actions),
        Asked::WorkspaceExecuteCommand => {
            or_refuse::<ExecuteCommandRequest>(s, r, actions::execute)
        }
        Asked::TextDocumentInlayHint => with::<InlayHintRequest>(s, r, beside::hints),
        Asked::TextDocumentCodeLens => with::<CodeLensRequest>(s, r, beside::lenses),
        _ => {
            let why = format!("there is no `{}` here", r.method);
            Err((ErrorCode::MethodNotFound, why))
        }
    }
}

fn with<K: Kind>(
    state: &mut State,
    request: Request,
    answer: fn(&mut State, K::Params) -> K::Result,
) -> Result<Value, Refusal> {
    or_refuse::<K>(state, request, |state, params| Ok(answer(state, params)))
}

/// The same, where what is asked for may be refused.
fn or_refuse<K: Kind>(
    state: &mut State,
    request: Request,
    answer: impl FnOnce(&mut State, K::Params) -> Result<K::Result, Refusal>,
) -> Result<Value, Refusal> {
    let wrong = |e: serde_json::Error| (ErrorCode::InvalidParams, e.to_string());
    let params = serde_json::from_value(request.params).map_err(wrong)?;
    let result = answer(state, params)?;
    serde_json::to_value(result).map_err(|e| (ErrorCode::InternalError, e.to_string()))
}
