"""What a change of a driver or a combination does to its strength, computed by evaluating both."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise, product
from math import isfinite, prod, sqrt
from typing import TYPE_CHECKING, Any, NamedTuple

from plica.diff.motion_range import motion_range
from plica.diff.strength_change import NOTHING, StrengthChange
from plica.diff.strength_comparison import StrengthComparison
from plica.kinds.curves import curve_knots, curve_problem
from plica.kinds.reading_kind import Reach
from plica.kinds.readings import Reading, controls_of, joints_of, kind_of
from plica.rig.combinations import parts_of
from plica.rig.strengths import Combination, Combine, Driver, StrengthOf
from plica.values import Curve

if TYPE_CHECKING:
    from plica.evaluate.poses import Array

_STEPS = 128  # half of those over a whole range; ends and knots are looked at exactly
_BETWEEN = 8  # steps from each of those to the next
_SQUARE = 1e-6  # axes whose cosine is nearer to 0 than this are square to each other, and no opposites
_MOST_PARTS = 8  # of a combination of which all mixtures of 0, a half and 1 are tried
_MIXTURES, _SEED = 4096, 42_000  # that are tried at random


class Effect(NamedTuple):
    """What became of a strength.

    `largest` is the largest change (0 to 1 for clamped strengths), at the old reading `at` (radians, metres or a
    control's unit); `rest` are the strengths in the rest pose, `reaches` the readings at which the old and the new
    strength are at the end of their span, `at_extreme` both strengths at the old one. `same_reading` tells whether both
    were given one reading, over all that it can be; else both were evaluated on poses over the motion of both,
    and the new reading was `now` where the change is largest; `poses` of the `possible` ones were compared.
    """

    largest: float
    at: float
    rest: tuple[float, float]
    reaches: tuple[float, float]
    at_extreme: tuple[float, float]
    flipped: bool
    same_reading: bool = True
    now: float = 0.0
    poses: int = 0
    possible: int = 0

    @property
    def rest_moved(self) -> bool:
        """Whether the strength in the rest pose changed."""
        return abs(self.rest[0] - self.rest[1]) > NOTHING

    @property
    def extreme_moved(self) -> bool:
        """Whether the full strength comes at another reading, or is another."""
        scale = max(1e-12, *map(abs, self.reaches))
        moved = abs(self.reaches[0] - self.reaches[1]) > 1e-9 * scale
        return moved or abs(self.at_extreme[0] - self.at_extreme[1]) > NOTHING

    @property
    def is_nothing(self) -> bool:
        """Whether the strengths are the same everywhere."""
        return self.largest <= NOTHING and not self.flipped


class Response(NamedTuple):
    """What turns a reading into a strength."""

    span: tuple[float, float]
    clamped: bool
    curve: Curve


def response_of(driver: Driver) -> Response:
    """The parts of a driver that do not say what it reads."""
    return Response(driver.span, driver.clamped, driver.curve)


def driver_effect(old: Driver, new: Driver, comparison: StrengthComparison) -> Effect | None:
    """What a driver's change does; None where it cannot be evaluated, or where the two have nothing in common.

    The number that is read is the same in every pose where the reading, the joints' rest and the control's rest are;
    then a response is all that changed.
    """
    before, after = comparison.sources
    former = before.strengths.get(new.name)
    if not isinstance(former, Driver):
        return None
    span, clamped, curve = new.span, new.clamped, new.curve
    if before.meaning(former._replace(span=span, clamped=clamped, curve=curve)) == after.meaning(new):
        return response_effect(response_of(old), response_of(new), kind_of(new.reading).reach)
    change = comparison.change_of(new.name)
    return None if change is None else _effect_of(old, new, change)


def _effect_of(old: Driver, new: Driver, change: StrengthChange) -> Effect:
    """What was computed over poses as an effect."""
    at, now = change.at or (0.0, 0.0)
    reaches = (old.span[1], new.span[1])
    extreme = change.extreme or (0.0, 0.0)
    flipped = _opposite(old.reading, new.reading)
    return Effect(change.largest, at, change.rest, reaches, extreme, flipped, False, now, change.poses, change.possible)


def same_sources(old: Reading, new: Reading) -> bool:
    """Whether two readings are of one kind, and of the same joints or controls."""
    one, other = ((kind_of(reading), joints_of(reading), controls_of(reading)) for reading in (old, new))
    return one == other


@lru_cache(maxsize=4096)
def response_effect(old: Response, new: Response, reach: Reach | None = None) -> Effect | None:
    """The effect of another span or curve, over all that the reading can be; None for bad values."""
    if not (_is_sound(old) and _is_sound(new)):
        return None
    inside = readings_of(old, new)
    readings = readings_of(old, new, motion_range(reach, (*old.span, *new.span)))
    result = _compared(old, new, readings)
    shown = _compared(old, new, inside)
    if result is None or shown is None:
        return None
    # Where what lies beyond both spans is no worse, the place that is shown is one between their ends.
    return shown if result.largest <= shown.largest + NOTHING else result


def _is_sound(response: Response) -> bool:
    """Whether a span and a curve can be evaluated; those of a rig that was checked always can."""
    start, stop = response.span
    return isfinite(start) and isfinite(stop) and start != stop and curve_problem(response.curve) is None


def readings_of(old: Response, new: Response, further: tuple[float, ...] = ()) -> Array:
    """The readings at which two responses are compared: rest, all ends and knots, steps between each of them, and steps
    over the whole range from the lowest to the highest, rising.
    """
    import numpy as np

    ends = (*old.span, *new.span, *further)
    knots = [
        start + (stop - start) * knot
        for (start, stop), _, curve in (old, new)
        for knot in curve_knots(curve) or (0.0, 1.0)
    ]
    low, high = min(ends), max(ends)
    exact = np.unique([*knots, *ends, *([0.0] if low <= 0.0 <= high else [])])
    between = [np.linspace(start, stop, _BETWEEN + 1) for start, stop in pairwise(exact.tolist())]
    return np.unique(np.concatenate([np.linspace(low, high, 2 * _STEPS + 1), exact, *between]))


def strengths_at(response: Response, readings: Array) -> Array:
    """The strengths at readings."""
    from plica.evaluate import curve_values

    start, stop = response.span
    return curve_values(response.curve, (readings - start) / (stop - start), response.clamped)


def _compared(old: Response, new: Response, readings: Array) -> Effect | None:
    import numpy as np

    before, after = strengths_at(old, readings), strengths_at(new, readings)
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
        _rises(old) != _rises(new),
    )


def _rises(response: Response) -> bool:
    """Whether the strength goes up with the reading, from end to end of the span."""
    import numpy as np

    start, stop = response.span
    first, last = strengths_at(response, np.array([start, stop]))
    return bool((last >= first) == (stop > start))


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
    """The largest change of a combination, and the strengths of its parts where it is found.

    `is_proven`: that both are the same follows from how they are put together, and not only from what was tried.
    """

    largest: float
    parts: tuple[tuple[str, float], ...]
    before: float
    after: float
    is_proven: bool = False


def combine_effect(old: Combine, new: Combine, are_open: bool = False) -> Mixture | None:
    """Where two combinations of the same strengths differ most, over mixtures of 0, a half and 1, the first that is
    worst, and random ones; of parts that may leave 0 to 1 (`are_open`) also beyond. None where there are no parts.
    """
    import numpy as np

    names = sorted({*parts_of(old.combination), *parts_of(new.combination)})
    if not names:
        return None
    values = _mixtures(len(names), are_open)
    rows = dict(zip(names, values.T, strict=True))
    before, after = (_combined(one.combination, rows) for one in (old, new))
    change = np.abs(after - before)
    index = int((change > change.max() - NOTHING).argmax())
    parts = tuple((name, float(row[index])) for name, row in rows.items())
    proven = _canonical(old.combination) == _canonical(new.combination)
    return Mixture(float(change[index]), parts, float(before[index]), float(after[index]), proven)


@lru_cache(maxsize=64)
def _mixtures(count: int, are_open: bool) -> Array:
    """Strengths of so many parts, (mixtures, parts)."""
    import numpy as np

    source = np.random.default_rng(_SEED)
    low, high = (-0.5, 1.5) if are_open else (0.0, 1.0)
    anywhere = source.uniform(low, high, (_MIXTURES, count))
    ends = source.choice([low, 0.0, 1.0, high], (_MIXTURES, count))
    mixed = np.where(source.random((_MIXTURES, count)) < 0.5, anywhere, ends)
    tried = [np.array([*product((0.0, 1.0, 0.5), repeat=count)])] if count <= _MOST_PARTS else []
    return np.concatenate([*tried, anywhere, mixed])


def _combined(combination: Combination, rows: dict[str, Array]) -> Array:
    from plica.evaluate.combinations import combined_rows

    parts = [
        rows[part.strength] if isinstance(part, StrengthOf) else _combined(part, rows) for part in combination.parts
    ]
    return combined_rows(combination.how, parts)


def _canonical(combination: Combination) -> tuple[Any, ...]:
    """A combination with its parts in one order: none of the ways to combine depends on it."""
    parts = [part.strength if isinstance(part, StrengthOf) else _canonical(part) for part in combination.parts]
    return combination.how, tuple(sorted(parts, key=repr))
