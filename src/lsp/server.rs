//! The conversation: one message after the other, checks beside it.

use std::collections::{BTreeSet, VecDeque};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::time::Duration;

use crossbeam_channel::{Receiver, select};
use gen_lsp_types::{
    CancelParams, DidChangeTextDocumentParams, DidChangeWatchedFilesParams,
    DidCloseTextDocumentParams, DidOpenTextDocumentParams, DidSaveTextDocumentParams, Id,
    InitializeParams, LspNotificationMethod as Told, Uri, WorkspaceFolders,
};
use lsp_server::{Connection, ErrorCode, Message, Notification, Request, RequestId, Response};
use serde::de::DeserializeOwned;

use super::Ended;
use super::capabilities::capabilities;
use super::checker::{Checker, News, said};
use super::client::Client;
use super::document::{Document, path_of};
use super::requests;
use super::state::State;

/// A day: how long nothing is waited for at a time, where nothing is due.
const IDLE: Duration = Duration::from_secs(86_400);

/// Speaks with one client until it says that it is done, or is gone.
///
/// # Errors
/// What ends the conversation before it begins: a client that does not introduce itself, a system
/// that gives no threads.
pub fn serve(connection: &Connection, rulesets: &[PathBuf]) -> Result<Ended, String> {
    let (id, params) = connection.initialize_start().map_err(|e| e.to_string())?;
    let params: InitializeParams = match serde_json::from_value(params) {
        Ok(params) => params,
        Err(e) => {
            let why = format!("`initialize` cannot be read: {e}");
            let refused = Response::new_err(id, ErrorCode::InvalidParams as i32, why.clone());
            return match connection.sender.send(refused.into()) {
                Ok(()) => Err(why),
                Err(_) => Ok(Ended::Gone),
            };
        }
    };
    let client = Client::new(&params.capabilities, params.initialization_options.as_ref());
    let hello = serde_json::json!({
        "capabilities": capabilities(&client),
        "serverInfo": { "name": "amperule", "version": env!("CARGO_PKG_VERSION") },
    });
    let checker = Checker::start().map_err(|e| format!("no thread can be started: {e}"))?;
    let state = State::new(client, rulesets.to_vec(), folders(&params), checker);
    let hello = Response::new_ok(id, hello);
    if connection.sender.send(hello.into()).is_err() {
        return Ok(Ended::Gone);
    }
    let mut server = Server {
        news: state.checker.news.clone(),
        state,
        inbox: VecDeque::new(),
        cancelled: BTreeSet::new(),
        stopping: false,
    };
    Ok(server.run(connection))
}

/// The folders that the editor has open.
#[expect(deprecated, reason = "older editors name one folder so")]
fn folders(params: &InitializeParams) -> Vec<PathBuf> {
    let named = &params.workspace_folders_initialize_params.workspace_folders;
    let mut all: Vec<&Uri> = match named {
        Some(WorkspaceFolders::WorkspaceFolderList(all)) => all.iter().map(|f| &f.uri).collect(),
        _ => Vec::new(),
    };
    if all.is_empty() {
        all.extend(&params.root_uri);
    }
    all.iter()
        .filter_map(|uri| uri.to_file_path().ok())
        .collect()
}

struct Server {
    state: State,
    news: Receiver<News>,
    inbox: VecDeque<Message>,
    /// Requests that the client wants no answer to any more.
    cancelled: BTreeSet<RequestId>,
    /// The client has said that it will end.
    stopping: bool,
}

impl Server {
    fn run(&mut self, connection: &Connection) -> Ended {
        loop {
            let wait = self.state.until_due().unwrap_or(IDLE);
            select! {
                recv(connection.receiver) -> message => match message {
                    Ok(message) => self.receive(message),
                    // Nobody listens: the client has ended, with or without a word.
                    Err(_) => return Ended::Gone,
                },
                recv(self.news) -> news => if let Ok(news) = news {
                    self.state.take(news);
                },
                default(wait) => {}
            }
            // All that has come is taken in before anything is answered: of several edits only
            // what they come to is looked at, and what was cancelled is not.
            for message in connection.receiver.try_iter() {
                self.receive(message);
            }
            while let Some(message) = self.inbox.pop_front() {
                if let Some(ended) = self.handle(message) {
                    return ended;
                }
                if !self.flush(connection) {
                    return Ended::Gone;
                }
            }
            self.state.check_if_due();
            if !self.flush(connection) {
                return Ended::Gone;
            }
        }
    }

    fn receive(&mut self, message: Message) {
        if let Message::Notification(n) = &message
            && Told::from(n.method.as_str()) == Told::CancelRequest
        {
            if let Ok(params) = serde_json::from_value::<CancelParams>(n.params.clone()) {
                self.cancelled.insert(match params.id {
                    Id::Int(id) => RequestId::from(id),
                    Id::String(id) => RequestId::from(id),
                });
            }
            return;
        }
        self.inbox.push_back(message);
    }

    /// Sends what waits; false, if nobody takes it.
    fn flush(&mut self, connection: &Connection) -> bool {
        let mut waiting = self.state.client.outbox.drain(..);
        waiting.all(|message| connection.sender.send(message).is_ok())
    }

    fn handle(&mut self, message: Message) -> Option<Ended> {
        match message {
            Message::Request(request) => {
                let response = self.answer(request);
                self.state.client.outbox.push_back(response.into());
            }
            // Answers to having it refresh say nothing.
            Message::Response(_) => {}
            Message::Notification(note) => match Told::from(note.method.as_str()) {
                Told::Exit if self.stopping => return Some(Ended::Asked),
                Told::Exit => return Some(Ended::Gone),
                _ => self.noted(note),
            },
        }
        None
    }

    fn answer(&mut self, request: Request) -> Response {
        let id = request.id.clone();
        if self.cancelled.remove(&id) {
            let why = "cancelled".to_owned();
            return Response::new_err(id, ErrorCode::RequestCanceled as i32, why);
        }
        if self.stopping {
            let why = "the server is shutting down".to_owned();
            return Response::new_err(id, ErrorCode::InvalidRequest as i32, why);
        }
        if request.method == "shutdown" {
            self.stopping = true;
            return Response::new_ok(id, ());
        }
        let state = &mut self.state;
        let method = request.method.clone();
        let done = catch_unwind(AssertUnwindSafe(|| requests::answer(state, request)));
        match done {
            Ok(Ok(result)) => Response::new_ok(id, result),
            Ok(Err((code, why))) => Response::new_err(id, code as i32, why),
            Err(fault) => {
                let why = format!("{method} failed inside: {}", said(fault.as_ref()));
                self.state.client.tell(&why);
                Response::new_err(id, ErrorCode::InternalError as i32, why)
            }
        }
    }

    fn noted(&mut self, note: Notification) {
        let state = &mut self.state;
        let method = note.method.clone();
        let done = catch_unwind(AssertUnwindSafe(|| noted(state, note)));
        let why = match done {
            Ok(Ok(())) => return,
            Ok(Err(why)) => why,
            Err(fault) => format!("it failed inside: {}", said(fault.as_ref())),
        };
        self.state.client.tell(&format!("{method}: {why}"));
    }
}

fn read<P: DeserializeOwned>(note: Notification) -> Result<P, String> {
    // An edit that is lost makes all that follows wrong.
    let lost = |e| format!("it cannot be read ({e}); close the file and open it again");
    serde_json::from_value(note.params).map_err(lost)
}

/// Takes in what the client tells.
fn noted(state: &mut State, note: Notification) -> Result<(), String> {
    match Told::from(note.method.as_str()) {
        Told::TextDocumentDidOpen => {
            let text = read::<DidOpenTextDocumentParams>(note)?.text_document;
            let path = path_of(&text.uri);
            let encoding = state.client.encoding;
            state.opened(
                path,
                Document::new(text.uri, text.version, text.text, encoding),
            );
        }
        Told::TextDocumentDidChange => {
            let params = read::<DidChangeTextDocumentParams>(note)?;
            let uri = params.text_document.text_document_identifier.uri;
            let path = path_of(&uri);
            let Some(document) = state.open.get_mut(&path) else {
                return Err(format!("{uri} is not open"));
            };
            let odd = document.edit(params.text_document.version, params.content_changes);
            for what in odd {
                state.client.log(&what);
            }
            state.edited(&path);
        }
        Told::TextDocumentDidClose => {
            let uri = read::<DidCloseTextDocumentParams>(note)?.text_document.uri;
            state.closed(&path_of(&uri));
        }
        Told::TextDocumentDidSave => {
            let uri = read::<DidSaveTextDocumentParams>(note)?.text_document.uri;
            state.saved(&path_of(&uri));
        }
        Told::WorkspaceDidChangeWatchedFiles => {
            for change in read::<DidChangeWatchedFilesParams>(note)?.changes {
                state.saved(&path_of(&change.uri));
            }
        }
        // The rest is of no consequence here, as the protocol has it.
        _ => {}
    }
    Ok(())
}
