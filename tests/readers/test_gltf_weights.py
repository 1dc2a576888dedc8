"""Weights of morph targets in animations (glTF 2.0 section 3.11, Appendix C), against numpy, scipy and a decoding by
hand of models that were written by others."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

from plica.evaluate.clip_parts import cut_clip
from plica.readers.clip import Clip
from plica.readers.gltf_clip import read_gltf_clips
from plica.readers.model_outline import UnreadableModel
from tests.support.data import shared_data
from tests.support.faces import ShownMesh, WeightTrack, face

KEYS = (0.0, 0.5, 2.0)
PLACES = np.linspace(0.0, 2.0, 41)
SKIN = {"skin": ShownMesh(("a", "b"))}


def read(path: Path) -> Clip:
    (clip,) = read_gltf_clips(path)
    return clip


def between(path: Path, places: NDArray[np.float64] = PLACES) -> Clip:
    clip = read(path)
    assert clip.between is not None
    return clip.between(places)


def single(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """What a file of single precision keeps."""
    return values.astype(np.float32).astype(np.float64)


def test_linear_weights_are_numpys_interpolation(tmp_path: Path) -> None:
    values = single(np.random.default_rng(1).uniform(size=(3, 2)))
    path = face(tmp_path, SKIN, [WeightTrack(0, KEYS, values)])
    clip = read(path)
    at_keys = np.searchsorted(clip.times, KEYS)
    np.testing.assert_array_equal(clip.times[at_keys], KEYS)
    for column, name in enumerate("ab"):
        np.testing.assert_array_equal(clip.weights[name][at_keys], values[:, column])
        expected = np.interp(PLACES, KEYS, values[:, column])
        np.testing.assert_allclose(between(path).weights[name], expected, atol=1e-15)


def test_steps_hold_until_the_next_key(tmp_path: Path) -> None:
    path = face(tmp_path, SKIN, [WeightTrack(0, KEYS, np.arange(6.0).reshape(3, 2), "STEP")])
    clip = between(path, np.array([0.0, 0.49, 0.5, 1.99, 2.0]))
    assert clip.weights["b"].tolist() == [1, 1, 3, 3, 5]


def test_cubic_weights_are_scipys_hermite_splines(tmp_path: Path) -> None:
    """For each key all in-tangents, then all values, then all out-tangents (glTF 2.0, Appendix C.5)."""
    values = single(np.random.default_rng(2).normal(size=(3, 3, 2)))
    clip = between(face(tmp_path, SKIN, [WeightTrack(0, KEYS, values, "CUBICSPLINE")]))
    for start in (0, 1):
        inside = (KEYS[start] <= PLACES) & (KEYS[start + 1] >= PLACES)
        tangents = np.array([values[start, 2], values[start + 1, 0]])
        spline = CubicHermiteSpline(KEYS[start : start + 2], values[start : start + 2, 1], tangents)
        for column, name in enumerate("ab"):
            np.testing.assert_allclose(clip.weights[name][inside], spline(PLACES[inside])[:, column], atol=1e-12)


def test_meshes_that_move_alike_count_as_one(tmp_path: Path) -> None:
    """Also where one has a key more, on the straight line; one that the clip does not move does not count."""
    meshes = {"skin": ShownMesh(("a", "b")), "teeth": ShownMesh(("b",)), "tongue": ShownMesh(("a", "b"))}
    values = np.array([[0.0, 0.0], [1.0, 0.5], [0.5, 1.0]])
    alike = WeightTrack(1, (0.0, 0.25, 0.5, 2.0), np.array([[0.0], [0.25], [0.5], [1.0]]))
    clip = read(face(tmp_path, meshes, [WeightTrack(0, KEYS, values), alike]))
    assert clip.weights_apart == () and sorted(clip.weights) == ["a", "b"]
    np.testing.assert_allclose(clip.weights["b"], np.interp(clip.times, KEYS, values[:, 1]), atol=1e-7)


@pytest.mark.parametrize("interpolation", ["LINEAR", "STEP"])
def test_meshes_that_move_apart_have_no_one_weight(tmp_path: Path, interpolation: str) -> None:
    """The steps are the same at the keys, and differ only between them; so nothing is known there either."""
    meshes = {"skin": ShownMesh(("a", "b")), "teeth": ShownMesh(("b",))}
    values = np.array([[0.0, 0.0], [1.0, 0.5], [0.5, 1.0]])
    other = values[:, 1:] if interpolation == "STEP" else values[:, 1:] * 0.5
    path = face(tmp_path, meshes, [WeightTrack(0, KEYS, values), WeightTrack(1, KEYS, other, interpolation)])
    for clip in (read(path), between(path), between(path, np.zeros(1))):
        assert clip.weights_apart == ("b",) and sorted(clip.weights) == ["a"]


def test_a_part_of_a_clip_has_its_weights(tmp_path: Path) -> None:
    path = face(tmp_path, SKIN, [WeightTrack(0, KEYS, np.arange(6.0).reshape(3, 2))])
    part = cut_clip(read(path), 0.25, 2.0)
    assert (part.times[0], part.times[-1]) == (0.25, 2.0)
    np.testing.assert_allclose(part.weights["a"], np.interp(part.times, KEYS, [0, 2, 4]), atol=1e-12)


@pytest.mark.parametrize("values", [np.zeros((2, 2)), np.zeros((3, 1)), np.zeros((4, 2))])
def test_values_that_do_not_fit_the_keys_are_refused(tmp_path: Path, values: NDArray[np.float64]) -> None:
    path = face(tmp_path, SKIN, [WeightTrack(0, KEYS, values)])
    with pytest.raises(UnreadableModel, match="do not match its 3 key times"):
        read_gltf_clips(path)


def test_a_mesh_that_is_moved_twice_is_refused(tmp_path: Path) -> None:
    path = face(tmp_path, SKIN, [WeightTrack(0, KEYS, np.zeros((3, 2)))] * 2)
    with pytest.raises(UnreadableModel, match="moves already"):
        read_gltf_clips(path)


@pytest.mark.parametrize(
    "model", ["simple_morph/SimpleMorph.gltf", "animated_morph_cube/AnimatedMorphCube.gltf"], ids=["simple", "cube"]
)
def test_models_by_others_are_as_their_bytes_say(model: str) -> None:
    path = shared_data("characters", *model.split("/"))
    document = json.loads(path.read_text("utf-8"))
    (animation,) = document["animations"]
    (channel,) = [one for one in animation["channels"] if one["target"]["path"] == "weights"]
    sampler = animation["samplers"][channel["sampler"]]
    times, values = (numbers(path, document, sampler[key]) for key in ("input", "output"))
    clip = read(path)
    assert sampler.get("interpolation", "LINEAR") == "LINEAR"
    assert sorted(clip.weights) == ["target_0", "target_1"]
    for target in (0, 1):
        expected = np.interp(clip.times, times, values.reshape(-1, 2)[:, target])
        np.testing.assert_allclose(clip.weights[f"target_{target}"], expected, atol=1e-12)


def numbers(path: Path, document: dict[str, Any], accessor: int) -> NDArray[np.float64]:
    """The floats of an accessor, taken from its buffer by hand."""
    one = document["accessors"][accessor]
    view = document["bufferViews"][one["bufferView"]]
    data = (path.parent / document["buffers"][view["buffer"]]["uri"]).read_bytes()
    start = view.get("byteOffset", 0) + one.get("byteOffset", 0)
    return np.frombuffer(data, "<f4", one["count"], start).astype(np.float64)
