"""Which vertices are copies of one point."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from plica.mesh.arrays import Floats, Integers, Offsets
from plica.mesh.weld import (
    edges_of,
    first_vertices,
    in_order,
    mean_per_point,
    per_point,
    per_vertex,
    weld,
    weld_borders,
)

PLACES = np.array([(0.0, 0, 0), (1, 0, 0), (0.0, 0, 0), (-0.0, 0, 0), (1, 0, 0)])
ONE_MESH = np.zeros(5, np.int64)
JOINTS = np.zeros((5, 2), np.int64)
WEIGHTS = np.tile([1.0, 0.0], (5, 1))


def test_copies_share_a_point_in_the_order_of_their_first_vertices() -> None:
    assert weld(PLACES, ONE_MESH, JOINTS, WEIGHTS, {}).tolist() == [0, 1, 0, 0, 1]


def test_other_meshes_weights_or_morphs_keep_vertices_apart() -> None:
    assert weld(PLACES, np.array([0, 0, 1, 0, 0]), JOINTS, WEIGHTS, {}).tolist() == [0, 1, 2, 0, 1]
    weights = WEIGHTS.copy()
    weights[2] = (0.5, 0.5)
    joints = np.tile([0, 1], (5, 1))
    assert weld(PLACES, ONE_MESH, joints, weights, {}).tolist() == [0, 1, 2, 0, 1]
    smile = Offsets(np.array([3]), np.array([(0.0, 0, 1)]))
    assert weld(PLACES, ONE_MESH, JOINTS, WEIGHTS, {"smile": smile}).tolist() == [0, 1, 0, 2, 1]


def test_the_order_of_influences_does_not_matter() -> None:
    joints = np.array([(0, 1), (0, 1), (1, 0), (0, 1), (0, 1)])
    weights = np.full((5, 2), 0.5)
    assert weld(PLACES, ONE_MESH, joints, weights, {}).tolist() == [0, 1, 0, 0, 1]


def test_a_tolerance_welds_what_is_near() -> None:
    places = PLACES + np.array([(0.0, 0, 0), (0, 0, 0), (1e-6, 0, 0), (0, 3e-6, 0), (0, 1e-3, 0)])
    assert weld(places, ONE_MESH, JOINTS, WEIGHTS, {}).tolist() == [0, 1, 2, 3, 4]
    assert weld(places, ONE_MESH, JOINTS, WEIGHTS, {}, 5e-6).tolist() == [0, 1, 0, 0, 2]


# Two squares of two triangles each that meet at x = 1, as two meshes.
SQUARES = np.array([(0.0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (1, 1, 0), (1, 0, 0), (2, 0, 0), (2, 1, 0)])
FACES = np.array([(0, 1, 2), (0, 2, 3), (5, 6, 7), (5, 7, 4)])
TWO_MESHES = np.repeat([0, 1], 4)


def bordering(places: Floats, weights: Floats | None = None, smile: Offsets | None = None) -> list[int]:
    """The points of the two squares, welded where their borders meet."""
    joints = np.tile([0, 1], (8, 1))
    weights = np.tile([0.75, 0.25], (8, 1)) if weights is None else weights
    morphs = {} if smile is None else {"smile": smile}
    return weld_borders(np.arange(8), places, FACES, TWO_MESHES, joints, weights, morphs, 1e-6).tolist()


def test_borders_of_a_skin_that_was_cut_are_one() -> None:
    assert bordering(SQUARES) == [0, 1, 2, 3, 2, 1, 4, 5]
    assert bordering(SQUARES + np.repeat([[0.0, 0, 0], [0, 3e-7, 0]], 4, axis=0)) == [0, 1, 2, 3, 2, 1, 4, 5]
    assert bordering(SQUARES + np.repeat([[0.0, 0, 0], [0, 3e-6, 0]], 4, axis=0)) == list(range(8))


def test_borders_that_move_otherwise_stay_apart() -> None:
    weights = np.tile([0.75, 0.25], (8, 1))
    weights[4] = (0.5, 0.5)
    assert bordering(SQUARES, weights) == [0, 1, 2, 3, 4, 1, 5, 6]
    both = Offsets(np.array([1, 5]), np.array([(0.0, 0, 1), (0, 0, 1)]))
    assert bordering(SQUARES, smile=both) == [0, 1, 2, 3, 2, 1, 4, 5]
    assert bordering(SQUARES, smile=Offsets(np.array([5]), np.array([(0.0, 0, 1)]))) == [0, 1, 2, 3, 2, 4, 5, 6]


def test_surfaces_that_touch_are_not_joined() -> None:
    tetrahedron = np.array([(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)])
    places = np.tile(np.array([(0.0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)]), (2, 1))
    faces = np.concatenate([tetrahedron, tetrahedron + 4])
    joints, weights = np.zeros((8, 1), np.int64), np.ones((8, 1))
    assert weld_borders(np.arange(8), places, faces, TWO_MESHES, joints, weights, {}, 1e-6).tolist() == list(range(8))


@given(st.lists(st.integers(0, 6), min_size=1, max_size=30))
def test_points_and_vertices_and_back(labels: list[int]) -> None:
    points: Integers = in_order(np.array(labels))
    assert first_vertices(points).tolist() == [labels.index(label) for label in dict.fromkeys(labels)]
    values = np.random.default_rng(1).normal(size=(int(points.max()) + 1, 3))
    np.testing.assert_array_equal(per_point(points, per_vertex(points, values)), values)
    np.testing.assert_allclose(mean_per_point(points, per_vertex(points, values)), values)


def test_edges_come_once() -> None:
    assert edges_of(np.array([(0, 1, 2), (2, 1, 3), (3, 3, 0)])).tolist() == [
        [0, 1],
        [0, 2],
        [0, 3],
        [1, 2],
        [1, 3],
        [2, 3],
    ]
