"""Offsets of a sculpt that was made over the posed mesh, brought back to the neutral mesh.

In one pose skinning is an affine map of each vertex, x -> M x + t. A sculpted vertex y stands for the offset
M^-1 (y - x) on the neutral mesh, where x is the vertex posed with all earlier shapes; that takes the earlier shapes
off too, and is exactly 0 where nothing was sculpted.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from plica.mesh.arrays import Floats, Integers, Offsets
from plica.mesh.skinning import Blend, Blended, Row, Rows, Skinning, cut
from plica.values import SkinningMethod

# A vertex is ill-conditioned where an offset can become this many times longer in one direction than in another.
LIMIT = 1e3
# The rule of the catalogue that tells of such vertices.
FOLDED = "sculpt-where-skin-is-flat"
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

    def texts(self, shape: str) -> dict[str, str]:
        """What the texts of the rule `FOLDED` leave open."""
        worst = int(np.argmax(self.lost))
        return {
            "shape": shape,
            "count": str(self.count),
            "vertex": str(self.vertices[worst]),
            "lost": f"{1000 * self.lost[worst]:.3g}",
        }


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
        method: SkinningMethod = "linear",
        limit: float = LIMIT,
    ) -> None:
        """positions (v, 3): the neutral mesh; skins (binds, 3, 4): the pose's skin matrices; earlier (v, 3): what the
        earlier shapes add to the neutral mesh in this pose (`Deformer.offsets`); method: how the skin was posed."""
        self._skinning = skinning
        self._places = positions if earlier is None else positions + earlier
        self._blend: Blend = skinning.blend(skins[np.newaxis], method)
        self._method: SkinningMethod = method
        self._limit = limit

    def sculpt(self, positions: Floats) -> Unposed:
        """The offsets of a sculpt given as all its positions (v, 3) in model space, metres.

        Raises ValueError for another number of vertices.
        """
        if positions.shape != self._places.shape:
            raise ValueError(f"the sculpt has {len(positions)} vertices, the mesh {len(self._places)}")
        result = np.empty_like(self._places)
        doubts = []
        for start, stop in cut(len(positions), _CACHED):
            rows = self._matrix(self._skinning.rows(self._method, start, stop))
            moved = positions[start:stop].T - _posed(rows, self._places[start:stop].T)
            doubts.append(_invert(rows, moved, self._limit, start, result[start:stop]))
        return _settled(np.arange(len(positions)), result, doubts, self._limit)

    def sparse(self, offsets: Offsets) -> Unposed:
        """The offsets of a sculpt given as what it moves in posed model space, metres.

        Raises IndexError for a vertex that the mesh does not have.
        """
        result = np.empty_like(offsets.offsets)
        doubts = []
        for start, stop in cut(offsets.count, _CACHED):
            rows = self._matrix(self._skinning.chosen(self._method, offsets.indices[start:stop]))
            doubts.append(_invert(rows, offsets.offsets[start:stop].T, self._limit, start, result[start:stop]))
        return _settled(offsets.indices, result, doubts, self._limit)

    def _matrix(self, rows: Rows) -> _Matrix:
        blended: Blended = self._blend.blended(rows)
        first, second, third = (_flat(blended.row(axis)) for axis in range(3))
        return first, second, third


class _Doubts(NamedTuple):
    """Places (n,) of matrices (n, 3, 3) that may be ill-conditioned, and the posed offsets (n, 3) wanted there."""

    places: Integers
    matrices: Floats
    wanted: Floats


_Matrix = tuple[Row, Row, Row]


def _flat(row: Row) -> Row:
    a, b, c, d = (element.reshape(-1) for element in row)
    return a, b, c, d


def _posed(rows: _Matrix, places: Floats) -> Floats:
    x, y, z = places
    return np.stack([(a * x + b * y) + (c * z + moved) for a, b, c, moved in rows])


def _invert(rows: _Matrix, moved: Floats, limit: float, start: int, result: Floats) -> _Doubts:
    """Writes M^-1 d by the adjugate into `found` (n, 3), and returns where that cannot be trusted.

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
    doubtful = np.flatnonzero(~(sizes < (limit * determinant) ** 2))
    determinant[doubtful] = 1.0
    x, y, z = moved / determinant
    for axis, (p, q, r) in enumerate(adjugate):
        result[:, axis] = (p * x + q * y) + r * z
    matrices = np.array([[row[column][doubtful] for column in range(3)] for row in rows]).transpose(2, 0, 1)
    return _Doubts(doubtful + start, matrices, moved[:, doubtful].T)


def _squares(parts: Iterable[Floats]) -> Floats:
    first, *others = parts
    total = first * first
    for part in others:
        total += part * part
    return total


def _settled(vertices: Integers, offsets: Floats, doubts: Sequence[_Doubts], limit: float) -> Unposed:
    """The offsets (n, 3) of vertices (n,), with those in doubt replaced, and without those that are 0."""
    places = np.concatenate([np.zeros(0, dtype=np.int64), *(part.places for part in doubts)])
    matrices = np.concatenate([np.zeros((0, 3, 3)), *(part.matrices for part in doubts)])
    wanted = np.concatenate([np.zeros((0, 3)), *(part.wanted for part in doubts)])
    offsets[places], condition, lost = _least(matrices, wanted, limit)
    ill = (condition > limit) & wanted.any(axis=1)
    x, y, z = offsets.T != 0
    kept = x | y | z
    result = Offsets(vertices, offsets) if kept.all() else Offsets(vertices[kept], offsets[kept])
    return Unposed(result, IllConditioned(vertices[places[ill]], condition[ill], lost[ill]))


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
    result = np.matmul(right.swapaxes(1, 2), (along * share)[:, :, np.newaxis])[..., 0]
    lost = np.sqrt(np.where(used, 0.0, along * along).sum(axis=1))
    condition = np.full(len(sizes), np.inf)
    np.divide(greatest[:, 0], sizes[:, 2], out=condition, where=sizes[:, 2] > 0)
    return result, condition, lost
