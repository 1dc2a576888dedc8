"""Figures of one material, in the cache."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cached_property
from math import isnan
from typing import Final

from plica.mesh.deform import Motion
from plica.prove.cache.disk import DiskCache
from plica.prove.cache.keys import digest, expectation_digest, mesh_digest, motion_digest, offsets_digest, shape_digest
from plica.prove.execution.work import Material, MeasuredFigure, Worst
from plica.prove.skin import PERCENTILES

_LONGEST_REASON: Final = 1000  # characters
Percentiles = tuple[tuple[float, float], ...]
"""Shares of an area with the figures that they keep to."""


class CachedFigures:
    """The figures that were measured before. Without a store there are none."""

    def __init__(self, store: DiskCache | None, material: Material) -> None:
        self._store, self._material = store, material
        self._prepared: dict[int, str] = {}
        self._asked: dict[int, dict[str, None]] = {}

    def asked(self, index: int) -> tuple[str, ...]:
        """What the figures that were asked for of an expectation, by its number, are known by: where that is the same,
        so is what comes of it. Empty where nothing was asked for, and without a store."""
        return tuple(self._asked.get(index, ()))

    def motion(self, motion: Motion) -> str:
        """What some frames are known by."""
        return motion_digest(motion, self._shapes, self._morphs) if self._store is not None else ""

    def get(self, index: int, motion: str, frames: int) -> MeasuredFigure | None:
        """The figure of an expectation, by its number, in these frames; None where it has to be measured."""
        if self._store is None:
            return None
        key = self._key(index, motion)
        self._asked.setdefault(index, {})[key] = None
        content = self._store.get("figures", key)
        return None if content is None else read_figure(content, frames, self._material.mesh.vertex_count)

    def put(self, index: int, motion: str, figure: MeasuredFigure) -> None:
        """Keeps a figure."""
        if self._store is not None:
            self._store.put("figures", self._key(index, motion), written_figure(figure))

    def percentiles(self, index: int, motion: Motion, measure: Callable[[], Percentiles]) -> Percentiles:
        """The percentiles of an expectation, by its number, in a single frame, measured where they are not kept."""
        if self._store is None:
            return measure()
        key = digest("percentiles", self._made_of(index), self.motion(motion))
        content = self._store.get("figures", key)
        held = None if content is None else read_percentiles(content)
        if held is None:
            held = measure()
            self._store.put("figures", key, json.dumps(held).encode("ascii"))
        return held

    def _key(self, index: int, motion: str) -> str:
        return digest(self._made_of(index), motion)

    def _made_of(self, index: int) -> str:
        if index not in self._prepared:
            rig, regions = self._material.rig, self._material.regions
            expectation = rig.expectations[index]
            named = (*expectation.of, *([expectation.against] if expectation.against is not None else []))
            weights = [regions[name] for name in named if name in regions]
            self._prepared[index] = expectation_digest(rig, expectation, self._body, weights)
        return self._prepared[index]

    @cached_property
    def _body(self) -> str:
        return body_digest(self._material)

    @cached_property
    def _shapes(self) -> tuple[str, ...]:
        return tuple(shape_digest(shape) for shape in self._material.shapes.values())

    @cached_property
    def _morphs(self) -> tuple[str, ...]:
        return tuple(offsets_digest(offsets) for offsets in self._material.mesh.morphs.values())


def body_digest(material: Material) -> str:
    """What every figure of a material depends on."""
    skinning, symmetry = material.rig.character.skinning, material.symmetry or ()
    return digest(material.code, mesh_digest(material.mesh), material.rest, skinning, *symmetry)


def written_figure(figure: MeasuredFigure) -> bytes:
    """A figure as JSON; numbers read back exactly."""
    return json.dumps(figure).encode("ascii")


def read_figure(content: bytes, frames: int, vertices: int) -> MeasuredFigure | None:
    """A figure of so many frames of a mesh with so many vertices, None where the content is none."""
    try:
        held = json.loads(content)
    except (ValueError, RecursionError):
        return None
    match held:
        case [None, None, str(why)] if why and why.isprintable() and len(why) <= _LONGEST_REASON:
            return MeasuredFigure(None, None, why)
        case [shaped, bare, ""] if all(_is_worst(one, frames, vertices) for one in (shaped, bare)):
            return MeasuredFigure(Worst(*shaped), Worst(*bare))
    return None


def read_percentiles(content: bytes) -> Percentiles | None:
    """Percentiles, each share with its figure; None where the content holds none."""
    try:
        held = json.loads(content)
    except (ValueError, RecursionError):
        return None
    if not isinstance(held, list) or not all(_is_pair(one) for one in held):
        return None
    return tuple((share, value) for share, value in held) if [one[0] for one in held] == list(PERCENTILES) else None


def _is_pair(held: object) -> bool:
    match held:
        case [float(), float(value)]:
            return not isnan(value)
    return False


def _is_worst(held: object, frames: int, vertices: int) -> bool:
    """Whether this is a number, infinite or not, at one of the frames and at a vertex or none."""
    match held:
        case [float(value), int(frame), int(vertex)]:
            whole = type(frame) is int and type(vertex) is int
            return whole and not isnan(value) and 0 <= frame < frames and -1 <= vertex < vertices
    return False
