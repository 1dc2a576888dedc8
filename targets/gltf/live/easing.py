"""cubic-bezier(x1, y1, x2, y2) of W3C CSS Easing Functions in few nodes: the cubic x(t) = share solved in closed form.

With x(t) = a t^3 + b t^2 + c t, t = s - b / (3 a), p = (3 a c - b^2) / (3 a^2) and r = sqrt(|p| / 3), the solution is
s = 2 r f or -2 r f with

- f = sinh(asinh(z) / 3) where p > 0;
- f = sin(asin(z) / 3) where p < 0 and a < 0: x(t) rises between its turning points;
- f = cos(acos(z) / 3), or cosh(acosh(z) / 3) for z above 1, where p < 0 and a > 0: it rises beyond one of them

and s = f = the cube root of z where p = 0 (Viete's substitutions, from memory), z being a linear function of the share.
f^3 is a linear function of f and z, so that y(t) is a scalar product of (f, f^2, share, 1) and constants. Near a
turning point, z = 1 or -1, the angle is computed from the half angle, whose sine is a square root that is exactly 0
there. Where all that is not good, because a is nearly 0, Newton's method is written out. Each way is computed here in
double precision over a few thousand shares, and the first that is right to 1e-11 is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import lru_cache
from math import pi, sqrt
from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.easing import Easing
from plica.evaluate.poses import Array
from plica.targets.gltf.live.arithmetic import Arithmetic
from plica.targets.gltf.live.graph import Output
from plica.values import Bezier

Coefficients = tuple[float, float, float, float]
_GOOD: Final = 1e-11
_ROUNDINGS: Final = 4 * 2.0**-53
_MOST_STEPS: Final = 40
_HAIR: Final = 1e-13
_LEVEL: Final = 1e-12
_INSIDE: Final = 1.0 - 1e-6
_SHARES: Final = np.concatenate(
    [np.linspace(0.0, 1.0, 2001), np.geomspace(1e-12, 1e-3, 400), 1.0 - np.geomspace(1e-12, 1e-3, 400)]
)


class _Closed(NamedTuple):
    """How f is found, and y as its product with (f, f^2, share, 1).

    The branch is a function of slope * share + start; of 1 - share where `backwards`.
    """

    branch: str
    slope: float
    start: float
    backwards: bool
    product: Coefficients


def eased(build: Arithmetic, curve: Bezier, share: Output) -> Output:
    """The nodes of the eased value of a share in 0..1: exactly 0 at 0."""
    closed, steps = _way(curve)
    if closed is None:
        value = _by_steps(build, curve, share, steps)
    else:
        way = build.subtract(1.0, share) if closed.backwards else share
        argument = build.add(build.multiply(way, closed.slope), closed.start)
        found = _BRANCHES[closed.branch].nodes(build, argument)
        value = build.dot(build.combined(found, build.multiply(found, found), share, 1.0), closed.product)
    return build.chosen(build.compared("gt", share, _HAIR), value, 0.0)


@lru_cache(maxsize=256)
def _way(curve: Bezier) -> tuple[_Closed | None, int]:
    """The closed form that is good; None, with a number of steps of Newton's method, where none is."""
    expected = Easing(curve.controls)(_SHARES)
    # Where the curve is steep, roundings of the share move it.
    nearby = np.stack([np.clip(_SHARES + step, 0.0, 1.0) for step in (-_ROUNDINGS, _ROUNDINGS)])
    allowed = _GOOD + np.abs(Easing(curve.controls)(nearby) - expected).max(axis=0)
    for closed in _closed_forms(curve):
        way = 1.0 - _SHARES if closed.backwards else _SHARES
        with np.errstate(invalid="ignore"):
            found = _BRANCHES[closed.branch].values(closed.slope * way + closed.start)
            terms = np.stack([found, found * found, _SHARES, np.ones_like(found)], axis=-1)
            if (np.abs(terms @ np.array(closed.product) - expected) <= allowed).all():
                return closed, 0
    return None, _steps_needed(curve, expected, allowed)


# ---- closed forms


class _Branch(NamedTuple):
    """A function as nodes and over arrays. `turn`: it takes (1 + turn z) / 2 instead of z; 0 where it takes z."""

    turn: float
    nodes: Callable[[Arithmetic, Output], Output]
    values: Callable[[Array], Array]


def _hyperbolic_sine(build: Arithmetic, z: Output) -> Output:
    return build.applied("sinh", build.multiply(build.applied("asinh", z), 1.0 / 3.0))


def _sine(build: Arithmetic, z: Output) -> Output:
    return build.applied("sin", build.multiply(build.applied("asin", z), 1.0 / 3.0))


def _sine_near_end(build: Arithmetic, v: Output) -> Output:
    """asin(1 - 2 v) = pi / 2 - 2 asin(sqrt(v))."""
    half = build.applied("asin", build.least(build.applied("sqrt", v), 1.0))
    return build.applied("sin", build.subtract(pi / 6.0, build.multiply(half, 2.0 / 3.0)))


def _cosine(build: Arithmetic, v: Output) -> Output:
    """acos(2 v - 1) = pi - 2 asin(sqrt(v)), acosh(2 v - 1) = 2 acosh(sqrt(v)): one of the two factors is always 1."""
    root = build.applied("sqrt", v)
    below = build.multiply(build.applied("acos", build.least(root, 1.0)), 2.0 / 3.0)
    above = build.multiply(build.applied("acosh", build.greatest(root, 1.0)), 2.0 / 3.0)
    return build.multiply(build.applied("cos", below), build.applied("cosh", above))


def _cosines(v: Array) -> Array:
    root = np.sqrt(v)
    below, above = np.arccos(np.minimum(root, 1.0)), np.arccosh(np.maximum(root, 1.0))
    return np.asarray(np.cos(below * (2.0 / 3.0)) * np.cosh(above * (2.0 / 3.0)))


_BRANCHES: Final = {
    "hyperbolic sine": _Branch(0.0, _hyperbolic_sine, lambda z: np.asarray(np.sinh(np.arcsinh(z) / 3.0))),
    "sine": _Branch(0.0, _sine, lambda z: np.asarray(np.sin(np.arcsin(z) / 3.0))),
    "sine near an end": _Branch(
        -1.0,
        _sine_near_end,
        lambda v: np.asarray(np.sin(pi / 6.0 - np.arcsin(np.minimum(np.sqrt(v), 1.0)) * (2.0 / 3.0))),
    ),
    "cosine": _Branch(1.0, _cosine, _cosines),
    "cube root": _Branch(0.0, lambda build, z: build.applied("cbrt", z), lambda z: np.asarray(np.cbrt(z))),
}


def _closed_forms(curve: Bezier) -> Iterator[_Closed]:
    """Those that may be good, the shorter ones first."""
    a, b, c = _powers(curve.controls[0], curve.controls[2])
    if a == 0.0:
        return
    p = (3.0 * a * c - b * b) / (3.0 * a * a)
    q = (2.0 * b**3 - 9.0 * a * b * c) / (27.0 * a**3)  # of s^3 + p s + q = share / a
    if abs(p) <= _LEVEL:
        yield _closed(curve, "cube root", (1.0, 1.0, 0.0), (1.0 / a, -q))
        return
    size = sqrt(abs(p) / 3.0)
    # After dividing by 2 r^3, with s = 2 r f: 4 f^3 + 3 f = z, 3 f - 4 f^3 = z or 4 f^3 - 3 f = z.
    names, cube, plain = (
        (("hyperbolic sine",), 4.0, 3.0)
        if p > 0.0
        else (("sine", "sine near an end"), -4.0, 3.0)
        if a < 0.0
        else (("cosine",), 4.0, -3.0)
    )
    for name in names:
        for side in (1.0, -1.0):
            sign = side if cube > 0.0 else -side
            divisor = sign * 2.0 * size**3
            closed = _closed(curve, name, (2.0 * side * size, cube, plain), (1.0 / (a * divisor), -q / divisor))
            turn = _BRANCHES[name].turn
            if turn != 0.0:
                yield _from_half(closed, turn)
            elif name != "sine" or max(abs(closed.start), abs(closed.start + closed.slope)) <= _INSIDE:
                yield closed


def _from_half(closed: _Closed, turn: float) -> _Closed:
    """With (1 + turn z) / 2 for z, rising: a sum of numbers that are not below 0 is not either, in any precision."""
    slope, start = 0.5 * turn * closed.slope, 0.5 * (1.0 + turn * closed.start)
    backwards = slope < 0.0
    if backwards:
        slope, start = -slope, start + slope
    return closed._replace(slope=slope, start=0.0 if abs(start) <= _LEVEL else start, backwards=backwards)


def _closed(curve: Bezier, branch: str, cubic: tuple[float, float, float], z: tuple[float, float]) -> _Closed:
    """The product for s = scale f and cube f^3 + plain f = z, `cubic` being these three and z slope and start."""
    (scale, cube, plain), (slope, start) = cubic, z
    a, b, _ = _powers(curve.controls[0], curve.controls[2])
    shift = -b / (3.0 * a)
    ya, yb, yc = _powers(curve.controls[1], curve.controls[3])
    third = ya * scale**3
    second = (3.0 * ya * shift + yb) * scale**2
    first = (3.0 * ya * shift**2 + 2.0 * yb * shift + yc) * scale
    constant = ((ya * shift + yb) * shift + yc) * shift
    product = (first - third * plain / cube, second, third * slope / cube, constant + third * start / cube)
    return _Closed(branch, slope, start, False, product)


def _powers(first: float, second: float) -> tuple[float, float, float]:
    """The coefficients of t^3, t^2 and t of a coordinate with these inner control values."""
    return 1.0 - 3.0 * (second - first), 3.0 * (second - 2.0 * first), 3.0 * first


# ---- Newton's method


def _by_steps(build: Arithmetic, curve: Bezier, share: Output, steps: int) -> Output:
    a, b, c = _powers(curve.controls[0], curve.controls[2])
    t = build.applied("sqrt", share) if c == 0.0 else share
    for _ in range(steps):
        terms = _terms(build, t)
        excess = build.subtract(build.dot(terms, (a, b, c)), share)
        slope = build.greatest(build.add(build.dot(terms, (0.0, 3.0 * a, 2.0 * b)), c), _LEAST_SLOPE)
        t = build.applied("saturate", build.subtract(t, build.divide(excess, slope)))
    return build.dot(_terms(build, t), _powers(curve.controls[1], curve.controls[3]))


def _terms(build: Arithmetic, t: Output) -> Output:
    square = build.multiply(t, t)
    return build.combined(build.multiply(square, t), square, t)


_LEAST_SLOPE: Final = 1e-9


def _steps_needed(curve: Bezier, expected: Array, allowed: Array) -> int:
    """How many steps of `_by_steps` are good everywhere; the most that are written where none are."""
    a, b, c = _powers(curve.controls[0], curve.controls[2])
    ya, yb, yc = _powers(curve.controls[1], curve.controls[3])
    t = np.sqrt(_SHARES) if c == 0.0 else _SHARES.copy()
    for steps in range(_MOST_STEPS):
        if (np.abs(((ya * t + yb) * t + yc) * t - expected) <= allowed).all():
            return steps
        slope = np.maximum((3.0 * a * t + 2.0 * b) * t + c, _LEAST_SLOPE)
        t = np.clip(t - (((a * t + b) * t + c) * t - _SHARES) / slope, 0.0, 1.0)
    return _MOST_STEPS
