"""From where a figure is looked at, and whether the view holds it."""

from __future__ import annotations

import numpy as np
import pytest

from plica.picture.standpoints import STANDPOINTS, Standpoint, camera_around, standpoint_of

FRONT = (0.0, 0.0, 1.0)


@pytest.mark.parametrize(
    ("name", "away"),
    [("front", (0, 0, 1)), ("left", (1, 0, 0)), ("right", (-1, 0, 0)), ("back", (0, 0, -1))],
)
def test_sides_are_the_characters_own(name: str, away: tuple[int, int, int]) -> None:
    """Of what looks along +z with y up, the left is +x (glTF 2.0, section 3.4)."""
    turn, _ = STANDPOINTS[name]
    assert Standpoint(turn, 0.0).direction(FRONT) == pytest.approx(away)


def test_a_character_that_looks_along_x_has_its_left_at_minus_z() -> None:
    assert Standpoint(90.0, 0.0).direction((2.0, 0.3, 0.0)) == pytest.approx((0.0, 0.0, -1.0))


def test_words_and_degrees() -> None:
    assert standpoint_of("front-left") == STANDPOINTS["front-left"]
    assert standpoint_of("35,-10") == (35.0, -10.0)
    assert standpoint_of("-90") == (-90.0, STANDPOINTS["front"][1])
    for wrong in ("", "behind", "10,20,30", "nan", "0,86", "inf"):
        assert standpoint_of(wrong) is None


@pytest.mark.parametrize("size", [(300, 100), (100, 300), (200, 200)])
@pytest.mark.parametrize("text", ["front", "back-right", "above", "12,-80"])
def test_the_view_holds_every_place_upright_and_as_large_as_may_be(text: str, size: tuple[int, int]) -> None:
    places = np.random.default_rng(3).normal(size=(500, 3)) * (0.3, 1.0, 0.2) + (5.0, 2.0, -1.0)
    standpoint = standpoint_of(text)
    assert standpoint is not None
    camera = camera_around(places, standpoint.direction(FRONT), *size)
    seen = camera.projected(places, *size)[0][:, :2]
    assert (seen >= 0.0).all() and (seen <= size).all()
    assert (np.ptp(seen, axis=0) / size).max() > 0.7
    top = camera.projected(camera.target[None] + (0.0, 0.1, 0.0), *size)[0][0]
    assert top[0] == pytest.approx(size[0] / 2.0) and top[1] < size[1] / 2.0


def test_a_view_shows_no_less_than_is_asked_for() -> None:
    camera = camera_around(np.zeros((1, 3)), np.array([0.0, 0.0, 1.0]), 100, 100, least=2.0)
    seen = camera.projected(np.array([[0.0, 1.0, 0.0], [0.0, -1.0, 0.0]]), 100, 100)[0]
    assert seen[:, 1] == pytest.approx([0.0, 100.0])
