"""Names and where they are written: definitions, references and renaming, across the libraries that a spec uses."""

from __future__ import annotations

import re
from typing import NamedTuple

from plica.editor.node_search import path_to
from plica.editor.open_documents import Analysis
from plica.editor.variables import EditorVariable, library_of, places_of, refusal, variable_at
from plica.source import Span
from plica.spec.symbols import NAMESPACES, Symbol
from plica.syntax import nodes

Key = tuple[str, str]
"""The namespace and the whole name, with the prefix of a library."""

_NAME = re.compile(r"[^\W\d]\w*")


class NamePlace(NamedTuple):
    """A stretch of a file, by the file's path."""

    path: str
    start: int
    end: int


class Refusal(NamedTuple):
    """Why a name cannot be changed, in the user's words."""

    reason: str


class Edit(NamedTuple):
    """A place and the text that replaces it."""

    span: Span
    text: str


_MISTAKES = Refusal("the text has mistakes; while it does, not every place that means the name is known")


def keys_at(analysis: Analysis, path: str, offset: int) -> list[Key]:
    """What the name at an offset means: several where a declaration is written out for several values."""
    symbols = analysis.symbols
    declared = [(NAMESPACES[item.kind], item.name) for item in symbols.declared if _holds(item.span, path, offset)]
    used = [(use.namespace, use.name) for use in symbols.uses if _holds(use.span, path, offset)]
    return list(dict.fromkeys([*declared, *used]))


def definitions(analysis: Analysis, path: str, offset: int, own: nodes.Document) -> list[Span]:
    """Where what stands at an offset is declared: a name, a joint of a declared skeleton, a variable, a library."""
    variable = variable_at(own, analysis.documents, offset)
    if variable is not None:
        return [variable.place]
    wanted = set(keys_at(analysis, path, offset))
    result = [item.span for item in analysis.symbols.declared if (NAMESPACES[item.kind], item.name) in wanted]
    return _distinct(result) or _other_definitions(analysis, offset, own)


def references(analyses: list[Analysis], own: nodes.Document, offset: int, with_declarations: bool) -> list[Span]:
    """Every place that refers to what is at an offset, in all of the analyses that know it."""
    result: list[Span] = []
    for analysis in analyses:
        variable = variable_at(own, analysis.documents, offset)
        if variable is not None:
            result += places_of(variable, analysis.documents, with_declarations)
        else:
            result += _references(analysis, own.source.path, offset, with_declarations)
    return _distinct(result)


def _references(analysis: Analysis, path: str, offset: int, with_declarations: bool) -> list[Span]:
    wanted = set(keys_at(analysis, path, offset))
    result = [use.span for use in analysis.symbols.uses if (use.namespace, use.name) in wanted]
    if with_declarations:
        result += [item.span for item in analysis.symbols.declared if (NAMESPACES[item.kind], item.name) in wanted]
    return result


# ---- renaming ------------------------------------------------------------------------------------------


def variable_to_rename(analysis: Analysis, own: Analysis, offset: int) -> EditorVariable | Refusal | None:
    """The variable at an offset, where it can be renamed; None where there is none.

    `analysis` knows the libraries that the text uses.
    """
    variable = variable_at(own.document, analysis.documents, offset)
    if variable is None:
        return None
    if own.has_errors:
        return _MISTAKES
    if variable.document.source.path != own.source.path:
        return Refusal(
            f"`{variable.name}` is a parameter of the library {variable.document.source.path}; rename it there"
        )
    return variable


def rename_variable(variable: EditorVariable, analyses: list[Analysis], name: str) -> list[Edit] | Refusal:
    """The edits that give a variable another name, also in the specs that give a parameter its value."""
    reason = refusal(variable, name)
    if reason is not None:
        return Refusal(reason)
    if variable.is_parameter and any(analysis.has_errors for analysis in analyses):
        return Refusal("a spec that uses this library has mistakes; while it does, not every place is known")
    places = [span for analysis in analyses for span in places_of(variable, analysis.documents)]
    return [Edit(span, name) for span in _distinct(places)]


def renameable(analysis: Analysis, path: str, offset: int) -> Span | Refusal:
    """The place of the name at an offset, where it can be renamed."""
    if analysis.has_errors:
        return _MISTAKES
    keys = keys_at(analysis, path, offset)
    if not keys:
        return Refusal("only names that the spec declares can be renamed, and here is none")
    declared = _declared(analysis, set(keys))
    for item in declared:
        if item.span.source.path != analysis.source.path:
            return Refusal(f"`{item.name}` is declared in the library {item.span.source.path}, which others may use")
        if "{" in _written(item.span):
            return Refusal(f"`{_written(item.span)}` is written out for several values; rename what it is made of")
    for span in _all_places(analysis, set(keys)):
        if not declared or _written(span) != declared[0].name:
            return Refusal(f"`{_written(span)}` is put together from placeholders; change it by hand")
    return next(span for span in _all_places(analysis, set(keys)) if _holds(span, path, offset))


def rename(analysis: Analysis, path: str, offset: int, name: str) -> list[Edit] | Refusal:
    """The edits that give a declared name another one everywhere; refused where that would change what names mean."""
    allowed = renameable(analysis, path, offset)
    if isinstance(allowed, Refusal):
        return allowed
    if not _NAME.fullmatch(name):
        return Refusal(f"`{name}` is not a name: letters, digits and underscores, no digit first")
    keys = set(keys_at(analysis, path, offset))
    for namespace, old in keys:
        taken = analysis.symbols.lookup(namespace, name)
        if taken and old != name:
            return Refusal(f"there is already a {taken[0].kind} `{name}`, at {taken[0].span.place}")
    return [Edit(span, name) for span in _all_places(analysis, keys)]


def _declared(analysis: Analysis, keys: set[Key]) -> list[Symbol]:
    return [item for item in analysis.symbols.declared if (NAMESPACES[item.kind], item.name) in keys]


def _all_places(analysis: Analysis, keys: set[Key]) -> list[Span]:
    used = [use.span for use in analysis.symbols.uses if (use.namespace, use.name) in keys]
    return _distinct([item.span for item in _declared(analysis, keys)] + used)


def _written(span: Span) -> str:
    return span.source.text[span.start : span.end]


def _holds(span: Span, path: str, offset: int) -> bool:
    return span.start <= offset <= span.end and span.source.path == path


def _distinct(spans: list[Span]) -> list[Span]:
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
