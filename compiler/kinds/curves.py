"""The kinds of response curves. How each is evaluated over arrays stands in `plica.evaluate.curves`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Any, Final, NamedTuple, get_args

from plica.kinds.complete import complete
from plica.quantities import number
from plica.values import Bezier, Curve, Hermite, Linear, Points

Written = Callable[[float], str]
"""Writes a number."""


class CurveProblem(NamedTuple):
    """What keeps a curve from being evaluated, and the field of it that is wrong."""

    field: str
    text: str


class CurveKind(NamedTuple):
    """A kind of curve: its name, and the class that holds one.

    `text`: as one would write it, with numbers as a function writes them. `knots`: the shares at which its pieces meet,
    both ends too; none for one piece. `problem`: what is wrong with one that was not made by the compiler.
    """

    name: str
    of: type
    text: Callable[[Any, Written], str]
    knots: Callable[[Any], tuple[float, ...]]
    problem: Callable[[Any], CurveProblem | None]


def _nothing(_: Curve) -> tuple[float, ...]:
    return ()


def _sound(_: Curve) -> None:
    return None


def _rising(field: str) -> Callable[[Points | Hermite], CurveProblem | None]:
    def problem(curve: Points | Hermite) -> CurveProblem | None:
        shares = [entry[0] for entry in getattr(curve, field)]
        rising = all(before < after for before, after in pairwise(shares))
        if len(shares) < 2 or shares[0] != 0.0 or shares[-1] != 1.0 or not rising:
            return CurveProblem(field, "the first numbers must rise from 0 to 1")
        return None

    return problem


def _points_text(curve: Points, written: Written) -> str:
    return "linear " + ", ".join(f"{written(x)} {written(y)}" for x, y in curve.points)


def _hermite_text(curve: Hermite, written: Written) -> str:
    points = ", ".join(f"{written(x)} {written(y)}" for x, y, _ in curve.knots)
    return curve.method if curve.method == "smooth" else f"{curve.method} {points}"


def _bezier_text(curve: Bezier, written: Written) -> str:
    return "bezier " + " ".join(map(written, curve.controls))


def _bezier_problem(curve: Bezier) -> CurveProblem | None:
    if 0.0 <= curve.controls[0] <= 1.0 and 0.0 <= curve.controls[2] <= 1.0:
        return None
    return CurveProblem("controls", "the first and the third number must lie in 0..1")


_KINDS: Final = (
    CurveKind("linear", Linear, lambda *_: "linear", _nothing, _sound),
    CurveKind(
        "points", Points, _points_text, lambda curve: tuple(point[0] for point in curve.points), _rising("points")
    ),
    CurveKind(
        "hermite", Hermite, _hermite_text, lambda curve: tuple(knot[0] for knot in curve.knots), _rising("knots")
    ),
    CurveKind("bezier", Bezier, _bezier_text, _nothing, _bezier_problem),
)
CURVE_KINDS: Final[Mapping[type, CurveKind]] = complete({kind.of: kind for kind in _KINDS}, get_args(Curve), "record")
CURVE_NAMES: Final = tuple(kind.name for kind in _KINDS)


def curve_text(curve: Curve, written: Written = number) -> str:
    """A curve as one would write it."""
    return CURVE_KINDS[type(curve)].text(curve, written)


def curve_knots(curve: Curve) -> tuple[float, ...]:
    """The shares of the span at which the pieces of a curve meet, both ends too; none for a curve of one piece."""
    return CURVE_KINDS[type(curve)].knots(curve)


def curve_problem(curve: Curve) -> CurveProblem | None:
    """What keeps a curve from being evaluated; None where nothing does."""
    return CURVE_KINDS[type(curve)].problem(curve)
