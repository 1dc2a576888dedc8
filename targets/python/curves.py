"""Curves as small functions of a generated module; drivers with the same curve share one."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple, assert_never

from plica.emit.generated_code import Language, Return, Statement, When, assign
from plica.targets.python.arithmetic import called, less, number, total
from plica.values import Bezier, Curve, Hermite, Linear, Points

Knot = tuple[float, float, float]


def response(curve: Curve, clamped: bool, name: str, language: Language) -> str:
    """The function `name` from a share of the span to a strength, as source text."""
    match curve:
        case Linear():
            raise ValueError("straight lines are written where they are used")
        case Bezier():
            body = _bezier(curve, clamped, language)
        case Points() | Hermite():
            body = _pieces(curve, clamped)
        case _:
            assert_never(curve)
    clipped = language.choice([("s < 0.0", "0.0"), ("s > 1.0", "1.0")], "s")
    return language.function(name, ["u"], [*body, Return(clipped if clamped else "s")])


def _ends(ends: tuple[float, float], slopes: tuple[float, float], clamped: bool) -> list[Statement]:
    """What stands before and beyond the span: the end values, or straight lines with the end slopes."""
    if clamped:
        before, after = (number(min(max(end, 0.0), 1.0)) for end in ends)
    else:
        before, after = _line(ends[0], slopes[0], "u"), _line(ends[1], slopes[1], "(u - 1.0)")
    return [When("u <= 0.0", (Return(before),)), When("u >= 1.0", (Return(after),))]


def _line(start: float, slope: float, along: str) -> str:
    rise = total([(slope, along)])
    return less(rise, -start) if rise else number(start)


def _pieces(curve: Points | Hermite, clamped: bool) -> list[Statement]:
    """A tree of comparisons that finds the segment; each segment is a polynomial of the distance to its start."""
    segments = _segments(curve)
    slopes = (segments[0].slope_at_start, segments[-1].slope_at_end)
    return [*_ends((segments[0].coefficients[0], segments[-1].end), slopes, clamped), *_choice(segments)]


class _Segment(NamedTuple):
    """A polynomial of t = u - start, lowest power first; `end` is its value at the next segment's start."""

    start: float
    coefficients: tuple[float, ...]
    end: float
    slope_at_start: float
    slope_at_end: float


def _segments(curve: Points | Hermite) -> list[_Segment]:
    if isinstance(curve, Points):
        result = []
        for (x0, y0), (x1, y1) in pairwise(curve.points):
            secant = (y1 - y0) / (x1 - x0)
            result.append(_Segment(x0, (y0, secant), y1, secant, secant))
        return result
    return [_cubic(*pair) for pair in pairwise(curve.knots)]


def _cubic(start: Knot, end: Knot) -> _Segment:
    """The cubic with the values and slopes of two knots, in powers of the distance to the first."""
    (x0, y0, m0), (x1, y1, m1) = start, end
    width, secant = x1 - x0, (y1 - y0) / (x1 - x0)
    square, cube = (3 * secant - 2 * m0 - m1) / width, (m0 + m1 - 2 * secant) / (width * width)
    return _Segment(x0, (y0, m0, square, cube), y1, m0, m1)


def _choice(segments: Sequence[_Segment]) -> tuple[Statement, ...]:
    """Nested comparisons that find the segment in as few steps as possible."""
    if len(segments) == 1:
        return assign("t", less("u", segments[0].start)), assign("s", _horner(segments[0].coefficients))
    middle = len(segments) // 2
    condition = f"u < {number(segments[middle].start)}"
    return (When(condition, _choice(segments[:middle]), _choice(segments[middle:])),)


def _horner(coefficients: Sequence[float]) -> str:
    """A polynomial of t, lowest power first, by Horner's rule."""
    text, compound = number(coefficients[-1]), False
    for coefficient in reversed(coefficients[:-1]):
        product = f"t * ({text})" if compound else f"t * {text}"
        text, compound = less(product, -coefficient), coefficient != 0.0
    return text


def _bezier(curve: Bezier, clamped: bool, language: Language) -> list[Statement]:
    eased = called(language.function_name("easing"), "u", *map(number, curve.controls))
    return [*_ends((0.0, 1.0), bezier_end_slopes(curve), clamped), assign("s", eased)]


def bezier_end_slopes(curve: Bezier) -> tuple[float, float]:
    """The slopes with which an easing goes on outside 0..1: along its end tangents.

    The line through the end and the nearer control point, or the farther one where the nearer has the end's x; level
    where both have (CSS Easing Functions Level 2, W3C: inputs outside 0..1).
    """
    x1, y1, x2, y2 = curve.controls
    return _tangent(x1, y1, x2, y2), _tangent(1.0 - x2, 1.0 - y2, 1.0 - x1, 1.0 - y1)


def _tangent(near_x: float, near_y: float, far_x: float, far_y: float) -> float:
    if near_x > 0.0:
        return near_y / near_x
    return far_y / far_x if far_x > 0.0 else 0.0
