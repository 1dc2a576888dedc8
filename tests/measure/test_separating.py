"""Pairs of triangles made by hand, and laws that any pair obeys."""

from __future__ import annotations

import numpy as np
import pytest

from plica.measure.separating_axis import meeting
from plica.mesh.arrays import Floats

BASE = [[0.0, 0, 0], [2, 0, 0], [0, 2, 0]]
CASES = {
    "through": ([[0.5, 0.5, -1], [0.5, 0.5, 1], [0.6, 0.5, 1]], True),
    "above": ([[0.5, 0.5, 0.1], [0.5, 0.5, 1], [0.6, 0.5, 1]], False),
    "corner on the inside": ([[0.5, 0.5, 0], [0.5, 0.5, 1], [0.6, 0.5, 1]], True),
    "corner on a corner": ([[2.0, 0, 0], [3, 0, 1], [3, 0, 2]], True),
    "edge on an edge": ([[0.5, 0, 0], [1, 0, 0], [0.5, -1, 1]], True),
    "coplanar, overlapping": ([[0.5, 0.5, 0], [3, 0.5, 0], [0.5, 3, 0]], True),
    "coplanar, inside": ([[0.5, 0.5, 0], [0.7, 0.5, 0], [0.5, 0.7, 0]], True),
    "coplanar, beside": ([[1.1, 1.1, 0], [3, 1.1, 0], [1.1, 3, 0]], False),
    "coplanar, one edge in common": ([[2.0, 0, 0], [0, 2, 0], [2, 2, 0]], True),
    "segment through": ([[0.5, 0.5, -1], [0.5, 0.5, 1], [0.5, 0.5, 0.3]], True),
    "segment beside": ([[1.5, 1.5, -1], [1.5, 1.5, 1], [1.5, 1.5, 0]], False),
    "segment in the plane, beside": ([[1.5, 1.0, 0], [3, 1, 0], [2, 1, 0]], False),
    "segment in the plane, across": ([[-1.0, 1, 0], [3, 1, 0], [2, 1, 0]], True),
    "point inside": ([[0.5, 0.5, 0]] * 3, True),
    "point above": ([[0.5, 0.5, 1e-9]] * 3, False),
    "point in the plane, beside": ([[1.5, 1.5, 0]] * 3, False),
}


@pytest.mark.parametrize("name", CASES)
def test_pairs_made_by_hand(name: str) -> None:
    other, expected = CASES[name]
    a, b = np.array([BASE]), np.array([other], np.float64)
    assert meeting(a, b)[0] == expected
    assert meeting(b, a)[0] == expected
    assert meeting(a[:, ::-1], b[:, [1, 2, 0]])[0] == expected


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ([[0, 0, 0], [1, 0, 0]], [[0, 1, 0], [1, 1, 0]], False),
        ([[0, 0, 0], [1, 0, 0]], [[2, 0, 0], [3, 0, 0]], False),
        ([[0, 0, 0], [1, 0, 0]], [[0.5, -1, 0], [0.5, 1, 0]], True),
        ([[0, 0, 0], [1, 0, 0]], [[1.5, -1, 0], [1.5, 1, 0]], False),
        ([[0, 0, 0], [1, 1, 1]], [[0.4, 0.5, 0.5], [0.4, 0.5, 0.5]], False),
        ([[0, 0, 0], [1, 1, 1]], [[0.5, 0.5, 0.5], [0.5, 0.5, 0.5]], True),
        ([[1, 2, 3], [1, 2, 3]], [[1, 2, 4], [1, 2, 4]], False),
    ],
)
def test_segments_and_points(one: list[list[float]], other: list[list[float]], expected: bool) -> None:
    a, b = (np.array([[*ends, ends[1]]], np.float64) for ends in (one, other))
    assert meeting(a, b)[0] == expected
    assert meeting(b, a)[0] == expected


def test_sharing_a_point_is_meeting_wherever_it_is() -> None:
    random = np.random.default_rng(6)
    a, b = random.normal(size=(2, 4000, 3, 3))
    shares = random.dirichlet(np.ones(3), size=(2, 4000))
    b += (np.einsum("nc,nci->ni", shares[0], a) - np.einsum("nc,nci->ni", shares[1], b))[:, None]
    assert meeting(a, b).all()


def test_a_plane_between_is_never_meeting() -> None:
    random = np.random.default_rng(7)
    a: Floats = random.normal(size=(4000, 3, 3))
    b: Floats = random.normal(size=(4000, 3, 3))
    a[:, :, 0], b[:, :, 0] = np.abs(a[:, :, 0]) + 1e-6, -np.abs(b[:, :, 0]) - 1e-6
    turn = np.linalg.qr(random.normal(size=(3, 3)))[0]
    assert not meeting(a @ turn, b @ turn).any()
