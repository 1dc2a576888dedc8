"""Response curves as knots with slopes: where the slopes of a curve through points come from.

Evaluators only ever see cubics, so the methods live here, in plain Python.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import hypot

from plica.rounding import rounded_number
from plica.values import LINEAR, Bezier, Curve, Hermite, Points

Point = tuple[float, float]

# cubic-bezier keywords of W3C CSS Easing Functions Level 1, section 2.3.
EASINGS: dict[str, tuple[float, float, float, float]] = {
    "ease": (0.25, 0.1, 0.25, 1.0),
    "ease-in": (0.42, 0.0, 1.0, 1.0),
    "ease-out": (0.0, 0.0, 0.58, 1.0),
    "ease-in-out": (0.42, 0.0, 0.58, 1.0),
}

# 3 x^2 - 2 x^3: level at both ends.
SMOOTH = Hermite("smooth", ((0.0, 0.0, 0.0), (1.0, 1.0, 0.0)))


READY_CURVES: Mapping[str, Curve] = {
    "linear": LINEAR,
    "smooth": SMOOTH,
    **{name: Bezier(controls) for name, controls in EASINGS.items()},
}
"""The curves that a name alone says."""


def _secants(x: Sequence[float], y: Sequence[float]) -> list[float]:
    return [(y[i + 1] - y[i]) / (x[i + 1] - x[i]) for i in range(len(x) - 1)]


def _end_slope(near: float, far: float, near_secant: float, far_secant: float) -> float:
    """The one-sided three-point difference, kept monotone (Fritsch and Butland 1984, as in PCHIP)."""
    slope = ((2 * near + far) * near_secant - near * far_secant) / (near + far)
    if slope * near_secant <= 0:
        return 0.0
    if near_secant * far_secant <= 0 and abs(slope) > 3 * abs(near_secant):
        return 3 * near_secant
    return slope


def _slopes(x: Sequence[float], y: Sequence[float], mean: Callable[[float, float, float, float], float]) -> list[float]:
    """Slopes at every point: between two steps that go the same way the `mean` of their secants, at a turn 0."""
    secants = _secants(x, y)
    steps = [x[i + 1] - x[i] for i in range(len(x) - 1)]
    if len(secants) == 1:
        return [secants[0], secants[0]]
    slopes = [0.0] * len(x)
    for i in range(1, len(x) - 1):
        if secants[i - 1] * secants[i] > 0:
            slopes[i] = mean(steps[i - 1], steps[i], secants[i - 1], secants[i])
    slopes[0] = _end_slope(steps[0], steps[1], secants[0], secants[1])
    slopes[-1] = _end_slope(steps[-1], steps[-2], secants[-1], secants[-2])
    return slopes


def _three_point(step: float, next_step: float, secant: float, next_secant: float) -> float:
    return (next_step * secant + step * next_secant) / (step + next_step)


def _harmonic_mean(step: float, next_step: float, secant: float, next_secant: float) -> float:
    before, after = 2 * next_step + step, next_step + 2 * step
    return (before + after) / (before / secant + after / next_secant)


def monotone_slopes(x: Sequence[float], y: Sequence[float]) -> list[float]:
    """Slopes of the monotone cubic of Fritsch and Carlson (SIAM J. Numer. Anal. 17 (1980) 238-246).

    Three-point differences first; then on every step the pair of slopes, in units of the step's secant, is
    pulled back onto the circle of radius 3 where it lies outside. `x` rises strictly; at least 2 points.
    """
    slopes = _slopes(x, y, _three_point)
    for i, secant in enumerate(_secants(x, y)):
        if secant == 0.0:
            slopes[i] = slopes[i + 1] = 0.0
            continue
        size = hypot(slopes[i] / secant, slopes[i + 1] / secant)
        if size > 3:
            slopes[i] *= 3 / size
            slopes[i + 1] *= 3 / size
    return slopes


def harmonic_slopes(x: Sequence[float], y: Sequence[float]) -> list[float]:
    """Slopes as weighted harmonic means of the neighbouring secants (Fritsch and Butland 1984; PCHIP)."""
    return _slopes(x, y, _harmonic_mean)


def _harmonic(points: Sequence[Point]) -> Curve:
    across, up = zip(*points, strict=True)
    return Hermite("harmonic", tuple(zip(across, up, map(rounded_number, harmonic_slopes(across, up)), strict=True)))


def _monotone(points: Sequence[Point]) -> Curve:
    across, up = zip(*points, strict=True)
    return Hermite("monotone", tuple(zip(across, up, map(rounded_number, monotone_slopes(across, up)), strict=True)))


POINT_CURVES: Mapping[str, Callable[[Sequence[Point]], Curve]] = {
    "linear": lambda points: Points(tuple(points)),
    "harmonic": _harmonic,
    "monotone": _monotone,
}
"""The curves through points, by the word before the points (`monotone` is not written)."""
