"""Curves turned round."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.evaluate.curves import curve_values
from plica.evaluate.inverse_curves import share_of
from plica.values import Bezier, Curve, Hermite, Linear, Points
from tests.support.rigs import CURVES

RISING = st.sampled_from(CURVES)


@given(RISING, st.floats(0.0, 1.0))
@settings(deadline=None)
def test_the_curve_at_the_share_is_the_amount(curve: Curve, amount: float) -> None:
    share = share_of(curve, amount)
    assert share is not None
    assert 0.0 <= share <= 1.0
    assert float(curve_values(curve, share)) == pytest.approx(amount, abs=1e-12)


@given(RISING, st.floats(0.01, 0.99))
@settings(deadline=None)
def test_a_share_comes_back_from_its_amount(curve: Curve, share: float) -> None:
    amount = float(curve_values(curve, share))
    result = share_of(curve, amount)
    assert result == pytest.approx(share, abs=1e-6)


@pytest.mark.parametrize("curve", CURVES)
def test_the_ends_are_exact(curve: Curve) -> None:
    assert share_of(curve, 0.0) == 0.0
    assert share_of(curve, 1.0) == 1.0


@pytest.mark.parametrize("amount", [-0.1, 1.1, float("nan")])
def test_clamped_curves_have_no_other_amounts(amount: float) -> None:
    assert share_of(Linear(), amount) is None


@given(st.sampled_from(CURVES[:1] + CURVES[3:]), st.floats(-2.0, 3.0))
@settings(deadline=None)
def test_open_curves_go_on_in_straight_lines(curve: Curve, amount: float) -> None:
    share = share_of(curve, amount, clamped=False)
    if share is not None:
        assert float(curve_values(curve, share, clamped=False)) == pytest.approx(amount, abs=1e-9)
    else:
        ends = curve_values(curve, np.array([-50.0, 50.0]), clamped=False)
        assert not ends.min() < amount < ends.max()


def test_of_several_shares_the_smallest_counts() -> None:
    bump = Points(((0.0, 0.0), (0.25, 1.0), (0.5, 0.2), (1.0, 0.8)))
    assert share_of(bump, 0.5) == pytest.approx(0.125, abs=1e-12)
    assert share_of(bump, 0.9) == pytest.approx(0.225, abs=1e-12)


def test_the_end_of_the_span_comes_before_an_earlier_share() -> None:
    plateau = Points(((0.0, 0.0), (0.25, 1.0), (1.0, 1.0)))
    assert share_of(plateau, 1.0) == 1.0
    overshooting = Bezier((0.3, 1.6, 0.6, 1.3))
    assert share_of(overshooting, 1.0) == 1.0
    late = Points(((0.0, 0.0), (0.75, 0.0), (1.0, 1.0)))
    assert share_of(late, 0.0) == 0.0


def test_what_a_curve_never_reaches_is_none() -> None:
    assert share_of(Points(((0.0, 0.0), (1.0, 0.5))), 0.75) is None
    assert share_of(Hermite("smooth", ((0.0, 0.25, 0.0), (1.0, 1.0, 0.0))), 0.1) is None


def test_a_peak_that_has_just_the_amount_counts() -> None:
    """On either side of the peak the curve stays below."""
    peak = Points(((0.0, 0.0), (0.25, 0.75), (0.5, 0.25), (1.0, 0.5)))
    assert share_of(peak, 0.75) == pytest.approx(0.25, abs=1e-12)
    valley = Points(((0.0, 1.0), (0.25, 0.25), (0.5, 0.75), (1.0, 0.5)))
    assert share_of(valley, 0.25) == pytest.approx(0.25, abs=1e-12)
