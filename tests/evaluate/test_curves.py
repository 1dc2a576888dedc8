"""Response curves: ends, knots, clamping and what lies beyond."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plica.evaluate import curve_values
from plica.evaluate.easing import Easing
from plica.values import Bezier, Curve, Hermite, Linear, Points
from tests.support.rigs import CURVES

SHARE = st.floats(0.0, 1.0)


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("clamped", [True, False])
def test_ends_and_knots_are_hit_exactly(curve: Curve, clamped: bool) -> None:
    knots = [(0.0, 0.0), (1.0, 1.0)]
    if isinstance(curve, Points):
        knots = list(curve.points)
    elif isinstance(curve, Hermite):
        knots = [(x, y) for x, y, _ in curve.knots]
    x, y = zip(*knots, strict=True)
    assert curve_values(curve, x, clamped).tolist() == list(y)


@pytest.mark.parametrize("curve", CURVES)
def test_clamped_curves_stay_within_their_ends(curve: Curve) -> None:
    assert curve_values(curve, [-1e9, -1.0, -1e-12, 1 + 1e-12, 2.0, 1e9]).tolist() == [0, 0, 0, 1, 1, 1]


def test_overshoot_is_clamped_only_where_asked() -> None:
    curve = Hermite("smooth", ((0.0, 0.0, 8.0), (1.0, 1.0, 0.0)))
    shares = np.linspace(0, 1, 50)
    assert curve_values(curve, shares, False).max() > 1.0
    assert curve_values(curve, shares).max() == 1.0
    assert curve_values(curve, shares).min() == 0.0


@pytest.mark.parametrize(
    ("curve", "below", "above"),
    [
        (Linear(), -2.0, 3.0),
        (Points(((0.0, 0.0), (0.5, 0.25), (1.0, 1.0))), -1.0, 4.0),
        (Hermite("monotone", ((0.0, 0.0, 0.5), (1.0, 1.0, 2.0))), -1.0, 5.0),
        # The line through an end and its own control point ...
        (Bezier((0.25, 0.1, 0.5, 0.75)), -0.8, 2.0),
        # ... through the other one where its own lies above or below the end ...
        (Bezier((0.0, 0.5, 0.5, 1.0)), -4.0, 1.0),
        (Bezier((0.5, 0.0, 1.0, 0.5)), 0.0, 5.0),
        # ... and level where both do.
        (Bezier((0.0, 1.0, 0.0, 0.25)), 0.0, 2.5),
        (Bezier((1.0, 0.5, 1.0, 0.5)), -1.0, 1.0),
    ],
)
def test_open_curves_go_on_straight(curve: Curve, below: float, above: float) -> None:
    """Bezier: the rule for inputs outside 0..1 of W3C CSS Easing Functions Level 2 (from memory)."""
    assert curve_values(curve, [-2.0, 3.0], False).tolist() == pytest.approx([below, above], abs=1e-15)
    ends = curve_values(curve, [-1e-9, 1 + 1e-9], False)
    assert ends.tolist() == pytest.approx([0.0, 1.0], abs=1e-8)


def test_many_points_are_searched_and_few_are_compared_alike() -> None:
    x = np.linspace(0, 1, 65)
    curve = Points(tuple(zip(x.tolist(), (x**2).tolist(), strict=True)))
    shares = np.linspace(0, 1, 1001)
    assert curve_values(curve, shares) == pytest.approx(np.interp(shares, x, x**2), abs=1e-15)


@given(st.tuples(SHARE, st.floats(-2, 3), SHARE, st.floats(-2, 3)), st.lists(SHARE, min_size=1, max_size=20))
def test_easing_parameters_solve_for_x(controls: tuple[float, float, float, float], shares: list[float]) -> None:
    t = Easing(controls).parameters(np.array(shares))
    x = 3 * (1 - t) ** 2 * t * controls[0] + 3 * (1 - t) * t**2 * controls[2] + t**3
    assert ((t >= 0) & (t <= 1)).all()
    assert x == pytest.approx(np.array(shares), abs=1e-15)


@given(st.tuples(SHARE, st.floats(-2, 3), SHARE, st.floats(-2, 3)))
def test_easings_hit_their_ends_exactly(controls: tuple[float, float, float, float]) -> None:
    assert Easing(controls)(np.array([0.0, 1.0])).tolist() == [0.0, 1.0]


def test_the_levellest_easing() -> None:
    """x - 1/2 is 4 (t - 1/2)^3: one rounding of x near the middle moves t by 3e-6, and y by 1.5 times that."""
    values = Easing((1.0, 0.0, 0.0, 1.0))(np.linspace(0, 1, 2001))
    assert values[[0, -1]].tolist() == [0.0, 1.0]
    assert (np.diff(values) >= 0).all()
    assert values + values[::-1] == pytest.approx(np.ones(2001), abs=1e-5)
    assert values[:900] + values[:-901:-1] == pytest.approx(np.ones(900), abs=1e-12)


def test_any_shape_of_shares() -> None:
    for curve in CURVES:
        assert curve_values(curve, 0.5).shape == ()
        assert curve_values(curve, np.full((2, 3, 4), 0.5)).shape == (2, 3, 4)
        given_shares = np.array([2.0, -1.0])
        curve_values(curve, given_shares)
        assert given_shares.tolist() == [2.0, -1.0]
