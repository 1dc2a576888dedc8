"""How far each triangle of the skin is stretched and sheared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from plica.measure.faces import Faces, faces_of
from plica.measure.lanes import dot, frame_pieces, lanes, row_pieces
from plica.measure.model import Measured
from plica.mesh.model import Floats, Integers, Mesh

# Reference triangles below this share of the mean area have no directions to measure.
SMALLEST_AREA = 1e-9


class Stretched(NamedTuple):
    """The figures of a block, see `Stretch`; `largest` and `smallest` are singular values (frames,)."""

    stretch: Measured
    shear: Measured
    largest: Floats
    smallest: Floats


@dataclass(frozen=True, eq=False)
class Stretch:
    """The deformation of each triangle from its reference, which is the rest surface or the texture.

    Each triangle maps its reference plane linearly into space, J (3, 2). With the singular values s1 >= s2 of
    J (the roots of the eigenvalues of J^T J, the right Cauchy-Green tensor of continuum mechanics):
    stretch = max(s1, 1 / s2) - 1, 0 for none: 0.3 is drawn to 1.3 or squeezed to 1 / 1.3 of its length;
    shear = asin((s1^2 - s2^2) / (s1^2 + s2^2)), radians: the most that a right angle in the reference becomes off.
    A triangle squeezed to a line has an infinite stretch.

    corners (t, 3): vertices of the mesh; scales (3, 3, t): what takes the squares of two edges to J^T J.
    """

    vertices: Integers
    corners: Integers
    scales: Floats

    @classmethod
    def on_surface(cls, mesh: Mesh, weights: Floats | None, rest: Floats) -> Stretch:
        """Against the rest surface; weights (v,) of the region, rest (v, 3)."""
        faces = faces_of(mesh, weights)
        one, other = _edges(rest[faces.corner_vertices])
        length = np.linalg.norm(one, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            along = (one * other).sum(axis=1) / length
        across = np.linalg.norm(np.cross(one, other), axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            flat = np.stack([length, np.zeros_like(length), along, across / length])
        return cls._referred(faces, flat)

    @classmethod
    def on_texture(cls, mesh: Mesh, weights: Floats | None, rest: Floats, uv: str) -> Stretch:
        """Against the uv set named `uv`, scaled so that the region's areas in the texture and at rest add up
        to the same: a stretch of 0 is the mean density. Raises KeyError for a uv set that the mesh does not have."""
        faces = faces_of(mesh, weights)
        # Corners of the mesh itself: copies of a point have uvs of their own.
        one, other = _edges(mesh.uvs[uv][mesh.triangles[faces.numbers]])
        uv_areas = np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
        areas = np.linalg.norm(np.cross(*_edges(rest[faces.corner_vertices])), axis=1)
        known = np.isfinite(uv_areas)
        total = uv_areas[known].sum()
        scale = np.sqrt(areas[known].sum() / total) if total > 0.0 else 1.0
        return cls._referred(faces, scale * np.stack([one[:, 0], one[:, 1], other[:, 0], other[:, 1]]))

    @classmethod
    def _referred(cls, faces: Faces, flat: Floats) -> Stretch:
        """flat (4, t): two edges of each triangle in the reference plane."""
        a, b, c, d = flat
        area = a * d - b * c
        mean = np.abs(area[np.isfinite(area)]).mean() if np.isfinite(area).any() else 0.0
        with np.errstate(invalid="ignore"):
            kept = np.abs(area) > SMALLEST_AREA * mean
        a, b, c, d = flat[:, kept]
        # J = E [[a, c], [b, d]]^-1 for the edges E (3, 2), so J^T J = D^-T (E^T E) D^-1.
        square = (a * d - b * c) ** 2
        scales = np.stack(
            [
                np.stack([d * d, -2.0 * b * d, b * b]),
                np.stack([-c * d, a * d + b * c, -a * b]),
                np.stack([c * c, -2.0 * a * c, a * a]),
            ]
        )
        used, corners = np.unique(faces.corners[kept], return_inverse=True)
        return cls(faces.vertices[used], corners.reshape(-1, 3), scales / square)

    def of(self, positions: Floats) -> Stretched:
        """The worst of each frame over the region, positions (frames, v, 3); vertices are corners of that triangle."""
        frames = len(positions)
        highest, lowest, shear = np.full(frames, 1.0), np.full(frames, 1.0), np.zeros(frames)
        at = np.zeros((3, frames), np.int64)
        if len(self.corners):
            for piece in frame_pieces(frames):
                highest[piece], lowest[piece], shear[piece], at[:, piece] = self._worst(positions[piece])
        with np.errstate(divide="ignore"):
            inverse = 1.0 / np.sqrt(lowest)
        largest = np.sqrt(highest)
        where = np.where(largest >= inverse, at[0], at[1])
        return Stretched(
            Measured(np.maximum(largest, inverse) - 1.0, self._corner(where)),
            Measured(np.arcsin(np.minimum(shear, 1.0)), self._corner(at[2])),
            largest,
            np.sqrt(lowest),
        )

    def each(self, positions: Floats) -> tuple[Floats, Floats]:
        """Singular values s1 and s2 (frames, t) of every triangle, in the order of `corners`."""
        mean, half = self._tensor(lanes(positions, self.vertices), slice(None))
        return np.sqrt(mean + half).T, np.sqrt(np.maximum(mean - half, 0.0)).T

    def _corner(self, triangles: Integers) -> Integers:
        if not len(self.corners):
            return np.full(len(triangles), -1)
        return np.asarray(self.vertices[self.corners[triangles, 0]])

    def _worst(self, positions: Floats) -> tuple[Floats, Floats, Floats, Integers]:
        places = lanes(positions, self.vertices)
        frames = places.shape[2]
        figures = np.stack([np.full(frames, -np.inf)] * 3)
        at = np.zeros((3, frames), np.int64)
        for rows in row_pieces(len(self.corners), frames):
            mean, half = self._tensor(places, rows)
            with np.errstate(invalid="ignore"):
                skew = np.where(mean > 0.0, half / mean, 0.0)
            for number, values in enumerate((mean + half, half - mean, skew)):
                best = values.argmax(axis=0)
                value = np.take_along_axis(values, best[None], 0)[0]
                better = value > figures[number]
                figures[number] = np.where(better, value, figures[number])
                at[number] = np.where(better, best + rows.start, at[number])
        return figures[0], np.maximum(-figures[1], 0.0), figures[2], at

    def _tensor(self, places: Floats, rows: slice) -> tuple[Floats, Floats]:
        """The mean of the eigenvalues of J^T J and half their difference, (t, frames)."""
        a, b, c = (places[:, self.corners[rows, corner]] for corner in range(3))
        b -= a
        c -= a
        squares = (dot(b, b), dot(b, c), dot(c, c))
        scales = self.scales[:, :, rows, None]
        first, mixed, second = (row[0] * squares[0] + row[1] * squares[1] + row[2] * squares[2] for row in scales)
        mean = 0.5 * (first + second)
        first -= second
        return mean, np.hypot(0.5 * first, mixed)


def _edges(corners: Floats) -> tuple[Floats, Floats]:
    """Two edges (t, n) of triangles (t, 3, n)."""
    return corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
