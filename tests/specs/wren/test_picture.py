"""The README's picture, at a small size, and the rasteriser behind it."""

from __future__ import annotations

import io
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from plica.demo import demo_files
from plica.mesh.npz import arrays_of
from plica.picture.raster import Camera, in_perspective, seen
from plica.specs.wren import moments, picture, sculpts
from plica.specs.wren.clip import pose_at
from plica.specs.wren.drafts import is_draft
from plica.specs.wren.light import sky
from plica.specs.wren.model import wren
from plica.specs.wren.moments import moment, story
from plica.specs.wren.skinning import skinned
from tests.support.data import ROOT

WIDTH = 320
LIGHTS = 6


@lru_cache(maxsize=1)
def small() -> bytes:
    return picture.picture(WIDTH, LIGHTS)


def pixels(content: bytes) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    return np.asarray(Image.open(io.BytesIO(content)).convert("RGB")).astype(np.int64)


def test_picture_has_its_size_and_is_not_blank() -> None:
    result = pixels(small())
    assert result.shape == (WIDTH * picture.HEIGHT // picture.WIDTH, WIDTH, 3)
    paper = result[0, 0]
    drawn = np.abs(result - paper).max(axis=2) > 40
    band = round(picture.PHOTOGRAPH * WIDTH / picture.WIDTH)
    assert 0.10 < drawn[:band].mean() < 0.6
    assert 0.03 < drawn[band:].mean() < 0.6
    assert paper.min() > 220


def test_picture_is_the_same_on_every_run() -> None:
    assert picture.picture(WIDTH, LIGHTS) == small()


def test_committed_picture_has_the_full_size_and_is_small() -> None:
    place = ROOT / "specs" / "wren.png"
    with Image.open(place) as image:
        assert image.size == (picture.WIDTH, picture.HEIGHT)
    assert place.stat().st_size < 600_000


def test_command_wants_one_file(capsys: pytest.CaptureFixture[str]) -> None:
    assert picture.main([]) == 2
    assert "usage" in capsys.readouterr().err


def test_shapes_on_in_the_pose_they_were_made_in_add_their_sculpts() -> None:
    """Undoing the pose of a sculpt and posing it again must give the sculpt back."""
    model, told = wren(), story()
    fully = float(told.times[np.argmax(told.strengths["left_brow_lift"])])
    assert told.strength_at("left_brow_lift", fully) == pytest.approx(1.0)
    stored = np.load(io.BytesIO(told.files["sculpts/brow_raise.npz"]))
    plain = skinned(model, pose_at(fully, model.skeleton))
    change = moment(told, fully).positions - plain
    # The brow's skin is carried by the head and its pad, which only turn and slide: lengths stay.
    lengths = np.linalg.norm(change[stored["indices"]], axis=1)
    np.testing.assert_allclose(lengths, np.linalg.norm(stored["offsets"], axis=1), atol=1e-4)


def test_right_shapes_mirror_the_left() -> None:
    """At nearly equal strengths, the right elbow's skin is moved as far as the left one's."""
    model, told = wren(), story()
    left = moment(told, float(told.times[np.argmax(told.strengths["left_elbow_bend"])])).moved
    right = moment(told, float(told.times[np.argmax(told.strengths["right_elbow_bend"])])).moved
    joints = [model.skeleton.number[name] for name in ("lowerarm_lf", "upperarm_lf")]
    arm = np.isin(model.joints[:, 0], joints)
    assert left[arm].max() > 0.01
    np.testing.assert_allclose(right[model.partner[arm]], left[arm], atol=0.1 * left[arm].max())


def test_nearest_triangle_wins_whatever_the_order() -> None:
    points = np.array([[0.0, 0, 2], [8, 0, 2], [0, 8, 2], [0, 0, 1], [4, 0, 1], [0, 4, 1]])
    triangles = np.array([[0, 1, 2], [3, 4, 5]])
    first, second = seen(points, triangles, 8, 8), seen(points, triangles[::-1], 8, 8)
    np.testing.assert_array_equal(first.depth, second.depth)
    assert first.triangle[0, 0] == 1
    assert first.triangle[5, 1] == 0
    assert first.triangle[7, 7] == -1
    # Closed form: n (n + 1) / 2 pixel middles lie in or on a right-angled triangle with legs of n pixels.
    assert int(np.sum(first.triangle == 1)) == 10
    assert int(first.covered.sum()) == 36


def test_weights_in_perspective_give_the_place_on_the_surface() -> None:
    """Closed form: what a pixel sees is where its ray meets the plane."""
    camera = Camera(np.array([0.0, 1.0, 4.0]), np.zeros(3), 0.7)
    points = np.array([[-3.0, 0, -3], [3, 0, -3], [0, 0, 2.5]])
    projected, distances = camera.projected(points, 40, 30)
    view = seen(projected, np.array([[0, 1, 2]]), 40, 30)
    flat = view.weights(np.flatnonzero(view.covered))
    weights = in_perspective(flat, np.broadcast_to(distances, flat.shape))
    rays = camera.rays(40, 30)[view.covered]
    met = camera.eye + rays * (-camera.eye[1] / rays[:, 1])[:, None]
    assert len(weights) > 50
    np.testing.assert_allclose(weights @ points, met, atol=1e-9)


def test_open_level_ground_receives_one() -> None:
    light = sky(64)
    assert light.amounts @ light.directions[:, 1] == pytest.approx(1.0)
    np.testing.assert_allclose(np.linalg.norm(light.directions, axis=1), 1.0)


def test_every_sculpt_of_the_demo_has_its_pose() -> None:
    """A draft's file says it; for the others it is known where they are made."""
    made = {Path(path).stem for path in demo_files() if path.startswith("sculpts/") and not is_draft(path)}
    assert made == set(moments._POSES)
    stored = arrays_of(demo_files()["sculpts/index_knuckle.npz"])
    (pose,) = moments.stated_pose(wren(), str(stored["posed"])).items()
    assert pose[0] == "index_1_lf"
    np.testing.assert_allclose(pose[1].rotation, sculpts.finger_pose("index", 80.0)["index_1_lf"].rotation, atol=1e-6)
