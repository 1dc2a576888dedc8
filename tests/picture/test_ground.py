"""The ground: where it is seen, its squares and the shadow on it."""

from __future__ import annotations

import numpy as np
import pytest

from plica.picture.directions import round_length
from plica.picture.ground import GroundPlane
from plica.picture.raster import Camera
from plica.picture.shade import PAPER, Solid, shaded
from plica.picture.standpoints import camera_around
from tests.support.solids import sphere

POSITIONS, TRIANGLES = sphere(20, 20)
SIZE = 2.0


def ball(height: float) -> Solid:
    """A ball of radius 1 that hangs so high above the ground."""
    positions = POSITIONS + np.array([0.0, 1.0 + height, 0.0])
    return Solid(positions, POSITIONS, TRIANGLES, np.full((len(TRIANGLES), 3, 3), 0.4))


def test_above_the_horizon_is_paper_and_below_it_the_ground() -> None:
    """A level camera sees the horizon in the middle of the picture."""
    camera = Camera(np.array([0.0, 1.0, 9.0]), np.array([0.0, 1.0, 0.0]), 0.6)
    light = GroundPlane(0.0, SIZE, ball(0.0)).light(camera.eye, camera.rays(40, 40))
    assert (light[:20] == PAPER).all()
    assert (light[30:] < PAPER).all()
    below = Camera(np.array([0.0, -1.0, 9.0]), np.array([0.0, 1.0, 0.0]), 0.6)
    assert (GroundPlane(0.0, SIZE, ball(0.0)).light(below.eye, below.rays(40, 40)) == PAPER).all()


def test_a_figure_that_hangs_higher_casts_less_shadow() -> None:
    eye, down = np.array([0.0, 5.0, 0.0]), np.array([[[0.01, -1.0, 0.01], [0.012, -1.0, 0.01]]])
    near, far, none = (
        float(GroundPlane(0.0, SIZE, one).light(eye, down)[0, 0, 0])
        for one in (
            ball(0.0),
            ball(1.0),
            Solid(POSITIONS + 50.0, POSITIONS, TRIANGLES[:0], np.zeros((0, 3, 3))),
        )
    )
    assert near < 0.75 * far < 0.75 * none


def test_lines_are_a_square_apart() -> None:
    ground = GroundPlane(0.0, SIZE, ball(9.0))
    assert ground.square == 0.5
    eye, x = np.array([0.0, 5.0, 0.0]), np.arange(0.03, 0.2, 0.0005)
    rays = np.stack([x, np.full_like(x, -1.0), np.full_like(x, 0.05)], axis=1)[None]
    light = ground.light(eye, rays)[0, :, 0]
    place = 5.0 * x
    dark = place[light < 0.9 * np.median(light)]
    assert len(dark) and np.abs((dark / 0.5 + 0.5) % 1.0 - 0.5).max() < 0.02


@pytest.mark.parametrize(
    ("length", "rounded"), [(0.17, 0.2), (0.2, 0.2), (0.21, 0.5), (0.0051, 0.01), (7.0, 10.0), (0, 0)]
)
def test_round_lengths(length: float, rounded: float) -> None:
    assert round_length(length) == pytest.approx(rounded)


def test_the_ground_is_behind_what_stands_on_it() -> None:
    solid = ball(0.0)
    camera = camera_around(solid.positions, np.array([0.0, 0.2, 1.0]), 60, 60)
    with_ground, without = (shaded(solid, camera, 60, 60, behind) for behind in (GroundPlane(0.0, SIZE, solid), None))
    assert with_ground[30, 30] == pytest.approx(without[30, 30])
    assert (with_ground[55, 2] != without[55, 2]).any()
