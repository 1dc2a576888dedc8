"""How far every driver's reading travels in real motion, and the span that this suggests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.diagnostics import Diagnostics
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.retarget import poses_from_clip
from plica.prove.quantities import unit_of_driver
from plica.quantities import measured, whole
from plica.readers.clip import Clip
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.source import Span
from plica.values import Side

Floats = NDArray[np.float64]

PERCENTILES: Final = (1, 5, 25, 50, 75, 95, 99)
# A reading is near an extreme within this share of its whole travel.
NEAR: Final = 0.05
# A span is not reached, or exceeded, if the extreme is further from its end than this share of it.
ALLOWANCE: Final = 0.02
# Readings that travel less than this (radians, metres, a control's unit) do not move: noise of stored numbers.
STILL: Final = 1e-5


@dataclass(frozen=True)
class Extreme:
    """A value of a reading, the clip and the second it was met at, and for how many seconds it stayed near."""

    value: float
    clip: str
    seconds: float
    near: float


@dataclass(frozen=True)
class Travel:
    """What a driver's reading did in all clips together, in radians, metres or a control's unit.

    `percentiles` are weighted with the time that each frame stands. `suggested` is the span from the reading that is
    nearest to rest to the one that is furthest the way that the spec's own span goes; None where it never goes there.
    """

    driver: str
    declared: str
    side: Side
    unit: str
    span: tuple[float, float]
    least: Extreme
    greatest: Extreme
    percentiles: tuple[float, ...]
    suggested: tuple[float, float] | None

    @property
    def moves(self) -> bool:
        """Whether the reading moves at all."""
        return self.greatest.value - self.least.value > STILL

    @property
    def reached(self) -> float:
        """The share of the spec's span that was reached; more than 1 where motion went beyond it."""
        start, end = self.span
        furthest = self.greatest.value if end > start else self.least.value
        return (furthest - start) / (end - start)


@dataclass(frozen=True)
class ClipLength:
    """A clip that was read: frames and seconds within the part that was asked for."""

    clip: str
    frames: int
    seconds: float


@dataclass(frozen=True)
class Travels:
    """Every driver's travel, in the rig's order, and the clips it was measured over."""

    clips: tuple[ClipLength, ...]
    travels: tuple[Travel, ...]


def measure_travels(
    rig: Rig, clips: Sequence[Clip], diagnostics: Diagnostics, span_of: dict[str, Span] | None = None
) -> Travels:
    """The travel of every driver; `span_of` says where drivers were declared. Clips without frames are passed over.

    Frames are weighted with the time they stand: half of the way to each neighbour.
    """
    spans = span_of or {}
    used = [clip for clip in clips if len(clip.times)]
    evaluator = Evaluator(rig)
    tables = [evaluator.readings(poses_from_clip(rig, clip, diagnostics)) for clip in used]
    lengths = tuple(ClipLength(clip.name, len(clip.times), float(clip.times[-1] - clip.times[0])) for clip in used)
    drivers = [strength for strength in rig.strengths if isinstance(strength, Driver)]
    if not used:
        return Travels((), ())
    track = _Track(
        np.concatenate([clip.times for clip in used]),
        np.concatenate([_standing(clip.times) for clip in used]),
        np.repeat(np.arange(len(used)), [len(clip.times) for clip in used]),
        [clip.name for clip in used],
    )
    values = np.concatenate(tables)
    travels = tuple(
        _travel(driver, values[:, column], track, unit_of_driver(driver, spans.get(driver.name)))
        for column, driver in enumerate(drivers)
    )
    return Travels(lengths, travels)


@dataclass(frozen=True, eq=False)
class _Track:
    """All frames of all clips: seconds, how long each stands, and its clip."""

    seconds: Floats
    standing: Floats
    clip: NDArray[np.int64]
    names: list[str]

    def extreme(self, values: Floats, at: int, near: NDArray[np.bool_]) -> Extreme:
        return Extreme(
            float(values[at]), self.names[self.clip[at]], float(self.seconds[at]), float(self.standing[near].sum())
        )


def _standing(times: Floats) -> Floats:
    if len(times) < 2:
        return np.ones(len(times))
    steps = np.diff(times)
    result = np.zeros(len(times))
    result[:-1] += steps / 2.0
    result[1:] += steps / 2.0
    return result


def _travel(driver: Driver, values: Floats, track: _Track, unit: str) -> Travel:
    low, high = int(values.argmin()), int(values.argmax())
    reach = NEAR * float(values[high] - values[low])
    return Travel(
        driver=driver.name,
        declared=driver.declared,
        side=driver.side,
        unit=unit,
        span=driver.span,
        least=track.extreme(values, low, values <= values[low] + reach),
        greatest=track.extreme(values, high, values >= values[high] - reach),
        percentiles=_percentiles(values, track.standing),
        suggested=suggested_span(driver.span, float(values[low]), float(values[high])),
    )


def _percentiles(values: Floats, weights: Floats) -> tuple[float, ...]:
    """The smallest value below which each share of the time lies (the inverse of the distribution function)."""
    order = np.argsort(values, kind="stable")
    share = np.cumsum(weights[order])
    places = np.searchsorted(share, np.array(PERCENTILES) / 100.0 * share[-1] * (1 - 1e-12))
    return tuple(values[order][np.minimum(places, len(values) - 1)].tolist())


def suggested_span(span: tuple[float, float], least: float, greatest: float) -> tuple[float, float] | None:
    """The span from motion: the way that the spec's span goes, never from the other side of rest.

    A driver must be off at rest, where every reading is 0; so the start is at 0 where motion crosses it.
    """
    if span[1] > span[0]:
        start, end = max(0.0, least), greatest
    else:
        start, end = min(0.0, greatest), least
    travel = end - start if span[1] > span[0] else start - end
    return (start, end) if travel > STILL else None


def joined_spans(travels: Sequence[Travel]) -> dict[str, tuple[float, float]]:
    """One suggested span for each declared driver: that of both sides together."""
    result: dict[str, tuple[float, float]] = {}
    for travel in travels:
        if travel.suggested is None:
            continue
        start, end = travel.suggested
        if travel.declared in result:
            other = result[travel.declared]
            pick = (min, max) if end > start else (max, min)
            start, end = pick[0](start, other[0]), pick[1](end, other[1])
        result[travel.declared] = (start, end)
    return result


def report_travels(travels: Travels, diagnostics: Diagnostics, span_of: dict[str, Span]) -> None:
    """Warn where motion does not reach a span's end, or goes beyond it; note what does not move."""
    still = [travel.driver for travel in travels.travels if not travel.moves]
    if still:
        diagnostics.add("readings-still", None, drivers=", ".join(f"`{name}`" for name in still))
    for travel in travels.travels:
        if not travel.moves:
            continue
        rule = _rule_of(travel.reached)
        if rule is None:
            continue
        start, end = travel.span
        furthest = travel.greatest if end > start else travel.least
        diagnostics.add(
            rule,
            span_of.get(travel.driver),
            driver=travel.driver,
            reached=measured(furthest.value, travel.unit),
            end=measured(end, travel.unit),
            share=whole(travel.reached, "%"),
            clip=furthest.clip,
        )


def _rule_of(reached: float) -> str | None:
    """What is wrong with a span of which this share was reached."""
    if reached < 1 - ALLOWANCE:
        return "span-not-reached"
    return "span-exceeded" if reached > 1 + ALLOWANCE else None
