"""The language server (Language Server Protocol 3.17, over the standard streams): a thin face of the modules beside it.

Every request is answered from the text as it stands in the editor, with mistakes or without.
"""

from __future__ import annotations

import asyncio
import gc
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any, cast

from lsprotocol import types
from pygls.exceptions import JsonRpcInvalidParams
from pygls.lsp.server import LanguageServer
from pygls.uris import to_fs_path

import plica
from plica import __version__
from plica.editor import complete, hovering, lenses, navigation, protocol, renaming, variables
from plica.editor.conversation import Conversation, watched_files
from plica.editor.open_documents import Analysis, OpenDocuments
from plica.editor.outline import outline
from plica.editor.positions import Position, TextChange, changed
from plica.editor.proofs import Proofs

# Long enough that a burst of keystrokes is compiled once, too short to be noticed. A text that takes longer to compile
# waits for a pause in which that is done, but not for ever.
DEBOUNCE_SECONDS, LONGEST_WAIT = 0.02, 0.5
MOST_SUGGESTIONS = 300  # that are sent at once; more are sent as more is written


class Server(LanguageServer):
    """The server of one editor."""

    def __init__(self, allowed: Iterable[Path] = ()) -> None:
        super().__init__("plica", __version__, protocol_cls=Conversation)
        self.documents = OpenDocuments(tuple(allowed), self.conversation.heed)
        self.proofs = Proofs()
        self._timer: asyncio.TimerHandle | None = None
        self._compiling = 0.0  # seconds that compiling what changed took the last time
        # By whose analysis, then where: a spec's findings may stand in its libraries.
        self._published: dict[str, dict[str, list[types.Diagnostic]]] = {}
        self._versions: dict[str, int] = {}

    @property
    def conversation(self) -> Conversation:
        """What answers messages."""
        return cast(Conversation, self.protocol)

    # ---- beginning and end

    def shutdown(self) -> None:
        """Ends everything, also what is being proven: nobody is there any more to see it."""
        self.proofs.end()
        super().shutdown()  # type: ignore[no-untyped-call]

    def begun(self, _: types.InitializedParams) -> None:
        """The editor is ready: take its folders, and ask it to say when files change, where it can."""
        folders = [to_fs_path(uri) for uri in self.workspace.folders]
        self.documents.folders = tuple(Path(path) for path in folders if path is not None)
        registration = watched_files(self.client_capabilities)
        if registration is not None:
            self.client_register_capability(registration)

    # ---- texts

    def opened(self, params: types.DidOpenTextDocumentParams) -> None:
        """A text was opened: say at once what is wrong with it."""
        document = params.text_document
        self._take(document.uri, document.version, document.text)
        self.publish()

    def changed(self, params: types.DidChangeTextDocumentParams) -> None:
        """A text was changed: compile it as soon as no further change follows."""
        uri = params.text_document.uri
        text = self.documents.text(uri)
        if text is not None:
            self._take(
                uri, params.text_document.version, changed(text, [_change(one) for one in params.content_changes])
            )
            self._publish_soon()

    def closed(self, params: types.DidCloseTextDocumentParams) -> None:
        """A text was closed: its findings go, and what is saved counts again."""
        uri = params.text_document.uri
        self.documents.close(uri)
        self._versions.pop(uri, None)
        for other in self._published.pop(uri, {}):
            self._send(other)
        self.publish()

    def saved(self, _: object) -> None:
        """Something was saved: models and images may be others now."""
        self.documents.forget_analyses()
        self._publish_soon()

    def _take(self, uri: str, version: int, text: str) -> None:
        path = to_fs_path(uri) if uri.startswith("file:") else None
        self._versions[uri] = version
        self.documents.set_text(uri, text, Path(path) if path else None)

    # ---- findings

    def _publish_soon(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
        wait = min(max(DEBOUNCE_SECONDS, self._compiling / 2), LONGEST_WAIT)
        self._timer = asyncio.get_running_loop().call_later(wait, self.publish)

    def publish(self) -> None:
        """Compile what changed and send its findings."""
        begun = time.monotonic()
        gc.disable()  # a tree of many small tuples is no garbage: looking through it takes a fifth of the time
        try:
            self._publish()
        finally:
            gc.enable()
            self._compiling = time.monotonic() - begun

    def _publish(self) -> None:
        for uri in self.documents.stale():
            analysis = self.documents.analysis(uri)
            if analysis is None:
                continue
            before = self._published.get(uri, {})
            self._published[uri] = protocol.diagnostics(analysis, uri, self._places())
            for other in dict.fromkeys([uri, *before, *self._published[uri], *self.documents.libraries_of(uri)]):
                self._send(other)

    def _send(self, uri: str) -> None:
        """Send everything that is known about one file, once each: by itself and by specs that use it."""
        found = [item for owner in self._published.values() for item in owner.get(uri, [])]
        is_used = self.documents.is_used(uri)
        result = [item for item in found if not (is_used and item.data == "library-alone")]
        distinct = list({(repr(item.range), item.code, item.message): item for item in reversed(result)}.values())[::-1]
        self.text_document_publish_diagnostics(
            types.PublishDiagnosticsParams(uri=uri, diagnostics=distinct, version=self._versions.get(uri))
        )

    # ---- questions

    def analysis(self, uri: str) -> Analysis:
        """The analysis of an open text. Raises JsonRpcInvalidParams, which pygls answers with, for one that is not."""
        analysis = self.documents.analysis(uri)
        if analysis is None:
            raise JsonRpcInvalidParams(f"{uri} is not open")
        return analysis

    def around(self, uri: str) -> Analysis:
        """The analysis that knows what the names of an open text mean."""
        return self.documents.around(uri) or self.analysis(uri)

    def hover(self, params: types.HoverParams) -> types.Hover | None:
        """What the name or joint under the cursor stands for."""
        own, offset = self.at(params)
        text = hovering.hover(self.around(params.text_document.uri), own.document, offset)
        return types.Hover(types.MarkupContent(types.MarkupKind.Markdown, text)) if text else None

    def definition(self, params: types.DefinitionParams) -> list[types.Location]:
        """Where what is under the cursor is declared."""
        own, offset = self.at(params)
        around = self.around(params.text_document.uri)
        return protocol.locations(navigation.definitions(around, own.source.path, offset, own.document), self._places())

    def references(self, params: types.ReferenceParams) -> list[types.Location]:
        """Every place that means what is under the cursor."""
        own, offset = self.at(params)
        users = self.documents.users(params.text_document.uri)
        result = navigation.references(users, own.document, offset, params.context.include_declaration)
        return protocol.locations(result, self._places())

    def prepare_rename(self, params: types.PrepareRenameParams) -> types.Range:
        """The name under the cursor, if it can be renamed."""
        own, offset = self.at(params)
        variable = self._variable(params.text_document.uri, own, offset)
        if variable is not None:
            places = variables.places_of(variable, (), True)
            return next(
                protocol.text_range(own.lines, *span[1:]) for span in places if span.start <= offset <= span.end
            )
        span = renaming.renameable(own, self.around(params.text_document.uri), offset)
        if isinstance(span, renaming.Refusal):
            raise JsonRpcInvalidParams(span.reason)
        return protocol.text_range(own.lines, span.start, span.end)

    def rename(self, params: types.RenameParams) -> types.WorkspaceEdit:
        """The edits that give a name another one."""
        own, offset = self.at(params)
        uri = params.text_document.uri
        variable = self._variable(uri, own, offset)
        if variable is not None:
            users = self.documents.users_of(own.source.path)
            edits = renaming.rename_variable(variable, users, params.new_name)
        else:
            edits = renaming.rename(self.documents, uri, offset, params.new_name)
        if isinstance(edits, renaming.Refusal):
            raise JsonRpcInvalidParams(edits.reason)
        return protocol.workspace_edit(edits, self._places())

    def _variable(self, uri: str, own: Analysis, offset: int) -> variables.EditorVariable | None:
        """The variable at an offset. Raises JsonRpcInvalidParams where it cannot be renamed."""
        variable = renaming.variable_to_rename(self.around(uri), own, offset)
        if isinstance(variable, renaming.Refusal):
            raise JsonRpcInvalidParams(variable.reason)
        return variable

    def completion(self, params: types.CompletionParams) -> list[types.CompletionItem] | types.CompletionList:
        """What may be written at the cursor; of very many only what begins as what stands there."""
        own, offset = self.at(params)
        result = complete.suggestions(own, self.around(params.text_document.uri), offset)
        if not self._fills_in:
            result = [item for item in result if not item.snippet]
        if len(result) <= MOST_SUGGESTIONS:
            return [protocol.completion(own.lines, item, offset) for item in result]
        begun = complete.begun(result, own.source.text, offset)[:MOST_SUGGESTIONS]
        return types.CompletionList(True, [protocol.completion(own.lines, item, offset) for item in begun])

    @property
    def _fills_in(self) -> bool:
        """Whether the editor takes texts with places to fill in."""
        document = self.client_capabilities.text_document
        offered = document.completion if document is not None else None
        item = offered.completion_item if offered is not None else None
        return bool(item is not None and item.snippet_support)

    def formatting(self, params: types.DocumentFormattingParams) -> list[types.TextEdit] | None:
        """The text in its one layout; nothing for a text with mistakes."""
        own = self.analysis(params.text_document.uri)
        text = plica.format_text(own.source.text, name=own.source.path).text
        if text is None:
            return None
        if text == own.source.text:
            return []
        return [types.TextEdit(protocol.text_range(own.lines, 0, len(own.source.text)), text)]

    def code_actions(self, params: types.CodeActionParams) -> list[types.CodeAction]:
        """The fixes of the findings in a range."""
        own = self.analysis(params.text_document.uri)
        start, end = self.range(own, params.range)
        return list(protocol.fixes(own, self._places(), start, end))

    def symbols(self, params: types.DocumentSymbolParams) -> list[types.DocumentSymbol]:
        """The declarations of a text."""
        own = self.analysis(params.text_document.uri)
        return [protocol.symbol(own.lines, item) for item in outline(own.document)]

    def inlay_hints(self, params: types.InlayHintParams) -> list[types.InlayHint]:
        """The mirrored axes of the right side, and the figures of expectations that were proven."""
        own = self.analysis(params.text_document.uri)
        start, end = self.range(own, params.range)
        around = self.around(params.text_document.uri)
        hints = hovering.mirrored_axes(around, own.document, start, end)
        hints += lenses.figures(around, own.document, self.proofs, start, end)
        return [protocol.inlay_hint(own.lines, hint) for hint in hints]

    def lenses(self, params: types.CodeLensParams) -> list[types.CodeLens]:
        """What strengths move, and the way to prove expectations."""
        uri = params.text_document.uri
        own = self.analysis(uri)
        found = lenses.lenses(self.around(uri), own.document, self.proofs)
        return [protocol.lens(own.lines, uri, item) for item in found]

    def _places(self) -> protocol.PositionTable:
        return protocol.PositionTable(self.documents.addresses)

    def at(self, params: Any) -> tuple[Analysis, int]:
        """The text that a question is about, and the offset."""
        own = self.analysis(params.text_document.uri)
        return own, own.lines.offset(Position(params.position.line, params.position.character))

    def range(self, own: Analysis, given: types.Range) -> tuple[int, int]:
        """The offsets of a range."""
        return (
            own.lines.offset(Position(given.start.line, given.start.character)),
            own.lines.offset(Position(given.end.line, given.end.character)),
        )


def _change(event: types.TextDocumentContentChangeEvent) -> TextChange:
    if isinstance(event, types.TextDocumentContentChangePartial):
        start, end = event.range.start, event.range.end
        return TextChange(Position(start.line, start.character), Position(end.line, end.character), event.text)
    return TextChange(None, None, event.text)
