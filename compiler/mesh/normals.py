"""Normals of a posed mesh: worked out from its triangles, or the file's own, turned as the surface turns."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy import sparse

from plica.mesh.arrays import Floats, Integers, Mesh

_ALIKE: Final = float(np.cos(np.radians(1.0)))
"""Copies of a point whose normals are nearer than this share one; farther apart, an edge between them is hard."""
LEAST_COSINE: Final = -0.999
"""Vectors whose angle has a lower cosine are opposite: which rotation between them is the least, nobody can say."""


class Normals:
    """Vertex normals from positions: the sum of the adjoining triangles' area vectors at each welded point.

    Copies of a vertex, which importers make at seams, therefore share their normal. `sharing` (v,), numbers from 0:
    the vertices that share one, where it is not those of a point.
    """

    def __init__(self, mesh: Mesh, sharing: Integers | None = None) -> None:
        count, groups = len(mesh.triangles), mesh.points if sharing is None else sharing
        corners = (groups[mesh.triangles].reshape(-1), np.repeat(np.arange(count), 3))
        adjoining = sparse.csr_array((np.ones(3 * count), corners), shape=(int(groups.max(initial=-1)) + 1, count))
        # A triangle with two corners at one point has no area, so counting it twice there does no harm.
        self._adjoining = adjoining
        self._triangles = mesh.triangles
        self._groups = groups

    def of(self, positions: Floats) -> Floats:
        """Unit normals (..., v, 3) at positions (..., v, 3); null vectors where no triangle has an area."""
        flat = positions.reshape(-1, *positions.shape[-2:])
        result = np.empty_like(flat)
        for frame, places in enumerate(flat):
            result[frame] = self._one(places)
        return result.reshape(positions.shape)

    def _one(self, positions: Floats) -> Floats:
        first, second, third = (positions[self._triangles[:, corner]] for corner in range(3))
        sums = np.asarray(self._adjoining @ np.cross(second - first, third - first))
        size = np.sqrt((sums * sums).sum(axis=1, keepdims=True))
        np.divide(sums, size, out=sums, where=size > 0)
        return np.asarray(sums[self._groups])


class OwnNormals:
    """The normals that a mesh's file stores, turned as the surface around each vertex turns.

    Where copies of a point have the same normal the surface is smooth there, and their triangles turn them together;
    where they differ the edge is hard, and each is turned by its own triangles. So hard edges stay hard, and what an
    artist gave the normals stays in them. Without normals in the file they are those of `Normals`.
    """

    def __init__(self, mesh: Mesh) -> None:
        self._surface = Normals(mesh, None if mesh.normals is None else smooth_groups(mesh.points, mesh.normals))
        self._neutral = self._surface.of(mesh.positions)
        self.normals: Floats = self._neutral if mesh.normals is None else mesh.normals

    def changes(self, positions: Floats) -> Floats:
        """By how much the unit normals (v, 3) are others at positions (v, 3); 0 where no triangle has an area."""
        there = self._surface.of(positions)
        seen = there.any(axis=1) & self._neutral.any(axis=1)
        before, after = self._neutral[seen], there[seen]
        turns, own = least_turns(before, after), self.normals[seen]
        # Turned over: any half turn about an axis across the normal is the least.
        over = (before * after).sum(axis=1, keepdims=True) <= LEAST_COSINE
        result = np.zeros_like(positions)
        result[seen] = np.where(over, -own, np.einsum("vij,vj->vi", turns, own)) - own
        return result


def smooth_groups(points: Integers, normals: Floats) -> Integers:
    """Numbers from 0 (v,): those of the vertices of a point whose normals (v, 3) are alike are the same.

    Of a point's copies those that are like the first make a group, then of the others those like the first of these,
    and so on.
    """
    groups = np.full(len(points), -1)
    waiting, count = np.arange(len(points)), 0
    while len(waiting):
        _, firsts, places = np.unique(points[waiting], return_index=True, return_inverse=True)
        alike = (normals[waiting] * normals[waiting[firsts]][places]).sum(axis=1) >= _ALIKE
        alike[firsts] = True
        groups[waiting[alike]] = count + places[alike]
        count += len(firsts)
        waiting = waiting[~alike]
    return groups


def least_turns(one: Floats, other: Floats) -> Floats:
    """The least rotations (n, 3, 3) that take unit vectors (n, 3) to others; none where they are opposite.

    R = I + [k] + [k]^2 / (1 + c) with k = a x b, c = a . b (Rodrigues' formula without its angle).
    """
    axis, cosine = np.cross(one, other), (one * other).sum(axis=-1)
    x, y, z = axis.T
    zero = np.zeros(len(x))
    skew = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)
    usable = cosine > LEAST_COSINE
    share = 1.0 / np.where(usable, 1.0 + cosine, 1.0)
    result = np.eye(3) + skew + skew @ skew * share[:, None, None]
    return np.where(usable[:, None, None], result, np.eye(3))
