//! A client of our own that speaks with the real conversation loop, in this process.

use std::collections::VecDeque;
use std::path::Path;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use amperule::lsp::{Ended, serve};
use gen_lsp_types::{Notification, PublishDiagnosticsParams, Request as Kind, Uri};
use lsp_server::{Connection, Message, RequestId};
use serde_json::{Value, json};

/// How long an answer may take before it counts as none.
const PATIENCE: Duration = Duration::from_secs(60);

/// See the module.
pub struct Client {
    connection: Option<Connection>,
    server: Option<JoinHandle<Result<Ended, String>>>,
    asked: i32,
    /// What came unasked and was not looked at.
    pub unread: VecDeque<lsp_server::Notification>,
    /// What the server said of itself.
    pub hello: Value,
}

impl Client {
    /// A client that counts columns so, with a folder open.
    pub fn new(encodings: &[&str], folder: Option<&Path>) -> Self {
        let folders = folder.map(|f| json!([{ "uri": uri(f), "name": "job" }]));
        Self::with(json!({
            "processId": null,
            "rootUri": null,
            "workspaceFolders": folders,
            "capabilities": {
                "general": { "positionEncodings": encodings },
                "textDocument": { "hover": { "contentFormat": ["markdown", "plaintext"] } },
                "workspace": {
                    "inlayHint": { "refreshSupport": true },
                    "codeLens": { "refreshSupport": true },
                },
            },
        }))
    }

    /// A client that introduces itself so.
    pub fn with(hello: Value) -> Self {
        let (ours, theirs) = Connection::memory();
        let server = thread::spawn(move || serve(&theirs, &[]));
        let mut client = Self {
            connection: Some(ours),
            server: Some(server),
            asked: 0,
            unread: VecDeque::new(),
            hello: Value::Null,
        };
        client.hello = client.ask("initialize", hello).expect("a server");
        client.say("initialized", json!({}));
        client
    }

    fn send(&self, message: Message) {
        let connection = self.connection.as_ref().expect("still open");
        connection.sender.send(message).expect("the server listens");
    }

    /// Tells the server something.
    pub fn say(&self, method: &str, params: Value) {
        self.send(Message::Notification(lsp_server::Notification {
            method: method.to_owned(),
            params,
        }));
    }

    /// Sends a request and waits for its answer: a result, or code and message of an error.
    pub fn ask(&mut self, method: &str, params: Value) -> Result<Value, (i32, String)> {
        self.asked += 1;
        let id = RequestId::from(self.asked);
        self.send(Message::Request(lsp_server::Request {
            id: id.clone(),
            method: method.to_owned(),
            params,
        }));
        let until = Instant::now() + PATIENCE;
        loop {
            if let Message::Response(response) = self.receive(until)
                && response.id == id
            {
                return response.response_result.map_err(|e| (e.code, e.message));
            }
        }
    }

    /// The same for a request of the protocol that is to be answered.
    pub fn get<K: Kind>(&mut self, params: Value) -> K::Result {
        let method = K::METHOD.as_str();
        let answer = self.ask(method, params);
        let answer = answer.unwrap_or_else(|e| panic!("{method}: {e:?}"));
        serde_json::from_value(answer).expect("an answer of the protocol")
    }

    fn receive(&mut self, until: Instant) -> Message {
        let wait = until.saturating_duration_since(Instant::now());
        let connection = self.connection.as_ref().expect("still open");
        let message = connection
            .receiver
            .recv_timeout(wait)
            .expect("an answer in time");
        match &message {
            Message::Notification(n) => self.unread.push_back(n.clone()),
            // It is asked to look again, which needs no answer's content.
            Message::Request(r) => {
                let done = lsp_server::Response::new_ok(r.id.clone(), ());
                connection
                    .sender
                    .send(done.into())
                    .expect("the server listens");
            }
            Message::Response(_) => {}
        }
        message
    }

    /// Waits for the next notification of a kind that suits.
    pub fn next<N: Notification>(&mut self, suits: impl Fn(&N::Params) -> bool) -> N::Params {
        let until = Instant::now() + PATIENCE;
        loop {
            while let Some(n) = self.unread.pop_front() {
                if n.method == N::METHOD.as_str() {
                    let params = serde_json::from_value(n.params).expect("as the protocol has it");
                    if suits(&params) {
                        return params;
                    }
                }
            }
            self.receive(until);
        }
    }

    /// Waits for what is wrong with a text at a version.
    pub fn diagnostics(&mut self, of: &Uri, version: i32) -> PublishDiagnosticsParams {
        let of = of.clone();
        self.next::<gen_lsp_types::PublishDiagnosticsNotification>(move |p| {
            p.uri == of && p.version == Some(version)
        })
    }

    /// Opens a text.
    pub fn open(&self, path: &Path, text: &str) -> Uri {
        let uri = uri(path);
        self.say(
            "textDocument/didOpen",
            json!({ "textDocument": {
                "uri": uri, "languageId": "amperule", "version": 1, "text": text,
            } }),
        );
        uri
    }

    /// Edits a text.
    pub fn change(&self, uri: &Uri, version: i32, changes: Value) {
        self.say(
            "textDocument/didChange",
            json!({ "textDocument": { "uri": uri, "version": version }, "contentChanges": changes }),
        );
    }

    /// Says goodbye as the protocol has it.
    pub fn end(mut self) -> Ended {
        assert_eq!(self.ask("shutdown", Value::Null), Ok(Value::Null));
        self.say("exit", Value::Null);
        self.ended()
    }

    /// Goes without a word.
    pub fn vanish(self) -> Ended {
        self.ended()
    }

    fn ended(mut self) -> Ended {
        self.connection = None;
        let server = self.server.take().expect("started");
        server.join().expect("no panic").expect("a conversation")
    }
}

/// The address of a file.
pub fn uri(path: &Path) -> Uri {
    Uri::from_file_path(path).expect("a whole path")
}

/// A place in a text by what stands there: behind the first part of `a|b`.
pub fn at(text: &str, around: &str) -> Value {
    let (before, after) = around.split_once('|').expect("a mark");
    let found = text.find(&format!("{before}{after}"));
    let byte = found.unwrap_or_else(|| panic!("`{around}` stands in the text")) + before.len();
    let line = text[..byte].matches('\n').count();
    let start = text[..byte].rfind('\n').map_or(0, |i| i + 1);
    json!({ "line": line, "character": text[start..byte].encode_utf16().count() })
}
