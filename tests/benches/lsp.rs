//! What an editor waits for: an edit and, behind it, the answer to a hover, which rests on the whole
//! design as it then stands; beside parsing the text alone. A thousand edits are typed one by one.

#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

mod measuring;
mod quantile;

use std::error::Error;
use std::hint::black_box;
use std::thread;
use std::time::{Duration, Instant};

use amperule::design::parse::parse;
use amperule::lsp::serve;
use amperule::source::FileId;
use lsp_server::{Connection, Message, Notification, Request};
use serde_json::{Value, json};

const TEXT: &str = include_str!("../../examples/quarry-cottage.amp");
const LENGTH: &str = "length: 18 m";
const URI: &str = "file:///bench/design.amp";

/// Edits, and when nothing is measured.
const EDITS: (usize, usize) = (1000, 5);

/// The design with so many more circuits and points like its own.
fn longer(more: usize) -> Result<String, String> {
    let find = |what: &str, from: usize| {
        let at = TEXT
            .get(from..)
            .and_then(|t| t.find(what))
            .map(|i| from + i);
        at.ok_or_else(|| format!("`{what}` stands in the design"))
    };
    let circuit = find("  circuit ev ", 0)?;
    let circuit_end = find("\n  }\n", circuit)? + 5;
    let point = find("charge-point drive ", 0)?;
    let point_end = find("\n}\n", point)? + 3;
    let piece = |from: usize, until: usize| TEXT.get(from..until).unwrap_or("");
    let mut out = piece(0, circuit_end).to_owned();
    for i in 0..more {
        out.push_str(
            &piece(circuit, circuit_end).replace("circuit ev ", &format!("circuit ev{i} ")),
        );
    }
    out.push_str(piece(circuit_end, point_end));
    for i in 0..more {
        let point = piece(point, point_end).replace("point drive ", &format!("point drive{i} "));
        out.push_str(&point.replace("circuit: ev", &format!("circuit: ev{i}")));
    }
    out.push_str(piece(point_end, TEXT.len()));
    Ok(out)
}

struct Editor {
    connection: Connection,
    asked: i32,
}

impl Editor {
    fn say(&self, method: &str, params: Value) -> Result<(), Box<dyn Error>> {
        let method = method.to_owned();
        let note = Notification { method, params };
        Ok(self.connection.sender.send(Message::Notification(note))?)
    }

    fn ask(&mut self, method: &str, params: Value) -> Result<Value, Box<dyn Error>> {
        self.asked += 1;
        let id = lsp_server::RequestId::from(self.asked);
        let method = method.to_owned();
        let request = Request {
            id: id.clone(),
            method,
            params,
        };
        self.connection.sender.send(Message::Request(request))?;
        loop {
            if let Message::Response(r) = self.connection.receiver.recv()?
                && r.id == id
            {
                return r.response_result.map_err(|e| e.message.into());
            }
        }
    }
}

fn run(text: &str, edits: usize, measuring: bool) -> Result<(), Box<dyn Error>> {
    let (ours, theirs) = Connection::memory();
    let server = thread::spawn(move || serve(&theirs, &[]));
    let mut editor = Editor {
        connection: ours,
        asked: 0,
    };
    editor.ask(
        "initialize",
        json!({ "processId": null, "rootUri": null, "capabilities": {} }),
    )?;
    editor.say("initialized", json!({}))?;
    let open = json!({ "uri": URI, "languageId": "amperule", "version": 0, "text": text });
    editor.say("textDocument/didOpen", json!({ "textDocument": open }))?;
    let at = text.find(LENGTH).ok_or("a length")?;
    let line = text.get(..at).unwrap_or("").matches('\n').count();
    let start = text
        .get(..at)
        .and_then(|t| t.rfind('\n'))
        .map_or(0, |i| i + 1);
    let from = text.get(start..at).unwrap_or("").encode_utf16().count() + "length: ".len();
    let (mut whole, mut bare) = (Vec::new(), Vec::new());
    let mut number = "18".to_owned();
    for i in 0..edits {
        let next = format!("{:.3}", 10.0 + 0.005 * i as f64);
        let now = text.replacen(LENGTH, &format!("length: {next} m"), 1);
        let begun = Instant::now();
        drop(parse(FileId(0), black_box(&now)));
        bare.push(begun.elapsed());
        let range = json!({
            "start": { "line": line, "character": from },
            "end": { "line": line, "character": from + number.len() },
        });
        let begun = Instant::now();
        let version = json!({ "uri": URI, "version": i + 1 });
        let change = json!([{ "range": range, "text": next }]);
        editor.say(
            "textDocument/didChange",
            json!({ "textDocument": version, "contentChanges": change }),
        )?;
        let place = json!({ "line": line, "character": from });
        let hover = editor.ask(
            "textDocument/hover",
            json!({ "textDocument": { "uri": URI }, "position": place }),
        )?;
        whole.push(begun.elapsed());
        // What is timed must be the real work.
        let shown = next.trim_end_matches('0').trim_end_matches('.');
        if !hover.to_string().contains(&format!("= {shown} m")) {
            return Err(format!("{next} m is not what {hover} says").into());
        }
        number = next;
    }
    drop(editor);
    server.join().map_err(|_| "the server failed")??;
    if measuring {
        let lines = text.lines().count();
        println!("lsp: {edits} edits of {lines} lines (median, 99th percentile):");
        for (name, times) in [("bare parse", &mut bare), ("edit, hover", &mut whole)] {
            let [middle, high]: [f64; 2] = [0.5, 0.99].map(|s| quantile::quantile(times, s));
            println!("  {name:12} {:8.2} ms  {:8.2} ms", middle * 1e3, high * 1e3);
        }
        let slowest = whole.iter().max().copied().unwrap_or(Duration::ZERO);
        println!("  slowest      {:8.2} ms", slowest.as_secs_f64() * 1e3);
    }
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    let measuring = measuring::measuring();
    let edits = if measuring { EDITS.0 } else { EDITS.1 };
    for more in [0, 13] {
        run(&longer(more)?, edits, measuring)?;
    }
    Ok(())
}
