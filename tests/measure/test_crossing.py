"""What counts as a crossing and what does not, on a few triangles."""

from __future__ import annotations

import numpy as np
import pytest

from plica.measure.crossing import Crossing
from plica.measure.separating_axis import meeting
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


def test_a_frame_with_a_place_that_is_no_number_has_no_figure() -> None:
    mesh = bare_mesh(POSITIONS, TRIANGLES)
    frames = np.stack([POSITIONS, POSITIONS - np.array([0, 0, 1.5]) * (np.arange(6) > 2)[:, None], POSITIONS])
    frames[0, 0, 0], frames[2, 5, 1] = np.inf, np.nan
    result = Crossing.prepared(mesh, POSITIONS).of(frames)
    assert np.isnan(result.measured.values).tolist() == [True, False, True]
    assert result.frames.tolist() == [1] and result.measured.vertices.tolist() == [-1, 0, -1]


@pytest.mark.parametrize("seed", range(3))
def test_the_pairs_are_those_of_trying_every_pair(seed: int) -> None:
    """Triangles without order, many frames: at rest, folded flat, in one place, on a coarse grid and far away."""
    random = np.random.default_rng(seed)
    rest = random.normal(size=(120, 3))
    triangles = np.sort(random.permuted(np.tile(np.arange(120), (90, 1)), axis=1)[:, :3])
    rest[:, 0] += 3.0 * (np.arange(120) // 12)
    frames = random.normal(scale=0.3, size=(40, 120, 3)) + rest * np.linspace(0.2, 1.0, 40)[:, None, None]
    frames[:5] = [rest, rest * (1, 1, 0), rest * 0.0, np.round(rest), rest + 1e6]
    mesh = bare_mesh(rest, triangles)
    one, other = np.triu_indices(len(triangles), 1)
    counting = (triangles[one][:, :, None] != triangles[other][:, None, :]).all(axis=(1, 2))
    counting &= ~meeting(rest[triangles[one]], rest[triangles[other]])
    pairs = np.stack([one, other], axis=1)[counting]
    crossing = Crossing.prepared(mesh, rest)
    result = crossing.of(frames)
    for number, places in enumerate(frames):
        expected = pairs[meeting(places[triangles[pairs[:, 0]]], places[triangles[pairs[:, 1]]])]
        assert result.triangles[result.frames == number].tolist() == expected.tolist()
        assert result.measured.values[number] == len(expected)
    assert len(crossing.at_rest) > 10 and len(result.frames) > 1000


def test_no_frames_and_no_triangles() -> None:
    mesh = bare_mesh(POSITIONS, TRIANGLES)
    assert Crossing.prepared(mesh, POSITIONS).of(np.zeros((0, 6, 3))).measured.values.shape == (0,)
    with pytest.raises(ValueError, match="no triangles"):
        Crossing.prepared(mesh, POSITIONS, np.zeros(6))
