"""Feather: how wide, how symmetric, and only along the surface."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from plica.mesh.arrays import Floats, Integers
from plica.mesh.feather import feathered, has_edge, ramp
from tests.support.meshes import bilateral


def sheet(size: int, length: float) -> tuple[Floats, Integers]:
    """A square in the plane y = 0, x from -length / 2, of size x size points."""
    along = np.linspace(-length / 2.0, length / 2.0, size)
    x, z = np.meshgrid(along, along, indexing="ij")
    number = np.arange(size * size).reshape(size, size)
    a, b, c, d = (part.ravel() for part in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]))
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    return np.stack([x.ravel(), np.zeros(size * size), z.ravel()], axis=1), triangles


@given(st.lists(st.floats(-2.0, 2.0), min_size=1), st.sampled_from([0.0, 0.5, 1.0]))
def test_the_ramp_rises_from_0_to_1_and_is_the_same_from_both_ends(values: list[float], width: float) -> None:
    distance = np.sort(np.array(values))
    there, back = ramp(distance, width), ramp(-distance, width)
    assert (np.diff(there) >= 0.0).all()
    assert (np.abs(there + back - 1.0) <= np.spacing(1.0)).all()
    assert (there[distance >= max(width / 2.0, 1e-300)] == 1.0).all()
    assert (there[distance == 0.0] == 0.5).all()


def test_a_hard_edge_becomes_a_ramp_of_the_stated_width() -> None:
    positions, triangles = sheet(81, 0.08)  # points 1 mm apart
    x = positions[:, 0]
    soft = feathered((x > 0.0005).astype(np.float64), 0.02, positions, triangles)
    # The edge is halfway between the last point outside and the first inside. Hermite's cubic.
    share = np.clip((x - 0.0005) / 0.02 + 0.5, 0.0, 1.0)
    assert np.allclose(soft, share * share * (3.0 - 2.0 * share), atol=1e-12)


def test_what_is_softer_already_stays_bit_for_bit() -> None:
    positions, triangles = sheet(41, 0.08)
    slope = np.clip(0.5 + positions[:, 0] / 0.07, 0.0, 1.0)
    assert np.array_equal(feathered(slope, 0.02, positions, triangles), slope)
    assert not np.array_equal(feathered(slope, 0.2, positions, triangles), slope)


@given(st.integers(0, 10_000), st.sampled_from([0.05, 0.3, 1.0]))
def test_the_feather_of_the_rest_is_the_rest_of_the_feather(seed: int, width: float) -> None:
    positions, triangles = bilateral(200, 1)
    weights = np.random.default_rng(seed).choice([0.0, 0.125, 0.25, 0.75, 1.0], len(positions))
    inside = feathered(weights, width, positions, triangles)
    outside = feathered(1.0 - weights, width, positions, triangles)
    assert np.allclose(inside + outside, 1.0, atol=1e-12)
    assert ((inside >= 0.0) & (inside <= 1.0)).all()
    assert (np.abs(inside - 0.5) <= np.abs(weights - 0.5)).all()
    assert ((inside >= 0.5) == (weights >= 0.5)).all()


def test_no_width_and_no_edge_change_nothing() -> None:
    positions, triangles = sheet(11, 0.1)
    step = (positions[:, 0] > 0.0).astype(np.float64)
    assert np.array_equal(feathered(step, 0.0, positions, triangles), step)
    weak = np.where(step > 0.0, 0.4, 0.0)
    assert not has_edge(weak)
    assert not has_edge(np.ones(3))
    assert np.array_equal(feathered(weak, 0.05, positions, triangles), weak)


def test_it_goes_along_the_surface_and_not_through_the_air() -> None:
    lower, triangles = sheet(41, 0.04)
    positions = np.concatenate([lower, lower + np.array([0.0, 0.001, 0.0])])
    both = np.concatenate([triangles, triangles + len(lower)])
    weights = np.concatenate([(lower[:, 0] > 0.0005).astype(np.float64), np.zeros(len(lower))])
    soft = feathered(weights, 0.02, positions, both)
    assert (soft[: len(lower)] != weights[: len(lower)]).any()
    assert not soft[len(lower) :].any()


def test_a_mirrored_mesh_gets_mirrored_weights_bit_for_bit() -> None:
    positions, triangles = bilateral(3000, 5)
    place = {tuple(point): index for index, point in enumerate(positions.tolist())}
    partner = np.array([place[-x + 0.0, y, z] for x, y, z in positions.tolist()])
    ring = (np.abs(np.abs(positions[:, 0]) - 0.3) < 0.1) & (positions[:, 1] > -0.2)
    soft = feathered(ring.astype(np.float64), 0.15, positions, triangles)
    assert ((soft > 0.0) & (soft < 1.0)).sum() > 300
    assert np.array_equal(soft, soft[partner])
