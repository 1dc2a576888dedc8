"""What counts as a crossing and what does not, on a few triangles."""

from __future__ import annotations

import numpy as np
import pytest

from plica.measure.crossing import Crossing
from tests.support.meshes import bare_mesh

FLAT = [[0.0, 0, 0], [2, 0, 0], [0, 2, 0]]
UPRIGHT = [[0.5, 0.5, 1.0], [0.6, 0.5, 3], [0.5, 0.6, 3]]
POSITIONS = np.array(FLAT + UPRIGHT)
TRIANGLES = np.array([[0, 1, 2], [3, 4, 5]])


def test_a_triangle_pushed_through_another() -> None:
    mesh = bare_mesh(POSITIONS, TRIANGLES)
    depth = np.array([0.0, 0.9, 1.0, 1.5, 3.5])
    frames = np.repeat(POSITIONS[None], 5, axis=0)
    frames[:, 3:, 2] -= depth[:, None]
    result = Crossing.prepared(mesh, POSITIONS).of(frames)
    assert result.measured.values.tolist() == [0, 0, 1, 1, 0]
    assert result.measured.vertices.tolist() == [-1, -1, 0, 0, -1]
    assert result.frames.tolist() == [2, 3]
    assert result.triangles.tolist() == [[0, 1], [0, 1]]


def test_what_crosses_at_rest_is_left_out() -> None:
    rest = POSITIONS.copy()
    rest[3:, 2] -= 1.5
    result = Crossing.prepared(bare_mesh(rest, TRIANGLES), rest).of(np.stack([rest, rest + 0.1]))
    assert result.measured.values.tolist() == [0, 0]


def test_triangles_that_share_a_welded_point_are_left_out() -> None:
    rest = np.concatenate([POSITIONS, [[0.5, 0.5, -2.0]]])
    # Vertex 6 is a copy of vertex 0, so both triangles hang on one point.
    rest[6] = rest[0]
    mesh = bare_mesh(rest, np.array([[0, 1, 2], [6, 4, 5]]), np.array([0, 1, 2, 3, 4, 5, 0]))
    moved = rest.copy()
    moved[4:6] = [[0.5, 0.5, 0.0], [0.6, 0.6, 0.0]]
    assert Crossing.prepared(mesh, rest).of(moved[None]).measured.values.tolist() == [0]


def test_no_frames_and_no_triangles() -> None:
    mesh = bare_mesh(POSITIONS, TRIANGLES)
    assert Crossing.prepared(mesh, POSITIONS).of(np.zeros((0, 6, 3))).measured.values.shape == (0,)
    with pytest.raises(ValueError, match="no triangles"):
        Crossing.prepared(mesh, POSITIONS, np.zeros(6))
