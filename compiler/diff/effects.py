"""What a change of a driver or a combination does to its strength, computed by evaluating both."""

from __future__ import annotations

from functools import lru_cache
from itertools import product
from math import isfinite, prod, sqrt
from typing import TYPE_CHECKING, NamedTuple

from plica.kinds.curves import curve_knots, curve_problem
from plica.kinds.reading_kind import Needs
from plica.kinds.readings import Reading, controls_of, joints_of, kind_of
from plica.rig.combinations import combined, parts_of
from plica.rig.integrity import first_problem
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver
from plica.values import Curve

if TYPE_CHECKING:
    from plica.evaluate.poses import Array

_STEPS = 128  # between two ends of spans; knots are looked at exactly
_MOST_PARTS = 8  # of a combination; all mixtures of 0, a half and 1 are tried
_SQUARE = 1e-6  # axes whose cosine is nearer to 0 than this are square to each other, and no opposites
_NOTHING = 1e-9  # a change of strength that is only rounding


class Effect(NamedTuple):
    """What became of a strength.

    `largest` is the largest change (0 to 1 for clamped strengths), at the reading `at` (radians, metres or a
    control's unit); `rest` are the strengths in the rest pose, `reaches` the readings at which the old and the new
    strength are at the end of their span, `at_extreme` both strengths at the old one. `same_reading` tells whether both
    were given one reading; else the old driver's joint was moved and both were evaluated on the pose.
    """

    largest: float
    at: float
    rest: tuple[float, float]
    reaches: tuple[float, float]
    at_extreme: tuple[float, float]
    flipped: bool
    same_reading: bool = True

    @property
    def rest_moved(self) -> bool:
        """Whether the strength in the rest pose changed."""
        return abs(self.rest[0] - self.rest[1]) > _NOTHING

    @property
    def extreme_moved(self) -> bool:
        """Whether the full strength comes at another reading, or is another."""
        scale = max(1e-12, *map(abs, self.reaches))
        moved = abs(self.reaches[0] - self.reaches[1]) > 1e-9 * scale
        return moved or abs(self.at_extreme[0] - self.at_extreme[1]) > _NOTHING

    @property
    def is_nothing(self) -> bool:
        """Whether the strengths are the same everywhere."""
        return self.largest <= _NOTHING and not self.flipped


class Response(NamedTuple):
    """What turns a reading into a strength."""

    span: tuple[float, float]
    clamped: bool
    curve: Curve


def response_of(driver: Driver) -> Response:
    """The parts of a driver that do not say what it reads."""
    return Response(driver.span, driver.clamped, driver.curve)


def driver_effect(old: Driver, new: Driver, before: Rig, after: Rig) -> Effect | None:
    """What a driver's change does; None where it cannot be evaluated, or where the two have nothing in common."""
    if _same_number(old.reading, new.reading):
        return response_effect(response_of(old), response_of(new))
    if not set(joints_of(old.reading)) <= {joint.name for joint in after.skeleton}:
        return None
    return _posed_effect(old, new, before, after)


def _same_number(old: Reading, new: Reading) -> bool:
    """Whether both read the same number, or each a control, whose values stand for themselves."""
    return old == new or (kind_of(old).needs is Needs.CONTROL and kind_of(new).needs is Needs.CONTROL)


def same_sources(old: Reading, new: Reading) -> bool:
    """Whether two readings are of one kind, and of the same joints or controls."""
    one, other = ((kind_of(reading), joints_of(reading), controls_of(reading)) for reading in (old, new))
    return one == other


@lru_cache(maxsize=4096)
def response_effect(old: Response, new: Response) -> Effect | None:
    """The effect of another span or curve, over the union of both spans. None for values that cannot be evaluated."""
    if not (_is_sound(old) and _is_sound(new)):
        return None
    readings = readings_of(old, new)
    return _compared(old, new, readings, strengths_at(old, readings), strengths_at(new, readings))


def _is_sound(response: Response) -> bool:
    """Whether a span and a curve can be evaluated; those of a rig that was checked always can."""
    start, stop = response.span
    return isfinite(start) and isfinite(stop) and start != stop and curve_problem(response.curve) is None


def readings_of(old: Response, new: Response) -> Array:
    """The readings at which two responses are compared: rest, all ends and knots, and steps between them, rising."""
    import numpy as np

    ends = (*old.span, *new.span, 0.0)
    exact = [
        start + (stop - start) * knot
        for (start, stop), _, curve in (old, new)
        for knot in curve_knots(curve) or (0.0, 1.0)
    ]
    low, high = min(ends[:4]), max(ends[:4])
    return np.unique([*np.linspace(low, high, 2 * _STEPS + 1), *exact, *ends[:4]])


def strengths_at(response: Response, readings: Array) -> Array:
    """The strengths at readings."""
    from plica.evaluate import curve_values

    start, stop = response.span
    return curve_values(response.curve, (readings - start) / (stop - start), response.clamped)


def _compared(
    old: Response, new: Response, readings: Array, before: Array, after: Array, flipped: bool = False
) -> Effect | None:
    import numpy as np

    change = np.abs(after - before)
    if not np.isfinite(change).all():
        return None
    index = int(change.argmax())
    ends = np.array([0.0, old.span[1]])
    (rest_before, end_before), (rest_after, end_after) = strengths_at(old, ends), strengths_at(new, ends)
    return Effect(
        float(change[index]),
        float(readings[index]),
        (float(rest_before), float(rest_after)),
        (old.span[1], new.span[1]),
        (float(end_before), float(end_after)),
        flipped or _rises(old) != _rises(new),
    )


def _rises(response: Response) -> bool:
    """Whether the strength goes up with the reading, from end to end of the span."""
    import numpy as np

    start, stop = response.span
    first, last = strengths_at(response, np.array([start, stop]))
    return bool((last >= first) == (stop > start))


def _posed_effect(old: Driver, new: Driver, before: Rig, after: Rig) -> Effect | None:
    """The effect of another reading: the old reading is made to run over its span by posing, both drivers are read."""
    import numpy as np

    from plica.evaluate import Evaluator, poses_from
    from plica.evaluate.inverse_readings import ReadingInverter
    from plica.evaluate.pose_components import skeleton_of
    from plica.evaluate.poses import is_finite

    if not (_is_sound(response_of(old)) and _is_sound(response_of(new))):
        return None
    if any(first_problem(_alone(*pair)) is not None for pair in ((before, old), (after, new))):
        return None
    placer = ReadingInverter(before, skeleton_of(before))
    moved = _motion(old.reading, new.reading)
    readings = np.unique([*np.linspace(*old.span, _STEPS + 1), 0.0])
    posed = [(value, pose) for value in readings.tolist() if (pose := placer.pose(moved, value)) is not None]
    sparse = [pose for _, pose in posed]
    if not posed or not all(map(is_finite, sparse)):
        return None
    known = {control.name for control in after.controls}
    if any(set(pose.controls) - known for pose in sparse):
        return None
    alone = (_alone(before, old), _alone(after, new))
    rows = [Evaluator(rig).strengths(poses_from(rig, sparse))[:, 0] for rig in alone]
    values = np.array([value for value, _ in posed])
    change = np.abs(rows[1] - rows[0])
    if not np.isfinite(change).all():
        return None
    index, rest, end = int(change.argmax()), int(np.abs(values).argmin()), int(np.abs(values - old.span[1]).argmin())
    return Effect(
        float(change[index]),
        float(values[index]),
        (float(rows[0][rest]), float(rows[1][rest])),
        (old.span[1], new.span[1]),
        (float(rows[0][end]), float(rows[1][end])),
        _opposite(old.reading, new.reading),
        same_reading=False,
    )


def _motion(old: Reading, new: Reading) -> Reading:
    """What to move: an angle without an axis of its own (a bend) about that of the new reading, if it has one."""
    before, after = kind_of(old), kind_of(new)
    turns = before.needs is Needs.TURN and after.needs is Needs.TURN and joints_of(old) == joints_of(new)
    return new if turns and before.axis is None and after.axis is not None else old


def _alone(rig: Rig, driver: Driver) -> Rig:
    """A rig with one strength and nothing that follows it."""
    return Rig(rig.character, rig.skeleton, rig.symmetry, rig.controls, strengths=(driver,))


def _opposite(old: Reading, new: Reading) -> bool:
    """Whether the same motion now counts the other way round."""
    axis = kind_of(old).axis
    if axis is None or not axis.signed or not same_sources(old, new):
        return False
    axes = [getattr(reading, axis.signed) for reading in (old, new)]
    size = prod(sqrt(sum(part * part for part in one)) for one in axes)
    return bool(sum(a * b for a, b in zip(*axes, strict=True)) < -_SQUARE * size)


# ---- combinations -----------------------------------------------------------------------------------------


class Mixture(NamedTuple):
    """The largest change of a combination, and the strengths of its parts where it is found."""

    largest: float
    parts: tuple[tuple[str, float], ...]
    before: float
    after: float


def combine_effect(old: Combine, new: Combine) -> Mixture | None:
    """Where two combinations differ most, over mixtures of 0, a half and 1; None for too many parts."""
    names = sorted({*parts_of(old.combination), *parts_of(new.combination)})
    if not names or len(names) > _MOST_PARTS:
        return None
    best: Mixture | None = None
    for values in product((0.0, 1.0, 0.5), repeat=len(names)):
        parts = dict(zip(names, values, strict=True))
        before, after = combined(old.combination, parts), combined(new.combination, parts)
        if best is None or abs(after - before) > best.largest + _NOTHING:
            best = Mixture(abs(after - before), tuple(parts.items()), before, after)
    return best
