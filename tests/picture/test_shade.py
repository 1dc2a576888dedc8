"""Views of solids with closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from plica.picture.camera_placement import FIELD, ViewRequest, camera_for, closer, directions, is_hidden
from plica.picture.colors import linear, shown
from plica.picture.raster import Camera, seen
from plica.picture.shade import PAPER, Solid, shaded
from tests.support.solids import sphere

POSITIONS, TRIANGLES = sphere(60, 60)
NOTHING = np.zeros(3)


def ball(colour: tuple[float, float, float] = (0.5, 0.5, 0.5)) -> Solid:
    return Solid(POSITIONS, POSITIONS.copy(), TRIANGLES, np.tile(np.array(colour), (len(TRIANGLES), 3, 1)))


def wanted(
    spot: tuple[float, float, float] | None = None, along: tuple[float, float, float] = (0, 0, 0)
) -> ViewRequest:
    place = None if spot is None else np.array(spot)
    parts = np.zeros(len(TRIANGLES), dtype=bool)
    return ViewRequest(NOTHING, 1.2, place, parts, np.array(along, np.float64), NOTHING)


def test_a_ball_covers_a_disc() -> None:
    """Seen from a distance d, a ball of radius 1 is a disc of the angle asin(1 / d)."""
    camera = Camera(np.array([0.0, 0.0, 6.0]), NOTHING, float(np.radians(30.0)))
    picture = shaded(ball(), camera, 300, 300)
    covered = (np.abs(picture - PAPER) > 1e-9).any(axis=2).sum()
    radius = np.tan(np.arcsin(1.0 / 6.0)) / np.tan(np.radians(15.0)) * 150.0
    assert covered == pytest.approx(np.pi * radius**2, rel=0.02)


def test_light_comes_from_the_upper_left_and_the_inside_is_darker() -> None:
    camera = Camera(np.array([0.0, 0.0, 6.0]), NOTHING, FIELD)
    picture = shaded(ball(), camera, 100, 100)[:, :, 0]
    assert picture[35, 35] > picture[65, 65]
    inside_out = shaded(Solid(POSITIONS, POSITIONS.copy(), TRIANGLES[:, ::-1], ball().colors), camera, 100, 100)
    assert inside_out[50, 50, 0] <= picture[50, 50]


def test_what_is_hidden_is_not_drawn() -> None:
    """A red square stands before a larger blue one, both facing the camera."""
    square = np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    positions = np.concatenate([square, square * 2.0 - (0.0, 0.0, 1.0)])
    triangles = np.concatenate([faces, faces + 4])
    colors = np.repeat([[1.0, 0, 0], [0, 0, 1.0]], 2, axis=0)[:, None].repeat(3, axis=1)
    normals = np.tile([0.0, 0.0, 1.0], (8, 1))
    camera = Camera(np.array([0.0, 0.0, 8.0]), NOTHING, FIELD)
    picture = shaded(Solid(positions, normals, triangles, colors), camera, 64, 64)
    middle, side = picture[32, 32], picture[32, 4]
    assert middle[0] > 0.1 and middle[2] == 0.0
    assert side[2] > 0.1 and side[0] == 0.0


def test_the_rasteriser_covers_each_pixel_of_a_square_once() -> None:
    corners = np.array([[10.0, 10, 1], [50, 10, 1], [50, 40, 1], [10, 40, 1]])
    result = seen(corners, np.array([[0, 1, 2], [0, 2, 3]]), 64, 64)
    assert result.covered.sum() == 40 * 30
    assert result.covered[10:40, 10:50].all()
    assert result.weights(np.flatnonzero(result.covered)).sum(axis=1) == pytest.approx(1.0)


def test_a_triangle_without_area_covers_nothing() -> None:
    line = np.array([[5.0, 5, 1], [30, 30, 1], [50, 50, 1]])
    assert not seen(line, np.array([[0, 1, 2], [0, 0, 0]]), 64, 64).covered.any()


@pytest.mark.parametrize("spot", [(1.0, 0, 0), (-1.0, 0, 0), (0, 0, 1.0), (0, 0, -1.0), (0.6, 0.0, 0.8), (0, 1.0, 0)])
def test_the_camera_stands_where_it_sees_the_spot(spot: tuple[float, float, float]) -> None:
    camera = camera_for(ball(), wanted(spot, spot))
    assert np.dot(camera.eye - np.array(spot), spot) > 0.0


def test_the_camera_goes_round_what_stands_in_the_way() -> None:
    """A large shield stands just where the spot's normal points to."""
    spot = np.array([0.0, 0.0, 1.0])
    shield = np.array([[-0.5, -0.5, 1.4], [0.5, -0.5, 1.4], [0.5, 0.5, 1.4], [-0.5, 0.5, 1.4]])
    count = len(POSITIONS)
    triangles = np.concatenate([TRIANGLES, count + np.array([[0, 1, 2], [0, 2, 3]])])
    positions = np.concatenate([POSITIONS, shield])
    solid = Solid(positions, positions, triangles, np.full((len(triangles), 3, 3), 0.5))
    goal = ViewRequest(NOTHING, 1.6, spot, np.zeros(len(triangles), dtype=bool), spot, NOTHING)
    camera = camera_for(solid, goal)
    way = camera.eye - spot
    at_shield = spot + way * 0.4 / way[2] if way[2] > 0 else np.full(3, np.inf)
    assert np.dot(way, spot) > 0.0
    assert np.abs(at_shield[:2]).max() > 0.5


@pytest.mark.parametrize("degrees", [0, 45, 70, 110, 135, 180])
def test_what_is_behind_the_ball_is_hidden(degrees: float) -> None:
    """From far away the near half of a ball is seen, and the far half is not."""
    angle = np.radians(degrees)
    spot = (float(np.sin(angle)), 0.0, float(np.cos(angle)))
    camera = Camera(np.array([0.0, 0.0, 60.0]), NOTHING, float(np.radians(3.0)))
    assert is_hidden(ball(), wanted(spot), camera) == (degrees > 90)


def test_the_camera_does_not_stand_inside_the_body() -> None:
    """A large ball surrounds a small one: from outside the spot on it is hidden, from inside only walls are seen."""
    small, faces = sphere(30, 30, 0.3)
    positions = np.concatenate([5.0 * POSITIONS, small - np.array([0.0, 0.0, 4.0])])
    triangles = np.concatenate([TRIANGLES, faces + len(POSITIONS)])
    solid = Solid(positions, positions, triangles, np.full((len(triangles), 3, 3), 0.5))
    target, spot = np.array([0.0, 0.0, -4.0]), np.array([0.0, 0.0, -3.7])
    parts = np.arange(len(triangles)) >= len(TRIANGLES)
    camera = camera_for(solid, ViewRequest(target, 0.5, spot, parts, np.array([0.0, 0.0, 1.0]), NOTHING))
    assert np.linalg.norm(camera.eye) > 5.0


def test_directions_never_look_straight_up_or_down() -> None:
    for along in ((0.0, 1.0, 0.0), (0.0, -1.0, 0.0), (0.6, 0.8, 0.0), (0.0, 0.0, 0.0)):
        result = directions(wanted(along=along))
        assert np.linalg.norm(result, axis=1) == pytest.approx(1.0)
        assert np.linalg.norm(result[:, [0, 2]], axis=1).min() > 0.05
        assert len(result) > 40


def test_a_closer_look_keeps_the_direction() -> None:
    camera = Camera(np.array([0.0, 1.0, 4.0]), NOTHING, FIELD)
    near = closer(camera, np.array([0.1, 0.2, 0.3]), 4.0)
    assert near.eye - near.target == pytest.approx((camera.eye - camera.target) / 4.0)
    assert near.target == pytest.approx([0.1, 0.2, 0.3])


def test_colours_survive_being_stored() -> None:
    values = np.linspace(0.0, 0.8, 50)
    assert linear(shown(values)) == pytest.approx(values, abs=1e-6)
