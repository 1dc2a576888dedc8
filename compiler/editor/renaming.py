"""Another name for a declaration or a variable, in every text that means it; refused where something would change.

What the edits do is not assumed: the texts are compiled with them, and every name must mean then what it meant.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from plica.editor.navigation import Key, each_place_once, holds, keys_at
from plica.editor.open_documents import Analysis, OpenDocuments, Users
from plica.editor.variables import EditorVariable, places_of, refusal, variable_at
from plica.source import Span
from plica.spec.symbols import NAMESPACES, Symbol

_NAME = re.compile(r"[^\W\d]\w*")


class Refusal(NamedTuple):
    """Why a name cannot be changed, in the user's words."""

    reason: str


class Edit(NamedTuple):
    """A place and the text that replaces it."""

    span: Span
    text: str


class _Renamed(NamedTuple):
    """What changes in one spec: its edits, and the new names of its keys."""

    edits: list[Edit]
    names: dict[Key, str]


_MISTAKES = Refusal("the text has mistakes; while it does, not every place that means the name is known")


# ---- variables


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


def rename_variable(variable: EditorVariable, users: Users, name: str) -> list[Edit] | Refusal:
    """The edits that give a variable another name, also in the specs that give a parameter its value."""
    reason = refusal(variable, name)
    if reason is not None:
        return Refusal(reason)
    if variable.is_parameter and (unsure := _unsure(users)) is not None:
        return unsure
    places = [span for analysis in users.analyses for span in places_of(variable, analysis.documents)]
    return [Edit(span, name) for span in each_place_once(places)]


# ---- declarations


def renameable(own: Analysis, around: Analysis, offset: int) -> Span | Refusal:
    """The place of the name at an offset of `own`, where it can be renamed; `around` knows what names mean."""
    if own.has_errors:
        return _MISTAKES
    if around.has_errors:
        return _unsure(Users((around,))) or _MISTAKES
    declared = _declared_at(own, around, offset)
    if isinstance(declared, Refusal):
        return declared
    keys = {(NAMESPACES[item.kind], item.name) for item in declared}
    path = own.source.path
    return next(span for span in _all_places(around, keys) if holds(span, path, offset))


def rename(documents: OpenDocuments, key: str, offset: int, name: str) -> list[Edit] | Refusal:
    """The edits that give the name at an offset of the open text `key` another one, in every text that means it."""
    own, around = documents.analysis(key), documents.around(key)
    if own is None or around is None:
        return Refusal("the text is not open")
    place = renameable(own, around, offset)
    declared = place if isinstance(place, Refusal) else _declared_at(own, around, offset)
    if isinstance(place, Refusal) or isinstance(declared, Refusal):
        return place if isinstance(place, Refusal) else Refusal("here is no name")
    old = written(declared[0].span)
    prefix = written(place).removesuffix(old)
    if not _NAME.fullmatch(name):
        return Refusal(f"`{name}` is not a name: letters, digits and underscores, no digit first")
    home = declared[0].span.source.path
    if not name.startswith(prefix) or not _NAME.fullmatch(name[len(prefix) :]):
        return Refusal(f"`{old}` is declared in the library {home}, used as `{prefix[:-1]}`: begin with `{prefix}`")
    users = documents.users_of(home)
    return _unsure(users) or _checked(documents, users, declared, old, name[len(prefix) :])


def _checked(
    documents: OpenDocuments, users: Users, declared: Sequence[Symbol], old: str, new: str
) -> list[Edit] | Refusal:
    places = {item.span.start for item in declared}
    home = declared[0].span.source.path
    changes: list[_Renamed] = []
    for analysis in users.analyses:
        change = _renamed(analysis, home, places, old, new)
        if isinstance(change, Refusal):
            return change
        changes.append(change)
    spans = {(edit.span.source.path, edit.span.start): edit for change in changes for edit in change.edits}
    edits = [spans[place] for place in sorted(spans)]
    texts = _edited(edits)
    for analysis, change in zip(users.analyses, changes, strict=True):
        if (reason := _changes(analysis, documents.compiled_with(analysis, texts), change.names)) is not None:
            return Refusal(f"in {analysis.source.path}, {reason}")
    return edits


def _renamed(analysis: Analysis, home: str, places: set[int], old: str, new: str) -> _Renamed | Refusal:
    """What changes in a spec when the declarations at some places of the file `home` have another name."""
    symbols = analysis.symbols
    here = [item for item in symbols.declared if item.span.source.path == home and item.span.start in places]
    keys = {(NAMESPACES[item.kind], item.name) for item in here}
    for item in _declared(analysis, keys):
        if item.span.source.path != home or item.span.start not in places:
            return Refusal(f"`{item.name}` is declared at {item.span.place} too; rename both by hand")
    names = {}
    for namespace, name in keys:
        if not name.endswith(old):
            return Refusal(f"`{name}` in {analysis.source.path} is put together; change it by hand")
        names[namespace, name] = renamed = name.removesuffix(old) + new
        taken = symbols.lookup(namespace, renamed)
        if taken and old != new:
            return Refusal(f"there is already a {taken[0].kind} `{renamed}`, at {taken[0].span.place}")
    edits = []
    for span in _all_places(analysis, keys):
        text = written(span)
        if "{" in text or not text.endswith(old):
            return Refusal(f"`{text}` at {span.place} is put together from placeholders; change it by hand")
        edits.append(Edit(span, text.removesuffix(old) + new))
    return _Renamed(edits, names)


def _changes(before: Analysis, after: Analysis, names: dict[Key, str]) -> str | None:
    """What a name would do that is no mere name; None where every name means what it meant."""
    if after.has_errors:
        error = next(item for item in after.diagnostics if item.severity == "error")
        return f"that would be a mistake: {error.message}"
    told = [(use.namespace, names.get((use.namespace, use.name), use.name)) for use in before.symbols.uses]
    if told != [(use.namespace, use.name) for use in after.symbols.uses]:
        return "another name would mean something else then"
    known = sorted((item.kind, names.get((NAMESPACES[item.kind], item.name), item.name)) for item in _all(before))
    if known != sorted((item.kind, item.name) for item in _all(after)):
        return "other declarations would have other names then"
    return None


def _all(analysis: Analysis) -> list[Symbol]:
    return analysis.symbols.declared


def _unsure(users: Users) -> Refusal | None:
    """Why not every place that means a name is known, if so."""
    if users.left_out:
        return Refusal(f"not every place is known: {users.left_out}")
    for analysis in users.analyses:
        if analysis.has_errors:
            return Refusal(f"{analysis.source.path} has mistakes; while it does, not every place is known")
    return None


def _declared_at(own: Analysis, around: Analysis, offset: int) -> list[Symbol] | Refusal:
    """The declarations of the name at an offset: all in one file, each written plainly."""
    keys = keys_at(around, own.source.path, offset)
    declared = _declared(around, set(keys))
    if not declared:
        return Refusal("only names that the spec declares can be renamed, and here is none")
    for item in declared:
        if "{" in written(item.span):
            return Refusal(f"`{written(item.span)}` is written out for several values; rename what it is made of")
        if item.span.source.path != declared[0].span.source.path:
            return Refusal(f"`{item.name}` is declared in two files; rename both by hand")
    for span in _all_places(around, set(keys)):
        if holds(span, own.source.path, offset) and not written(span).endswith(written(declared[0].span)):
            return Refusal(f"`{written(span)}` is put together from placeholders; change it by hand")
    return declared


def _declared(analysis: Analysis, keys: set[Key]) -> list[Symbol]:
    return [item for item in analysis.symbols.declared if (NAMESPACES[item.kind], item.name) in keys]


def _all_places(analysis: Analysis, keys: set[Key]) -> list[Span]:
    used = [use.span for use in analysis.symbols.uses if (use.namespace, use.name) in keys]
    return each_place_once([item.span for item in _declared(analysis, keys)] + used)


def _edited(edits: Iterable[Edit]) -> dict[str, str]:
    """The texts with edits made, by path."""
    texts: dict[str, str] = {}
    for edit in sorted(edits, key=lambda item: item.span.start, reverse=True):
        source = edit.span.source
        text = texts.get(source.path, source.text)
        texts[source.path] = text[: edit.span.start] + edit.text + text[edit.span.end :]
    return texts


def written(span: Span) -> str:
    """The text of a span."""
    return span.source.text[span.start : span.end]
