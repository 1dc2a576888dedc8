"""The mirror plane of a cloud of points, found from the points alone, and the shift between two mirrored clouds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats
from plica.skeleton.sides import AXES, AxisName

SEARCHED: tuple[AxisName, ...] = (
    "x",
    "z",
    "y",
)  # in this order where several fit as well: a body faces z or x and stands along y
SAMPLE = 4000  # points tried; the same ones on every run
ROUNDS = 12
BINS = 2048
FEWEST = 0.5  # share of the points that must have a partner for a plane to be one
SNAP = 0.01  # of the tolerance: a plane as near to 0 is taken to be at 0
LOOSE = 0.002  # of the size: how near a partner must be while the plane is looked for


@dataclass(frozen=True)
class MirrorPlane:
    """The points whose coordinate `axis` is `offset` (metres).

    `found`: not stated. `share`: of the points tried, how many have another within reach of their mirror image.
    """

    axis: AxisName
    offset: float
    found: bool = False
    share: float = 1.0

    def mirrored(self, positions: Floats) -> Floats:
        """Points (n, 3) on the other side."""
        return _mirrored(positions, self.axis, 2.0 * self.offset)

    def mirrored_vectors(self, vectors: Floats) -> Floats:
        """Offsets or normals (n, 3) on the other side."""
        return _mirrored(vectors, self.axis, 0.0)


@dataclass(frozen=True)
class MirrorShift:
    """Mirrored across the origin's plane along `axis`, then moved by `offset` (metres)."""

    axis: AxisName
    offset: tuple[float, float, float]
    share: float

    def moved(self, positions: Floats) -> Floats:
        """Points (n, 3) in the other cloud's place."""
        return np.asarray(_mirrored(positions, self.axis, 0.0) + np.array(self.offset))


def find_plane(positions: Floats, tolerance: float, axes: Sequence[AxisName] = SEARCHED) -> MirrorPlane | None:
    """The plane across one of the axes that gives most points (n, 3) a partner; None where it is less than half."""
    if len(positions) < 2:
        return None
    tree = cKDTree(positions)
    sample = _sample(positions)
    close = _close(positions, tolerance)
    best: MirrorPlane | None = None
    for axis in axes:
        column = AXES.index(axis)
        mask = np.zeros(3)
        mask[column] = 1.0
        for start in _starts(positions[:, column]):
            shift = np.zeros(3)
            shift[column] = 2.0 * start
            shift, share = _refined(_mirrored(sample, axis, 0.0), tree, shift, mask, close)
            offset = float(shift[column]) / 2.0
            if best is None or share > best.share + 0.01:
                best = MirrorPlane(axis, 0.0 if abs(offset) <= SNAP * tolerance else offset, True, share)
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
        mirrored = _mirrored(first, axis, 0.0)
        starts = (np.zeros(3), second.mean(axis=0) - mirrored.mean(axis=0), _middle(second) - _middle(mirrored))
        for start in starts:
            shift, share = _refined(_mirrored(_sample(first), axis, 0.0), tree, start, np.ones(3), close)
            if best is None or share > best.share + 0.01:
                x, y, z = shift.tolist()
                best = MirrorShift(axis, (x, y, z), share)
    return best if best is not None and best.share >= FEWEST else None


def _mirrored(positions: Floats, axis: AxisName, constant: float) -> Floats:
    result = positions.copy()
    column = AXES.index(axis)
    result[:, column] = constant - positions[:, column]
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


def _refined(mirrored: Floats, tree: cKDTree, shift: Floats, mask: Floats, close: float) -> tuple[Floats, float]:
    """The shift that brings most mirrored points onto the cloud, and their share.

    Nearest neighbours tell how far the points still are (as in iterative closest point, Besl and McKay 1992); the
    median keeps those without a partner from having a say. `mask` (3,) holds the free directions.
    """
    reach = 8.0 * close
    for _ in range(ROUNDS):
        distances, nearest = tree.query(mirrored + shift, distance_upper_bound=reach)
        known = np.isfinite(distances)
        if not known.any():
            return shift, 0.0
        left = tree.data[np.asarray(nearest)[known]] - mirrored[known] - shift
        step = np.median(left, axis=0) * mask
        shift = shift + step
        reach = max(reach / 2.0, close)
        if reach == close and np.abs(step).max() < 1e-12:
            break
    distances, _ = tree.query(mirrored + shift, distance_upper_bound=close)
    return shift, float(np.isfinite(distances).mean())
