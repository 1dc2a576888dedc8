"""Effects of a change on strengths, against what can be worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from plica.diff.effects import Response, combine_effect, readings_of, response_effect
from plica.rig.strengths import Combination, Combine, StrengthOf
from plica.values import Linear


def combined(how: str, *names: str) -> Combine:
    return Combine("all", "none", "all", Combination(how, tuple(map(StrengthOf, names))))


def test_of_mixtures_that_differ_alike_the_first_whole_one_is_shown() -> None:
    """The least and the greatest differ by 1 wherever one strength is 0 and the other 1."""
    found = combine_effect(combined("least", "nod", "turn"), combined("greatest", "nod", "turn"))
    assert found is not None
    assert (found.largest, found.before, found.after) == (1.0, 0.0, 1.0)
    assert found.parts == (("nod", 0.0), ("turn", 1.0))


@pytest.mark.parametrize("count", [8, 9])
def test_mixtures_of_many_strengths_are_tried(count: int) -> None:
    names = [f"strength_{number}" for number in range(count)]
    effect = combine_effect(combined("least", *names), combined("greatest", *names))
    assert effect is not None and effect.largest == 1.0


def test_readings_to_compare_lie_evenly_and_hold_rest_and_the_middle() -> None:
    readings = readings_of(Response((-1.0, 1.0), True, Linear()), Response((-1.0, 1.0), True, Linear()))
    steps = np.diff(readings)
    assert 0.0 in readings and 0.5 in readings
    np.testing.assert_allclose(steps, steps[0])


def test_a_response_that_is_only_longer_is_not_turned_round() -> None:
    effect = response_effect(Response((0.0, 1.0), True, Linear()), Response((0.0, 2.0), True, Linear()))
    assert effect is not None
    assert not effect.flipped and (effect.largest, effect.at) == (0.5, 1.0)
    back = response_effect(Response((0.0, 1.0), True, Linear()), Response((0.0, -1.0), True, Linear()))
    assert back is not None and back.flipped
