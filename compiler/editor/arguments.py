"""The parameters of a library while its `with` is being written."""

from __future__ import annotations

from typing import NamedTuple

from plica.editor.complete import place_of
from plica.editor.open_documents import Analysis
from plica.editor.variables import EditorVariable, library_of, use_before
from plica.syntax import nodes


class Signature(NamedTuple):
    """A `use` as it may be written; `parts`: the stretches of `text` that are parameters; `active`: which one is
    being given, None for none of them."""

    text: str
    parts: tuple[tuple[int, int], ...]
    active: int | None


def signature(own: Analysis, around: Analysis, offset: int) -> Signature | None:
    """The parameters that the `use` around an offset can give; None outside the braces of one."""
    tokens = place_of(own, offset).tokens
    types = [token.type for token in tokens]
    if types[:1] != ["USE"] or "LBRACE" not in types or "RBRACE" in types:
        return None
    use = use_before(tokens)
    library = library_of(use, own.document, around.documents) if use is not None else None
    if use is None or library is None:
        return None
    parameters = [node for node in library.declarations if isinstance(node, nodes.Parameter)]
    text, parts = f'use "{use.path.text}" with {{ ', []
    for node in parameters:
        values = EditorVariable(library, node).values
        shown = f"{node.name.text} = {values}" if values else node.name.text
        parts.append((len(text), len(text) + len(shown)))
        text += shown + "   "
    names = [node.name.text for node in parameters]
    given = use.arguments[-1].name.text if use.arguments else None
    return Signature(text.rstrip() + " }", tuple(parts), names.index(given) if given in names else None)
