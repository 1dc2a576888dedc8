"""How far each triangle of the skin is stretched, squeezed and sheared."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from plica.kinds.expectations import BORDER, Worse
from plica.measure.bounds import GROUP, DeformationBounds
from plica.measure.region_faces import Faces, faces_of
from plica.measure.structure_of_arrays import MANY, cross, dot, frame_pieces, singles, turned
from plica.measure.worst_values import WorstValues, joined, runs_of, starts_in
from plica.mesh.arrays import Floats, Integers, Mesh

# Reference triangles below this share of the mean area have no directions to measure.
SMALLEST_AREA = 1e-9
# Groups of triangles, each in one frame, that are worked out exactly at once.
_AT_ONCE = 256
# Groups in more than this share of the frames, as when all triangles are alike, are worked out in all, so many at once.
_OFTEN, _GROUPS = 0.5, 8
# Which figures of `Stretched` are the worse ones, and their signs in the arithmetic below.
_WORSE = (Worse.GREATER, Worse.LESS, Worse.GREATER)
_SIGNS = (1.0, -1.0, 1.0)


_Figures = tuple[Floats, Floats, Floats]


class Stretched(NamedTuple):
    """The worst figures of runs of frames, see `Stretch`: the largest and the smallest singular value, the largest
    shear."""

    largest: WorstValues
    smallest: WorstValues
    shear: WorstValues


@dataclass(frozen=True, eq=False)
class Stretch:
    """The deformation of each triangle from its reference, which is the rest surface or the texture.

    Each triangle maps its reference plane linearly into space, J (3, 2). Its singular values s1 >= s2 are how many
    times as long as in the reference a line on it can be: 1.3 is drawn longer by 30 %, 0.6 is squeezed by 40 %, 0 is
    squeezed to nothing. They are the roots of the eigenvalues of J^T J, the right Cauchy-Green tensor of continuum
    mechanics. Shear = asin((s1^2 - s2^2) / (s1^2 + s2^2)), radians: the most that a right angle in the reference
    becomes off.

    corners (t, 3) into `vertices` (n,) of the mesh; scales (3, t): for the edges a and b from the first corner to the
    second and third, J = (scales[0] a, scales[2] b - scales[1] a), the reference's axes being along a and square to it;
    numbers (t,) of the triangles in the mesh; named (t,): of each triangle the mesh's vertex of the largest weight.
    """

    vertices: Integers
    corners: Integers
    scales: Floats
    numbers: Integers
    named: Integers

    @classmethod
    def on_surface(cls, mesh: Mesh, weights: Floats | None, rest: Floats, border: float = BORDER) -> Stretch:
        """Against the rest surface; weights (v,) of the region, rest (v, 3)."""
        faces = faces_of(mesh, weights, border)
        one, other = _edges(rest[faces.corner_vertices])
        return cls._referred(rest, faces, weights, one, other, np.linalg.norm(np.cross(one, other), axis=1))

    @classmethod
    def on_texture(cls, mesh: Mesh, weights: Floats | None, rest: Floats, uv: str, border: float = BORDER) -> Stretch:
        """Against the uv set named `uv`, scaled so that the region's areas in the texture and at rest add up
        to the same: a singular value of 1 is the mean density. Raises KeyError for a uv set that the mesh does not
        have.
        """
        faces = faces_of(mesh, weights, border)
        # Corners of the mesh itself: copies of a point have uvs of their own.
        one, other = _edges(mesh.uvs[uv][mesh.triangles[faces.numbers]])
        uv_areas = np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
        areas = np.linalg.norm(np.cross(*_edges(rest[faces.corner_vertices])), axis=1)
        known = np.isfinite(uv_areas)
        total = uv_areas[known].sum()
        square = areas[known].sum() / total if total > 0.0 else 1.0
        root = np.sqrt(square)
        return cls._referred(rest, faces, weights, root * one, root * other, square * uv_areas)

    @classmethod
    def _referred(
        cls, rest: Floats, faces: Faces, weights: Floats | None, one: Floats, other: Floats, doubled: Floats
    ) -> Stretch:
        """Two edges (t, 2 or 3) of each triangle in the reference, and twice its area there (t,)."""
        mean = doubled[np.isfinite(doubled)].mean() if np.isfinite(doubled).any() else 0.0
        with np.errstate(invalid="ignore"):
            kept = np.isfinite(doubled) & (doubled > SMALLEST_AREA * mean)
        one, other, doubled = one[kept], other[kept], doubled[kept]
        length = np.sqrt((one**2).sum(axis=1))
        along = (one * other).sum(axis=1) / length
        scales = np.stack([1.0 / length, along / doubled, length / doubled])
        corners, numbers = faces.corner_vertices[kept], faces.numbers[kept]
        heaviest = np.zeros(len(corners), np.int64) if weights is None else weights[corners].argmax(axis=1)
        named = corners[np.arange(len(corners)), heaviest]
        if 2 * len(faces.vertices) > len(rest):
            return cls(np.arange(len(rest)), corners, scales, numbers, named)  # taking all is quicker than choosing
        used, corners = np.unique(corners, return_inverse=True)
        return cls(used, corners.reshape(-1, 3), scales, numbers, named)

    def worst(self, positions: Floats, starts: Integers) -> Stretched:
        """The worst over the region and each run of frames of positions (frames, v, 3); starts (runs,): the runs' first
        frames. Vertices are those that name the triangles, of several as bad in the first frame the first triangle's.

        Without triangles nothing is stretched, at vertex -1; a frame with places that are not finite in single
        precision has no figure.
        """
        if not len(self.corners):
            values, nowhere = np.ones(len(starts)), np.full(len(starts), -1)
            same = WorstValues(values, starts, nowhere)
            return Stretched(same, same, WorstValues(0.0 * values, starts, nowhere))
        pieces = list(frame_pieces(len(positions), MANY))
        result = [self._piece(positions[piece], starts_in(piece, starts)) for piece in pieces]
        kinds = zip(*result, strict=True)
        return Stretched(
            *(joined(zip(pieces, kind, strict=True), starts, worse) for kind, worse in zip(kinds, _WORSE, strict=True))
        )

    def each(self, positions: Floats) -> tuple[Floats, Floats, Floats]:
        """s1, s2 and the sine of the shear of every triangle (t,), in the order of `corners`, at positions (v, 3)."""
        rows = np.arange(len(self.corners))[:, None]
        largest, smallest, skew = self._figures(positions[None], rows, np.zeros_like(rows))
        return largest[:, 0], -smallest[:, 0], skew[:, 0]

    def each_in(self, positions: Floats, rows: Integers) -> tuple[Floats, Floats, Floats]:
        """The same of triangles `rows` (n,) in many frames: (n, frames) each, for positions (frames, v, 3)."""
        largest, smallest, skew = self._in_all(positions, rows)
        return largest, -smallest, skew

    @cached_property
    def _screen(self) -> DeformationBounds:
        return DeformationBounds(len(self.vertices), self.corners, self.scales)

    def _piece(self, positions: Floats, starts: Integers) -> Stretched:
        near = singles(positions, self.vertices, positions[:, self.vertices[0]])
        known = np.isfinite(near.extents)
        suspects = self._screen.suspects(near, starts) & known
        group, frame = np.nonzero(suspects)
        worst, triangle = np.empty((3, len(group))), np.empty((3, len(group)), np.int64)
        often = np.count_nonzero(suspects, axis=1) > _OFTEN * len(known)
        for start in range(0, len(groups := np.flatnonzero(often)), _GROUPS):
            part = groups[start : start + _GROUPS]
            within = slice(*np.searchsorted(group, [part[0], part[-1] + 1]))
            held = within.start + np.flatnonzero(often[group[within]])
            rows = self._members(part)
            figures, numbers = _worst_of(self._in_all(positions, rows), rows[:, :, None])
            place, column = np.searchsorted(part, group[held]), frame[held]
            worst[:, held], triangle[:, held] = figures[:, place, column], numbers[:, place, column]
        single = np.flatnonzero(~often[group])
        for start in range(0, len(single), _AT_ONCE):
            each = single[start : start + _AT_ONCE]
            rows = self._members(group[each])
            worst[:, each], triangle[:, each] = _worst_of(self._figures(positions, rows, frame[each, None]), rows)
        unknown = np.flatnonzero(~known)
        run = runs_of(len(known), starts)
        result = []
        for values, rows, sign in zip(worst, triangle, _SIGNS, strict=True):
            best = np.full(len(starts), -np.inf)
            np.fmax.at(best, run[frame], values)
            order = np.flatnonzero(values == best[run[frame]])
            order = order[np.lexsort((rows[order], frame[order]))]
            which, head = np.unique(run[frame[order]], return_index=True)
            heads = order[head]
            worsts = WorstValues(np.full(len(starts), np.nan), np.array(starts), np.full(len(starts), -1))
            worsts.values[which], worsts.frames[which] = sign * values[heads], frame[heads]
            worsts.vertices[which] = self.named[rows[heads]]
            result.append(_without(worsts, unknown, run))
        return Stretched(*result)

    def _members(self, groups: Integers) -> Integers:
        """The triangles (n, GROUP) of groups (n,), the last one repeated."""
        return np.asarray(np.minimum(groups[:, None] * GROUP + np.arange(GROUP), len(self.corners) - 1))

    def _figures(self, positions: Floats, rows: Integers, frames: Integers) -> _Figures:
        """The figures of triangles `rows` (n, m) in `frames` (n, 1)."""
        places = turned(positions)
        a, b, c = (places[:, self.vertices[self.corners[rows, corner]], frames] for corner in range(3))
        return _deformed(a, b, c, self.scales[:, rows])

    def _in_all(self, positions: Floats, rows: Integers) -> _Figures:
        """The figures of triangles `rows` (...) in all frames, (..., frames): whole rows of frames are quicker to
        collect than single ones."""
        places = turned(positions)
        a, b, c = (places[:, self.vertices[self.corners[rows, corner]]] for corner in range(3))
        return _deformed(a, b, c, self.scales[:, rows][..., None])


def _deformed(a: Floats, b: Floats, c: Floats, scales: Floats) -> _Figures:
    """s1, -s2 and the sine of the shear of triangles with corners (3, ...) and scales (3, ...), the largest being the
    worst."""
    along, mixed, across = scales
    edge = b - a
    u = along * edge
    v = across * (c - a) - mixed * edge
    first, second, beside = dot(u, u), dot(v, v), dot(u, v)
    mean, half = 0.5 * (first + second), np.sqrt((0.5 * (first - second)) ** 2 + beside**2)
    normal = cross(u, v)
    size = np.sqrt(mean + half)
    with np.errstate(divide="ignore", invalid="ignore"):
        # What is not a number stays none
        smaller = np.where(size == 0.0, 0.0, np.sqrt(dot(normal, normal)) / size)
        skew = np.where(mean == 0.0, 0.0, half / mean)
    return size, -smaller, skew


def _worst_of(figures: _Figures, rows: Integers) -> tuple[Floats, Integers]:
    """The worst of figures (n, m, ...) along m, the shear as an angle, and the triangle of `rows` (n, m, ...) whose it
    is: (3, n, ...) each."""
    size, smaller, skew = figures
    worst, triangle = [], []
    for values in (size, smaller, np.arcsin(np.minimum(skew, 1.0))):
        best = np.expand_dims(values.argmax(axis=1), 1)
        worst.append(np.take_along_axis(values, best, 1)[:, 0])
        triangle.append(np.take_along_axis(rows, best, 1)[:, 0])
    return np.stack(worst), np.stack(triangle)


def _without(worsts: WorstValues, unknown: Integers, runs: Integers) -> WorstValues:
    """Without a figure for the runs of frames that have none, `unknown` (n,), rising; runs (frames,)."""
    values, frames, vertices = worsts.values.copy(), worsts.frames.copy(), worsts.vertices.copy()
    values[runs[unknown]], vertices[runs[unknown]] = np.nan, -1
    frames[runs[unknown[::-1]]] = unknown[::-1]
    return WorstValues(values, frames, vertices)


def _edges(corners: Floats) -> tuple[Floats, Floats]:
    """Two edges (t, n) of triangles (t, 3, n)."""
    return corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
