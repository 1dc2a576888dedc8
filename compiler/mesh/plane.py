"""The mirror plane of a cloud of points, found from the points alone, and the shift between two mirrored clouds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats
from plica.skeleton.algebra import Vector
from plica.skeleton.planes import NORMALS, axis_of
from plica.skeleton.sides import AXES, AxisName

# In this order where several fit as well: a body faces z or x and stands along y.
SEARCHED: tuple[AxisName, ...] = ("x", "z", "y")
ALONG_AXES: tuple[Vector, ...] = tuple(NORMALS[axis] for axis in SEARCHED)
SAMPLE = 4000  # points tried; the same ones on every run
ROUNDS = 12
BINS = 2048
FEWEST = 0.5  # share of the points that must have a partner for a plane to be one
SNAP = 0.01  # of the tolerance: a plane as near to 0 is taken to be at 0
BETTER = 0.01  # by how much a share must be larger to count as better, so that the first of equals is taken
LOOSE = 0.002  # of the size: how near a partner must be while the plane is looked for


@dataclass(frozen=True)
class MirrorPlane:
    """The points p with normal . p = offset (metres); `normal` is a unit vector.

    `found`: not stated. `share`: of the points tried, how many have another within reach of their mirror image.
    """

    normal: Vector
    offset: float
    found: bool = False
    share: float = 1.0

    @classmethod
    def across(cls, axis: AxisName, offset: float = 0.0) -> MirrorPlane:
        """The plane that stands on an axis of the model."""
        return cls(NORMALS[axis], offset)

    @property
    def axis(self) -> AxisName | None:
        """The axis that the plane stands on; None where it stands on none."""
        return axis_of(self.normal)

    def mirrored(self, positions: Floats) -> Floats:
        """Points (n, 3) on the other side."""
        return reflected(positions, self.normal, self.offset)

    def mirrored_vectors(self, vectors: Floats) -> Floats:
        """Offsets or normals (n, 3) on the other side."""
        return reflected(vectors, self.normal)


@dataclass(frozen=True)
class MirrorShift:
    """Mirrored across the origin's plane along `axis`, then moved by `offset` (metres)."""

    axis: AxisName
    offset: tuple[float, float, float]
    share: float

    def moved(self, positions: Floats) -> Floats:
        """Points (n, 3) in the other cloud's place."""
        return np.asarray(reflected(positions, NORMALS[self.axis]) + np.array(self.offset))


def find_plane(positions: Floats, tolerance: float, normals: Sequence[Vector] = ALONG_AXES) -> MirrorPlane | None:
    """The plane across one of the directions that gives most points (n, 3) a partner; None where it is less than half.

    Only how far off the origin it lies is looked for, not how it is turned.
    """
    if len(positions) < 2:
        return None
    tree = cKDTree(positions)
    sample = _sample(positions)
    close = _close(positions, tolerance)
    best: MirrorPlane | None = None
    for normal in normals:
        way = np.array(normal)
        for start in _starts(positions @ way):
            shift, share = _refined(reflected(sample, normal), tree, 2.0 * start * way, np.outer(way, way), close)
            offset = float(shift @ way) / 2.0
            if best is None or share > best.share + BETTER:
                best = MirrorPlane(normal, 0.0 if abs(offset) <= SNAP * tolerance else offset, True, share)
            if best.share + BETTER >= 1.0:
                return best  # no other can be better
    return best if best is not None and best.share >= FEWEST else None


def find_offsets_between(
    first: Floats, second: Floats, tolerance: float, axes: Sequence[AxisName] = SEARCHED
) -> MirrorShift | None:
    """How the first cloud (n, 3), mirrored across an axis, must be moved to lie on the second; None if it cannot."""
    if not len(first) or not len(second):
        return None
    tree = cKDTree(second)
    close = _close(second, tolerance)
    best: MirrorShift | None = None
    for axis in axes:
        mirrored = reflected(first, NORMALS[axis])
        starts = (np.zeros(3), second.mean(axis=0) - mirrored.mean(axis=0), _middle(second) - _middle(mirrored))
        for start in starts:
            shift, share = _refined(reflected(_sample(first), NORMALS[axis]), tree, start, np.eye(3), close)
            if best is None or share > best.share + BETTER:
                x, y, z = shift.tolist()
                best = MirrorShift(axis, (x, y, z), share)
            if best.share + BETTER >= 1.0:
                return best  # no other can be better
    return best if best is not None and best.share >= FEWEST else None


def reflected(vectors: Floats, normal: Vector, offset: float = 0.0) -> Floats:
    """Vectors or points (n, 3) across the plane with this unit normal, `offset` metres off the origin.

    Across an axis twice is the same as not at all, bit for bit where the offset is 0.
    """
    axis = axis_of(normal)
    if axis is None:
        heights = vectors @ np.array(normal) - offset
        return np.asarray(vectors - 2.0 * heights[:, np.newaxis] * np.array(normal))
    result = vectors.copy()
    column = AXES.index(axis)
    result[:, column] = 2.0 * offset - vectors[:, column] if offset else -vectors[:, column]
    return result


def _middle(positions: Floats) -> Floats:
    return np.asarray((positions.min(axis=0) + positions.max(axis=0)) / 2.0)


def _close(positions: Floats, tolerance: float) -> float:
    return max(tolerance, LOOSE * float(np.linalg.norm(np.ptp(positions, axis=0))))


def _sample(positions: Floats) -> Floats:
    step = max(len(positions) // SAMPLE, 1)
    return positions[::step]


def _starts(values: Floats) -> list[float]:
    """Where a plane may lie: at 0, in the middle, at the median, and where the points' spread mirrors itself best."""
    low, high = float(values.min()), float(values.max())
    starts = [0.0, (low + high) / 2.0, float(np.median(values))]
    if high > low:
        counts, _ = np.histogram(values, BINS, (low, high))
        spread = np.fft.rfft(counts - counts.mean(), 2 * BINS)
        likeness = np.fft.irfft(spread * spread, 2 * BINS)  # against its own mirror image, at every shift
        width = (high - low) / BINS
        starts += [low + (peak + 1) / 2.0 * width for peak in np.argsort(-likeness, kind="stable")[:3].tolist()]
    return starts


def _refined(mirrored: Floats, tree: cKDTree, shift: Floats, free: Floats, close: float) -> tuple[Floats, float]:
    """The shift that brings most mirrored points onto the cloud, and their share.

    Nearest neighbours tell how far the points still are (as in iterative closest point, Besl and McKay 1992); the
    median keeps those without a partner from having a say. `free` (3, 3) projects onto the free directions.
    """
    reach = 8.0 * close
    for _ in range(ROUNDS):
        distances, nearest = tree.query(mirrored + shift, distance_upper_bound=reach)
        known = np.isfinite(distances)
        if not known.any():
            return shift, 0.0
        left = tree.data[np.asarray(nearest)[known]] - mirrored[known] - shift
        step = np.median(left, axis=0) @ free
        shift = shift + step
        reach = max(reach / 2.0, close)
        if reach == close and np.abs(step).max() < 1e-12:
            break
    distances, _ = tree.query(mirrored + shift, distance_upper_bound=close)
    return shift, float(np.isfinite(distances).mean())
