"""Readings over many frames: all readings of one kind at a time, one row each.

Throughout, v and w are the vector and scalar part of the turn since rest, w >= 0, of any length: every
formula is a quotient of terms of the same degree, so the length cancels. Rows are readings, columns are
frames.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.evaluate.gaps import Gaps
from plica.evaluate.poses import Array
from plica.evaluate.reading_groups import Chunk, Indexes, ReadingGroup, ReadingSources, indexes
from plica.evaluate.seen_turns import SeenOffsets
from plica.kinds.readings import Bend, Euler, Offset, Reading, Rotation, Scale, Swing, complete, controls_of, seen
from plica.skeleton.algebra import Quaternion, Vector, cross, matrix_of

# Nearer than this to a middle angle of 90 degrees (as its cosine), only the sum or difference of the
# outer angles is known. It is the threshold of scipy's Rotation.as_euler.
GIMBAL_LOCK = 1e-7
_EVEN_ORDERS = ("xyz", "yzx", "zxy")


def _along(vectors: Sequence[Vector], part: Array) -> Array:
    """Each row's dot product with its own vector. `part` is (3, rows, frames)."""
    x, y, z = np.array(vectors, dtype=np.float64).T[:, :, np.newaxis]
    result: Array = x * part[0]
    result += y * part[1]
    result += z * part[2]
    return result


class Rotations:
    """Twist about an axis: 2 atan2(v . axis, w), in (-pi, pi] (Dobrowolski, arXiv 1506.05481).

    0 where the turn swings the axis by 180 degrees, where no twist is defined.
    """

    def __init__(self, readings: Sequence[Rotation], sources: ReadingSources) -> None:
        self._joints = indexes([seen(reading) for reading in readings], sources.turned)
        self._axes = [reading.axis for reading in readings]

    def read(self, chunk: Chunk) -> Array:
        """Radians, (readings, frames)."""
        turns = chunk.turns[:, self._joints]
        share, scalar = _along(self._axes, turns), turns[3]
        if not scalar.all():
            np.abs(share, out=share, where=scalar == 0)
        return _twice(np.arctan2(share, scalar, out=share))


class Bends:
    """The whole angle of the turn: 2 atan2(|v|, w)."""

    def __init__(self, readings: Sequence[Bend], sources: ReadingSources) -> None:
        self._joints = indexes([seen(reading) for reading in readings], sources.turned)

    def read(self, chunk: Chunk) -> Array:
        """Radians, (readings, frames)."""
        x, y, z, w = chunk.turns[:, self._joints]
        size = np.sqrt((x * x + y * y) + z * z)
        return _twice(np.arctan2(size, w, out=size))


class Swings:
    """The component toward `toward` of the swing of `along`, as a rotation vector (Grassia 1998).

    With the axes a = along, t = toward and b = a x t: the swing angle is 2 atan2(k, h), with k the length
    of v across a and h that of (v . a, w); the part across a of the turned axis is 2 (s v_across + w (v x
    a)), of length 2 h k, so its share toward t is (s (v . t) + w (v . b)) / (h k). 0 where h k is 0.
    """

    def __init__(self, readings: Sequence[Swing], sources: ReadingSources) -> None:
        self._joints = indexes([seen(reading) for reading in readings], sources.turned)
        self._along = [reading.along for reading in readings]
        self._toward = [reading.toward for reading in readings]
        self._beside = [cross(reading.along, reading.toward) for reading in readings]

    def read(self, chunk: Chunk) -> Array:
        """Radians, (readings, frames)."""
        turns = chunk.turns[:, self._joints]
        w = turns[3]
        twist, toward, beside = (_along(axes, turns) for axes in (self._along, self._toward, self._beside))
        across = np.sqrt(toward * toward + beside * beside)
        kept = np.sqrt(twist * twist + w * w)
        size = kept * across
        share = twist * toward + w * beside
        np.divide(share, size, out=share, where=size > 0)
        share[size == 0] = 0.0
        angle = _twice(np.arctan2(across, kept))
        angle *= share
        return angle


class Eulers:
    """One angle of three about fixed axes, the readings sorted by the angle's place in its order.

    For the order i, j, k the rotation matrix is R_k R_j R_i. Its entries, with p, q, r the parts of v along
    the three axes in that order, and q negated for odd orders, give: first atan2(2 (w p + q r), w^2 + r^2 -
    p^2 - q^2); last atan2(2 (w r + p q), w^2 + p^2 - q^2 - r^2); middle atan2(2 (w q - p r), the length of
    last's two arguments), negated for odd orders. In gimbal lock the last is 0 and the first takes the
    rest, as scipy has it.
    """

    def __init__(self, readings: Sequence[Euler], sources: ReadingSources) -> None:
        self._groups: list[tuple[Callable[[Array, Array, Array, Array], Array], Array, _EulerRows]] = []
        places = [reading.order.index(reading.channel) for reading in readings]
        for place, angle in enumerate((_first, _middle, _last)):
            rows = np.array([row for row, result in enumerate(places) if result == place], dtype=np.intp)
            chosen = [readings[row] for row in rows]
            if not chosen:
                continue
            odd = [reading.order not in _EVEN_ORDERS for reading in chosen]
            sign = np.array([-1.0 if place == 1 and is_odd else 1.0 for is_odd in odd])
            axes = [
                _euler_axes(reading.order, reading.frame, is_odd) for reading, is_odd in zip(chosen, odd, strict=True)
            ]
            found_joints = indexes([seen(reading) for reading in chosen], sources.turned)
            self._groups.append((angle, sign[:, np.newaxis], _EulerRows(rows, found_joints, axes)))
        self._size = len(readings)

    def read(self, chunk: Chunk) -> Array:
        """Radians, (readings, frames)."""
        result = np.empty((self._size, chunk.turns.shape[2]))
        for angle, sign, group in self._groups:
            turns = chunk.turns[:, group.joints]
            p, q, r = (_along([axes[place] for axes in group.axes], turns) for place in range(3))
            result[group.rows] = angle(p, q, r, turns[3]) * sign
        return result


@dataclass(frozen=True, eq=False)
class _EulerRows:
    rows: Indexes
    joints: Indexes
    axes: list[tuple[Vector, Vector, Vector]]


def _euler_axes(order: str, frame: Quaternion, odd: bool) -> tuple[Vector, Vector, Vector]:
    """The axes p, q, r in the joint's rest frame: the rows of the matrix that turns it into `frame`."""
    rows = matrix_of(frame)
    p, q, r = (rows["xyz".index(channel)] for channel in order)
    return p, ((-q[0], -q[1], -q[2]) if odd else q), r


def _cosine(p: Array, q: Array, r: Array, w: Array) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """The two arguments of the last angle, their length, and where that says gimbal lock."""
    pp, qq, rr, ww = p * p, q * q, r * r, w * w
    rise = 2.0 * (w * r + p * q)
    run = (ww + pp) - (qq + rr)
    size = np.sqrt(rise * rise + run * run)
    return rise, run, size, size <= GIMBAL_LOCK * ((ww + pp) + (qq + rr))


def _first(p: Array, q: Array, r: Array, w: Array) -> Array:
    locked = _cosine(p, q, r, w)[3]
    pp, qq, rr, ww = p * p, q * q, r * r, w * w
    rise, run = 2.0 * (w * p + q * r), (ww + rr) - (pp + qq)
    if locked.any():
        rise = np.where(locked, 2.0 * (w * p - q * r), rise)
        run = np.where(locked, (ww + qq) - (pp + rr), run)
    return np.asarray(np.arctan2(rise, run))


def _middle(p: Array, q: Array, r: Array, w: Array) -> Array:
    size = _cosine(p, q, r, w)[2]
    return np.asarray(np.arctan2(2.0 * (w * q - p * r), size))


def _last(p: Array, q: Array, r: Array, w: Array) -> Array:
    rise, run, _, locked = _cosine(p, q, r, w)
    angle = np.arctan2(rise, run, out=rise)
    angle[locked] = 0.0
    return angle


class JointOffsets:
    """Translation since rest, in the parent's frame or as another joint sees it, dotted with weights: metres."""

    def __init__(self, readings: Sequence[Offset], sources: ReadingSources) -> None:
        self._looking = np.array([reading.relative_to is not None for reading in readings], dtype=bool)
        own = [reading for reading in readings if reading.relative_to is None]
        self._joints = indexes([reading.joint for reading in own], sources.moved)
        self._weights = [reading.weights for reading in own]
        self._rest = sources.translation_rest[:, self._joints, np.newaxis]
        local = len(sources.local)
        self._seen = SeenOffsets(
            sources.skeleton,
            [reading for reading in readings if reading.relative_to is not None],
            sources.local,
            (
                sources.rotation_rest[:, :, np.newaxis],
                sources.translation_rest[:, :local, np.newaxis],
                sources.scale_rest[:, :local, np.newaxis],
            ),
        )

    def read(self, chunk: Chunk) -> Array:
        """Metres, (readings, frames)."""
        if not self._looking.any():
            return self._own(chunk)
        result = np.empty((len(self._looking), chunk.translations.shape[2]))
        result[self._looking] = self._seen.of(chunk.rotations, chunk.translations, chunk.scales)
        if self._weights:
            result[~self._looking] = self._own(chunk)
        return result

    def _own(self, chunk: Chunk) -> Array:
        return _along(self._weights, chunk.translations[:, self._joints] - self._rest)


class JointScales:
    """Scale since rest along an axis: the sum of axis_i^2 (s_i / s_i at rest - 1), a share."""

    def __init__(self, readings: Sequence[Scale], sources: ReadingSources) -> None:
        """Raises ValueError where a scale is 0 at rest."""
        self._joints = indexes([reading.joint for reading in readings], sources.scaled)
        self._weights = [(x * x, y * y, z * z) for x, y, z in (reading.axis for reading in readings)]
        self._rest = sources.scale_rest[:, self._joints, np.newaxis]
        if (self._rest == 0.0).any():
            name = readings[int(np.flatnonzero((self._rest == 0.0).any(axis=(0, 2)))[0])].joint
            raise ValueError(f"the scale of {name} is 0 at rest, so it cannot be read")

    def read(self, chunk: Chunk) -> Array:
        """Shares, (readings, frames)."""
        result = _along(self._weights, chunk.scales[:, self._joints] / self._rest - 1.0)
        return np.broadcast_to(result, (len(result), chunk.turns.shape[2]))


class ControlValues:
    """A control's value less its rest value; the weight of a morph target is held by a control."""

    def __init__(self, readings: Sequence[Reading], sources: ReadingSources) -> None:
        self._controls = indexes([controls_of(reading)[0] for reading in readings], sources.controls)
        self._rest = sources.control_rest[self._controls, np.newaxis]

    def read(self, chunk: Chunk) -> Array:
        """In the control's own unit, (readings, frames)."""
        result: Array = chunk.controls[self._controls] - self._rest
        return result


def _twice(angle: Array) -> Array:
    angle *= 2.0
    return angle


# Each takes the records of its kind.
GROUPS: Final[Mapping[str, Callable[[Sequence[Any], ReadingSources], ReadingGroup]]] = complete(
    "evaluation",
    {
        "rotation": Rotations,
        "bend": Bends,
        "swing": Swings,
        "euler": Eulers,
        "offset": JointOffsets,
        "scale": JointScales,
        "gap": Gaps,
        "control": ControlValues,
        "weight": ControlValues,
    },
)
"""For each kind: what computes all readings of the kind."""
