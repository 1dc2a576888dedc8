"""Curves through points, against published data and scipy.

Data RPN 14 of Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicHermiteSpline, PchipInterpolator

from plica.curves import harmonic_slopes, monotone_slopes

X = [7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20]
F = [0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994]


def test_harmonic_slopes_are_those_of_scipy_pchip() -> None:
    """scipy.interpolate.PchipInterpolator (Fritsch and Butland 1984)."""
    np.testing.assert_allclose(harmonic_slopes(X, F), PchipInterpolator(X, F).derivative()(X), atol=1e-14)


def test_rpn_14_by_the_harmonic_method() -> None:
    """Printed values of PCHIP at 11 equal steps from 7.99 to 20."""
    curve = CubicHermiteSpline(X, F, harmonic_slopes(X, F))
    expected = [0, 0.4640, 0.9645, 0.9965, 0.9992, 0.9998, 0.9999, 1, 1, 1, 1]
    np.testing.assert_allclose(curve(np.linspace(7.99, 20, 11)), expected, atol=5.1e-5)


def test_rpn_14_by_the_method_of_1980_differs() -> None:
    """The value of the 1980 method at 10.392."""
    curve = CubicHermiteSpline(X, F, monotone_slopes(X, F))
    assert curve(10.392) == pytest.approx(0.97001, abs=5e-6)


rising = st.lists(st.floats(0.01, 1), min_size=1, max_size=7)


@given(steps=rising, heights=st.data())
def test_both_methods_keep_rising_data_rising(steps: list[float], heights: st.DataObject) -> None:
    rises = heights.draw(st.lists(st.floats(0, 1), min_size=len(steps), max_size=len(steps)))
    x, y = np.cumsum([0, *steps]).tolist(), np.cumsum([0, *rises]).tolist()
    fine = np.linspace(0, x[-1], 400)
    for method in (monotone_slopes, harmonic_slopes):
        values = CubicHermiteSpline(x, y, method(x, y))(fine)
        assert np.diff(values).min() >= -1e-12 * max(1.0, y[-1])
