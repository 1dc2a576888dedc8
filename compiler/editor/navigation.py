"""Names and where they are written: definitions and references, across the libraries that a spec uses."""

from __future__ import annotations

from typing import NamedTuple

from plica.diagnostics import Diagnostic, Severity
from plica.editor.node_search import path_to
from plica.editor.open_documents import Analysis
from plica.editor.variables import library_of, library_uses, places_of, variable_at
from plica.source import Span
from plica.spec.symbols import NAMESPACES
from plica.syntax import nodes

Key = tuple[str, str]
"""The namespace and the whole name, with the prefix of a library."""


class NamePlace(NamedTuple):
    """A stretch of a file, by the file's path."""

    path: str
    start: int
    end: int


def keys_at(analysis: Analysis, path: str, offset: int) -> list[Key]:
    """What the name at an offset means: several where a declaration is written out for several values."""
    symbols = analysis.symbols
    declared = [(NAMESPACES[item.kind], item.name) for item in symbols.declared if holds(item.span, path, offset)]
    used = [(use.namespace, use.name) for use in symbols.uses if holds(use.span, path, offset)]
    return list(dict.fromkeys([*declared, *used]))


def definitions(analysis: Analysis, path: str, offset: int, own: nodes.Document) -> list[Span]:
    """Where what stands at an offset is declared: a name, a joint of a declared skeleton, a variable, a library."""
    variable = variable_at(own, analysis.documents, offset)
    if variable is not None:
        return [variable.place]
    wanted = set(keys_at(analysis, path, offset))
    result = [item.span for item in analysis.symbols.declared if (NAMESPACES[item.kind], item.name) in wanted]
    return each_place_once(result) or _other_definitions(analysis, offset, own)


def references(analyses: list[Analysis], own: nodes.Document, offset: int, with_declarations: bool) -> list[Span]:
    """Every place that refers to what is at an offset, in all of the analyses that know it."""
    result: list[Span] = []
    for analysis in analyses:
        variable = variable_at(own, analysis.documents, offset)
        if variable is not None:
            result += places_of(variable, analysis.documents, with_declarations)
        else:
            result += _references(analysis, own.source.path, offset, with_declarations)
    return each_place_once(result)


def _references(analysis: Analysis, path: str, offset: int, with_declarations: bool) -> list[Span]:
    wanted = set(keys_at(analysis, path, offset))
    result = [use.span for use in analysis.symbols.uses if (use.namespace, use.name) in wanted]
    if with_declarations:
        result += [item.span for item in analysis.symbols.declared if (NAMESPACES[item.kind], item.name) in wanted]
    return result


def holds(span: Span, path: str, offset: int) -> bool:
    """Whether an offset of a file stands in a span, or at its end."""
    return span.start <= offset <= span.end and span.source.path == path


def each_place_once(spans: list[Span]) -> list[Span]:
    """The spans, each place once, in order."""
    places = {NamePlace(span.source.path, span.start, span.end): span for span in spans}
    return [places[place] for place in sorted(places)]


# ---- joints, placeholders, libraries ------------------------------------------------------------------


def _other_definitions(analysis: Analysis, offset: int, own: nodes.Document) -> list[Span]:
    path = path_to(own.declarations, offset)
    for node in reversed(path):
        if isinstance(node, nodes.JointName) and "{" not in node.text:
            return _joints(analysis, node)
    use = next((node for node in path if isinstance(node, nodes.UseLibrary)), None)
    if use is not None and use.path.start <= offset <= use.path.end:
        return _library(analysis, use, own)
    return []


def _joints(analysis: Analysis, node: nodes.JointName) -> list[Span]:
    """Where the joints of a name are declared, in a text that declares its skeleton."""
    bound = analysis.bound.spec.bound if analysis.bound.spec else None
    pair = bound.sides.pairs.get(node.text) if bound else None
    names = {node.text}
    if bound is not None and pair is not None:
        names |= {bound.skeleton.joints[pair.left].name, bound.skeleton.joints[pair.right].name}
    facts = [
        (document, fact)
        for document in analysis.documents
        for block in document.declarations
        if isinstance(block, nodes.Block) and block.kind == "character"
        for fact in block.facts
        if fact.key == "skeleton"
    ]
    return [
        document.span(joint.name)
        for document, fact in facts
        for joint in fact.part("joints")
        if joint.name.text in names
    ]


def _library(analysis: Analysis, use: nodes.UseLibrary, own: nodes.Document) -> list[Span]:
    library = library_of(use, own, analysis.documents)
    return [] if library is None else [Span(library.source, 0, 0)]


# ---- what a text causes in its libraries --------------------------------------------------------------


def where_caused(analysis: Analysis, item: Diagnostic) -> Span | None:
    """The place of a text at which a finding in one of its libraries begins; None for a finding in the text itself.

    That is the argument which the library was given, or else, for an error, the only `use` that leads to the library;
    of several, none is known to be the one.
    """
    own = analysis.source.path
    if item.span is None or item.span.source.path == own:
        return None
    label = next((label.span for label in item.labels if label.span.source.path == own), None)
    if label is not None or item.severity is not Severity.ERROR:
        return label
    leading = [
        use
        for use in library_uses(analysis.document.declarations)
        if item.span.source.path in _reached(library_of(use, analysis.document, analysis.documents), analysis)
    ]
    return analysis.document.span(leading[0].path) if len(leading) == 1 else None


def _reached(library: nodes.Document | None, analysis: Analysis) -> set[str]:
    """The paths of a library and of all that it uses."""
    found: dict[str, nodes.Document] = {}
    waiting = [library] if library is not None else []
    while waiting:
        one = waiting.pop()
        if one.source.path not in found:
            found[one.source.path] = one
            used = (library_of(use, one, analysis.documents) for use in library_uses(one.declarations))
            waiting += [other for other in used if other is not None]
    return set(found)
