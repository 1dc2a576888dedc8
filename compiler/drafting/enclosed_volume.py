"""The volume that part of the skin encloses, with its gradient."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from plica.measure.region_faces import loops_of, open_edges
from plica.measure.volume import Volume
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseFloats


@dataclass(frozen=True, eq=False)
class EnclosedVolume:
    """Triangles (t, 3) of a surface closed by fans about the means of its open loops, as `plica.measure.volume` does,
    or those of them that something changes; how much each counts (t,). Indexes of points and then of the means, which
    `extended` (p + loops, p) adds to positions."""

    triangles: Integers
    amounts: Floats
    extended: SparseFloats

    @classmethod
    def of(cls, triangles: Integers, points: int) -> EnclosedVolume:
        """triangles (t, 3) between `points` points."""
        edges = open_edges(triangles)
        loop = loops_of(edges)
        count = int(loop.max(initial=-1)) + 1
        caps = np.stack([edges[:, 1], edges[:, 0], points + loop], axis=1)
        shares = 1.0 / np.bincount(loop, minlength=count)[loop]
        means = sparse.csr_array((shares, (loop, edges[:, 0])), shape=(count, points))
        extended = sparse.csr_array(sparse.vstack([sparse.eye_array(points), means]))
        return cls(np.concatenate([triangles, caps]), np.ones(len(triangles) + len(caps)), extended)

    @classmethod
    def changed(cls, volume: Volume, moves: NDArray[np.bool_], rows: Integers, points: int) -> EnclosedVolume:
        """What of a measured volume changes where some of its points move: moves (n,) of `volume.vertices`; rows (n,):
        the index of each among `points` points, of any that is not `needed_with` them too."""
        touched = _touched(volume, moves)
        chosen = touched[volume.corners].any(axis=1)
        loops = np.flatnonzero(touched[len(moves) :])
        new = np.concatenate([rows, np.full(len(touched) - len(moves), -1)])
        new[len(moves) + loops] = points + np.arange(len(loops))
        means = sparse.coo_array(volume.loops[loops])
        mapped = sparse.csr_array((means.data, (means.row, rows[means.col])), shape=(len(loops), points))
        extended = sparse.csr_array(sparse.vstack([sparse.eye_array(points), mapped]))
        return cls(new[volume.corners[chosen]], volume.amounts[chosen, 0], extended)

    def of_positions(self, positions: Floats) -> tuple[float, Floats]:
        """The volume at positions (p, 3) and its gradient (p, 3).

        The divergence theorem for a third of the place: a sixth of the sum of a . (b x c) over triangles a, b, c; where
        they do not close, that part of it which they add about the origin.
        """
        places = np.asarray(self.extended @ positions)
        a, b, c = (places[self.triangles[:, corner]] for corner in range(3))
        weights = (self.amounts / 6.0)[:, None]
        b_c = weights * np.cross(b, c)
        gradient = np.zeros_like(places)
        for corner, part in enumerate((b_c, weights * np.cross(c, a), weights * np.cross(a, b))):
            for axis in range(3):
                gradient[:, axis] += np.bincount(self.triangles[:, corner], part[:, axis], len(places))
        return float((a * b_c).sum()), np.asarray(self.extended.T @ gradient)


def needed_with(volume: Volume, moves: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which of a measured volume's points (n,) have a say in what moving ones (n,) change of it."""
    touched = _touched(volume, moves)
    corners = volume.corners[touched[volume.corners].any(axis=1)]
    needed = np.zeros(len(moves), bool)
    needed[corners[corners < len(moves)]] = True
    of_loops = sparse.coo_array(volume.loops[np.flatnonzero(touched[len(moves) :])])
    needed[of_loops.col] = True
    return needed


def _touched(volume: Volume, moves: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which of the points and then of the loops' means move."""
    return np.concatenate([moves, np.asarray(volume.loops @ moves.astype(np.float64)) > 0.0])
