"""UsdSkel's rule for inbetweens."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plica.mesh.arrays import Offsets
from plica.mesh.inbetweens import Inbetweens, coefficients

NOTHING = Offsets(np.zeros(0, np.int64), np.zeros((0, 3)))
PLACES = st.lists(st.integers(-30, 30).filter(lambda at: at not in (0, 10)), unique=True, max_size=5)


def test_without_inbetweens_the_strength_is_the_amount_however_large() -> None:
    strengths = np.array([-2.0, 0.0, 0.3, 1.0, 4.0])
    np.testing.assert_allclose(coefficients((), strengths)[:, 0], strengths, atol=1e-15)


def test_between_beyond_and_below() -> None:
    # worked out by hand from UsdSkel's formula: inbetween at 0.5
    result = coefficients((0.5,), np.array([0.25, 0.5, 0.75, 1.5, -0.5]))
    np.testing.assert_array_equal(result, [[0, 0.5], [0, 1], [0.5, 0.5], [2, -1], [0, -1]])


@given(PLACES, st.floats(-4.0, 4.0))
def test_it_is_the_straight_line_between_neighbours(places: list[int], strength: float) -> None:
    at = [place / 10 for place in places]
    values = {0.0: 0.0, 1.0: 7.0, **{place: 3.0 + number**2 for number, place in enumerate(at)}}
    knots = sorted(values)
    amounts = coefficients(at, np.array([strength]))[0]
    result = amounts @ [values[place] for place in (1.0, *at)]
    if knots[0] <= strength <= knots[-1]:
        expected = float(np.interp(strength, knots, [values[place] for place in knots]))
    else:
        lower, upper = knots[:2] if strength < knots[0] else knots[-2:]
        share = (strength - lower) / (upper - lower)
        expected = values[lower] * (1 - share) + values[upper] * share
    assert result == pytest.approx(expected, abs=1e-9)


@given(PLACES)
def test_at_an_inbetween_it_is_that_inbetween_alone(places: list[int]) -> None:
    at = [place / 10 for place in places]
    np.testing.assert_array_equal(coefficients(at, np.array([1.0, *at, 0.0]))[:-1], np.eye(1 + len(at)))
    assert not coefficients(at, np.array([0.0])).any()


@pytest.mark.parametrize("at", [(0.0,), (1.0,), (0.5, 0.5), (float("nan"),)])
def test_inbetweens_that_cannot_be_told_apart_are_refused(at: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="inbetweens"):
        Inbetweens(NOTHING, at, (NOTHING,) * len(at))


def test_strengths_and_offsets_come_in_pairs() -> None:
    with pytest.raises(ValueError, match="each inbetween"):
        Inbetweens(NOTHING, (0.5,))
