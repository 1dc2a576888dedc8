"""What whole-mesh sculpts move besides what was sculpted: slips of the hand, and what a model's edit left behind.

A sculpt that is a whole mesh holds the undeformed mesh as it was when it was made. Where that was edited since, every
such sculpt undoes the edit: the same vertices, far from what was sculpted, move alike in all of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.offsets import largest_of, lengths
from plica.mesh.recognition.strays import Stray, strays_of
from plica.quantities import length
from plica.readers.model_outline import listed
from plica.source import Span

ALIKE: Final = 2e-6  # of the body's size: two files round off so much


class WholeSculpt(NamedTuple):
    """A whole mesh's offsets on the undeformed mesh, and the weights (v,) of the region that its shape is kept to."""

    file: str
    offsets: Offsets
    region: Floats | None


class Residue(NamedTuple):
    """Vertices (n,) that several sculpts move alike, far from what is sculpted in them: `files`, by at most `largest`
    metres, around `joint` (None: no skin weights there)."""

    files: tuple[str, ...]
    vertices: Integers
    largest: float
    joint: str | None


class Residues(NamedTuple):
    """What is left over: the residue of an edit of the model, if any, and by file what only one sculpt has."""

    edit: Residue | None
    strays: Mapping[str, tuple[Stray, ...]]


def residues_of(sculpts: Mapping[str, WholeSculpt], mesh: Mesh, joints: tuple[str, ...], size: float) -> Residues:
    """What sculpts, each by its file, move besides what was sculpted. size: of the body, metres."""
    strays = {name: strays_of(one.offsets, mesh, one.region, joints) for name, one in sculpts.items()}
    strays = {name: patches for name, patches in strays.items() if patches}
    moves = {name: _dense(sculpts[name].offsets, patches, mesh.vertex_count) for name, patches in strays.items()}
    files, shared = _shared(moves, ALIKE * size)
    if not len(shared):
        return Residues(None, strays)
    first = moves[files[0]][shared]
    worst = int(shared[np.argmax(lengths(first))])
    named = next(patch.joint for patch in strays[files[0]] if worst in patch.vertices)
    edit = Residue(files, shared, largest_of(first), named)
    return Residues(edit, {name: patches for name, patches in strays.items() if name not in files})


def report_residues(residues: Residues, span: Span | None, diagnostics: Diagnostics) -> None:
    """Says what is left over: an edit of the model that sculpts undo is an error, strays of one sculpt a warning."""
    if residues.edit is not None:
        edit = residues.edit
        diagnostics.add(
            "sculpts-of-edited-neutral",
            span,
            files=listed([f"`{file}`" for file in edit.files]),
            count=len(edit.vertices),
            largest=length(edit.largest),
            near=f" near `{edit.joint}`" if edit.joint else "",
        )
    for file, strays in residues.strays.items():
        worst = strays[0]
        diagnostics.add(
            "sculpt-with-strays",
            span,
            file=file,
            count=sum(len(patch.vertices) for patch in strays),
            largest=length(worst.largest),
            near=f" near `{worst.joint}`" if worst.joint else "",
        )


def _dense(offsets: Offsets, patches: tuple[Stray, ...], count: int) -> Floats:
    """The moves (v, 3) of stray vertices, not a number elsewhere."""
    result = np.full((count, 3), np.nan)
    where = np.concatenate([patch.vertices for patch in patches])
    result[where] = offsets.offsets[np.searchsorted(offsets.indices, where)]
    return result


def _shared(moves: Mapping[str, Floats], near: float) -> tuple[tuple[str, ...], Integers]:
    """The files that move the most stray vertices alike, and those vertices."""
    best: tuple[tuple[str, ...], Integers] = ((), np.zeros(0, np.int64))
    for name, own in moves.items():
        alike = {other: _alike(own, theirs, near) for other, theirs in moves.items() if other != name}
        together = tuple(other for other, vertices in alike.items() if len(vertices))
        if together:
            vertices = np.unique(np.concatenate([alike[other] for other in together]))
            if len(vertices) > len(best[1]):
                best = ((name, *together), vertices)
    return best


def _alike(one: Floats, other: Floats, near: float) -> Integers:
    with np.errstate(invalid="ignore"):
        return np.flatnonzero(np.abs(one - other).max(axis=1) <= near)
