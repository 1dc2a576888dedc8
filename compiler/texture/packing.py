"""Which masks share a texture.

Textures hold masks of one detail over one uv set. Masks of one size go together; a texture that is not full takes
smaller masks only where that needs no more memory than a texture of their own. The two sides of a fold stand in one
texture, in neighbouring channels, and folds that move with the same drivers follow each other: whoever loads only
textures of folds that are on loads few. One fold's two sides have the same size, the larger of what they need,
because they are the same wrinkle.

Everything is decided by sizes and names, so the same masks are packed alike on every run.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from plica.rig.combinations import parts_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combine
from plica.rig.surfaces import Fold
from plica.texture.texture_memory import bytes_in_memory, stored_channels


class PackingRequest(NamedTuple):
    """A mask to be packed: textures hold masks of one `kind` (detail and uv set) only."""

    fold: Fold
    kind: tuple[str, str]
    size: int


class Bin(NamedTuple):
    """A texture to be: its kind, texels across, and its folds by channel."""

    kind: tuple[str, str]
    size: int
    folds: tuple[str, ...]

    def memory(self, more: int = 0) -> int:
        """Bytes in memory, with so many masks more."""
        return bytes_in_memory(self.size, stored_channels(len(self.folds) + more))


class _Unit(NamedTuple):
    """Masks that stay together."""

    folds: tuple[str, ...]
    kind: tuple[str, str]
    size: int
    order: tuple[object, ...]


def packed(rig: Rig, wanted: Iterable[PackingRequest], channels: int) -> tuple[Bin, ...]:
    """The textures, each of at most so many `channels` (1 to 4)."""
    bins: list[Bin] = []
    for unit in _units(rig, wanted, channels):
        place = _place(bins, unit, channels)
        if place is None:
            bins.append(Bin(unit.kind, unit.size, unit.folds))
        else:
            bins[place] = bins[place]._replace(folds=bins[place].folds + unit.folds)
    return tuple(sorted(bins, key=lambda texture: texture.kind))


def _place(bins: list[Bin], unit: _Unit, channels: int) -> int | None:
    """The first texture that has room for a unit and does not cost more than one of its own."""
    alone = Bin(unit.kind, unit.size, unit.folds).memory()
    for number, texture in enumerate(bins):
        if texture.kind != unit.kind or len(texture.folds) + len(unit.folds) > channels:
            continue
        if texture.size == unit.size or texture.memory(len(unit.folds)) - texture.memory() <= alone:
            return number
    return None


def _units(rig: Rig, wanted: Iterable[PackingRequest], channels: int) -> list[_Unit]:
    """The masks in the order in which they are packed: the largest first, pairs before single ones."""
    roots = drivers_of(rig)
    groups: dict[tuple[str, tuple[str, str]], list[PackingRequest]] = {}
    for one in wanted:
        groups.setdefault((one.fold.declared, one.kind), []).append(one)
    result = []
    for (declared, kind), masks in groups.items():
        masks.sort(key=lambda one: (one.fold.side, one.fold.name))
        size = max(one.size for one in masks)
        first = masks[0].fold
        moved_by = roots.get(first.follows or "", ())
        together = [masks] if len(masks) <= channels else [[one] for one in masks]
        for part in together:
            order = (kind, -size, -len(part), moved_by, declared, part[0].fold.side, part[0].fold.name)
            result.append(_Unit(tuple(one.fold.name for one in part), kind, size, order))
    return sorted(result, key=lambda unit: unit.order)


def drivers_of(rig: Rig) -> Mapping[str, tuple[str, ...]]:
    """The drivers and samples, by declared name and sorted, that each strength is made of."""
    result: dict[str, tuple[str, ...]] = {}
    for strength in rig.strengths:
        if isinstance(strength, Combine):
            parts = {name for part in parts_of(strength.combination) for name in result.get(part, ())}
            result[strength.name] = tuple(sorted(parts))
        else:
            result[strength.name] = (strength.declared,)
    return result
