"""Offsets of a sculpt that was made over the posed mesh, brought back to the neutral mesh.

In one pose skinning is an affine map of each vertex, x -> M x + t. A sculpted vertex y stands for the offset
M^-1 (y - x) on the neutral mesh, where x is the vertex posed with all earlier shapes; that takes the earlier shapes
off too, and is exactly 0 where nothing was sculpted.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from plica.mesh.model import Floats, Integers, Offsets
from plica.mesh.skinning import Blended, Blender, Method, Row, Rows, Skinning, cut

# A vertex is ill-conditioned where an offset can become this many times longer in one direction than in another.
LIMIT = 1e3
# Vertices worked on at once: their matrices and inverses stay in a core's cache.
_CACHED = 1 << 13


@dataclass(frozen=True, eq=False)
class IllConditioned:
    """Vertices whose matrix hardly or not at all can be inverted: the pose folds the skin flat there.

    vertices (n,); condition (n,): the ratio of the matrix's greatest and least singular value, infinite for a
    singular matrix; lost (n,) metres: how far from the sculpt the posed offset ends. They got the shortest offset that
    comes nearest to the sculpt, with directions that shrink more than `LIMIT` times as much as another left out.
    """

    vertices: Integers
    condition: Floats
    lost: Floats

    @property
    def count(self) -> int:
        """How many."""
        return len(self.vertices)


@dataclass(frozen=True, eq=False)
class Unposed:
    """A sculpt's offsets on the neutral mesh, and where they are not what was sculpted."""

    offsets: Offsets
    ill: IllConditioned


class Unposer:
    """One neutral mesh in one pose, with the earlier shapes that are on in it."""

    def __init__(
        self,
        skinning: Skinning,
        positions: Floats,
        skins: Floats,
        earlier: Floats | None = None,
        method: Method = "linear",
        limit: float = LIMIT,
    ) -> None:
        """positions (v, 3): the neutral mesh; skins (binds, 3, 4): the pose's skin matrices; earlier (v, 3): what the
        earlier shapes add to the neutral mesh in this pose (`Deformer.offsets`)."""
        self._skinning = skinning
        self._places = positions if earlier is None else positions + earlier
        self._blender: Blender = skinning.blender(skins[np.newaxis], method)
        self._method: Method = method
        self._limit = limit

    def sculpt(self, positions: Floats) -> Unposed:
        """The offsets of a sculpt given as all its positions (v, 3) in model space, metres.

        Raises ValueError for another number of vertices.
        """
        if positions.shape != self._places.shape:
            raise ValueError(f"the sculpt has {len(positions)} vertices, the mesh {len(self._places)}")
        parts = []
        for start, stop in cut(len(positions), _CACHED):
            rows = self._matrix(self._skinning.rows(self._method, start, stop))
            moved = positions[start:stop].T - _posed(rows, self._places[start:stop].T)
            parts.append((np.arange(start, stop), *_inverted(rows, moved, self._limit)))
        return _together(parts, self._limit)

    def sparse(self, offsets: Offsets) -> Unposed:
        """The offsets of a sculpt given as what it moves in posed model space, metres.

        Raises IndexError for a vertex that the mesh does not have.
        """
        parts = []
        for start, stop in cut(offsets.count, _CACHED):
            vertices = offsets.indices[start:stop]
            rows = self._matrix(self._skinning.chosen(self._method, vertices))
            parts.append((vertices, *_inverted(rows, offsets.offsets[start:stop].T, self._limit)))
        return _together(parts, self._limit)

    def _matrix(self, rows: Rows) -> _Matrix:
        blended: Blended = self._blender.blended(rows)
        first, second, third = (_flat(blended.row(axis)) for axis in range(3))
        return first, second, third


_Matrix = tuple[Row, Row, Row]
# Vertices, their neutral offsets (3, n), and of the ill-conditioned: places in the part, matrices, posed offsets.
_Part = tuple[Integers, Floats, Integers, Floats, Floats]


def _flat(row: Row) -> Row:
    a, b, c, d = (element.reshape(-1) for element in row)
    return a, b, c, d


def _posed(rows: _Matrix, places: Floats) -> Floats:
    x, y, z = places
    return np.stack([(a * x + b * y) + (c * z + moved) for a, b, c, moved in rows])


def _inverted(rows: _Matrix, moved: Floats, limit: float) -> tuple[Floats, Integers, Floats, Floats]:
    """M^-1 d by the adjugate, (3, n), and what it cannot be trusted for.

    The Frobenius norms of a matrix and its inverse multiply to at least the condition number and at most three times
    as much, so they find the few whose singular values have to be looked at.
    """
    (a, b, c, _), (d, e, f, _), (g, h, i, _) = rows
    adjugate = (
        (e * i - f * h, c * h - b * i, b * f - c * e),
        (f * g - d * i, a * i - c * g, c * d - a * f),
        (d * h - e * g, b * g - a * h, a * e - b * d),
    )
    determinant = a * adjugate[0][0] + b * adjugate[1][0] + c * adjugate[2][0]
    sizes = _squares((a, b, c, d, e, f, g, h, i)) * _squares([part for row in adjugate for part in row])
    doubtful = np.flatnonzero(~(sizes <= (limit * determinant) ** 2))
    x, y, z = moved
    determinant[doubtful] = 1.0
    scale = 1.0 / determinant
    found = np.stack([((p * x + q * y) + r * z) * scale for p, q, r in adjugate])
    matrices = np.array([[row[column][doubtful] for column in range(3)] for row in rows]).transpose(2, 0, 1)
    return found, doubtful, matrices, moved[:, doubtful].T


def _squares(parts: Iterable[Floats]) -> Floats:
    first, *others = parts
    total = first * first
    for part in others:
        total += part * part
    return total


def _together(parts: Sequence[_Part], limit: float) -> Unposed:
    nothing = (np.zeros(0, dtype=np.int64), np.zeros((3, 0)), np.zeros((0, 3, 3)), np.zeros((0, 3)))
    doubtful = np.concatenate([nothing[0], *(part[0][part[2]] for part in parts)])
    vertices = np.concatenate([nothing[0], *(part[0] for part in parts)])
    offsets = np.concatenate([nothing[1], *(part[1] for part in parts)], axis=1).T
    matrices = np.concatenate([nothing[2], *(part[3] for part in parts)])
    wanted = np.concatenate([nothing[3], *(part[4] for part in parts)])
    nearest, condition, lost = _least(matrices, wanted, limit)
    offsets[np.searchsorted(vertices, doubtful)] = nearest
    ill = (condition > limit) & wanted.any(axis=1)
    kept = offsets.any(axis=1)
    return Unposed(
        Offsets(vertices[kept], np.ascontiguousarray(offsets[kept])),
        IllConditioned(doubtful[ill], condition[ill], lost[ill]),
    )


def _least(matrices: Floats, wanted: Floats, limit: float) -> tuple[Floats, Floats, Floats]:
    """The shortest x (n, 3) for which M x comes nearest to what is wanted, the conditions (n,) and the misses (n,).

    By the pseudo-inverse: singular values below the greatest / `limit` count as 0.
    """
    left, sizes, right = np.linalg.svd(matrices)
    greatest = sizes[:, :1]
    used = (sizes > 0) & (sizes * limit >= greatest)
    share = np.zeros_like(sizes)
    np.divide(1.0, sizes, out=share, where=used)
    along = np.matmul(left.swapaxes(1, 2), wanted[:, :, np.newaxis])[..., 0]
    found = np.matmul(right.swapaxes(1, 2), (along * share)[:, :, np.newaxis])[..., 0]
    lost = np.sqrt(np.where(used, 0.0, along * along).sum(axis=1))
    condition = np.full(len(sizes), np.inf)
    np.divide(greatest[:, 0], sizes[:, 2], out=condition, where=sizes[:, 2] > 0)
    return found, condition, lost
