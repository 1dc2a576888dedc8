"""The character's own model as targets take it: its file, and the clips that they are asked to go over."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.evaluate.poses import Array
from plica.readers.model_reader import read_outline
from plica.workspace import Refused, Workspace

SAMPLES_A_SECOND: Final = 60.0
"""How often, at least, a target looks at a clip that says what happens between its keys."""


def located_model(build: Build, without: str, diagnostics: Diagnostics) -> tuple[Path, str] | None:
    """The model's file and what the spec calls it; None, after a diagnostic, where there is none to be had.

    without: the diagnostic for a character that has no model.
    """
    character, path = build.rig.character, _place(build)
    if character.geometry is None or path is None:
        diagnostics.add(without, build.span_of("character", character.name), character=character.name)
        return None
    if isinstance(path, Refused):
        diagnostics.add_filled(path.name, None, path.values)
        return None
    return path, character.geometry.file


def clip_files(build: Build, given: Sequence[str]) -> list[tuple[Path, str]]:
    """Files of clips with what the user calls them: those given, else the model where it has animations."""
    if given:
        return [(Path(file), file) for file in given]
    geometry, path = build.rig.character.geometry, _place(build)
    if geometry is None or path is None or isinstance(path, Refused) or not read_outline(path).animations:
        return []
    return [(path, geometry.file)]


def _place(build: Build) -> Path | Refused | None:
    geometry = build.rig.character.geometry
    return None if geometry is None else Workspace(build.folder, build.allowed).locate(geometry.file)


def sample_times(keys: Array) -> Array:
    """The key times of a clip and as many between them that none is far from the next; some come twice."""
    start, end = float(keys[0]), float(keys[-1])
    even = start + np.arange(int((end - start) * SAMPLES_A_SECOND) + 1) / SAMPLES_A_SECOND
    return np.concatenate([keys, even])
