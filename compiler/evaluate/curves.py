"""Response curves over arrays: shares of the span to strengths."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import assert_never

import numpy as np
from numpy.typing import ArrayLike, NDArray

from plica.evaluate.easing import Easing
from plica.evaluate.poses import Array
from plica.values import Bezier, Curve, Hermite, Linear, Points

# From here on a binary search for the segment is faster than comparing with every knot.
_KNOTS_WORTH_A_SEARCH = 24


@dataclass(frozen=True, eq=False)
class PreparedCurve:
    """A curve with everything that does not depend on the shares worked out.

    `inside` takes shares in 0..1. Outside, the curve goes on as straight lines with the slopes `before` and
    `after`; `stays` tells that `inside` never leaves 0..1.
    """

    inside: Callable[[Array], Array]
    before: float
    after: float
    stays: bool

    def clamped(self, shares: Array) -> Array:
        """The strengths, shares and strengths clamped to 0..1; `shares` is used as scratch space."""
        np.clip(shares, 0.0, 1.0, out=shares)
        values = self.inside(shares)
        return values if self.stays else np.clip(values, 0.0, 1.0, out=values)

    def open(self, shares: Array) -> Array:
        """The strengths, going on straight beyond both ends."""
        values = self.inside(np.clip(shares, 0.0, 1.0))
        below = np.minimum(shares, 0.0) * self.before
        above = np.maximum(shares - 1.0, 0.0) * self.after
        return values + below + above


@lru_cache(maxsize=1024)  # a few curves serve whole rigs
def prepare(curve: Curve) -> PreparedCurve:
    """The curve, ready to be evaluated many times."""
    match curve:
        case Linear():
            return PreparedCurve(lambda shares: shares, 1.0, 1.0, stays=True)
        case Points():
            return _points(curve)
        case Hermite():
            return _hermite(curve)
        case Bezier():
            return _bezier(curve)
        case _:
            assert_never(curve)


def curve_values(curve: Curve, shares: ArrayLike, clamped: bool = True) -> Array:
    """One curve at any shares of the span, of any shape; as `plica.rig.strengths.Driver` says.

    Clamped, shares and values are clipped to 0..1. Else the curve goes on along its end tangents: the line
    itself, the end segments of points, the end slopes of cubics, and for easings the rule of CSS Easing
    Functions.
    """
    given = np.array(shares, dtype=np.float64)
    flat = given.reshape(-1)
    values = prepare(curve).clamped(flat) if clamped else prepare(curve).open(flat)
    return values.reshape(given.shape)


def _segments(knots: Array, shares: Array) -> NDArray[np.intp]:
    """The index of the segment that each share lies in; a knot belongs to the segment it starts."""
    inner = knots[1:-1]
    if len(inner) > _KNOTS_WORTH_A_SEARCH:
        return np.searchsorted(inner, shares, side="right").astype(np.intp)
    result = np.zeros(shares.shape, dtype=np.intp)
    for knot in inner:
        result += shares >= knot
    return result


def _points(curve: Points) -> PreparedCurve:
    x, y = np.array(curve.points, dtype=np.float64).T
    width = np.diff(x)

    def inside(shares: Array) -> Array:
        segment = _segments(x, shares)
        t = (shares - x.take(segment)) / width.take(segment)
        # The weighted form, and not start + t * rise, hits both ends exactly.
        result: Array = y.take(segment) * (1.0 - t) + y.take(segment + 1) * t
        return result

    slopes = np.diff(y) / width
    stays = bool((y >= 0).all() and (y <= 1).all())
    return PreparedCurve(inside, float(slopes[0]), float(slopes[-1]), stays)


def _hermite(curve: Hermite) -> PreparedCurve:
    """Cubic Hermite basis functions, factored with r = 1 - t so that a segment's ends are hit exactly."""
    x, y, slope = np.array(curve.knots, dtype=np.float64).T
    width = np.diff(x)
    start_rise, end_rise = width * slope[:-1], width * slope[1:]

    def inside(shares: Array) -> Array:
        at = _segments(x, shares)
        t = (shares - x.take(at)) / width.take(at)
        return _cubic(t, y.take(at), y.take(at + 1), start_rise.take(at), end_rise.take(at))

    def single(shares: Array) -> Array:
        return _cubic(shares, float(y[0]), float(y[1]), float(start_rise[0]), float(end_rise[0]))

    evaluated = single if len(width) == 1 else inside
    return PreparedCurve(evaluated, float(slope[0]), float(slope[-1]), stays=False)


def _cubic(
    t: Array, start: Array | float, end: Array | float, start_rise: Array | float, end_rise: Array | float
) -> Array:
    """r^2 ((1 + 2 t) start + t start_rise) + t^2 ((1 + 2 r) end - r end_rise)."""
    r = 1.0 - t
    first: Array = (1.0 + 2.0 * t) * start + t * start_rise
    second: Array = (1.0 + 2.0 * r) * end - r * end_rise
    first *= r * r
    second *= t * t
    first += second
    return first


def _bezier(curve: Bezier) -> PreparedCurve:
    easing = Easing(curve.controls)
    before, after = easing.end_slopes
    return PreparedCurve(easing, before, after, stays=False)
