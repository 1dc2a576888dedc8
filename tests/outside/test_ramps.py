"""The laws of the kernel `ramp` over random samples, rotations and directions of scipy.spatial.transform.Rotation."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from scipy.spatial.transform import Rotation as Turn

from plica.evaluate.fields import PreparedField
from plica.evaluate.poses import Array
from plica.rig.ramps import HELD, angle_between, default_widths
from plica.rig.strengths import Field, FieldSample
from tests.support.rigs import Metric, quaternion, unit_vector

CASES = [(metric, seed) for metric in ("rotation", "direction") for seed in range(15)]
STEPS = np.linspace(0.0, 1.0, 81)


def ramp_field(metric: Metric, axis: tuple[float, float, float] | None, turns: list[Turn]) -> Field:
    """A field with the widths that a spec without any gives."""
    samples = [FieldSample("rest", (0.0, 0.0, 0.0, 1.0))]
    samples += [FieldSample(f"pose_{number}", quaternion(turn.as_quat())) for number, turn in enumerate(turns)]
    widths = default_widths(samples, metric, axis)
    samples = [sample._replace(width=width) for sample, width in zip(samples, widths, strict=True)]
    return Field("f", "none", "f", "arm", metric, axis, "ramp", None, tuple(samples), (), ())


def scattered(metric: Metric, seed: int) -> Field:
    """One to seven samples, 20 degrees apart at least and up to 150 degrees from rest; on one axis for every fifth."""
    random = Random(seed)
    axis = unit_vector(random) if metric == "direction" else None
    hinge = unit_vector(random)
    turns: list[Turn] = []
    for _ in range(400):
        about = hinge if seed % 5 == 0 else unit_vector(random)
        turn = Turn.from_rotvec(np.array(about) * random.uniform(0.4, 2.6))
        others = [Turn.identity(), *turns]
        if len(turns) < 1 + seed % 7 and all(angle(metric, axis, one, turn) > 0.35 for one in others):
            turns.append(turn)
    return ramp_field(metric, axis, turns)


def angle(metric: Metric, axis: tuple[float, float, float] | None, a: Turn, b: Turn) -> float:
    """scipy's angle of the turn between two; for directions the angle between the axes that they turn."""
    if metric == "rotation":
        return float((a.inv() * b).magnitude())
    one, other = a.apply(axis), b.apply(axis)
    return float(np.arctan2(np.linalg.norm(np.cross(one, other)), one @ other))


def angles(metric: Metric, axis: tuple[float, float, float] | None, one: Turn, many: Turn) -> Array:
    """`angle` of one turn to each of many."""
    if metric == "rotation":
        return np.asarray((one.inv() * many).magnitude())
    own, others = one.apply(axis), many.apply(axis)
    return np.asarray(np.arctan2(np.linalg.norm(np.cross(own, others), axis=1), others @ own))


def neighbours_of(field: Field) -> list[tuple[int, int]]:
    """Pairs that no other sample sees more than a right angle apart, by scipy's angles."""
    turns = turns_of(field)
    far = np.array([[angle(field.metric, field.axis, one, other) ** 2 for other in turns] for one in turns])
    return [
        (a, b)
        for a in range(len(far))
        for b in range(a + 1, len(far))
        if all(far[a, j] + far[b, j] >= far[a, b] for j in range(len(far)) if j not in (a, b))
    ]


def path(field: Field, start: Turn, end: Turn) -> Turn:
    """From one sample straight to another, and as far again beyond it: 161 turns, the 81st is the second sample."""
    shares = np.concatenate((STEPS, STEPS[1:] + 1.0))[:, np.newaxis]
    if field.metric == "rotation":
        return start * Turn.from_rotvec(shares * (start.inv() * end).as_rotvec())
    one, other = start.apply(field.axis), end.apply(field.axis)
    hinge = np.cross(one, other)
    size = np.linalg.norm(hinge)
    turn = np.arctan2(size, one @ other)
    return Turn.from_rotvec(shares * turn * hinge / size) * start


def turns_of(field: Field) -> list[Turn]:
    return [Turn.from_quat(sample.rotation) for sample in field.samples]


def strengths(field: Field, turns: Turn) -> Array:
    """(frames, samples)."""
    return PreparedField(field).strengths(turns.as_quat().T).T


@pytest.mark.parametrize(("metric", "seed"), CASES)
def test_exact_bounded_and_never_astray(metric: Metric, seed: int) -> None:
    field = scattered(metric, seed)
    own = turns_of(field)
    assert strengths(field, Turn.concatenate(own)).tolist() == np.eye(len(own))[:, 1:].tolist()
    poses = Turn.random(2000, random_state=seed)
    result = strengths(field, poses)
    assert result.min() >= 0.0
    assert result.sum(axis=1).max() <= 1.0 + 1e-12
    far = np.stack([angles(metric, field.axis, one, poses) for one in own], axis=1)
    nearer = far.min(axis=1, keepdims=True) < far[:, 1:]
    assert result[nearer].max(initial=0.0) < 0.5
    widths = np.array([sample.width for sample in field.samples[1:]])
    assert result[far[:, 1:] >= widths].max(initial=0.0) == 0.0


@pytest.mark.parametrize(("metric", "seed"), CASES)
def test_midway_between_neighbours_nothing_is_lost(metric: Metric, seed: int) -> None:
    field = scattered(metric, seed)
    own = turns_of(field)
    for a, b in neighbours_of(field):
        if a > 0:
            middle = path(field, own[a], own[b])[40]
            assert angle(metric, field.axis, middle, own[a]) == pytest.approx(angle(metric, field.axis, middle, own[b]))
            assert strengths(field, Turn.concatenate([middle])).sum() >= 0.95


@pytest.mark.parametrize(("metric", "seed"), CASES)
def test_it_rises_from_rest_to_each_neighbour(metric: Metric, seed: int) -> None:
    field = scattered(metric, seed)
    own = turns_of(field)
    for _, number in (pair for pair in neighbours_of(field) if pair[0] == 0):
        result = strengths(field, path(field, own[0], own[number]))[:81, number - 1]
        assert result[0] == 0.0
        assert result[80] == 1.0
        assert np.diff(result).min() > 1e-9


@pytest.mark.parametrize("metric", ["rotation", "direction"])
def test_it_is_held_beyond_the_outermost_and_then_fades(metric: Metric) -> None:
    """Straight on from rest, where no other sample comes nearer on the way."""
    tried = 0
    for seed in range(40):
        field = scattered(metric, seed)
        own = turns_of(field)
        for number, sample in enumerate(field.samples[1:], 1):
            way = path(field, own[0], own[number])[80:]
            beyond = angles(metric, field.axis, own[number], way)
            assert sample.width is not None
            held = (beyond <= HELD * sample.width) & (np.arange(81) * beyond[1] < sample.width)
            others = [angles(metric, field.axis, one, way)[held] for place, one in enumerate(own) if place != number]
            result = strengths(field, way)[:, number - 1]
            assert result[beyond >= sample.width].max(initial=0.0) == 0.0
            if all(np.diff(one).min() > 0.0 for one in others):
                assert result[held].min() >= 0.95
                tried += 1
    assert tried >= 20


def test_a_hinge_with_four_samples_is_a_chain_of_tents() -> None:
    """Piecewise linear interpolation, numpy.interp: with samples on one axis there is nothing else that it could be."""
    angles = np.radians([30.0, 60.0, 90.0, 120.0])
    field = ramp_field("rotation", None, [Turn.from_rotvec([0.0, 0.0, one]) for one in angles])
    poses = np.radians(np.linspace(-60.0, 120.0, 181))
    result = strengths(field, Turn.from_rotvec(np.outer(poses, [0.0, 0.0, 1.0])))
    for column in range(4):
        tent = np.interp(poses, [0.0, *angles], np.eye(5)[column + 1])
        np.testing.assert_allclose(result[:, column], tent, atol=1e-9)
    beyond = strengths(field, Turn.from_rotvec(np.outer(np.radians([150.0, 165.0, 179.0]), [0.0, 0.0, 1.0])))
    assert beyond[0].tolist() == [0.0, 0.0, 0.0, 1.0]
    assert 0.65 < beyond[2, 3] < beyond[1, 3] < 1.0


@pytest.mark.parametrize("metric", ["rotation", "direction"])
def test_nothing_pops(metric: Metric) -> None:
    """Neighbouring poses have neighbouring strengths, also at half a turn, where the shortest turn changes sides."""
    random = Random(3)
    for seed in range(20):
        field = scattered(metric, seed)
        hinge = np.array(unit_vector(random))
        fine = strengths(field, Turn.from_rotvec(np.outer(np.linspace(-np.pi, np.pi, 20001), hinge)))
        assert np.abs(np.diff(fine, axis=0)).max() < 0.01
        np.testing.assert_allclose(fine[0], fine[-1], atol=1e-9)


@pytest.mark.parametrize("metric", ["rotation", "direction"])
def test_angles(metric: Metric) -> None:
    axis = None if metric == "rotation" else unit_vector(Random(1))
    for one, other in zip(Turn.random(40, random_state=1), Turn.random(40, random_state=2), strict=True):
        result = angle_between(quaternion(one.as_quat()), quaternion(other.as_quat()), metric, axis)
        assert result == pytest.approx(angle(metric, axis, one, other), abs=1e-12)


def test_a_pose_on_the_other_side_of_rest_gets_nothing() -> None:
    """An arm that is lowered is no arm that reaches across."""
    raised, forward, across = (
        Turn.from_euler("z", 80, degrees=True),
        Turn.from_euler("y", -70, degrees=True),
        Turn.from_euler("yz", (-70, -25), degrees=True),
    )
    field = ramp_field("rotation", None, [raised, forward, across])
    lowered = Turn.from_euler("z", [[-20], [-40], [-60], [-75], [-90]], degrees=True)
    assert strengths(field, lowered).max() <= 0.3
