"""Response curves as nodes: each over a share of the span from 0 to 1."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Any, Final

from plica.evaluate.curves import PreparedCurve, prepare
from plica.kinds.complete import complete
from plica.kinds.curves import CURVE_KINDS
from plica.targets.gltf.live.arithmetic import Arithmetic
from plica.targets.gltf.live.easing import eased
from plica.targets.gltf.live.graph import Output
from plica.values import Bezier, Curve, Hermite, Linear, Points


def response(build: Arithmetic, curve: Curve, share: Output) -> Output:
    """The strength at a share of the span, both cut to 0..1."""
    value = _CURVES[type(curve)](build, curve, build.applied("saturate", share))
    return value if prepare(curve).stays or _keeps_inside(curve) else build.applied("saturate", value)


def open_response(build: Arithmetic, curve: Curve, share: Output) -> Output:
    """The strength at any share: beyond both ends the curve goes on straight."""
    if isinstance(curve, Linear):
        return share
    ends: PreparedCurve = prepare(curve)
    value = _CURVES[type(curve)](build, curve, build.applied("saturate", share))
    if ends.before:
        value = build.add(value, build.multiply(build.least(share, 0.0), ends.before))
    if ends.after:
        beyond = build.greatest(build.subtract(share, 1.0), 0.0)
        value = build.add(value, build.multiply(beyond, ends.after))
    return value


def _keeps_inside(curve: Curve) -> bool:
    """Whether cubics stay within 0..1: all of their Bezier control values do."""
    if not isinstance(curve, Hermite):
        return False
    values = [entry[1] for entry in curve.knots]
    for (x0, y0, m0), (x1, y1, m1) in pairwise(curve.knots):
        third = (x1 - x0) / 3.0
        values += [y0 + m0 * third, y1 - m1 * third]
    return all(0.0 <= value <= 1.0 for value in values)


def _linear(_build: Arithmetic, _curve: Linear, share: Output) -> Output:
    return share


def _points(build: Arithmetic, curve: Points, share: Output) -> Output:
    pieces = []
    for (x0, y0), (x1, y1) in pairwise(curve.points):
        slope = (y1 - y0) / (x1 - x0)
        pieces.append((slope, y0 - slope * x0))
    return _piecewise(build, share, [point[0] for point in curve.points], pieces)


def _hermite(build: Arithmetic, curve: Hermite, share: Output) -> Output:
    pieces = []
    for (x0, y0, m0), (x1, y1, m1) in pairwise(curve.knots):
        width = x1 - x0
        cubic = (2.0 * (y0 - y1) + width * (m0 + m1)) / width**3
        square = (3.0 * (y1 - y0) - width * (2.0 * m0 + m1)) / width**2
        # From powers of (share - x0) to powers of the share.
        pieces.append(
            (
                cubic,
                square - 3.0 * cubic * x0,
                m0 - 2.0 * square * x0 + 3.0 * cubic * x0**2,
                y0 - m0 * x0 + square * x0**2 - cubic * x0**3,
            )
        )
    return _piecewise(build, share, [knot[0] for knot in curve.knots], pieces)


def _piecewise(build: Arithmetic, share: Output, knots: Sequence[float], pieces: Sequence[Sequence[float]]) -> Output:
    """Polynomials between knots, given by their coefficients from the highest power down to the constant."""
    if len(pieces) == 1 and pieces[0][-1] == 0.0:
        pieces = [pieces[0][:-1]]
    powers: list[Output | float] = [share]
    if len(knots) and len(pieces[0]) > 2:
        square = build.multiply(share, share)
        powers = [build.multiply(square, share), square, share]
    if len(pieces) > 1 or len(pieces[0]) > len(powers):
        powers.append(1.0)
    if len(powers) == 1:
        return build.multiply(share, pieces[0][0])
    terms = build.combined(*powers)
    if len(pieces) == 1:
        return build.dot(terms, pieces[0])
    chosen: Output | Sequence[float] = pieces[-1]
    for knot, piece in zip(reversed(knots[1:-1]), reversed(pieces[:-1]), strict=True):
        chosen = build.chosen(build.compared("lt", share, knot), piece, chosen)
    assert isinstance(chosen, Output)
    return build.dot(terms, chosen)


def _bezier(build: Arithmetic, curve: Bezier, share: Output) -> Output:
    return eased(build, curve, share)


# Each takes the curves of its class.
_CURVES: Final[Mapping[type, Callable[[Arithmetic, Any, Output], Output]]] = complete(
    {Linear: _linear, Points: _points, Hermite: _hermite, Bezier: _bezier},
    CURVE_KINDS,
    "curve as nodes of a behaviour graph",
)
