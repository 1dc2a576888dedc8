"""Jumps and unevenness of strengths."""

from __future__ import annotations

import numpy as np

from plica.measure.strength_series import jumps, unevenness


def test_the_largest_jump_and_whose_it_is() -> None:
    values, which = jumps(np.array([[0.0, 0.5], [0.1, 0.5], [0.1, 0.9]]))
    assert np.allclose(values, [0.1, 0.4])
    assert which.tolist() == [0, 1]
    assert jumps(np.zeros((3, 0)))[1].tolist() == [-1, -1]


def test_left_against_right() -> None:
    values, which = unevenness(np.array([[0.2, 0.6]]), np.array([[0.6, 0.3]]), np.array([1, 0]))
    assert np.allclose(values, [0.1])
    assert which.tolist() == [0]
