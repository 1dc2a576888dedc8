"""Girth: how long the curves round a limb are."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy import sparse

from plica.measure.region_faces import Faces, counted_shares, faces_of
from plica.measure.structure_of_arrays import frame_pieces, lanes, total
from plica.measure.worst_values import FrameValues
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.sparse import SparseFloats

# Where along the limb, from 0 at its joint to 1 at the next one.
STATIONS = (0.1, 0.3, 0.5, 0.7, 0.9)


@dataclass(frozen=True, eq=False)
class Girth:
    """The lengths, in metres, of curves drawn round a limb at rest and followed on the moving skin.

    A curve is what the plane through a station, square to the line from the limb's joint to the next, cuts out of the
    region at rest. Its points keep their places within their edges, so a bend cannot make a section slanted or lose it,
    and a curve's length falls exactly where the limb gets thinner. Of a region with soft borders each part of a curve
    counts by the weight of the triangle that it runs in, so that no border decides where a curve ends.

    edges (n, 2): the ends of the edges that the curves' points lie on, shares (n,): how far along; segments (m, 2)
    between points, stations (m,): the number of each segment's station, rising; amounts (m, 1): how much each
    segment counts; named (stations,): the mesh's vertex of the largest weight beside each curve, -1 where there is
    none; rest (stations,) metres.
    """

    vertices: Integers
    edges: Integers
    shares: Floats
    segments: Integers
    stations: Integers
    amounts: Floats
    named: Integers
    rest: Floats

    @classmethod
    def prepared(
        cls,
        mesh: Mesh,
        weights: Floats,
        rest: Floats,
        start: Floats,
        end: Floats,
        at: Sequence[float] = STATIONS,
        border: float | None = None,
    ) -> Girth:
        """weights (v,) of the region, which is weighed or cut at a border; rest (v, 3); start and end (3,): the joint
        and the next one, at rest.

        A station where the plane misses the region has length 0. Raises ValueError where start is end.
        """
        axis = end - start
        square = float(axis @ axis)
        if square == 0.0:
            raise ValueError("a girth needs two different places to run between")
        faces = faces_of(mesh, weights, border or 0.0)
        counted = counted_shares(mesh, weights, border)[faces.numbers]
        heights = (rest[faces.vertices] - start) @ axis / square
        cuts = [_cut(faces, heights, level) for level in at]
        edges = np.concatenate([np.zeros((0, 2), np.int64), *(cut.edges for cut in cuts)])
        shares = np.concatenate([np.zeros(0), *(cut.shares for cut in cuts)])
        amounts = np.concatenate([np.zeros(0), *(counted[cut.crossed] for cut in cuts)])[:, None]
        counts = [len(cut.crossed) for cut in cuts]
        segments = np.arange(len(edges)).reshape(-1, 2)
        stations = np.repeat(np.arange(len(cuts)), counts)
        used, edges = np.unique(edges, return_inverse=True)
        vertices, edges = faces.vertices[used], edges.reshape(-1, 2)
        named = _heaviest(weights, vertices[edges[segments]].reshape(-1, 4), stations, len(cuts))
        rests = np.zeros(len(cuts))
        result = cls(vertices, edges, shares, segments, stations, amounts, named, rests)
        return replace(result, rest=result.of(rest[None])[0])

    def of(self, positions: Floats) -> Floats:
        """Metres (frames, stations) for positions (frames, v, 3)."""
        result = np.zeros((len(positions), len(self.rest)))
        if not len(self.segments):
            return result
        for piece in frame_pieces(len(positions)):
            places = lanes(positions[piece], self.vertices)
            # Numbers near the limb keep their digits when it stands far from the origin.
            places -= places[:, :1].copy()
            sides = [np.asarray(self._sides @ axis) for axis in places]
            lengths = np.sqrt(sides[0] ** 2 + sides[1] ** 2 + sides[2] ** 2)
            lengths *= self.amounts
            bounds = np.searchsorted(self.stations, np.arange(len(self.rest) + 1))
            for station, (start, stop) in enumerate(itertools.pairwise(bounds)):
                result[piece, station] = total(lengths[start:stop])
        return result

    @cached_property
    def _sides(self) -> SparseFloats:
        """What takes places to the segments as vectors (m, n)."""
        values = np.stack([1.0 - self.shares, self.shares], axis=1)[self.segments]
        values[:, 0] *= -1.0
        columns = self.edges[self.segments].reshape(-1)
        starts = np.arange(0, len(columns) + 1, 4)
        shape = (len(self.segments), len(self.vertices))
        return sparse.csr_array((values.reshape(-1), columns, starts), shape=shape)

    def relative(self, positions: Floats) -> FrameValues:
        """The change against rest of the station that changes most, -0.1 for a tenth thinner; 0 where none is cut.

        The vertex is beside that station's curve.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            changes = np.where(self.rest > 0.0, self.of(positions) / self.rest - 1.0, 0.0)
        if not len(self.segments):
            return FrameValues(np.zeros(len(positions)), np.full(len(positions), -1))
        worst = np.abs(changes).argmax(axis=1)
        values = np.take_along_axis(changes, worst[:, None], 1)[:, 0]
        return FrameValues(values, self.named[worst])


def _heaviest(weights: Floats, beside: Integers, stations: Integers, count: int) -> Integers:
    """The vertex of the largest weight beside the curve of each station, -1 where it has none; beside (m, 4): vertices
    at the ends of the edges of each segment."""
    result = np.full(count, -1)
    for station in np.unique(stations).tolist():
        own = beside[stations == station].reshape(-1)
        result[station] = own[weights[own].argmax()]
    return result


class _Cut(NamedTuple):
    """Two points for every triangle that a level passes, crossed (n,): their edges (2 n, 2) and how far along they are,
    shares (2 n,)."""

    edges: Integers
    shares: Floats
    crossed: Integers


def _cut(faces: Faces, heights: Floats, level: float) -> _Cut:
    above = heights[faces.corners] > level
    lone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), above.argmin(axis=1))
    crossed = np.flatnonzero(above.any(axis=1) & ~above.all(axis=1))
    corners, lone = faces.corners[crossed], lone[crossed]
    rows = np.arange(len(crossed))
    tip = corners[rows, lone]
    others = np.stack([corners[rows, (lone + 1) % 3], corners[rows, (lone + 2) % 3]], axis=1)
    edges = np.stack([np.stack([tip, tip], axis=1), others], axis=2).reshape(-1, 2)
    ends = heights[edges]
    return _Cut(edges, (level - ends[:, 0]) / (ends[:, 1] - ends[:, 0]), crossed)
