"""Names and where they are written: definitions, references and renaming, across the libraries that a spec uses."""

from __future__ import annotations

import re
from typing import NamedTuple

from plica.editor.project import Analysis
from plica.editor.tree import path_to
from plica.source import Source, Span
from plica.spec.symbols import NAMESPACES, Symbol
from plica.syntax import nodes
from plica.workspace import Refused, Workspace

Key = tuple[str, str]
"""The namespace and the whole name, with the prefix of a library."""

_NAME = re.compile(r"[^\W\d]\w*")


class Place(NamedTuple):
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


def keys_at(analysis: Analysis, path: str, offset: int) -> list[Key]:
    """What the name at an offset means: several where a declaration is written out for several values."""
    symbols = analysis.symbols
    declared = [(NAMESPACES[item.kind], item.name) for item in symbols.declared if _holds(item.span, path, offset)]
    used = [(use.namespace, use.name) for use in symbols.uses if _holds(use.span, path, offset)]
    return list(dict.fromkeys([*declared, *used]))


def definitions(analysis: Analysis, path: str, offset: int, own: nodes.Document) -> list[Span]:
    """Where what stands at an offset is declared: a name, a joint of a declared skeleton, a placeholder, a library."""
    wanted = set(keys_at(analysis, path, offset))
    found = [item.span for item in analysis.symbols.declared if (NAMESPACES[item.kind], item.name) in wanted]
    return _distinct(found) or _other_definitions(analysis, offset, own)


def references(analysis: Analysis, path: str, offset: int, with_declarations: bool) -> list[Span]:
    """Every place that refers to the name at an offset."""
    wanted = set(keys_at(analysis, path, offset))
    found = [use.span for use in analysis.symbols.uses if (use.namespace, use.name) in wanted]
    if with_declarations:
        found += [item.span for item in analysis.symbols.declared if (NAMESPACES[item.kind], item.name) in wanted]
    return _distinct(found)


def renameable(analysis: Analysis, path: str, offset: int) -> Span | Refusal:
    """The place of the name at an offset, where it can be renamed."""
    if analysis.has_errors:
        return Refusal("the text has mistakes; while it does, not every place that means the name is known")
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
    places = {Place(span.source.path, span.start, span.end): span for span in spans}
    return [places[place] for place in sorted(places)]


# ---- joints, placeholders, libraries ------------------------------------------------------------------


def _other_definitions(analysis: Analysis, offset: int, own: nodes.Document) -> list[Span]:
    path = path_to(own.declarations, offset)
    for node in reversed(path):
        if isinstance(node, nodes.JointName) and "{" not in node.text:
            return _joints(analysis, node)
    use = next((node for node in path if isinstance(node, nodes.Use)), None)
    if use is not None and use.path.start <= offset <= use.path.end:
        return _library(analysis, use, own)
    return _placeholder(own, path, offset)


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
    return [document.span(joint.name) for document, fact in facts for joint in fact.values if joint.name.text in names]


def _library(analysis: Analysis, use: nodes.Use, own: nodes.Document) -> list[Span]:
    from pathlib import Path

    folder = Path(own.source.path).parent
    located = Workspace(folder).locate(use.path.text)
    shown = "" if isinstance(located, Refused) else located.as_posix()
    known = {document.source.path: document.source for document in analysis.documents}
    return [Span(known[shown], 0, 0)] if shown in known else []


def _placeholder(own: nodes.Document, path: list[object], offset: int) -> list[Span]:
    """Where the variable of a placeholder is declared: the innermost `each` around, else a parameter."""
    name = placeholder_at(own.source, offset)
    if name is None:
        return []
    for node in reversed(path):
        if isinstance(node, nodes.Each) and node.head.name.text == name:
            return [own.span(node.head.name)]
    parameters = [node for node in own.declarations if isinstance(node, nodes.Parameter)]
    return [own.span(node.name) for node in parameters if node.name.text == name]


def placeholder_at(source: Source, offset: int) -> str | None:
    """The name of the placeholder at an offset."""
    for match in re.finditer(r"\{([^\W\d]\w*)\}", source.text[max(0, offset - 100) : offset + 100]):
        start = max(0, offset - 100)
        if match.start() + start <= offset <= match.end() + start:
            return match[1]
    return None
