"""Findings, places and names as the Language Server Protocol writes them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from lsprotocol import types
from pygls.uris import from_fs_path

from plica import foreign
from plica.diagnostics import Diagnostic, Label, Severity
from plica.editor.complete import Suggestion
from plica.editor.hovering import Hint
from plica.editor.lenses import LineAbove
from plica.editor.navigation import where_caused
from plica.editor.open_documents import Analysis
from plica.editor.outline import Item
from plica.editor.positions import Lines
from plica.editor.renaming import Edit
from plica.source import Source, Span

_SEVERITIES = {
    Severity.ERROR: types.DiagnosticSeverity.Error,
    Severity.WARNING: types.DiagnosticSeverity.Warning,
    Severity.NOTE: types.DiagnosticSeverity.Information,
}
SYMBOL_KINDS = {
    "character": types.SymbolKind.Module,
    "use": types.SymbolKind.Package,
    "each": types.SymbolKind.Namespace,
    "parameter": types.SymbolKind.TypeParameter,
    "curve": types.SymbolKind.Constant,
    "combine": types.SymbolKind.Operator,
    "driver": types.SymbolKind.Function,
    "control": types.SymbolKind.Number,
    "field": types.SymbolKind.Function,
    "region": types.SymbolKind.Array,
    "pose": types.SymbolKind.Event,
    "expect": types.SymbolKind.Boolean,
}
_COMPLETION_KINDS = {
    "keyword": types.CompletionItemKind.Keyword,
    "unit": types.CompletionItemKind.Unit,
    "rule": types.CompletionItemKind.Constant,
    "joint": types.CompletionItemKind.Variable,
    "file": types.CompletionItemKind.File,
    "uv set": types.CompletionItemKind.Value,
    "variable": types.CompletionItemKind.TypeParameter,
    "parameter": types.CompletionItemKind.TypeParameter,
}


def text_range(lines: Lines, start: int, end: int) -> types.Range:
    """A range of a text from offsets."""
    return types.Range(types.Position(*lines.position(start)), types.Position(*lines.position(end)))


class PositionTable:
    """Ranges in several sources; the lines of each are found once.

    `addresses`: what the editor calls open texts, by the paths of their sources.
    """

    def __init__(self, addresses: Mapping[str, str]) -> None:
        self._addresses = addresses
        self._lines: dict[int, tuple[Source, Lines]] = {}

    def range(self, span: Span) -> types.Range:
        """The range of a span in its own text."""
        known = self._lines.get(id(span.source))
        if known is None:
            known = self._lines[id(span.source)] = (span.source, Lines(span.source.text))
        return text_range(known[1], span.start, span.end)

    def location(self, span: Span) -> types.Location:
        """The range and the address of a span."""
        return types.Location(self.uri(span.source), self.range(span))

    def uri(self, source: Source) -> str:
        """The address of a source, whose path is that of its file."""
        return self._addresses.get(source.path) or from_fs_path(source.path) or source.path


def diagnostics(analysis: Analysis, uri: str, places: PositionTable) -> dict[str, list[types.Diagnostic]]:
    """Findings by the address of the file that they stand in; those without a place stand at the text's start, and
    those that stand for several at every place."""
    result: dict[str, list[types.Diagnostic]] = {uri: []}
    for item in analysis.diagnostics:
        for span in (item.span, *item.places):
            where = places.uri(span.source) if span is not None else uri
            result.setdefault(where, []).append(_diagnostic(item._replace(span=span), places, analysis))
        if (here := where_caused(analysis, item)) is not None:
            result[uri].append(_diagnostic(_told_at(item, here), places, analysis))
    return result


def _told_at(item: Diagnostic, here: Span) -> Diagnostic:
    """A finding that stands in a library, as it is shown where the spec that uses it causes it."""
    if item.span is None:
        return item
    name = item.span.source.path.rpartition("/")[2]
    line, _ = item.span.source.line_and_column(item.span.start)
    labels = (Label(item.span, "it shows here"), *item.labels)
    return item._replace(span=here, message=f"in {name}, line {line}: {item.message}", labels=labels)


def _diagnostic(item: Diagnostic, places: PositionTable, analysis: Analysis) -> types.Diagnostic:
    related = [types.DiagnosticRelatedInformation(places.location(label.span), label.text) for label in item.labels]
    return types.Diagnostic(
        range=places.range(item.span or Span(analysis.source, 0, 0)),
        message=f"{item.message}\n{item.hint}" if item.hint else item.message,
        severity=_SEVERITIES[item.severity],
        code=item.code,
        source="plica",
        related_information=related or None,
        data=item.name,
    )


def locations(spans: Iterable[Span], places: PositionTable) -> list[types.Location]:
    """The places of spans."""
    return [places.location(span) for span in spans]


def workspace_edit(edits: Sequence[Edit], places: PositionTable) -> types.WorkspaceEdit:
    """Edits by file."""
    changes: dict[str, list[types.TextEdit]] = {}
    for edit in edits:
        changes.setdefault(places.uri(edit.span.source), []).append(types.TextEdit(places.range(edit.span), edit.text))
    return types.WorkspaceEdit(changes=changes)


def fixes(analysis: Analysis, places: PositionTable, start: int, end: int) -> Iterator[types.CodeAction]:
    """The fixes of findings of this text that touch the stretch between two offsets."""
    for item in analysis.diagnostics:
        fix, span = item.fix, item.span
        if fix is None or span is None or span.source.path != analysis.source.path:
            continue
        if span.start <= end and span.end >= start:
            edit = types.TextEdit(places.range(fix.span), fix.replacement)
            yield types.CodeAction(
                title=foreign.line(f"write `{fix.replacement}`"),
                kind=types.CodeActionKind.QuickFix,
                diagnostics=[_diagnostic(item, places, analysis)],
                edit=types.WorkspaceEdit(changes={places.uri(fix.span.source): [edit]}),
                is_preferred=True,
            )


def symbol(lines: Lines, item: Item) -> types.DocumentSymbol:
    """A declaration of the outline."""
    return types.DocumentSymbol(
        name=foreign.line(item.name),
        detail=item.kind,
        kind=SYMBOL_KINDS.get(item.kind, types.SymbolKind.Object),
        range=text_range(lines, item.start, item.end),
        selection_range=text_range(lines, item.name_start, item.name_end),
        children=[symbol(lines, inner) for inner in item.items],
    )


def completion(lines: Lines, item: Suggestion, offset: int) -> types.CompletionItem:
    """A text that may be written at an offset."""
    kind = _COMPLETION_KINDS.get(item.kind, types.CompletionItemKind.Reference)
    edit = None
    if item.start is not None:  # editors do not agree on what a word is where names of files are written
        edit = types.TextEdit(text_range(lines, item.start, offset), item.text)
    if item.snippet:
        return types.CompletionItem(
            label=f"{item.text} ...",
            kind=types.CompletionItemKind.Snippet,
            detail="a whole declaration to fill in",
            filter_text=item.text,
            sort_text=f"{item.text} ",
            insert_text=item.snippet,
            insert_text_format=types.InsertTextFormat.Snippet,
        )
    return types.CompletionItem(label=item.text, kind=kind, detail=item.kind, text_edit=edit)


def lens(lines: Lines, uri: str, item: LineAbove) -> types.CodeLens:
    """A line above a declaration."""
    arguments = [uri, item.number] if item.command else None
    command = types.Command(foreign.line(item.text), item.command, arguments=arguments)
    return types.CodeLens(text_range(lines, item.offset, item.offset), command)


def inlay_hint(lines: Lines, hint: Hint) -> types.InlayHint:
    """A mirrored axis, or a figure."""
    return types.InlayHint(
        position=types.Position(*lines.position(hint.offset)),
        label=hint.text,
        kind=types.InlayHintKind.Type,
        tooltip=hint.explanation,
        padding_left=True,
    )
