"""The text of a spec with what it is to say of drafted shapes."""

from __future__ import annotations

from collections.abc import Sequence

from plica.api.character import Character
from plica.api.sculpting import item_words
from plica.api.texts import format_text
from plica.pipeline import compile_text
from plica.sculpting.spec_facts import SpecFact, facts_of, with_facts
from plica.workspace import Workspace

Said = tuple[str, str, tuple[SpecFact, ...], tuple[SpecFact, ...]]
"""A shape's output name and declared name, what the spec says of it, and what it is to say."""


def spec_text(character: Character, shapes: Sequence[Said]) -> str | None:
    """The spec's own text with all of that, in the one layout if it was in it before; None where that is not sure.

    The text is compiled again: it must say just what was wanted.
    """
    compiled = character.compiled
    if compiled is None or not compiled.documents:
        return None
    text = compiled.documents[0].source.text
    is_tidy = format_text(text).text == text
    for name, declared, said, wanted in shapes:
        changed = with_facts(compiled.documents[0], declared, said, wanted)
        if changed is None:
            return None
        text = (format_text(changed).text or changed) if is_tidy else changed
        compiled = compile_text(text, character.file, Workspace(character.folder, character.allow))
        if compiled.rig is None:
            return None
        shape = next((one for one in compiled.rig.shapes if one.name == name), None)
        if shape is None or facts_of(compiled.rig, shape, item_words) != wanted:
            return None
    return text
