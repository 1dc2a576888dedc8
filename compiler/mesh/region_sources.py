"""What single regions are made of: joints' skin weights, painted images, stored vertices; by welded point."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.images import ImageError
from plica.mesh.npz import ArchiveError, arrays_of, stated_vertex_count
from plica.mesh.painting import Painting, Paintings, outside, sampled
from plica.readers.model_reader import tell
from plica.rig.rig import RigJoint
from plica.rig.surfaces import Painted, Region, SkinOf, Stored
from plica.source import Span
from plica.workspace import Refused

DISAGREEMENT: Final = 0.25
"""Copies of a point that a painting gives weights further apart than this are reported: a quarter of black to
white.
"""

Read = Callable[[str], bytes | Refused]
"""The bytes of a file that a spec names, or why they cannot be had."""
SpanOf = Callable[[Region], Span | None]


class UnusableError(Exception):
    """A region's weights cannot be found; its diagnostic is added already. Never leaves this package."""


@dataclass
class RegionSources:
    """Reads what regions are made of. Weights are (p,), one for each welded point."""

    mesh: Mesh
    skeleton: tuple[RigJoint, ...]
    read: Read
    span_of: SpanOf
    diagnostics: Diagnostics
    paintings: Paintings = field(default_factory=Paintings)

    def skin(self, source: SkinOf, middle: bool | None = None) -> Floats:
        """The sum of the skin weights of the joints; of those of no side alone (`middle`), or all others (not
        `middle`)."""
        wanted = {
            index
            for index, joint in enumerate(self.skeleton)
            if joint.name in source.joints and (middle is None or (joint.side == "none") == middle)
        }
        return agreed(self.mesh.points, joint_weights(self.mesh, wanted))

    def painted(self, region: Region, source: Painted) -> Floats:
        """The image's values at the vertices' texture coordinates; copies of a point get the mean of theirs."""
        span, name = self.span_of(region), region.declared
        painting = self._painting(region, source)
        uv = self._uv(region, source)
        astray = outside(uv)
        if astray:
            share = f"{astray} of {len(uv)}"
            self.diagnostics.add("painted-outside", span, region=name, file=source.file, vertices=share)
        known = np.flatnonzero(np.isfinite(uv).all(axis=1))  # a part of the mesh may have no such set: outside
        values = sampled(painting, uv[known])
        places, points = np.unique(self.mesh.points[known], return_inverse=True)
        means = agreed(points, values)
        weights = np.zeros(self.mesh.point_count)
        weights[places] = means
        worst = np.abs(values - means[points]) > DISAGREEMENT / 2.0
        if worst.any():
            count = len(np.unique(points[worst]))
            self.diagnostics.add("painted-apart", span, region=name, file=source.file, points=count)
        return weights

    def _painting(self, region: Region, source: Painted) -> Painting:
        span, name = self.span_of(region), region.declared
        try:
            known = self.paintings.of(source.file, lambda: self._bytes(region, source.file))
        except ImageError as error:
            tell(error, "unreadable-painting", source.file, span, self.diagnostics, region=name)
            raise UnusableError from None
        if known.in_colour:
            self.diagnostics.add("painted-in-colour", span, region=name, file=source.file)
        if known.transparent:
            self.diagnostics.add("painted-transparent", span, region=name, file=source.file)
        return known

    def _uv(self, region: Region, source: Painted) -> Floats:
        uvs = self.mesh.uvs
        result = next(iter(uvs.values()), None) if source.uv is None else uvs.get(source.uv)
        if result is None:
            wanted = "texture coordinates" if source.uv is None else f"the uv set `{source.uv}`"
            having = ", ".join(f"`{name}`" for name in uvs) or "none"
            self.diagnostics.add(
                "painted-without-uv", self.span_of(region), region=region.declared, wanted=wanted, having=having
            )
            raise UnusableError
        return result

    def stored(self, region: Region, source: Stored) -> Floats:
        """The weights of a stored vertex set; a point has the greatest weight of its copies."""
        try:
            indices, weights = read_vertex_set(self._bytes(region, source.file), self.mesh.vertex_count)
        except ArchiveError as error:
            span = self.span_of(region)
            tell(error, "unreadable-vertices", source.file, span, self.diagnostics, region=region.declared)
            raise UnusableError from None
        result = np.zeros(self.mesh.point_count)
        np.maximum.at(result, self.mesh.points[indices], weights)
        return result

    def _bytes(self, region: Region, file: str) -> bytes:
        data = self.read(file)
        if isinstance(data, Refused):
            self.diagnostics.add_filled(data.name, self.span_of(region), data.values)
            raise UnusableError
        return data


def joint_weights(mesh: Mesh, joints: Collection[int]) -> Floats:
    """How much (v,) these joints (indexes into the rig's skeleton) move each vertex: the sum of their skin
    weights.
    """
    if not mesh.joints.size:
        return np.zeros(mesh.vertex_count)
    counted = np.isin(mesh.bind_joints, list(joints))[mesh.joints]
    # What a file rounds may add up to a hair more than 1.
    return np.asarray(np.minimum(np.where(counted, mesh.weights, 0.0).sum(axis=1), 1.0))


def agreed(points: Integers, values: Floats) -> Floats:
    """One value (p,) for all copies of each point: the mean of theirs (v,), the same in whatever order they
    come.
    """
    if not len(points):
        return np.zeros(0)
    order = np.lexsort((values, points))
    ordered = values[order]
    starts = np.flatnonzero(np.diff(points[order], prepend=-1))
    counts = np.diff(starts, append=len(points))
    least, greatest = ordered[starts], ordered[starts + counts - 1]
    # Equal values stay exactly what they are; the division would round.
    return np.where(least == greatest, least, np.add.reduceat(ordered, starts) / counts)


def read_vertex_set(data: bytes, vertex_count: int) -> tuple[Integers, Floats]:
    """A stored vertex set: an NPZ file with `indices` (n,), whole numbers from 0, each once, in any order, of
    the mesh's vertices as its file stores them; if wanted `weights` (n,) from 0 to 1 (default 1); and if
    wanted `vertex_count`, the number of vertices of the mesh that was meant, by which another mesh is told.

    Raises ArchiveError.
    """
    arrays = arrays_of(data)
    stated = stated_vertex_count(arrays)
    if stated is not None and stated != vertex_count:
        raise ArchiveError(f"it is about a mesh of {stated} vertices, and this one has {vertex_count}")
    indices = arrays.get("indices")
    if indices is None or indices.ndim != 1 or (indices.dtype.kind not in "iu" and len(indices)):
        raise ArchiveError("it has no list `indices` of whole numbers")
    if len(indices) and not 0 <= int(indices.min()) <= int(indices.max()) < vertex_count:
        low, high = int(indices.min()), int(indices.max())
        raise ArchiveError(f"its `indices` go from {low} to {high}, and the mesh has {vertex_count} vertices")
    if len(np.unique(indices)) != len(indices):
        raise ArchiveError("its `indices` name a vertex twice")
    weights = arrays.get("weights", np.ones(len(indices)))
    if weights.shape != indices.shape or weights.dtype.kind not in "fiub":
        raise ArchiveError("its `weights` are not one number for each of its `indices`")
    values = weights.astype(np.float64)
    if not ((values >= 0.0) & (values <= 1.0)).all():
        raise ArchiveError("its `weights` are not all from 0 to 1")
    return indices.astype(np.int64), values
