"""Readings, curves and fields against general-purpose libraries, standards and papers."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline, PchipInterpolator
from scipy.linalg import polar
from scipy.spatial.transform import Rotation as Turn

from plica.curves import EASINGS, SMOOTH, harmonic_slopes
from plica.evaluate import Evaluator, Poses, curve_values, poses_from, rest_poses
from plica.evaluate.poses import Array, rest_scales, sparse_pose
from plica.kinds.readings import Bend, Euler, Gap, Reading, Rotation, Scale, Swing
from plica.rig.rig import Character, Rig
from plica.rig.strengths import Driver
from plica.skeleton.algebra import Quaternion
from plica.values import Bezier, Hermite, Linear
from tests.support.joints import rig_joint
from tests.support.mirroring import model_matrices
from tests.support.rigs import CHANNELS, ORDERS, random_rig

REST: Quaternion = (0.5, -0.1, 0.7, 0.5)  # not of length 1 yet
X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def read(readings: Sequence[Reading], turns: Turn) -> Array:
    """Readings, (turns, readings), of a joint that has turned since a rest pose that is turned itself."""
    rest = Turn.from_quat(REST)
    x, y, z, w = rest.as_quat()
    joint = rig_joint("elbow", None, (0.0, 0.0, 0.0), (x, y, z, w), (1.0, 1.0, 1.0), "none", None, True)
    drivers = tuple(
        Driver(f"d{number}", "none", "d", reading, (0.0, 1.0), False, Linear())
        for number, reading in enumerate(readings)
    )
    rig = Rig(Character("wren", "Wren", None, 1e-4), (joint,), strengths=drivers)
    rotations = (rest * turns).as_quat()[:, np.newaxis]
    count = len(rotations)
    return Evaluator(rig).readings(Poses(("elbow",), rotations, np.zeros((count, 1, 3)), (), np.zeros((count, 0))))


def channels_of(order: str) -> list[Literal["x", "y", "z"]]:
    """The channels in an order's order."""
    return sorted(CHANNELS, key=order.index)


def frame(seed: int) -> tuple[Quaternion, Turn]:
    """A random frame, as a quaternion and as scipy's rotation."""
    turn = Turn.random(random_state=seed)
    x, y, z, w = turn.as_quat()
    return (float(x), float(y), float(z), float(w)), turn


@pytest.mark.parametrize("order", ORDERS)
def test_euler_angles(order: str) -> None:
    """scipy.spatial.transform.Rotation.as_euler, whose lowercase orders are about axes that stay put."""
    turns = Turn.random(500, random_state=1)
    quaternion, turned = frame(2)
    result = read([Euler("elbow", order, channel, quaternion) for channel in channels_of(order)], turns)
    assert result == pytest.approx((turned * turns * turned.inv()).as_euler(order), abs=1e-12)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("middle", [90.0, -90.0])
def test_euler_angles_in_gimbal_lock(order: str, middle: float) -> None:
    """scipy.spatial.transform.Rotation.as_euler sets the last angle to 0."""
    turns = Turn.from_euler(order, [[20.0, middle, 50.0], [-170.0, middle, 40.0]], degrees=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        expected = turns.as_euler(order)
    result = read([Euler("elbow", order, channel, (0.0, 0.0, 0.0, 1.0)) for channel in channels_of(order)], turns)
    assert expected[:, 2].tolist() == [0.0, 0.0]
    assert result == pytest.approx(expected, abs=1e-7)


def test_bend() -> None:
    """scipy.spatial.transform.Rotation.magnitude."""
    turns = Turn.random(500, random_state=3)
    assert read([Bend("elbow")], turns)[:, 0] == pytest.approx(turns.magnitude(), abs=1e-12)


def test_twist_of_a_swing_and_a_twist() -> None:
    """Dobrowolski, arXiv 1506.05481: the twist part alone, whatever the swing; computed with scipy's rotations."""
    random = np.random.default_rng(4)
    axis = np.array([0.6, 0.0, 0.8])
    across = np.cross(axis, random.normal(size=(200, 3)))
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    swings = Turn.from_rotvec(across * random.uniform(-3.0, 3.0, (200, 1)))
    angles = random.uniform(-3.0, 3.0, 200)
    result = read([Rotation("elbow", (0.6, 0.0, 0.8))], swings * Turn.from_rotvec(axis * angles[:, np.newaxis]))
    assert result[:, 0] == pytest.approx(angles, abs=1e-12)


def test_swing_thirty_then_twist_forty() -> None:
    """Worked out by an independent small program: a swing about x by 30 and a twist about z by 40 degrees."""
    turn = Turn.from_quat([[0.243210346802, -0.088521326901, 0.330366089549, 0.907673371190]])
    result = read([Rotation("elbow", Z), Swing("elbow", Z, Y), Swing("elbow", Z, X)], turn)
    # Turning about x takes z away from y.
    assert np.degrees(result[0]) == pytest.approx([40.0, -30.0, 0.0], abs=1e-9)


def test_swing_is_the_shortest_turn_of_the_axis() -> None:
    """The rotation vector (Grassia 1998) of the shortest turn between two directions: cross product and angle, and
    scipy.spatial.transform.Rotation to see that it takes one to the other."""
    turns = Turn.random(300, random_state=5)
    _, axes = frame(6)
    along, toward = axes.apply(X), axes.apply(Y)
    result = read([Swing("elbow", tuple(along.tolist()), tuple(toward.tolist()))], turns)[:, 0]
    turned = turns.apply(along)
    normals = np.cross(along, turned)
    sizes = np.linalg.norm(normals, axis=1, keepdims=True)
    vectors = normals / sizes * np.arctan2(sizes, turned @ along[:, np.newaxis])
    assert Turn.from_rotvec(vectors).apply(along) == pytest.approx(turned, abs=1e-12)
    # Turning `along` toward `toward` is turning about along x toward.
    assert result == pytest.approx(vectors @ np.cross(along, toward), abs=1e-12)


def test_scales_are_components_of_the_stretch() -> None:
    """The stretch U of a posed joint's matrix R U since rest, by scipy's polar decomposition (glTF 2.0 section 3.5.3:
    T R S), less the identity, along the axis: u . (U - 1) u."""
    rig = random_rig(13, drivers=70)
    neutral = rest_poses(rig, 30)
    random = np.random.default_rng(13)
    joints = tuple(
        joint._replace(
            neutral=joint.neutral._replace(scale=tuple(random.uniform(0.5, 2.0, 3) * random.choice([-1.0, 1.0], 3)))
        )
        for joint in rig.skeleton
    )
    rig = rig._replace(skeleton=joints)
    scales = rest_scales(rig, 30) * random.uniform(0.5, 2.0, (30, len(joints), 3))
    poses = replace(neutral, rotations=random.normal(size=neutral.rotations.shape), scales=scales)
    result = Evaluator(rig).readings(poses)
    rows = {joint.name: row for row, joint in enumerate(rig.skeleton)}
    checked = 0
    for column, driver in enumerate(rig.strengths[:70]):
        if isinstance(driver, Driver) and isinstance(driver.reading, Scale):
            row, axis = rows[driver.reading.joint], np.array(driver.reading.axis)
            turns = Turn.from_quat(poses.rotations[:, row]).as_matrix()
            for frame in range(30):
                since_rest = turns[frame] @ np.diag(scales[frame, row] / joints[row].neutral.scale)
                _, stretch = polar(since_rest)
                assert result[frame, column] == pytest.approx(axis @ (stretch - np.eye(3)) @ axis, abs=1e-12)
            checked += 1
    assert checked >= 8


def test_a_scale_of_nothing_at_rest_cannot_be_read() -> None:
    joint = rig_joint("jaw", None, (0.0, 0.0, 0.0), (0.0, 0.0, 0.0, 1.0), (1.0, 0.0, 1.0), "none", None, True)
    driver = Driver("d", "none", "d", Scale("jaw", (0.0, 1.0, 0.0)), (0.0, 1.0), False, Linear())
    with pytest.raises(ValueError, match="scale of jaw is 0 at rest"):
        Evaluator(Rig(Character("wren", "Wren", None, 1e-4), (joint,), strengths=(driver,)))


def chain(rig: Rig, name: str) -> list[str]:
    """A joint and those above it, upwards."""
    parents = {joint.name: joint.parent for joint in rig.skeleton}
    result = [name]
    while (parent := parents[result[-1]]) is not None:
        result.append(parent)
    return result


def test_gaps_are_distances_between_posed_joints() -> None:
    """Forward kinematics with 4 x 4 matrices T R S from scipy's rotations, root to tip (glTF 2.0 section 3.5.3), seen
    from the nearest joint that carries both."""
    rig = random_rig(11, drivers=70)
    poses = poses_from(rig, [sparse_pose({})] * 30)
    random = np.random.default_rng(12)
    poses.rotations[1:] = random.normal(size=poses.rotations[1:].shape)
    poses.translations[1:] += random.normal(size=poses.translations[1:].shape) * 0.1
    scales = rest_scales(rig, 30)
    scales[1:] *= random.uniform(0.5, 2.0, size=scales[1:].shape)
    matrices = model_matrices(rig, replace(poses, scales=scales))
    result = Evaluator(rig).readings(replace(poses, scales=scales))
    rows = {joint.name: row for row, joint in enumerate(rig.skeleton)}
    gaps = [(column, driver.reading) for column, driver in enumerate(rig.strengths[:70]) if isinstance(driver, Driver)]
    checked = 0
    for column, reading in gaps:
        if isinstance(reading, Gap):
            above = chain(rig, reading.other)
            ancestor = next(name for name in chain(rig, reading.joint) if name in above)  # all of scale 1 at rest
            between = matrices[:, rows[reading.joint], :, 3] - matrices[:, rows[reading.other], :, 3]
            seen = np.linalg.solve(matrices[:, rows[ancestor]], between[..., np.newaxis])[:, :3, 0]
            apart = np.linalg.norm(seen, axis=1)
            assert result[:, column] == pytest.approx(apart - apart[0], abs=1e-12)
            checked += 1
    assert checked >= 8


def test_hermite_curves() -> None:
    """scipy.interpolate.CubicHermiteSpline with the same slopes, its ends carried on as straight lines."""
    knots = ((0.0, 0.0, 0.3), (0.2, 0.4, -1.0), (0.7, 0.35, 2.0), (1.0, 1.0, 0.8))
    x, y, slopes = zip(*knots, strict=True)
    shares = np.linspace(-0.5, 1.5, 401)
    spline = CubicHermiteSpline(x, y, slopes)
    inside = np.clip(shares, 0, 1)
    expected = spline(inside) + (shares - inside) * spline(inside, 1)
    assert curve_values(Hermite("smooth", knots), shares, False) == pytest.approx(expected, abs=1e-14)
    assert curve_values(Hermite("smooth", knots), shares) == pytest.approx(np.clip(spline(inside), 0, 1), abs=1e-14)


def test_harmonic_curves() -> None:
    """scipy.interpolate.PchipInterpolator (Fritsch and Butland 1984)."""
    x, y = (0.0, 0.15, 0.4, 0.8, 1.0), (0.0, 0.02, 0.5, 0.55, 1.0)
    knots = tuple(zip(x, y, harmonic_slopes(x, y), strict=True))
    shares = np.linspace(0, 1, 333)
    assert curve_values(Hermite("harmonic", knots), shares) == pytest.approx(PchipInterpolator(x, y)(shares), abs=1e-14)


EASED = (
    ".05 .01136, .1 .03978, .15 .07978, .2 .12803, .25 .18235, .3 .24115, .35 .30323, .4 .36761, .45 .43345, .5 .5, "
    ".6 .63238, .65 .69676, .7 .75884, .75 .81764, .8 .87196, .85 .92021, .9 .96021, .95 .98863"
)


def test_easing_table() -> None:
    """cubic-bezier(.25, 0, .75, 1) at the values and tolerance of Chromium's cc/timing_function_unittest.cc."""
    x, y = np.array([[float(number) for number in pair.split()] for pair in EASED.split(", ")]).T
    assert curve_values(Bezier((0.25, 0.0, 0.75, 1.0)), x) == pytest.approx(y, abs=1.5e-4)


@pytest.mark.parametrize("name", sorted(EASINGS))
def test_easing_keywords(name: str) -> None:
    """W3C CSS Easing Functions Level 1: the curve from (0, 0) to (1, 1) with the keyword's two control
    points, its points found from the parameter by de Casteljau's construction."""
    expected = {
        "ease": (0.25, 0.1, 0.25, 1.0),
        "ease-in": (0.42, 0.0, 1.0, 1.0),
        "ease-out": (0.0, 0.0, 0.58, 1.0),
        "ease-in-out": (0.42, 0.0, 0.58, 1.0),
    }[name]
    points = np.array([(0.0, 0.0), expected[:2], expected[2:], (1.0, 1.0)])[:, :, np.newaxis]
    t = np.linspace(0, 1, 501)
    while len(points) > 1:
        points = points[:-1] * (1 - t) + points[1:] * t
    x, y = points[0]
    # Where x is level at an end, rounding x moves the parameter by the root of that.
    assert curve_values(Bezier(EASINGS[name]), x) == pytest.approx(y, abs=1e-12)


def test_half_bent_is_clearly_less_than_full() -> None:
    """Common practice, no source: a joint half bent under a softened curve stays clearly below full
    strength, and slowly starting curves give less than half."""
    assert curve_values(SMOOTH, 0.5) < 0.75
    assert curve_values(Bezier(EASINGS["ease-in"]), 0.5) < 0.4
    assert curve_values(Hermite("harmonic", ((0.0, 0.0, 0.0), (0.5, 0.35, 1.0), (1.0, 1.0, 1.0))), 0.5) == 0.35
