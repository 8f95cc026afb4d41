//! What the server says it can do.

use gen_lsp_types::{
    CodeActionKind, CodeActionOptions, CodeActionProvider, CodeLensOptions, CompletionOptions,
    ExecuteCommandOptions, Full, RenameOptions, RenameProvider, Save, SemanticTokensLegend,
    SemanticTokensOptions, SemanticTokensProvider, ServerCapabilities, TextDocumentSync,
    TextDocumentSyncKind, TextDocumentSyncOptions,
};

use super::actions::EXPLAIN;
use super::client::Client;
use super::outline::COLOURS;

/// What the server can do for a client.
pub(super) fn capabilities(client: &Client) -> ServerCapabilities {
    ServerCapabilities {
        position_encoding: Some(client.encoding_name()),
        text_document_sync: Some(TextDocumentSync::Options(TextDocumentSyncOptions {
            open_close: Some(true),
            change: Some(TextDocumentSyncKind::Incremental),
            save: Some(Save::Bool(true)),
            ..TextDocumentSyncOptions::default()
        })),
        hover_provider: Some(true.into()),
        completion_provider: Some(CompletionOptions {
            trigger_characters: Some([":", " ", "(", "-"].map(str::to_owned).to_vec()),
            resolve_provider: Some(true),
            ..CompletionOptions::default()
        }),
        document_formatting_provider: Some(true.into()),
        document_range_formatting_provider: Some(true.into()),
        document_symbol_provider: Some(true.into()),
        workspace_symbol_provider: Some(true.into()),
        folding_range_provider: Some(true.into()),
        selection_range_provider: Some(true.into()),
        definition_provider: Some(true.into()),
        references_provider: Some(true.into()),
        rename_provider: Some(RenameProvider::RenameOptions(RenameOptions {
            prepare_provider: Some(true),
            ..RenameOptions::default()
        })),
        code_action_provider: Some(CodeActionProvider::CodeActionOptions(CodeActionOptions {
            code_action_kinds: Some(vec![CodeActionKind::QuickFix]),
            ..CodeActionOptions::default()
        })),
        execute_command_provider: Some(ExecuteCommandOptions {
            commands: vec![EXPLAIN.to_owned()],
            ..ExecuteCommandOptions::default()
        }),
        inlay_hint_provider: Some(true.into()),
        code_lens_provider: Some(CodeLensOptions::default()),
        semantic_tokens_provider: Some(SemanticTokensProvider::SemanticTokensOptions(
            SemanticTokensOptions {
                legend: SemanticTokensLegend {
                    token_types: COLOURS.map(str::to_owned).to_vec(),
                    token_modifiers: Vec::new(),
                },
                full: Some(Full::Bool(true)),
                ..SemanticTokensOptions::default()
            },
        )),
        ..ServerCapabilities::default()
    }
}
