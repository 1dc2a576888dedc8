"""Answers about a whole text: colours by meaning, folding, links, highlights, arguments, names anywhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lsprotocol import types
from pygls.uris import from_fs_path

from plica.editor import arguments, meanings, navigation, passages, protocol
from plica.editor.open_documents import Analysis
from plica.editor.outline import named
from plica.editor.positions import utf16_length
from plica.source import Span

if TYPE_CHECKING:
    from plica.editor.server import Server

LEGEND = types.SemanticTokensLegend(list(meanings.TYPES), ["declaration"])
_TYPE_INDEX = {meaning: index for index, meaning in enumerate(meanings.KINDS)}


def tokens(server: Server, params: types.SemanticTokensParams) -> types.SemanticTokens:
    """What the names of a text mean."""
    own = server.analysis(params.text_document.uri)
    return _tokens(own, server.around(params.text_document.uri), 0, len(own.source.text))


def tokens_in(server: Server, params: types.SemanticTokensRangeParams) -> types.SemanticTokens:
    """What the names of a part of a text mean."""
    own = server.analysis(params.text_document.uri)
    return _tokens(own, server.around(params.text_document.uri), *server.range(own, params.range))


def _tokens(own: Analysis, around: Analysis, start: int, end: int) -> types.SemanticTokens:
    """Five numbers for each name, places relative to the one before (LSP 3.17, "Semantic Tokens")."""
    data: list[int] = []
    line = column = 0
    for item in meanings.meanings(around, own.document, start, end):
        written = own.source.text[item.start : item.end]
        if "\n" in written or "\r" in written:
            continue
        first, length = own.lines.position(item.start), utf16_length(written)
        if first.line != line:
            column = 0
        data += [first.line - line, first.column - column, length, _TYPE_INDEX[item.meaning], item.modifiers]
        line, column = first
    return types.SemanticTokens(data)


def folding(server: Server, params: types.FoldingRangeParams) -> list[types.FoldingRange]:
    """What folds away."""
    own = server.analysis(params.text_document.uri)
    result = []
    for item in passages.passages(own.document):
        first, last = own.lines.position(item.start).line, own.lines.position(item.end).line
        kind = types.FoldingRangeKind.Comment if item.is_comment else types.FoldingRangeKind.Region
        result.append(types.FoldingRange(start_line=first, end_line=last, kind=kind))
    return result


def links(server: Server, params: types.DocumentLinkParams) -> list[types.DocumentLink]:
    """The names of files, and what they open."""
    own = server.analysis(params.text_document.uri)
    around = server.around(params.text_document.uri)
    return [
        types.DocumentLink(protocol.text_range(own.lines, item.start, item.end), from_fs_path(item.file.as_posix()))
        for item in passages.file_links(own, around)
    ]


def highlights(server: Server, params: types.DocumentHighlightParams) -> list[types.DocumentHighlight]:
    """The places of the text that mean what is under the cursor; those that declare it as written to."""
    own, offset = server.at(params)
    around = server.around(params.text_document.uri)

    def here(with_declarations: bool) -> set[tuple[int, int]]:
        spans = navigation.references([around], own.document, offset, with_declarations)
        return {(span.start, span.end) for span in spans if span.source.path == own.source.path}

    read, everything = here(False), here(True)
    kinds = types.DocumentHighlightKind
    return [
        types.DocumentHighlight(protocol.text_range(own.lines, *one), kinds.Read if one in read else kinds.Write)
        for one in sorted(everything)
    ]


def signature(server: Server, params: types.SignatureHelpParams) -> types.SignatureHelp | None:
    """The parameters of the library whose `with` is being written."""
    own, offset = server.at(params)
    found = arguments.signature(own, server.around(params.text_document.uri), offset)
    if found is None:
        return None
    shown = [types.ParameterInformation(found.text[start:end]) for start, end in found.parts]
    # An index past the end stands for none, as editors of before version 3.18 take it.
    active = len(shown) if found.active is None else found.active
    information = types.SignatureInformation(found.text, parameters=shown)
    return types.SignatureHelp([information], active_signature=0, active_parameter=active)


def names_anywhere(server: Server, params: types.WorkspaceSymbolParams) -> list[types.WorkspaceSymbol]:
    """The declarations of all open and saved specs near them whose names hold the query."""
    places = protocol.PositionTable(server.documents.addresses)
    result = []
    for document in server.documents.known_texts(params.query):
        for item in named(document, params.query):
            where = places.location(Span(document.source, item.start, item.end))
            kind = protocol.SYMBOL_KINDS.get(item.kind, types.SymbolKind.Object)
            result.append(types.WorkspaceSymbol(name=item.name, kind=kind, location=where))
    return result
