"""The quick way to the nearest triangles of two regions against the distance of every pair in every frame."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from plica.measure import clearance
from plica.measure.clearance import Clearance
from plica.measure.distance import distances
from plica.measure.rest_neighbours import FOLD
from plica.mesh.weld import edges_of
from tests.measure.moving import Moving, first_worst, moving
from tests.support.meshes import bare_mesh, bilateral

SIZES = st.sampled_from([0.0, 0.1, 0.5])


@settings(max_examples=50, deadline=None)
@given(moving(most=40, frames=20), SIZES, st.sampled_from([1, 32]), st.sampled_from([1, 3, 7, 64]))
def test_nothing_is_nearer_than_what_is_found(case: Moving, short: float, long: int, size: int) -> None:
    """To the last bit, with the first frame and the first pair that have it, and of its triangle the vertex that faces
    the other, whether or not one frame bounds the others and however few frames are searched at once."""
    mesh = bare_mesh(case.rest, case.triangles)
    one = (np.arange(len(case.rest)) % 3 < 2).astype(np.float64)
    try:
        result = Clearance.prepared(mesh, one, 1.0 - one, case.rest, short)
    except ValueError:
        return
    with patch.multiple(clearance, _LONG=long, MANY=size, FRAMES=size):
        worst = result.worst(case.positions, case.starts)
    i, j = (part.ravel() for part in np.indices((len(result.one.corners), len(result.other.corners))))
    free = ~np.isin(i * len(result.other.corners) + j, result.together)
    i, j = i[free], j[free]
    if not len(i):
        assert np.isinf(worst.values).all() and (worst.vertices == -1).all()
        return
    first, second = result.one.corner_vertices[i], result.other.corner_vertices[j]
    dense = np.stack([distances(places[first], places[second]) for places in case.positions])
    frames = first_worst(-dense.min(axis=1), case.starts)
    assert worst.frames.tolist() == frames.tolist()
    assert worst.values.tolist() == dense[frames].min(axis=1).tolist()
    pairs = dense[frames].argmin(axis=1)
    places = case.positions[frames]
    runs = np.arange(len(frames))[:, None]
    middles = places[runs, second[pairs]].mean(axis=1, keepdims=True)
    facing = ((places[runs, first[pairs]] - middles) ** 2).sum(axis=2).argmin(axis=1)
    assert worst.vertices.tolist() == first[pairs, facing].tolist()


@settings(max_examples=15, deadline=None)
@given(moving(most=60), st.integers(1, 70))
def test_how_frames_are_cut_changes_nothing(case: Moving, size: int) -> None:
    one = (np.arange(len(case.rest)) % 3 < 2).astype(np.float64)
    try:
        result = Clearance.prepared(bare_mesh(case.rest, case.triangles), one, 1.0 - one, case.rest)
    except ValueError:
        return
    every = np.arange(len(case.positions))
    whole = result.worst(case.positions, every)
    for start in range(0, len(every), size):
        part = result.worst(
            np.ascontiguousarray(case.positions[start : start + size]), every[: len(every) - start][:size]
        )
        assert part.values.tolist() == whole.values[start : start + size].tolist()
        assert part.vertices.tolist() == whole.vertices[start : start + size].tolist()


@pytest.mark.parametrize("short", [0.0, 0.15, 0.6])
def test_what_belongs_together_is_what_is_near_along_the_edges(short: float) -> None:
    """Against scipy's Dijkstra over the whole mesh: corners no further than `short` apart."""
    rest, triangles = bilateral(300, 6)
    mesh = bare_mesh(rest, triangles)
    result = Clearance.prepared(
        mesh, (rest[:, 1] < -0.3).astype(float), (rest[:, 1] > -0.35).astype(float), rest, short
    )
    edges = edges_of(triangles)
    lengths = np.linalg.norm(rest[edges[:, 0]] - rest[edges[:, 1]], axis=1)
    graph = coo_array((lengths, (edges[:, 0], edges[:, 1])), shape=(len(rest), len(rest)))
    ways = dijkstra(graph, directed=False)
    one, other = result.one.corner_vertices, result.other.corner_vertices
    near = (ways[one[:, None, :, None], other[None, :, None, :]] <= short).any(axis=(2, 3))
    assert result.together.tolist() == np.flatnonzero(near).tolist()
    assert len(result.together)


@pytest.mark.parametrize("degrees", [10.0, 25.0, 28.0, 30.0, 60.0, 180.0])
def test_a_fold_is_clear_unless_it_is_sharper_than_the_rule_says(degrees: float) -> None:
    """A strip folded across its middle to an angle: the clearance asked for holds exactly where the angle is above
    2 asin(1 / FOLD) = 28.96 degrees (elementary geometry)."""
    asked, step = 0.1, 0.01
    along = np.concatenate([-np.arange(step, 2.0, step)[::-1], np.arange(0.0, 2.0, step)])
    rest = np.array([[x, 0.0, z] for x in along for z in (0.0, 10.0)])
    start = 2 * np.arange(len(along) - 1)[:, None]
    triangles = np.concatenate([start + np.array([0, 1, 2]), start + np.array([1, 3, 2])])
    left = (rest[:, 0] < 0.5 * step).astype(float)
    result = Clearance.prepared(bare_mesh(rest, triangles), left, 1.0 - left, rest, FOLD * asked)
    turn = np.radians(180.0 - degrees)
    folded = rest.copy()
    right = rest[:, 0] > 0.0
    folded[right] = rest[right, :1] * (np.cos(turn), np.sin(turn), 0.0) + rest[right] * (0.0, 0.0, 1.0)
    value = result.worst(np.stack([rest, folded]), np.arange(2)).values
    assert value[0] >= FOLD * asked - 2.0 * step
    assert (value[1] >= asked) == (degrees > 29.0)


def test_a_place_that_is_no_number_spoils_its_run_alone() -> None:
    rest = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 5], [1, 0, 5], [0, 1, 5]])
    mesh = bare_mesh(rest, np.array([[0, 1, 2], [3, 4, 5]]))
    positions = np.repeat(rest[None], 4, axis=0)
    positions[2, 4, 0] = np.inf
    one = np.array([1.0, 1, 1, 0, 0, 0])
    worst = Clearance.prepared(mesh, one, 1.0 - one, rest).worst(positions, np.array([0, 1, 3]))
    assert worst.values.tolist()[::2] == [5.0, 5.0] and np.isnan(worst.values[1])
    assert worst.frames.tolist() == [0, 2, 3]
    assert worst.vertices.tolist() == [0, -1, 0]


def test_regions_without_triangles_of_their_own_are_refused() -> None:
    rest = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    with pytest.raises(ValueError, match="two regions"):
        Clearance.prepared(bare_mesh(rest, np.array([[0, 1, 2]])), np.ones(3), np.zeros(3), rest)
