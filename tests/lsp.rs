//! The server for editors: the real conversation, in this process and over standard input.

#![expect(
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test stops where the server does not answer as the protocol has it"
)]

mod client;

use std::collections::BTreeSet;
use std::fs;
use std::io::{Read as _, Write as _};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use amperule::lsp::Ended;
use client::{Client, at, uri};
use gen_lsp_types::*;
use serde_json::{Value, json};
use tempfile::TempDir;

const COTTAGE: &str = include_str!("../examples/quarry-cottage.amp");
const FAULTS: &str = include_str!("../examples/quarry-cottage-faults.amp");

/// One circuit and its point: short enough to be cut at every byte.
const LODGE: &str = r#"# One point.
define usual as rcbo { In: 32 A  curve: B  rcd-type: A  IΔn: 30 mA  poles: 2 }
parameter run: 5 m .. 40 m

installation "Heron Lodge" { rules: gb  premises: dwelling  designed-on: 2026-05-12 }
supply { earthing: TN-C-S  phases: 1  U0: 230 V  Ze: 0.28 ohm (measured) }
board main {
  fed-from: supply
  circuit ev "Drive" {
    status: new
    device: usual
    cables: armoured {
      size: 2.5 mm²
      cores: 3  length: run + 2 m  method: C  insulation: XLPE
    }
  }
}
charge-point drive { circuit: ev  mode: 3  In: 32 A  location: outdoors }
readings ev { }
"#;

fn folder() -> TempDir {
    tempfile::tempdir().unwrap()
}

/// A client with one text open.
fn with(text: &str) -> (Client, Uri, TempDir) {
    let dir = folder();
    let client = Client::new(&["utf-16"], Some(dir.path()));
    let uri = client.open(&dir.path().join("lodge.amp"), text);
    (client, uri, dir)
}

fn here(uri: &Uri, text: &str, around: &str) -> Value {
    json!({ "textDocument": { "uri": uri }, "position": at(text, around) })
}

fn document(uri: &Uri) -> Value {
    json!({ "textDocument": { "uri": uri } })
}

fn code(d: &Diagnostic) -> &str {
    match &d.code {
        Some(Code::String(code)) => code,
        _ => "",
    }
}

fn message(d: &Diagnostic) -> &str {
    match &d.message {
        Message::String(text) => text,
        Message::MarkupContent(m) => &m.value,
    }
}

/// The text under a range; columns are units of UTF-16.
fn slice(text: &str, range: Range) -> String {
    let byte = |p: Position| {
        let start: usize = text
            .split_inclusive('\n')
            .take(p.line as usize)
            .map(str::len)
            .sum();
        let line = &text[start..];
        let mut left = p.character as usize;
        let ends = line.char_indices().find(|(_, c)| {
            let done = left == 0;
            left = left.saturating_sub(c.len_utf16());
            done
        });
        start + ends.map_or(line.len(), |(i, _)| i)
    };
    text[byte(range.start)..byte(range.end)].to_owned()
}

/// A text after edits that do not overlap.
fn edited(text: &str, edits: &[TextEdit]) -> String {
    let mut all: Vec<&TextEdit> = edits.iter().collect();
    all.sort_by_key(|e| (e.range.start.line, e.range.start.character));
    let mut out = text.to_owned();
    for e in all.iter().rev() {
        let rest = slice(
            &out,
            Range {
                start: e.range.end,
                end: Position {
                    line: 99_999,
                    character: 0,
                },
            },
        );
        let front = slice(
            &out,
            Range {
                start: Position::default(),
                end: e.range.start,
            },
        );
        out = format!("{front}{}{rest}", e.new_text);
    }
    out
}

#[test]
fn the_client_chooses_how_columns_are_counted() {
    for (offered, taken) in [
        (&["utf-8", "utf-16"][..], "utf-8"),
        (&["utf-32", "utf-16"], "utf-16"),
        (&[], "utf-16"),
    ] {
        let client = Client::new(offered, None);
        assert_eq!(client.hello["capabilities"]["positionEncoding"], taken);
        assert_eq!(client.hello["serverInfo"]["name"], "amperule");
        assert_eq!(client.end(), Ended::Asked);
    }
    // One that says nothing of itself is spoken with all the same.
    let client = Client::with(json!({ "processId": null, "rootUri": null, "capabilities": {} }));
    assert_eq!(client.hello["capabilities"]["positionEncoding"], "utf-16");
    assert_eq!(client.vanish(), Ended::Gone);
}

#[test]
fn what_is_not_understood_is_refused_and_the_conversation_goes_on() {
    let (mut client, uri, _dir) = with(LODGE);
    assert_eq!(
        client.ask("textDocument/moniker", json!({})).unwrap_err().0,
        -32601
    );
    assert_eq!(
        client
            .ask("textDocument/hover", json!({ "x": 1 }))
            .unwrap_err()
            .0,
        -32602
    );
    client.say("$/setTrace", json!({ "value": "off" }));
    let nowhere = json!({ "textDocument": { "uri": "file:///nowhere.amp" }, "position": { "line": 0, "character": 0 } });
    assert_eq!(client.ask("textDocument/hover", nowhere), Ok(Value::Null));
    assert!(
        client
            .get::<DocumentSymbolRequest>(document(&uri))
            .is_some()
    );
    assert_eq!(client.ask("shutdown", Value::Null), Ok(Value::Null));
    assert_eq!(
        client.ask("textDocument/hover", json!({})).unwrap_err().0,
        -32600
    );
}

#[test]
fn faults_are_told_in_place_and_go_when_they_are_mended() {
    let (mut client, uri, _dir) = with(LODGE);
    let told = client.diagnostics(&uri, 1);
    let breach = told
        .diagnostics
        .iter()
        .find(|d| d.severity == Some(DiagnosticSeverity::Error));
    let breach = breach.expect("2.5 mm² behind 32 A");
    assert!(
        code(breach).starts_with("iec-") || code(breach).starts_with("gb-"),
        "{breach:?}"
    );
    assert!(slice(LODGE, breach.range).len() < 200, "{breach:?}");
    // What is open says what is missing and who settles it.
    let open = |d: &&Diagnostic| {
        let related = d.related_information.iter().flatten();
        d.severity == Some(DiagnosticSeverity::Information)
            && related.clone().any(|r| r.message.contains("settled by"))
    };
    assert!(told.diagnostics.iter().any(|d| open(&d)));

    // A slip of the pen, in a text with characters of two and four bytes before it.
    let line = at(LODGE, "phases: |1");
    client.change(
        &uri,
        2,
        json!([{ "range": { "start": line, "end": line }, "text": "Ω😀" }]),
    );
    let told = client.diagnostics(&uri, 2);
    let slips: Vec<_> = told
        .diagnostics
        .iter()
        .filter(|d| !code(d).contains("-left-"))
        .collect();
    assert!(
        slips
            .iter()
            .any(|d| d.severity == Some(DiagnosticSeverity::Error) && d.range.start.line == 5),
        "{slips:#?}"
    );
    let mut end = line.clone();
    end["character"] = json!(line["character"].as_u64().unwrap() + 3);
    client.change(
        &uri,
        3,
        json!([{ "range": { "start": line, "end": end }, "text": "" }]),
    );
    let again = client.diagnostics(&uri, 3);
    let first = |all: &[Diagnostic]| {
        all.iter()
            .map(|d| (code(d).to_owned(), d.range))
            .collect::<Vec<_>>()
    };
    let (mut fresh, other, _other_dir) = with(LODGE);
    assert_eq!(
        first(&again.diagnostics),
        first(&fresh.diagnostics(&other, 1).diagnostics)
    );

    client.say("textDocument/didClose", document(&uri));
    let closed = client.next::<PublishDiagnosticsNotification>(|p| p.version.is_none());
    assert_eq!((closed.uri, closed.diagnostics), (uri, Vec::new()));
    assert_eq!(client.end(), Ended::Asked);
}

/// A text typed in pieces, several at once and with columns in either count, is the text.
#[test]
fn pieces_come_to_the_whole() {
    for encoding in ["utf-8", "utf-16"] {
        let dir = folder();
        let mut client = Client::new(&[encoding], Some(dir.path()));
        let text = FAULTS.replace('\n', "\r\n");
        let uri = client.open(&dir.path().join("typed.amp"), "");
        let (mut version, mut line, mut column) = (1, 0, 0);
        // No piece ends between a carriage return and its line feed: there is no place between.
        let mut pieces = vec![String::new()];
        for c in text.chars() {
            if let Some(last) = pieces.last_mut() {
                last.push(c);
                if last.len() > 60 && c != '\r' {
                    pieces.push(String::new());
                }
            }
        }
        for piece in pieces.chunks(3) {
            version += 1;
            let mut changes = Vec::new();
            for part in piece {
                let place = json!({ "line": line, "character": column });
                for c in part.chars() {
                    if c == '\n' {
                        (line, column) = (line + 1, 0);
                    } else if c != '\r' {
                        column += if encoding == "utf-8" {
                            c.len_utf8()
                        } else {
                            c.len_utf16()
                        };
                    }
                }
                let range = json!({ "start": place, "end": place });
                changes.push(json!({ "range": range, "text": part }));
            }
            client.change(&uri, version, Value::Array(changes));
        }
        let said = |client: &mut Client, uri: &Uri, version| {
            let all = client.diagnostics(uri, version).diagnostics;
            all.iter()
                .map(|d| format!("{:?} {:?}", d.range, d.message))
                .collect::<Vec<_>>()
        };
        let typed = said(&mut client, &uri, version);
        let whole = client.open(&dir.path().join("whole.amp"), &text);
        assert_eq!(typed, said(&mut client, &whole, 1), "{encoding}");
        assert!(typed.len() > 5);
    }
}

#[test]
fn wrong_edits_are_told_and_lose_nothing() {
    let (mut client, uri, dir) = with(LODGE);
    client.diagnostics(&uri, 1);
    let other = client::uri(&dir.path().join("other.amp"));
    client.change(&other, 1, json!([{ "text": "x" }]));
    let told = client.next::<ShowMessageNotification>(|_| true);
    assert!(told.message.contains("is not open"), "{}", told.message);
    // Beyond the end of the text, the wrong way round, and from an older time.
    let (far, start) = (
        json!({ "line": 999, "character": 9 }),
        json!({ "line": 0, "character": 0 }),
    );
    client.change(&uri, 1, json!([
        { "range": { "start": far, "end": far }, "text": "# the end\n" },
        { "range": { "start": json!({ "line": 0, "character": 2 }), "end": start }, "text": "# " },
    ]));
    let mut logged = Vec::new();
    while logged.len() < 3 {
        logged.push(client.next::<LogMessageNotification>(|_| true).message);
    }
    assert!(logged[0].contains("came after version 1"), "{logged:?}");
    assert!(
        logged[1].contains("999:9") && logged[2].contains("0:2 to 0:0"),
        "{logged:?}"
    );
    let folds = client.get::<FoldingRangeRequest>(document(&uri)).unwrap();
    assert!(folds.iter().any(|f| f.start_line == 6), "{folds:?}");
    client.say("textDocument/didChange", json!({ "textDocument": 5 }));
    let told = client.next::<ShowMessageNotification>(|_| true);
    assert!(told.message.contains("open it again"), "{}", told.message);
    client.say("textDocument/didClose", document(&other));
    let _ = client.next::<LogMessageNotification>(|p| p.message.contains("not open"));
    // The whole text anew puts all right.
    client.change(&uri, 9, json!([{ "text": COTTAGE }]));
    assert!(
        client
            .diagnostics(&uri, 9)
            .diagnostics
            .iter()
            .all(|d| d.severity != Some(DiagnosticSeverity::Error))
    );
    assert_eq!(client.end(), Ended::Asked);
}

/// Every request at the end of a text that is cut off there.
fn everything(client: &mut Client, uri: &Uri, text: &str) {
    let line = text.matches('\n').count();
    let start = text.rfind('\n').map_or(0, |i| i + 1);
    let position = json!({ "line": line, "character": text[start..].encode_utf16().count() });
    let whole = json!({ "start": { "line": 0, "character": 0 }, "end": position });
    let place = json!({ "textDocument": { "uri": uri }, "position": position });
    let mut more = |method: &str, add: &[(&str, Value)]| {
        let mut params = place.clone();
        for (key, value) in add {
            params[*key] = value.clone();
        }
        let answer = client.ask(method, params);
        assert!(answer.is_ok(), "{method}: {answer:?} at the end of {text}");
    };
    let options = json!({ "tabSize": 2, "insertSpaces": true });
    for (method, add) in [
        ("textDocument/hover", vec![]),
        ("textDocument/completion", vec![]),
        ("textDocument/definition", vec![]),
        (
            "textDocument/references",
            vec![("context", json!({ "includeDeclaration": true }))],
        ),
        ("textDocument/prepareRename", vec![]),
        ("textDocument/documentSymbol", vec![]),
        ("textDocument/foldingRange", vec![]),
        (
            "textDocument/selectionRange",
            vec![("positions", json!([position]))],
        ),
        ("textDocument/semanticTokens/full", vec![]),
        ("textDocument/formatting", vec![("options", options)]),
        (
            "textDocument/codeAction",
            vec![
                ("range", whole.clone()),
                ("context", json!({ "diagnostics": [] })),
            ],
        ),
        ("textDocument/inlayHint", vec![("range", whole.clone())]),
        ("textDocument/codeLens", vec![]),
    ] {
        more(method, &add);
    }
}

#[test]
fn half_typed_text_is_answered_at_every_byte() {
    let (mut client, uri, _dir) = with("");
    let ends = LODGE.char_indices().map(|(i, _)| i).chain([LODGE.len()]);
    let mut version = 1;
    for end in ends {
        version += 1;
        client.change(&uri, version, json!([{ "text": &LODGE[..end] }]));
        everything(&mut client, &uri, &LODGE[..end]);
    }
    // A larger one at some of them, and both with their ends cut off the front.
    for end in (0..COTTAGE.len())
        .step_by(211)
        .filter(|i| COTTAGE.is_char_boundary(*i))
    {
        for text in [&COTTAGE[..end], &COTTAGE[end..]] {
            version += 1;
            client.change(&uri, version, json!([{ "text": text }]));
            everything(&mut client, &uri, text);
        }
    }
    for text in [
        "\u{feff}",
        "}}}}",
        "{{{{",
        "\"",
        "a: (",
        "use \"",
        "\r\r\n",
        "😀: 😀 {",
        "define x as",
        "no ",
        "-",
        "a-: -b",
    ] {
        version += 1;
        client.change(&uri, version, json!([{ "text": text }]));
        everything(&mut client, &uri, text);
    }
    let told = client
        .unread
        .iter()
        .filter(|n| n.method == "window/showMessage");
    assert_eq!(
        told.map(|n| n.params.to_string()).collect::<Vec<_>>(),
        Vec::<String>::new()
    );
    assert_eq!(client.end(), Ended::Asked);
}

#[test]
fn hovers_say_what_a_word_means_and_what_it_is_worth() {
    let (mut client, uri, _dir) = with(LODGE);
    client.diagnostics(&uri, 1);
    let mut shown = |around: &str| {
        let hover = client.get::<HoverRequest>(here(&uri, LODGE, around));
        hover.map_or(String::new(), |h| match h.contents {
            Contents::MarkupContent(m) => {
                format!("{:?} {}", slice(LODGE, h.range.unwrap()), m.value)
            }
            other => panic!("{other:?}"),
        })
    };
    let ze = shown("Z|e: 0.28");
    for part in [
        "\"Ze\"",
        "supply.Ze",
        "ohm",
        "settled by test",
        "0.28 ohm",
        "(measured)",
    ] {
        assert!(ze.contains(part), "`{part}` in {ze}");
    }
    assert!(shown("rcd-t|ype: A").starts_with("\"rcd-type\""));
    let size = shown("2.5 mm|²");
    assert!(
        size.contains("cable.size") && size.contains("2.5 mm²"),
        "{size}"
    );
    let ev = shown("circuit: e|v");
    assert!(
        ev.contains("circuit ev \"Drive\"") && ev.contains("Zs of ev"),
        "{ev}"
    );
    assert!(shown("boa|rd main").contains("board: "));
    assert!(shown("# One po|int").is_empty());
    assert!(shown("\"Dri|ve\"").is_empty());
}

fn offered(client: &mut Client, uri: &Uri, text: &str, around: &str) -> Vec<CompletionItem> {
    match client.get::<CompletionRequest>(here(uri, text, around)) {
        Some(CompletionResponse::CompletionItemList(all)) => all,
        None => Vec::new(),
        other => panic!("{other:?}"),
    }
}

fn labels(items: &[CompletionItem]) -> Vec<&str> {
    let mut all: Vec<_> = items.iter().collect();
    all.sort_by_key(|i| i.sort_text.clone());
    all.into_iter().map(|i| i.label.as_str()).collect()
}

#[test]
fn what_is_missing_is_offered_first() {
    let text = LODGE.replace("readings ev { }", "readings ev { z-re }\nbo");
    let (mut client, uri, _dir) = with(&text);
    client.diagnostics(&uri, 1);
    let mut all = |around: &str| offered(&mut client, &uri, &text, around);

    // A key half typed, hyphens included, is replaced as a whole.
    let keys = all("z-re|");
    for item in &keys {
        let Some(CompletionItemTextEdit::TextEdit(edit)) = &item.text_edit else {
            panic!("{item:?}")
        };
        assert_eq!(slice(&text, edit.range), "z-re", "{item:?}");
    }
    assert!(labels(&keys).iter().any(|l| l.contains('-')), "{keys:?}");
    let blocks = all("\nbo|");
    assert!(labels(&blocks).contains(&"bond") && labels(&blocks).contains(&"board"));
    assert!(!labels(&blocks).contains(&"In"));

    // In a circuit: what is not written comes before what is.
    let inside = all("    sta|tus: new");
    let order = labels(&inside);
    let place = |w: &str| order.iter().position(|l| *l == w);
    assert!(
        place("joints").unwrap() < place("device").unwrap(),
        "{order:?}"
    );
    assert!(
        place("cables").is_some() && place("curve").is_none(),
        "{order:?}"
    );

    let words = all("rcd-type: |A");
    assert!(labels(&words).starts_with(&["AC"]) || labels(&words).contains(&"AC"));
    assert!(!labels(&words).contains(&"TN-S"));
    assert!(labels(&all("earthing: TN-|C-S")).contains(&"TN-S"));
    assert!(labels(&all("circuit: |ev")).contains(&"ev"));
    assert!(labels(&all("device: |usual")).contains(&"usual"));
    assert!(labels(&all("device: |usual")).contains(&"rcbo"));
    assert!(labels(&all("length: |run")).contains(&"run"));
    assert_eq!(labels(&all("0.28 |ohm")).first(), Some(&"ohm"));
    assert!(
        labels(&all("0.28 |ohm")).contains(&"mohm") || labels(&all("0.28 |ohm")).contains(&"mΩ")
    );
    assert!(labels(&all("(meas|ured)")).contains(&"by-enquiry"));
    assert!(labels(&all("readings |ev")).contains(&"ev"));
    assert!(all("# One |point").is_empty());
    assert!(all("\"Heron |Lodge\"").is_empty());

    // The whole meaning comes when it is asked for.
    let item = inside.iter().find(|i| i.label == "joints").unwrap();
    let full = client.get::<CompletionResolveRequest>(serde_json::to_value(item).unwrap());
    let said = serde_json::to_string(&full.documentation).unwrap();
    assert!(said.contains("circuit.joints"), "{said}");
}

#[test]
fn texts_are_laid_out_as_the_program_does() {
    let messy = COTTAGE.replace(
        "  status: existing\n  earthing",
        "status:   existing\n\n\n      earthing",
    );
    let (mut client, uri, _dir) = with(&messy);
    let ask = |uri: &Uri| json!({ "textDocument": { "uri": uri }, "options": { "tabSize": 8, "insertSpaces": false } });
    let edits = client.get::<DocumentFormattingRequest>(ask(&uri)).unwrap();
    let laid_out = edited(&messy, &edits);
    assert_eq!(laid_out, amperule::design::format::format(&messy).unwrap());
    assert!(
        slice(&messy, edits[0].range).len() < 100,
        "only what differs: {edits:?}"
    );
    client.change(&uri, 2, json!([{ "text": laid_out }]));
    assert_eq!(
        client.get::<DocumentFormattingRequest>(ask(&uri)),
        Some(Vec::new())
    );
    // Of a range only its own lines.
    let twice = messy.replace("\n  circuit: ev", "\n  circuit:   ev");
    client.change(&uri, 3, json!([{ "text": twice }]));
    let all = client.get::<DocumentFormattingRequest>(ask(&uri)).unwrap();
    let last = all.last().unwrap();
    assert!(all.len() > 1, "{all:?}");
    let mut of = ask(&uri);
    of["range"] = serde_json::to_value(last.range).unwrap();
    let some = client.get::<DocumentRangeFormattingRequest>(of).unwrap();
    assert_eq!(some, std::slice::from_ref(last));
    // One with a mistake stays as it is.
    client.change(&uri, 4, json!([{ "text": "board main {" }]));
    assert_eq!(client.get::<DocumentFormattingRequest>(ask(&uri)), None);
}

#[test]
fn the_build_of_a_text_is_told() {
    let (mut client, uri, dir) = with(LODGE);
    let Some(DocumentSymbolResponse::DocumentSymbolList(symbols)) =
        client.get::<DocumentSymbolRequest>(document(&uri))
    else {
        panic!("symbols")
    };
    let names: Vec<&str> = symbols.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "usual",
            "run",
            "installation",
            "supply",
            "main",
            "drive",
            "ev"
        ]
    );
    let ev = &symbols[4].children.as_ref().unwrap()[0];
    assert_eq!(
        (ev.name.as_str(), ev.detail.as_deref()),
        ("ev", Some("circuit \"Drive\""))
    );
    assert_eq!(slice(LODGE, ev.selection_range), "ev");
    assert!(slice(LODGE, ev.range).starts_with("circuit ev \"Drive\" {"));
    assert_eq!(ev.children.as_ref().unwrap()[0].name, "cables");

    let folds = client.get::<FoldingRangeRequest>(document(&uri)).unwrap();
    let lines: Vec<_> = folds.iter().map(|f| (f.start_line, f.end_line)).collect();
    assert_eq!(lines, [(6, 15), (8, 14), (11, 13)]);

    let ranges = client.get::<SelectionRangeRequest>(
        json!({ "textDocument": { "uri": uri }, "positions": [at(LODGE, "2.|5 mm²")] }),
    );
    let mut grows = Vec::new();
    let mut next = ranges.unwrap().into_iter().next();
    while let Some(range) = next {
        grows.push(slice(LODGE, range.range));
        next = range.parent.map(|p| *p);
    }
    assert!(grows.contains(&"2.5 mm²".to_owned()) && grows.contains(&"size: 2.5 mm²".to_owned()));
    assert!(grows.windows(2).all(|w| w[1].contains(&w[0])), "{grows:#?}");
    assert_eq!(grows.last().unwrap(), LODGE);

    let tokens = client
        .get::<SemanticTokensRequest>(document(&uri))
        .unwrap()
        .data;
    let legend = &client.hello["capabilities"]["semanticTokensProvider"]["legend"]["tokenTypes"];
    let (mut line, mut column, mut seen) = (0, 0, BTreeSet::new());
    for t in tokens {
        column = if t.delta_line == 0 {
            column + t.delta_start
        } else {
            t.delta_start
        };
        line += t.delta_line;
        let start = Position {
            line,
            character: column,
        };
        let end = Position {
            line,
            character: column + t.length,
        };
        let kind = legend[t.token_type as usize].as_str().unwrap();
        seen.insert((kind.to_owned(), slice(LODGE, Range { start, end })));
    }
    for (kind, text) in [
        ("comment", "# One point."),
        ("keyword", "board"),
        ("variable", "main"),
        ("property", "IΔn"),
        ("type", "rcbo"),
        ("number", "2.5 mm²"),
        ("string", "\"Drive\""),
        ("enumMember", "TN-C-S"),
        ("keyword", "define"),
    ] {
        assert!(
            seen.contains(&(kind.to_owned(), text.to_owned())),
            "{kind} {text} in {seen:#?}"
        );
    }

    fs::write(
        dir.path().join("other.amp"),
        "board cellar { fed-from: supply }\n",
    )
    .unwrap();
    // The two forms of the answer look alike on the wire.
    let all = client.get::<WorkspaceSymbolRequest>(json!({ "query": "CELL" }));
    let all = serde_json::to_value(all).unwrap();
    assert_eq!(all.as_array().map(Vec::len), Some(1), "{all}");
    assert_eq!(all[0]["name"], "cellar");
}

#[test]
fn names_are_found_where_they_are_given_and_used() {
    let (mut client, uri, _dir) = with(LODGE);
    let mut given = |around: &str| match client.get::<DefinitionRequest>(here(&uri, LODGE, around))
    {
        Some(DefinitionResponse::Definition(Definition::Location(l))) => {
            let line = LODGE.lines().nth(l.range.start.line as usize).unwrap();
            format!("{} in {}", slice(LODGE, l.range), line.trim())
        }
        other => format!("{other:?}"),
    };
    assert_eq!(given("circuit: e|v"), "ev in circuit ev \"Drive\" {");
    assert_eq!(given("readings |ev"), "ev in circuit ev \"Drive\" {");
    assert!(given("device: us|ual").starts_with("usual in define usual as"));
    assert!(given("length: ru|n").starts_with("run in parameter run:"));
    assert!(given("fed-from: sup|ply").starts_with("supply in supply {"));
    assert_eq!(given("mode: |3"), "None");

    let mut ask = here(&uri, LODGE, "circuit |ev \"");
    ask["context"] = json!({ "includeDeclaration": false });
    let uses = client.get::<ReferencesRequest>(ask.clone()).unwrap();
    assert_eq!(uses.len(), 2, "{uses:?}");
    ask["context"] = json!({ "includeDeclaration": true });
    assert_eq!(client.get::<ReferencesRequest>(ask).unwrap().len(), 3);
}

fn renamed(
    client: &mut Client,
    uri: &Uri,
    text: &str,
    around: &str,
    to: &str,
) -> Result<WorkspaceEdit, String> {
    let mut ask = here(uri, text, around);
    ask["newName"] = json!(to);
    let answer = client.ask("textDocument/rename", ask).map_err(|e| e.1)?;
    Ok(serde_json::from_value(answer).unwrap())
}

#[test]
fn a_name_is_changed_everywhere_or_not_at_all() {
    let (mut client, uri, _dir) = with(LODGE);
    let place = client.get::<PrepareRenameRequest>(here(&uri, LODGE, "circuit: e|v"));
    let Some(PrepareRenameResult::PrepareRenamePlaceholder(p)) = place else {
        panic!("{place:?}")
    };
    assert_eq!(
        (p.placeholder.as_str(), slice(LODGE, p.range).as_str()),
        ("ev", "ev")
    );
    assert_eq!(
        client.get::<PrepareRenameRequest>(here(&uri, LODGE, "fed-from: sup|ply")),
        None
    );

    let edit = renamed(&mut client, &uri, LODGE, "circuit: e|v", "car-port").unwrap();
    let changed = edited(LODGE, &edit.changes.unwrap()[&uri]);
    let wanted = LODGE
        .replace("circuit ev", "circuit car-port")
        .replace("circuit: ev", "circuit: car-port")
        .replace("readings ev", "readings car-port");
    assert_eq!(changed, wanted);
    let edit = renamed(&mut client, &uri, LODGE, "length: ru|n", "way").unwrap();
    let changed = edited(LODGE, &edit.changes.unwrap()[&uri]);
    assert_eq!(
        changed,
        LODGE
            .replace("parameter run", "parameter way")
            .replace("run + 2", "way + 2")
    );
    for (around, name) in [
        ("circuit: e|v", "two words"),
        ("circuit: e|v", "9"),
        ("device: us|ual", "two words"),
        ("mode: |3", "x"),
    ] {
        assert!(
            renamed(&mut client, &uri, LODGE, around, name).is_err(),
            "{around} → {name}"
        );
    }
}

#[test]
fn files_that_are_used_belong_to_their_design() {
    let dir = folder();
    let parts_text = LODGE.lines().nth(1).unwrap().to_owned() + "\n";
    let design_text = format!("use \"parts.amp\"\n{}", LODGE.replace(&parts_text, ""));
    let (parts, design) = (dir.path().join("parts.amp"), dir.path().join("design.amp"));
    fs::write(&parts, &parts_text).unwrap();
    fs::write(&design, &design_text).unwrap();
    let mut client = Client::new(&["utf-16"], Some(dir.path()));
    // Only the parts are open: the design is found in the folder.
    let open = client.open(&parts, &parts_text);
    let told = client.diagnostics(&open, 1);
    assert!(
        told.diagnostics.iter().all(|d| code(d) != "no-rules"),
        "{told:?}"
    );
    let hover = client.get::<HoverRequest>(here(&open, &parts_text, "rcd-t|ype"));
    assert!(hover.is_some());
    let edit = renamed(&mut client, &open, &parts_text, "define us|ual", "often").unwrap();
    let changes = edit.changes.unwrap();
    assert_eq!(
        edited(&parts_text, &changes[&open]),
        parts_text.replace("usual", "often")
    );
    assert_eq!(
        edited(&design_text, &changes[&uri(&design)]),
        design_text.replace("usual", "often")
    );

    // An edit of the parts is told in the design.
    let other = client.open(&design, &design_text);
    client.diagnostics(&other, 1);
    client.change(
        &open,
        2,
        json!([{ "text": parts_text.replace("30 mA", "30 mm") }]),
    );
    let told = client.diagnostics(&open, 2);
    assert!(
        told.diagnostics
            .iter()
            .any(|d| d.severity == Some(DiagnosticSeverity::Error)),
        "{told:?}"
    );
    let place = client.get::<DefinitionRequest>(here(&other, &design_text, "use \"pa|rts.amp\""));
    assert!(
        serde_json::to_string(&place).unwrap().contains("parts.amp"),
        "{place:?}"
    );
    // Parts that nobody uses need no rules.
    let alone = client.open(
        &folder().path().join("alone.amp"),
        "define x as rcbo { In: 32 A }\n",
    );
    assert_eq!(client.diagnostics(&alone, 1).diagnostics, Vec::new());
}

fn actions(client: &mut Client, uri: &Uri, range: Range, about: &[Diagnostic]) -> Vec<CodeAction> {
    let ask = json!({ "textDocument": { "uri": uri }, "range": range, "context": { "diagnostics": about } });
    let all = client.get::<CodeActionRequest>(ask).unwrap_or_default();
    let all = all.into_iter().map(|a| match a {
        CodeActionResponse::CodeAction(a) => a,
        CodeActionResponse::Command(c) => panic!("{c:?}"),
    });
    all.collect()
}

#[test]
fn what_would_help_is_offered_and_helps() {
    let sound = LODGE.replace("run + 2 m", "12 m");
    let slip = sound.replace("earthing: TN-C-S", "earthing: TN-CS");
    let (mut client, uri, _dir) = with(&slip);
    let told = client.diagnostics(&uri, 1).diagnostics;
    let wrong = told
        .iter()
        .find(|d| code(d) == "unknown-word")
        .expect("TN-CS");
    assert!(message(wrong).contains("did you mean"));
    let offered = actions(&mut client, &uri, wrong.range, std::slice::from_ref(wrong));
    let edits = &offered[0].edit.as_ref().unwrap().changes.as_ref().unwrap()[&uri];
    let text = edited(&slip, edits);
    assert_eq!(text, sound);
    assert_eq!(
        offered[0].diagnostics.as_deref(),
        Some(std::slice::from_ref(wrong))
    );

    client.change(&uri, 2, json!([{ "text": text }]));
    let told = client.diagnostics(&uri, 2).diagnostics;
    let breaches: Vec<_> = told
        .iter()
        .filter(|d| d.severity == Some(DiagnosticSeverity::Error))
        .collect();
    assert!(!breaches.is_empty());
    // Changes are looked for behind the check; the editor is told to ask again.
    let until = Instant::now() + Duration::from_secs(60);
    let (breach, fix) = 'found: loop {
        for breach in &breaches {
            let all = actions(&mut client, &uri, breach.range, &[]);
            let explain = all.iter().find(|a| a.command.is_some());
            let command = explain
                .and_then(|a| a.command.clone())
                .expect("the rule in full");
            let asked = json!({ "command": command.command, "arguments": command.arguments });
            let text = client.get::<ExecuteCommandRequest>(asked).unwrap();
            let rule = &command.arguments.unwrap()[1];
            assert!(
                text.as_str().unwrap().starts_with(rule.as_str().unwrap()),
                "{text}"
            );
            let of = |a: &CodeAction| a.edit.is_some() && !a.title.starts_with("Make all");
            if let Some(fix) = all.into_iter().find(of) {
                break 'found (*breach, fix);
            }
        }
        assert!(Instant::now() < until, "nothing helps {breaches:#?}");
        std::thread::sleep(Duration::from_millis(50));
    };
    let mended = edited(&sound, &fix.edit.unwrap().changes.unwrap()[&uri]);
    client.change(&uri, 3, json!([{ "text": mended }]));
    let after = client.diagnostics(&uri, 3).diagnostics;
    let same = |d: &&Diagnostic| code(d) == code(breach) && d.severity == breach.severity;
    assert!(
        after.iter().filter(same).count() < told.iter().filter(same).count(),
        "{}",
        fix.title
    );
    let wrong = client.ask(
        "workspace/executeCommand",
        json!({ "command": "amperule.explain", "arguments": [] }),
    );
    assert_eq!(wrong.unwrap_err().0, -32602);
}

#[test]
fn figures_and_bounds_stand_beside_the_text() {
    let (mut client, uri, _dir) = with(COTTAGE);
    client.diagnostics(&uri, 1);
    let whole =
        json!({ "start": { "line": 0, "character": 0 }, "end": { "line": 9999, "character": 0 } });
    let ask = json!({ "textDocument": { "uri": uri }, "range": whole });
    let hints = client.get::<InlayHintRequest>(ask).unwrap();
    let ev = COTTAGE
        .lines()
        .position(|l| l.contains("circuit ev "))
        .unwrap();
    let hint = hints
        .iter()
        .find(|h| h.position.line as usize == ev)
        .expect("figures of the circuit");
    let Label::String(label) = &hint.label else {
        panic!("{hint:?}")
    };
    assert!(
        label.contains("Zs ") && label.contains("at most") && label.contains('%'),
        "{label}"
    );
    let until = Instant::now() + Duration::from_secs(60);
    let lenses = loop {
        let all = client.get::<CodeLensRequest>(document(&uri)).unwrap();
        if !all.is_empty() {
            break all;
        }
        assert!(Instant::now() < until, "no bounds");
        std::thread::sleep(Duration::from_millis(50));
    };
    let lens = lenses
        .iter()
        .find(|l| slice(COTTAGE, l.range) == "18 m")
        .expect("the length");
    let title = &lens.command.as_ref().unwrap().title;
    assert!(
        title.contains("length of cables 2 of ev: ") && title.contains("at most"),
        "{title}"
    );
}

#[test]
fn rules_that_are_written_are_checked() {
    let dir = folder();
    let rules = dir.path().join("our-firm");
    fs::create_dir(&rules).unwrap();
    let head = "ruleset: our-firm\nparent: gb\n";
    fs::write(rules.join("ruleset.yaml"), head).unwrap();
    let mut client = Client::new(&["utf-8"], Some(dir.path()));
    let open = client.open(
        &rules.join("ruleset.yaml"),
        "ruleset: our-firm\nparnt: gb\n",
    );
    let told = client.diagnostics(&open, 1).diagnostics;
    assert!(
        !told.is_empty() && told.iter().all(|d| !message(d).is_empty()),
        "{told:?}"
    );
    assert!(told.iter().any(|d| d.range.start.line == 1), "{told:?}");
    assert_eq!(client.end(), Ended::Asked);
}

#[test]
fn rules_are_written_with_keys_names_and_meanings() {
    let text = r#"ruleset: our-firm
parent: gb
limits:
  our-reach:
    is: m
    means: 'how far our lead reaches'
rules:
  - id: our-near
    title: 'The point stands near'
    each: charge-point
    require: 'height at-most our-reach'
    message: 'too far'
    
derive:
  circuit.our-room:
    formula: 'Iz - In'
    m
"#;
    let dir = folder();
    let rules = dir.path().join("our-firm");
    fs::create_dir(&rules).unwrap();
    let path = rules.join("ruleset.yaml");
    fs::write(&path, text).unwrap();
    let mut client = Client::new(&["utf-16"], Some(dir.path()));
    let uri = client.open(&path, text);
    client.diagnostics(&uri, 1);
    // A line that is no YAML yet does not hide what other files give a name to.
    let keys = offered(&mut client, &uri, text, "    m|\n");
    let keys: Vec<&str> = keys.iter().map(|i| i.label.as_str()).collect();
    assert!(
        keys.contains(&"means") && keys.contains(&"formula") && !keys.contains(&"require"),
        "{keys:?}"
    );
    let of_a_rule = offered(&mut client, &uri, text, "    message: 'too far'\n    |\n");
    assert!(
        of_a_rule.iter().any(|i| i.label == "severity"),
        "{of_a_rule:?}"
    );
    let whole = text.replace("    m\n", "");
    client.change(&uri, 2, json!([{ "text": whole }]));
    client.diagnostics(&uri, 2);

    let names = offered(&mut client, &uri, &whole, "formula: 'I|z");
    let iz = names.iter().find(|i| i.label == "Iz").unwrap();
    assert_eq!(iz.detail.as_deref(), Some("circuit.Iz: a derivation"));
    assert!(names.iter().any(|i| i.label == "our-reach"));
    assert!(offered(&mut client, &uri, &whole, "means: 'how |far").is_empty());

    let mut shown = |around: &str| match client.get::<HoverRequest>(here(&uri, &whole, around)) {
        Some(Hover {
            contents: Contents::MarkupContent(m),
            ..
        }) => m.value,
        None => String::new(),
        other => panic!("{other:?}"),
    };
    let reach = shown("at-most our-r|each");
    assert!(
        reach.contains("our-reach: a limit") && reach.contains("how far our lead reaches"),
        "{reach}"
    );
    let iz = shown("'I|z - In");
    let first = iz.find("circuit.Iz");
    assert!(first.is_some_and(|at| at < 20), "{iz}");

    let given = client.get::<DefinitionRequest>(here(&uri, &whole, "at-most our-r|each"));
    let Some(DefinitionResponse::Definition(Definition::LocationList(all))) = given else {
        panic!("{given:?}");
    };
    assert_eq!(all.len(), 1);
    assert_eq!(slice(&whole, all[0].range), "our-reach");
    assert_eq!(all[0].range.start.line, 3);
    assert_eq!(client.end(), Ended::Asked);
}

#[test]
fn settings_of_the_folder_count() {
    let dir = folder();
    fs::write(dir.path().join("amperule.toml"), "rules = \"gb\"\n").unwrap();
    let text = LODGE.replace("rules: gb  ", "");
    let mut client = Client::new(&["utf-16"], Some(dir.path()));
    let open = client.open(&dir.path().join("lodge.amp"), &text);
    let told = client.diagnostics(&open, 1).diagnostics;
    assert!(
        told.iter().all(|d| code(d) != "no-rules") && told.len() > 3,
        "{told:?}"
    );
    fs::write(dir.path().join("amperule.toml"), "rules = 5\n").unwrap();
    client.say(
        "textDocument/didSave",
        document(&uri(&dir.path().join("amperule.toml"))),
    );
    let told = client.next::<ShowMessageNotification>(|_| true);
    assert!(told.message.contains("amperule.toml"), "{}", told.message);
    let told = client.next::<PublishDiagnosticsNotification>(|p| {
        p.diagnostics.iter().any(|d| code(d) == "no-rules")
    });
    assert_eq!(told.uri, open);
}

#[test]
fn what_was_cancelled_is_not_answered() {
    let (ours, theirs) = lsp_server::Connection::memory();
    let note = |method: &str, params: Value| {
        lsp_server::Message::Notification(lsp_server::Notification {
            method: method.to_owned(),
            params,
        })
    };
    let request = |id: i32, method: &str, params: Value| {
        lsp_server::Message::Request(lsp_server::Request {
            id: id.into(),
            method: method.to_owned(),
            params,
        })
    };
    // All of it has come before the server looks.
    let early = request(1, "textDocument/hover", json!({}));
    let hello = request(
        2,
        "initialize",
        json!({ "processId": null, "rootUri": null, "capabilities": {} }),
    );
    let hover = json!({ "textDocument": { "uri": "file:///a.amp" }, "position": { "line": 0, "character": 0 } });
    let asked = request(3, "textDocument/hover", hover);
    let cancel = note("$/cancelRequest", json!({ "id": 3 }));
    for message in [
        early,
        hello,
        note("initialized", json!({})),
        asked,
        cancel,
        request(4, "shutdown", Value::Null),
        note("exit", Value::Null),
    ] {
        ours.sender.send(message).unwrap();
    }
    assert_eq!(amperule::lsp::serve(&theirs, &[]), Ok(Ended::Asked));
    drop(theirs);
    let codes: Vec<_> = ours
        .receiver
        .iter()
        .filter_map(|m| match m {
            lsp_server::Message::Response(r) => Some(r.response_result.err().map(|e| e.code)),
            _ => None,
        })
        .collect();
    assert_eq!(codes, [Some(-32002), None, Some(-32800), None]);
}

/// The program itself: it speaks the protocol alone on its output, and goes with its client.
#[test]
fn the_program_serves_over_standard_input_and_ends_with_it() {
    let spoken = |messages: &[Value]| {
        let mut child = Command::new(env!("CARGO_BIN_EXE_amperule"))
            .args(["lsp", "--stdio"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut input = child.stdin.take().unwrap();
        for m in messages {
            let text = m.to_string();
            write!(input, "Content-Length: {}\r\n\r\n{text}", text.len()).unwrap();
        }
        drop(input);
        let mut out = String::new();
        child
            .stdout
            .take()
            .unwrap()
            .read_to_string(&mut out)
            .unwrap();
        (out, child.wait().unwrap().code())
    };
    let hello = json!({ "jsonrpc": "2.0", "id": 1, "method": "initialize", "params": { "processId": null, "rootUri": null, "capabilities": {} } });
    let bye = json!({ "jsonrpc": "2.0", "id": 2, "method": "shutdown" });
    let exit = json!({ "jsonrpc": "2.0", "method": "exit" });
    let (out, code) = spoken(&[hello.clone(), bye, exit]);
    assert_eq!(code, Some(0));
    assert!(out.starts_with("Content-Length: "), "{out}");
    assert_eq!(out.matches("Content-Length: ").count(), 2, "{out}");
    // A client that is gone without a word leaves nothing running.
    let (_, code) = spoken(&[hello]);
    assert_eq!(code, Some(2));
    let (_, code) = spoken(&[]);
    assert_eq!(code, Some(2));
}
