"""A client that is not ours speaks with the program: pygls over standard input and output. It opens a
design, asks, and then edits as many times as somebody does in an hour, one edit a second.

By hand: python3 -m venv ENV && ENV/bin/pip install pygls && ENV/bin/python tests/lsp/with_pygls.py PROGRAM
"""

import asyncio
import pathlib
import random
import sys
import time

from lsprotocol import types as lsp
from pygls.lsp.client import BaseLanguageClient

HERE = pathlib.Path(__file__).resolve().parents[2]
DESIGN = HERE / "examples" / "quarry-cottage-faults.amp"


EDITS = 3600
TYPED = ["x", " ", "\n", "{", "}", "?", ": ", "12 A", "Ω", "😀", "²", "# ", "circuit a { }\n", "\"", "\r\n", "Ze: 0.2 ohm"]


def place(text: str, at: int) -> lsp.Position:
    before = text[:at]
    return lsp.Position(line=before.count("\n"), character=len(before[before.rfind("\n") + 1 :].encode()))


async def an_hour(client: BaseLanguageClient, told: asyncio.Queue, uri: str, whole: str):
    """Types and deletes here and there, then puts all back; what is told of that, and how long hovers took."""
    chance, text, version, hovers = random.Random(1), whole.replace("Ze", "Z²e", 1), 2, []

    def change(start: int, end: int, new: str) -> None:
        nonlocal text, version
        version += 1
        span = lsp.Range(start=place(text, start), end=place(text, end))
        text = text[:start] + new + text[end:]
        client.text_document_did_change(
            lsp.DidChangeTextDocumentParams(
                text_document=lsp.VersionedTextDocumentIdentifier(uri=uri, version=version),
                content_changes=[lsp.TextDocumentContentChangePartial(range=span, text=new)],
            )
        )

    document = lsp.TextDocumentIdentifier(uri=uri)
    for count in range(EDITS):
        at = chance.randrange(len(text))
        # No place lies inside a line's end.
        while text[at - 1 : at + 1] == "\r\n":
            at += 1
        if chance.random() < 0.5:
            change(at, at, chance.choice(TYPED))
        else:
            end = min(len(text), at + chance.randrange(1, 8))
            change(at, end + (text[end - 1 : end + 1] == "\r\n"), "")
        if count % 100 == 99:
            change(0, len(text), whole)
        if count % 10 == 0:
            began = time.perf_counter()
            await client.text_document_hover_async(
                lsp.HoverParams(text_document=document, position=place(text, min(at, len(text))))
            )
            hovers.append(time.perf_counter() - began)
    change(0, len(text), whole)
    while (last := await asyncio.wait_for(told.get(), 30)).version != version:
        pass
    return last, sorted(hovers)


async def main(program: str) -> None:
    client = BaseLanguageClient("by-hand", "1")
    told: asyncio.Queue = asyncio.Queue()

    @client.feature(lsp.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS)
    def _(params: lsp.PublishDiagnosticsParams) -> None:
        told.put_nowait(params)

    await client.start_io(program, "lsp")
    hello = await client.initialize_async(
        lsp.InitializeParams(
            capabilities=lsp.ClientCapabilities(
                general=lsp.GeneralClientCapabilities(position_encodings=["utf-8", "utf-16"])
            ),
            root_uri=HERE.as_uri(),
        )
    )
    assert hello.capabilities.position_encoding == "utf-8", hello.capabilities.position_encoding
    client.initialized(lsp.InitializedParams())

    uri, text = DESIGN.as_uri(), DESIGN.read_text()
    item = lsp.TextDocumentItem(uri=uri, language_id="amperule", version=1, text=text)
    client.text_document_did_open(lsp.DidOpenTextDocumentParams(text_document=item))
    first = await asyncio.wait_for(told.get(), 30)
    errors = [d for d in first.diagnostics if d.severity == lsp.DiagnosticSeverity.Error]
    assert first.version == 1 and len(errors) >= 8, errors

    document = lsp.TextDocumentIdentifier(uri=uri)
    line = next(i for i, l in enumerate(text.splitlines()) if "Ze:" in l)
    place = lsp.Position(line=line, character=text.splitlines()[line].index("Ze") + 1)
    hover = await client.text_document_hover_async(lsp.HoverParams(text_document=document, position=place))
    assert "supply.Ze" in hover.contents.value, hover
    offered = await client.text_document_completion_async(
        lsp.CompletionParams(text_document=document, position=place)
    )
    assert any(i.label == "Ze" for i in offered), offered
    symbols = await client.text_document_document_symbol_async(
        lsp.DocumentSymbolParams(text_document=document)
    )
    assert any(s.name == "supply" for s in symbols), symbols
    tokens = await client.text_document_semantic_tokens_full_async(
        lsp.SemanticTokensParams(text_document=document)
    )
    assert len(tokens.data) % 5 == 0 and tokens.data, tokens
    hints = await client.text_document_inlay_hint_async(
        lsp.InlayHintParams(
            text_document=document,
            range=lsp.Range(start=lsp.Position(0, 0), end=lsp.Position(len(text.splitlines()), 0)),
        )
    )
    assert hints, "figures beside circuits"

    change = lsp.TextDocumentContentChangePartial(range=lsp.Range(start=place, end=place), text="²")
    client.text_document_did_change(
        lsp.DidChangeTextDocumentParams(
            text_document=lsp.VersionedTextDocumentIdentifier(uri=uri, version=2), content_changes=[change]
        )
    )
    second = await asyncio.wait_for(told.get(), 30)
    assert second.version == 2 and any("`Z²`" in d.message for d in second.diagnostics), second.diagnostics

    last, hovers = await an_hour(client, told, uri, text)
    kept = lambda ds: sorted((d.range.start.line, d.range.start.character, str(d.code), d.message.split("\n")[0]) for d in ds)
    assert kept(last.diagnostics) == kept(first.diagnostics), "all undone, the same is told as at first"

    await client.shutdown_async(None)
    client.exit(None)
    await asyncio.sleep(0.5)
    await client.stop()
    print(f"{len(first.diagnostics)} diagnostics, {len(offered)} offers, {len(tokens.data) // 5} tokens, {len(hints)} hints; {EDITS} edits, a hover behind every tenth: "
          f"median {hovers[len(hovers) // 2] * 1000:.1f} ms, 99th percentile {hovers[len(hovers) * 99 // 100] * 1000:.1f} ms: as it should be")


asyncio.run(main(sys.argv[1]))
