"""Animations, against scipy's own interpolations."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial.transform import Rotation, Slerp

from plica.diagnostics import Diagnostics
from plica.readers.between_keys import parts_between
from plica.readers.clip_reader import find_clips, read_clips
from plica.readers.gltf_clip import AnimationTrack, read_gltf_clips, sample
from plica.readers.model_outline import UnreadableModel

KEYS = np.array([0.0, 0.5, 2.0])
BETWEEN = np.linspace(-0.5, 2.5, 61)
INSIDE = np.clip(BETWEEN, 0.0, 2.0)


def test_linear_rotations_are_scipys_slerp() -> None:
    rotations = Rotation.random(3, rng=np.random.default_rng(1))
    keys = rotations.as_quat() * np.array([[1], [-1], [1]])  # the same rotation, the longer way round in numbers
    result = sample(AnimationTrack(0, "rotation", KEYS, keys, "LINEAR"), BETWEEN)
    expected = Slerp(KEYS, rotations)(INSIDE)
    assert np.max((Rotation.from_quat(result) * expected.inv()).magnitude()) < 1e-12


def test_linear_translations_are_numpys_interpolation() -> None:
    values = np.random.default_rng(2).normal(size=(3, 3))
    result = sample(AnimationTrack(0, "translation", KEYS, values, "LINEAR"), BETWEEN)
    for axis in range(3):
        np.testing.assert_allclose(result[:, axis], np.interp(INSIDE, KEYS, values[:, axis]), atol=1e-15)


def test_cubic_splines_are_scipys_hermite_splines() -> None:
    # glTF 2.0 Appendix C.5: tangents are per second, in-tangent first, and may differ on the two sides of a key
    values = np.random.default_rng(3).normal(size=(3, 3, 3))
    result = sample(AnimationTrack(0, "translation", KEYS, values, "CUBICSPLINE"), BETWEEN)
    for start in (0, 1):
        inside = (KEYS[start] <= BETWEEN) & (KEYS[start + 1] >= BETWEEN)
        tangents = np.array([values[start, 2], values[start + 1, 0]])
        spline = CubicHermiteSpline(KEYS[start : start + 2], values[start : start + 2, 1], tangents)
        np.testing.assert_allclose(result[inside], spline(BETWEEN[inside]), atol=1e-12)
    np.testing.assert_array_equal(result[BETWEEN > 2.0], np.tile(values[2, 1], (int(np.sum(BETWEEN > 2.0)), 1)))


def test_cubic_rotations_are_normalised() -> None:
    values = np.random.default_rng(4).normal(size=(3, 3, 4))
    result = sample(AnimationTrack(0, "rotation", KEYS, values, "CUBICSPLINE"), BETWEEN)
    np.testing.assert_allclose(np.linalg.norm(result, axis=1), 1.0, atol=1e-15)


def test_steps_hold_until_the_next_key() -> None:
    values = np.arange(9.0).reshape(3, 3)
    result = sample(
        AnimationTrack(0, "translation", KEYS, values, "STEP"), np.array([-1.0, 0.0, 0.499, 0.5, 1.999, 2.0, 3.0])
    )
    assert result[:, 0].tolist() == [0, 0, 0, 3, 3, 6, 6]


def _file(folder: Path, tracks: list[tuple[int, str, str, NDArray[Any], NDArray[Any]]]) -> Path:
    data, views, accessors = b"", [], []
    samplers, channels = [], []
    for node, path, interpolation, times, values in tracks:
        for array in (times, values):
            block = array.astype("<f4").tobytes()
            views.append({"buffer": 0, "byteOffset": len(data), "byteLength": len(block)})
            kind = "SCALAR" if array.ndim == 1 else f"VEC{array.shape[1]}"
            accessors.append({"bufferView": len(views) - 1, "componentType": 5126, "count": len(array), "type": kind})
            data += block
        samplers.append({"input": len(accessors) - 2, "output": len(accessors) - 1, "interpolation": interpolation})
        channels.append({"sampler": len(samplers) - 1, "target": {"node": node, "path": path}})
    document = {
        "asset": {"version": "2.0"},
        "nodes": [{"name": "arm", "translation": [1, 2, 3], "children": [1]}, {"name": "hand"}],
        "buffers": [{"uri": "data:;base64," + base64.b64encode(data).decode(), "byteLength": len(data)}],
        "bufferViews": views,
        "accessors": accessors,
        "animations": [{"name": "wave", "samplers": samplers, "channels": channels}],
    }
    path_of_file = folder / "clip.gltf"
    path_of_file.write_text(json.dumps(document))
    return path_of_file


def test_a_clip_has_all_joints_at_the_union_of_the_key_times(tmp_path: Path) -> None:
    quarter = np.array([[0, 0, 0, 2], [0, 0, 2, 2]])  # keys of any length
    path = _file(
        tmp_path,
        [
            (1, "rotation", "LINEAR", np.array([0.0, 0.04]), quarter),
            (0, "translation", "STEP", np.array([0.01]), np.array([[7, 8, 9]])),
            (0, "scale", "STEP", np.array([0.03]), np.array([[2, 2, 2]])),
        ],
    )
    (clip,) = read_gltf_clips(path)
    assert clip.name == "wave"
    assert clip.joints == ("arm", "hand")
    assert clip.in_metres
    np.testing.assert_allclose(clip.times, [0.0, 0.01, 0.03, 0.04], atol=1e-8)
    assert clip.rotations[:, 0].tolist() == [[0, 0, 0, 1]] * 4
    assert clip.translations[:, 0].tolist() == [[7, 8, 9]] * 4
    angles = Rotation.from_quat(clip.rotations[:, 1]).magnitude()
    np.testing.assert_allclose(np.degrees(angles), [0, 22.5, 67.5, 90], atol=1e-5)
    assert clip.scales is not None
    assert clip.scales[:, 0].tolist() == [[2, 2, 2]] * 4
    assert clip.scales[:, 1].tolist() == [[1, 1, 1]] * 4


def test_between_keys_that_are_far_apart_a_clip_is_looked_at_where_it_moves(tmp_path: Path) -> None:
    """Two keys with the same rotation may have any motion between them, and no figure may rest on the keys alone."""
    still, turned = np.array([0, 0, 0, 1.0]), np.array([0, 0, 4.0, 0])
    over_and_back = np.stack([0 * still, still, turned, -turned, still, 0 * still])
    tracks = [
        (1, "rotation", "CUBICSPLINE", np.array([1.0, 2.0]), over_and_back),
        (0, "translation", "STEP", np.array([0.0, 3.0]), np.array([[0, 0, 0], [1, 0, 0]])),
        (0, "scale", "LINEAR", np.array([2.5, 3.0]), np.array([[1, 1, 1], [1, 1, 1]])),
    ]
    (clip,) = read_gltf_clips(_file(tmp_path, tracks))
    np.testing.assert_allclose(clip.times, [0.0, *np.linspace(1.0, 2.0, 25), 2.5, 3.0])
    angles = Rotation.from_quat(clip.rotations[:, 1]).magnitude()
    spline = CubicHermiteSpline([1.0, 2.0], [[0.0, 1.0], [0.0, 1.0]], [[4.0, 0.0], [-4.0, 0.0]])(1.5)
    assert angles.max() == pytest.approx(2.0 * np.arctan2(*spline), abs=1e-6)  # 90 degrees, in the middle
    assert angles[[0, 1, 25, 26, 27]].max() == 0.0
    (slow,) = read_gltf_clips(_file(tmp_path, [(1, "rotation", "LINEAR", np.array([0.0, 600.0]), np.eye(4)[2:])]))
    assert len(slow.times) == 181, "a rotation between two keys is at most 180 degrees"
    film = np.arange(48, dtype=np.float32) / np.float32(23.976)
    (filmed,) = read_gltf_clips(_file(tmp_path, [(1, "translation", "LINEAR", film, np.eye(48)[:, :3])]))
    assert len(filmed.times) == 48


def test_any_time_between_keys_is_some_number_of_parts() -> None:
    """Also times of damaged files, which others refuse."""
    times = (0.0, -1.0, float("nan"), float("inf"), 1 / 24, 1 / 23.976, 1 / 12, 0.5, 1e300)
    assert [parts_between(seconds) for seconds in times] == [1, 1, 1, 180, 1, 1, 2, 12, 180]


def test_scales_are_numpys_interpolation(tmp_path: Path) -> None:
    keys = np.array([[1, 1, 1], [1.5, 0.5, 3.0]])
    path = _file(tmp_path, [(1, "scale", "LINEAR", np.array([0.0, 2.0]), keys)])
    (clip,) = read_gltf_clips(path, rate=4.0)
    assert clip.scales is not None
    for axis in range(3):
        expected = np.interp(clip.times, [0.0, 2.0], keys[:, axis])
        np.testing.assert_allclose(clip.scales[:, 1, axis], expected, atol=1e-7)
    (still,) = read_gltf_clips(_file(tmp_path, [(1, "translation", "STEP", np.array([0.0]), np.array([[1, 1, 1]]))]))
    assert still.scales is None


def test_a_clip_can_be_sampled_at_a_rate(tmp_path: Path) -> None:
    track = (1, "translation", "LINEAR", np.array([0.5, 1.5]), np.array([[0, 0, 0], [10, 0, 0]]))
    (clip,) = read_clips(_file(tmp_path, [track]), rate=4.0)
    np.testing.assert_allclose(clip.times, [0.5, 0.75, 1.0, 1.25, 1.5])
    np.testing.assert_allclose(clip.translations[:, 1, 0], [0, 2.5, 5, 7.5, 10])
    with pytest.raises(UnreadableModel, match=r"1000000001 frames of 2 joints, has .* more than the limit"):
        read_clips(tmp_path / "clip.gltf", rate=1e9)


@pytest.mark.parametrize(
    ("interpolation", "times", "values", "words"),
    [
        ("LINEAR", [0.0, 0.0], [[0, 0, 0]] * 2, "rise strictly"),
        ("LINEAR", [0.0, 1.0], [[0, 0, 0]] * 3, "do not match"),
        ("CUBICSPLINE", [0.0, 1.0], [[0, 0, 0]] * 2, "do not match"),
        ("BOUNCE", [0.0, 1.0], [[0, 0, 0]] * 2, "interpolation"),
    ],
)
def test_wrong_channels_are_said(
    tmp_path: Path, interpolation: str, times: list[float], values: list[list[float]], words: str
) -> None:
    path = _file(tmp_path, [(0, "translation", interpolation, np.array(times), np.array(values))])
    with pytest.raises(UnreadableModel, match=words):
        read_gltf_clips(path)


def test_what_is_no_clip_becomes_one_diagnostic(tmp_path: Path) -> None:
    diagnostics = Diagnostics()
    (tmp_path / "walk.mp4").write_bytes(b"")
    assert find_clips(tmp_path / "walk.mp4", "walk.mp4", None, diagnostics) == ()
    assert find_clips(tmp_path / "none.bvh", "none.bvh", None, diagnostics) == ()
    assert [diagnostic.name for diagnostic in diagnostics.all] == ["unreadable-clip", "unreadable-clip"]
