"""The quick way to the worst deformed triangle against looking at every triangle in every frame."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.measure import bounds as screen
from plica.measure import stretch
from plica.measure.stretch import Stretch
from tests.measure.moving import Moving, first_worst, moving
from tests.support.meshes import bare_mesh


@settings(max_examples=150, deadline=None)
@given(moving(), st.sampled_from([7, 64, 256]), st.sampled_from([32, 1024]))
def test_nothing_is_worse_than_what_is_found(case: Moving, frames: int, triangles: int) -> None:
    """To the last bit, with the first frame and the first triangle that have it, however few frames and triangles are
    worked on at once."""
    result = Stretch.on_surface(bare_mesh(case.rest, case.triangles), None, case.rest)
    with patch.object(stretch, "MANY", frames), patch.multiple(screen, _LEAST=triangles, _MOST=triangles):
        worst = result.worst(case.positions, case.starts)
    if not len(result.corners):
        assert all((kind.vertices == -1).all() for kind in worst)
        return
    every = [result.each(places) for places in case.positions]
    dense = [np.stack(figures) for figures in zip(*every, strict=True)]
    dense[2] = np.arcsin(np.minimum(dense[2], 1.0))
    for kind, figures, sign in zip(worst, dense, (1.0, -1.0, 1.0), strict=True):
        of_frame = (sign * figures).max(axis=1)
        first = first_worst(of_frame, case.starts)
        assert kind.frames.tolist() == first.tolist()
        assert kind.values.tolist() == (sign * of_frame[first]).tolist()
        whose = (sign * figures[first]).argmax(axis=1)
        assert kind.vertices.tolist() == result.vertices[result.corners[whose, 0]].tolist()


@settings(max_examples=50, deadline=None)
@given(moving(), st.integers(1, 70))
def test_how_frames_are_cut_changes_nothing(case: Moving, size: int) -> None:
    result = Stretch.on_surface(bare_mesh(case.rest, case.triangles), None, case.rest)
    every = np.arange(len(case.positions))
    whole = result.worst(case.positions, every)
    for start in range(0, len(every), size):
        part = result.worst(
            np.ascontiguousarray(case.positions[start : start + size]), every[: len(every) - start][:size]
        )
        for kind, expected in zip(part, whole, strict=True):
            assert kind.values.tolist() == expected.values[start : start + size].tolist()
            assert kind.vertices.tolist() == expected.vertices[start : start + size].tolist()


def test_singular_values_are_those_of_linear_algebra() -> None:
    """Against numpy.linalg.svd of each triangle's map from its plane at rest."""
    random = np.random.default_rng(3)
    rest, triangles = random.normal(size=(40, 3)), np.array([random.choice(40, 3, replace=False) for _ in range(60)])
    places = random.normal(size=(40, 3))
    result = Stretch.on_surface(bare_mesh(rest, triangles), None, rest)
    largest, smallest, skew = result.each(places)
    for number, corners in enumerate(result.vertices[result.corners]):
        flat = np.linalg.qr((rest[corners[1:]] - rest[corners[0]]).T)
        edges = (places[corners[1:]] - places[corners[0]]).T
        first, second = np.linalg.svd(edges @ np.linalg.inv(flat[1]), compute_uv=False)
        assert largest[number] == pytest.approx(first, rel=1e-9)
        assert smallest[number] == pytest.approx(second, rel=1e-9)
        expected = (first**2 - second**2) / (first**2 + second**2)
        assert skew[number] == pytest.approx(expected, rel=1e-9)


def test_a_place_that_is_no_number_spoils_its_run_alone() -> None:
    rest = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    positions = np.repeat(rest[None], 4, axis=0)
    positions[2, 1, 0] = np.nan
    worst = Stretch.on_surface(bare_mesh(rest, np.array([[0, 1, 2]])), None, rest).worst(positions, np.array([0, 1, 3]))
    for kind in worst:
        assert np.isnan(kind.values).tolist() == [False, True, False]
        assert kind.frames.tolist() == [0, 2, 3]
        assert kind.vertices.tolist() == [0, -1, 0]


def test_a_region_without_triangles_is_not_stretched() -> None:
    rest = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    result = Stretch.on_surface(bare_mesh(rest, np.array([[0, 1, 2]])), np.zeros(3), rest)
    worst = result.worst(rest[None], np.zeros(1, np.int64))
    assert [(kind.values.tolist(), kind.vertices.tolist()) for kind in worst] == [([1.0], [-1])] * 2 + [([0.0], [-1])]
