"""One state of a character."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from plica.diff.geometry import Locate
from plica.diff.written import NOTHING_WRITTEN, Writing
from plica.rig.rig import Rig
from plica.rig.strengths import Control
from plica.source import Span

Origins = Mapping[tuple[str, str], Span]


class CharacterState(NamedTuple):
    """One state of a character.

    `path` is what the user calls its file; `origins` tells where entries were declared (`character` too) and is empty
    for a built rig; `contents` has a digest of every file that the rig names and that could be read; `locate` finds
    those files: without it nothing is measured on the mesh; `missing` names a file of computed offsets that is not
    there. `writing`: the texts that it was made of, nothing for a built rig. `weights`: controls of the skin's morph
    targets that nothing else moves.
    """

    path: str
    rig: Rig
    origins: Origins = MappingProxyType({})
    contents: Mapping[str, str] = MappingProxyType({})
    locate: Locate | None = None
    missing: str | None = None
    writing: Writing = NOTHING_WRITTEN
    weights: tuple[Control, ...] = ()
