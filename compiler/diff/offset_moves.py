"""How far a shape's computed offsets moved, from the tables of two rigs."""

from __future__ import annotations

from math import dist
from typing import NamedTuple

from plica.diff.value_text import ARROW, amount
from plica.rig.offsets_table import ListedOffsets, ShapeOffsets

_NOTHING = 1e-9  # metres


class Moves(NamedTuple):
    """The vertices whose offset differs, and the largest distance between the two (metres)."""

    vertices: int
    largest: float


def moves(old: ListedOffsets, new: ListedOffsets) -> Moves:
    """How far apart two lists of offsets are; a vertex that one of them lacks does not move there."""
    still = (0.0, 0.0, 0.0)
    before = dict(zip(old.indices, old.offsets, strict=False))
    after = dict(zip(new.indices, new.offsets, strict=False))
    distances = [dist(before.get(vertex, still), after.get(vertex, still)) for vertex in {*before, *after}]
    far = [distance for distance in distances if distance > _NOTHING]
    return Moves(len(far), max(far, default=0.0))


def moved_text(old: ShapeOffsets, new: ShapeOffsets) -> str:
    """What became of a shape's offsets: measured where both are listed, else what the tables say in sum."""
    if old.listed is not None and new.listed is not None:
        result = [moves(old.listed, new.listed)]
        if [item.at for item in old.inbetweens] == [item.at for item in new.inbetweens]:
            pairs = zip(old.inbetweens, new.inbetweens, strict=True)
            result += [moves(before.listed, after.listed) for before, after in pairs]
        vertices, largest = max(one.vertices for one in result), max(one.largest for one in result)
        if vertices:
            plural = "vertex moves" if vertices == 1 else "vertices move"
            return f"{vertices} {plural}, by at most {amount(largest, 'mm')}"
        return "what is stored of the offsets changed; no vertex moves"
    return (
        f"{old.vertices} {ARROW} {new.vertices} vertices, largest move "
        f"{amount(old.largest, 'mm')} {ARROW} {amount(new.largest, 'mm')}"
    )
