//! The editor at the other end: what it can do, and what is sent to it unasked.

use std::collections::VecDeque;

use gen_lsp_types::{
    ClientCapabilities, Diagnostic, Hover, LogMessageNotification, LogMessageParams, MarkupContent,
    MarkupKind, MessageType, Notification, PositionEncodingKind, PublishDiagnosticsNotification,
    PublishDiagnosticsParams, Range, ShowMessageNotification, ShowMessageParams, Uri,
};
use lsp_server::{ErrorCode, Message, Request, RequestId};
use serde_json::Value;

use super::position::Encoding;

/// Why there is no answer.
pub(super) type Refusal = (ErrorCode, String);

/// See the module.
pub(super) struct Client {
    /// In what it counts columns.
    pub(super) encoding: Encoding,
    /// It shows Markdown where something is explained.
    markdown: bool,
    /// It shows the answer to a command itself.
    pub(super) shows: bool,
    /// It asks for these again when it is told to.
    refreshes: Vec<&'static str>,
    /// Requests made so far.
    asked: i32,
    /// What waits to be sent.
    pub(super) outbox: VecDeque<Message>,
}

impl Client {
    /// A client by what it can do, and the options that it sends along.
    pub(super) fn new(can: &ClientCapabilities, options: Option<&Value>) -> Self {
        let shows = options.and_then(|o| o.get("showsExplanations")?.as_bool());
        let general = can.general.as_ref();
        let encodings = general.and_then(|g| g.position_encodings.as_ref());
        let utf8 = encodings.is_some_and(|all| all.contains(&PositionEncodingKind::UTF8));
        let hover = can.text_document.as_ref().and_then(|t| t.hover.as_ref());
        let formats = hover.and_then(|h| h.content_format.as_ref());
        let workspace = can.workspace.as_ref();
        let hints = workspace.and_then(|w| w.inlay_hint.as_ref()?.refresh_support);
        let lenses = workspace.and_then(|w| w.code_lens.as_ref()?.refresh_support);
        let refreshes = [
            (hints, "workspace/inlayHint/refresh"),
            (lenses, "workspace/codeLens/refresh"),
        ];
        let refreshes = refreshes.into_iter().filter(|(can, _)| *can == Some(true));
        Self {
            encoding: if utf8 {
                Encoding::Utf8
            } else {
                Encoding::Utf16
            },
            markdown: formats.is_some_and(|f| f.contains(&MarkupKind::Markdown)),
            shows: shows == Some(true),
            refreshes: refreshes.map(|(_, method)| method).collect(),
            asked: 0,
            outbox: VecDeque::new(),
        }
    }

    /// The name of what it counts columns in.
    pub(super) const fn encoding_name(&self) -> PositionEncodingKind {
        match self.encoding {
            Encoding::Utf8 => PositionEncodingKind::UTF8,
            Encoding::Utf16 => PositionEncodingKind::UTF16,
        }
    }

    /// Paragraphs of an explanation; `code` ones keep their columns.
    pub(super) fn explained(&self, parts: &[Part]) -> MarkupContent {
        let shown = parts.iter().map(|part| match part {
            Part::Text(text) if self.markdown => escaped(text),
            Part::Code(text) if self.markdown => {
                // A fence is longer than any in what it holds.
                let fence = "`".repeat(longest_ticks(text).max(2) + 1);
                format!("{fence}text\n{}\n{fence}", text.trim_end())
            }
            Part::Text(text) | Part::Code(text) => text.trim_end().to_owned(),
        });
        MarkupContent {
            kind: if self.markdown {
                MarkupKind::Markdown
            } else {
                MarkupKind::PlainText
            },
            value: shown.collect::<Vec<_>>().join("\n\n"),
        }
    }

    /// An explanation of what stands at a place, if there is one.
    pub(super) fn shown_at(&self, range: Range, parts: &[Part]) -> Option<Hover> {
        (!parts.is_empty()).then(|| Hover {
            contents: self.explained(parts).into(),
            range: Some(range),
        })
    }

    fn send<N: Notification>(&mut self, params: &N::Params) {
        let Ok(params) = serde_json::to_value(params) else {
            return;
        };
        self.outbox
            .push_back(Message::Notification(lsp_server::Notification {
                method: N::METHOD.as_str().to_owned(),
                params,
            }));
    }

    /// Tells the user something that is amiss.
    pub(super) fn tell(&mut self, message: &str) {
        self.show(MessageType::Warning, message);
    }

    /// Shows the user a text.
    pub(super) fn show(&mut self, kind: MessageType, text: &str) {
        let message = text.to_owned();
        self.send::<ShowMessageNotification>(&ShowMessageParams { kind, message });
    }

    /// Writes something into the editor's log.
    pub(super) fn log(&mut self, message: &str) {
        self.send::<LogMessageNotification>(&LogMessageParams {
            kind: MessageType::Warning,
            message: message.to_owned(),
        });
    }

    /// Tells what is wrong with a file.
    pub(super) fn publish(&mut self, uri: Uri, version: Option<i32>, diagnostics: Vec<Diagnostic>) {
        self.send::<PublishDiagnosticsNotification>(&PublishDiagnosticsParams {
            uri,
            version,
            diagnostics,
        });
    }

    /// Has it ask again for what rests on a check.
    pub(super) fn refresh(&mut self) {
        for method in self.refreshes.clone() {
            self.asked += 1;
            self.outbox.push_back(Message::Request(Request {
                id: RequestId::from(self.asked),
                method: method.to_owned(),
                params: Value::Null,
            }));
        }
    }
}

/// A paragraph.
pub(super) enum Part {
    /// Prose.
    Text(String),
    /// Lines whose columns matter.
    Code(String),
}

fn longest_ticks(text: &str) -> usize {
    let runs = text.split(|c| c != '`').map(str::len);
    runs.max().unwrap_or(0)
}

/// A text that Markdown shows as it stands, but for code in backticks.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if matches!(
            c,
            '*' | '_' | '<' | '>' | '[' | ']' | '#' | '\\' | '|' | '~' | '&'
        ) {
            out.push('\\');
        }
        out.push(c);
        if c == '\n' {
            // A line ends where it ends.
            out.insert_str(out.len() - 1, "  ");
        }
    }
    out
}
