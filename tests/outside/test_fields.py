"""Fields against scipy.interpolate.RBFInterpolator, through points whose Euclidean distances are the fields' own."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator
from scipy.spatial.transform import Rotation as Turn

from plica.evaluate.fields import PreparedField
from plica.evaluate.poses import Array
from plica.rig.radial import distance
from plica.rig.strengths import Field, FieldSample
from tests.support.rigs import Kernel, Metric, quaternion, random_field


def embedded(field: Field, quaternions: Array) -> Array:
    """Points whose distances are those of the field's metric.

    Rotation matrices that are an angle a apart have the Frobenius distance sqrt(8) sin(a / 2), so a matrix
    over sqrt(2), as a point of nine numbers, has the distance 2 sin(a / 2).
    """
    turns = Turn.from_quat(quaternions)
    if field.metric == "rotation":
        return np.asarray(turns.as_matrix().reshape(-1, 9) / np.sqrt(2.0))
    return np.asarray(turns.apply(field.axis))


def samples_of(field: Field) -> Array:
    """The samples' quaternions, rest first."""
    return np.array([sample.rotation for sample in field.samples])


@pytest.mark.parametrize("metric", ["rotation", "direction"])
@pytest.mark.parametrize("kernel", ["gaussian", "linear"])
@pytest.mark.parametrize("count", [1, 4, 12])
def test_strengths(metric: Metric, kernel: Kernel, count: int) -> None:
    """scipy.interpolate.RBFInterpolator: gaussian exp(-(epsilon r)^2), no polynomial; linear, -r, a constant."""
    field = random_field(Random(count), "shoulder", "arm", metric, kernel, count)
    poses = np.vstack([Turn.random(200, random_state=1).as_quat(), samples_of(field)])
    interpolator = RBFInterpolator(
        embedded(field, samples_of(field)),
        np.eye(count + 1)[:, 1:],
        kernel=kernel,
        epsilon=1.0 if field.width is None else 1.0 / field.width,
        degree=-1 if kernel == "gaussian" else 0,
    )
    expected = np.clip(interpolator(embedded(field, poses)), 0.0, 1.0)
    result = PreparedField(field).strengths(poses.T * 1.7).T
    assert result == pytest.approx(expected, abs=1e-9)
    # At the samples themselves, rest first, the strengths are exactly 0 and 1.
    assert result[-count - 1 :].tolist() == np.eye(count + 1)[:, 1:].tolist()


@pytest.mark.parametrize("metric", ["rotation", "direction"])
def test_distances_are_euclidean(metric: Metric) -> None:
    """scipy.spatial.transform.Rotation for the matrices, and for the angle: 2 sin(a / 2)."""
    field = random_field(Random(5), "shoulder", "arm", metric, "linear", 2)
    turns = Turn.random(12, random_state=2).as_quat()
    points = embedded(field, turns)
    for row, a in enumerate(turns):
        for column, b in enumerate(turns):
            result = distance(quaternion(a), quaternion(b), metric, field.axis)
            assert result == pytest.approx(np.linalg.norm(points[row] - points[column]), abs=1e-12)
            if metric == "rotation":
                angle = (Turn.from_quat(a).inv() * Turn.from_quat(b)).magnitude()
                assert result == pytest.approx(2 * np.sin(angle / 2), abs=1e-12)


def test_the_cube_of_the_distance_can_fail() -> None:
    """Why there is no cubic kernel: with a constant, numpy.linalg finds the matrix singular for these three samples."""
    short, long = 1.0, 2.0 ** (2.0 / 3.0)
    matrix = np.array([[0.0, short, short], [short, 0.0, long], [short, long, 0.0]])
    for power, singular in ((3, True), (1, False)):
        system = np.ones((4, 4))
        system[:3, :3], system[3, 3] = matrix**power, 0.0
        assert (np.linalg.svd(system, compute_uv=False)[-1] < 1e-12) is np.bool_(singular)


def test_default_width_is_the_mean_distance() -> None:
    """numpy.mean over all pairs of samples."""
    field = random_field(Random(8), "shoulder", "arm", "rotation", "gaussian", 5)
    points = embedded(field, samples_of(field))
    pairs = [np.linalg.norm(a - b) for row, a in enumerate(points) for b in points[:row]]
    assert field.width == pytest.approx(np.mean(pairs), abs=1e-12)
    assert isinstance(field.samples[0], FieldSample)
