"""Response curves as lines of a drawing (SVG 2), and the frame that the page's script puts present readings into."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.curves import curve_values
from plica.rig.strengths import Driver

WIDTH: Final = 320.0
HEIGHT: Final = 96.0
PAD: Final = 6.0
STEPS: Final = 48


class PlotFrame(NamedTuple):
    """What a plot covers: readings and strengths."""

    low: float
    high: float
    least: float
    greatest: float

    def x(self, reading: float) -> float:
        """Across, in the drawing's units."""
        return PAD + (WIDTH - 2.0 * PAD) * (reading - self.low) / ((self.high - self.low) or 1.0)

    def y(self, strength: float) -> float:
        """Down, in the drawing's units."""
        return HEIGHT - PAD - (HEIGHT - 2.0 * PAD) * (strength - self.least) / ((self.greatest - self.least) or 1.0)


class PlotLine(NamedTuple):
    """Readings and the strengths that they give."""

    readings: tuple[float, ...]
    strengths: tuple[float, ...]


def response(driver: Driver, ends: tuple[float, float]) -> PlotLine:
    """A driver's curve over a range of readings, with its knees."""
    start, stop = driver.span
    readings = np.unique(np.concatenate([np.linspace(*ends, STEPS), np.clip([start, stop, 0.0], *ends)]))
    strengths = curve_values(driver.curve, (readings - start) / (stop - start), driver.clamped)
    return PlotLine(tuple(readings.tolist()), tuple(strengths.tolist()))


def frame_around(curves: Sequence[PlotLine]) -> PlotFrame:
    """A frame that holds all of them, and strengths from 0 to 1 at least."""
    readings = [value for curve in curves for value in curve.readings]
    strengths = [value for curve in curves for value in curve.strengths]
    return PlotFrame(min(readings), max(readings), min(0.0, *strengths), max(1.0, *strengths))


def path(curve: PlotLine, frame: PlotFrame) -> str:
    """The line of a curve; points that lie on the straight way between their neighbours are left out."""
    points = [
        (frame.x(reading), frame.y(value)) for reading, value in zip(curve.readings, curve.strengths, strict=True)
    ]
    kept = [points[0]]
    for before, here in pairwise(points[1:]):
        (x0, y0), (x1, y1), (x2, y2) = kept[-1], before, here
        if abs((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)) > 0.05 * abs(x2 - x0):
            kept.append(before)
    kept.append(points[-1])
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in kept)
