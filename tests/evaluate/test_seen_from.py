"""Readings of a joint as another one sees it, held against forward kinematics with matrices and scipy's rotations."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation as Turn

from plica.diagnostics import Diagnostics
from plica.evaluate import Evaluator, Poses, rest_poses
from plica.evaluate.inverse_readings import ReadingInverter
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.poses import Array, poses_from
from plica.evaluate.retarget import poses_from_clip
from plica.kinds.readings import Bend, Euler, Offset, Reading, Rotation, Swing, joints_of
from plica.pipeline import compile_text
from plica.readers.clip_reader import read_clips
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.skeleton.chains import chains_between, frame_seen_from
from plica.values import Linear
from plica.workspace import Workspace
from tests.support.data import shared_data
from tests.support.mirroring import model_matrices
from tests.support.rigs import random_rig, vector
from tests.support.texts import names_of, rig_of

FRAMES = 40
AXIS = (0.48, -0.6, 0.64)
ALONG, TOWARD = (0.0, 1.0, 0.0), (0.8, 0.0, 0.6)
IN_MODEL = np.array((1.0, 2.0, -2.0)) / 3.0
FRAME = (0.5, -0.5, 0.1, 0.7)
SIZE = float(np.linalg.norm(FRAME))
UNIT_FRAME = (FRAME[0] / SIZE, FRAME[1] / SIZE, FRAME[2] / SIZE, FRAME[3] / SIZE)


def with_readings(rig: Rig, readings: list[Reading]) -> Rig:
    drivers = [
        Driver(f"driver_{number}", "none", f"driver_{number}", reading, (0.0, 1.0), True, Linear())
        for number, reading in enumerate(readings)
    ]
    return rig._replace(strengths=tuple(drivers), fields=(), shapes=(), folds=())


def random_poses(rig: Rig, seed: int) -> Poses:
    random = np.random.default_rng(seed)
    rest = rest_poses(rig, FRAMES)
    turns = Turn.from_rotvec(random.uniform(-1.2, 1.2, (FRAMES * len(rig.skeleton), 3)))
    rotations = (Turn.from_quat(rest.rotations.reshape(-1, 4)) * turns).as_quat().reshape(rest.rotations.shape)
    translations = rest.translations + random.uniform(-0.1, 0.1, rest.translations.shape)
    return Poses(rest.joints, rotations, translations, rest.control_names, rest.controls)


def rotations_in_model(rig: Rig, poses: Poses) -> Array:
    """Every joint's axes, without the lengths of scales and without its own scale's signs, (frames, joints, 3, 3)."""
    index = {joint.name: row for row, joint in enumerate(rig.skeleton)}
    result = np.zeros((poses.frames, len(rig.skeleton), 3, 3))
    below = np.zeros_like(result)
    for row, joint in enumerate(rig.skeleton):
        own = Turn.from_quat(poses.rotations[:, row]).as_matrix()
        result[:, row] = own if joint.parent is None else below[:, index[joint.parent]] @ own
        below[:, row] = result[:, row] * np.sign(joint.neutral.scale)
    return result


def turns_seen(rig: Rig, poses: Poses, joint: str, other: str) -> Turn:
    """The turn since rest of a joint as another sees it, by matrices in model space."""
    names = [one.name for one in rig.skeleton]
    row, eye = names.index(joint), names.index(other)
    posed, rest = (rotations_in_model(rig, one) for one in (poses, rest_poses(rig)))
    signs = np.sign(rig.skeleton[eye].neutral.scale)[:, np.newaxis]
    now, then = (signs * np.swapaxes(one[:, eye], 1, 2) @ one[:, row] for one in (posed, rest))
    return Turn.from_matrix(np.swapaxes(then, 1, 2) @ now)


def twist(turn: Turn, axis: tuple[float, float, float]) -> Array:
    x = turn.as_quat()
    angle = 2 * np.arctan2(x[:, :3] @ np.array(axis), x[:, 3])
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)


def swing(turn: Turn) -> Array:
    moved = turn.apply(np.array(ALONG))
    cosine = moved @ np.array(ALONG)
    part = moved - cosine[:, np.newaxis] * np.array(ALONG)
    size = np.linalg.norm(part, axis=1)
    return np.asarray(np.arctan2(size, cosine) * (part @ np.array(TOWARD)) / size)


def euler(turn: Turn) -> Array:
    frame = Turn.from_quat(UNIT_FRAME)
    return np.asarray((frame * turn * frame.inv()).as_euler("zxy")[:, 2])


def ends(rig: Rig, number: int) -> list[tuple[str, str]]:
    """Pairs of joints: siblings, above, below, far apart."""
    random = np.random.default_rng(number)
    names = [joint.name for joint in rig.skeleton]
    parents = [(joint.name, joint.parent) for joint in rig.skeleton if joint.parent is not None]
    chosen = [tuple(random.choice(names, 2, replace=False)) for _ in range(5)]
    return [*chosen, parents[-1], (parents[-2][1], parents[-2][0]), (names[0], names[-1])]


def signed_scales(rig: Rig) -> Rig:
    """Some joints with negative and some with even scales other than 1."""
    scales = [(1.0, 1.0, 1.0), (-1.0, 1.0, 1.0), (2.0, 2.0, 2.0), (1.0, -1.0, -1.0), (-0.5, -0.5, -0.5)]
    skeleton = tuple(
        joint._replace(neutral=joint.neutral._replace(scale=scales[at % 5])) for at, joint in enumerate(rig.skeleton)
    )
    return rig._replace(skeleton=skeleton)


@pytest.mark.parametrize("scaled", [False, True], ids=["unscaled", "scaled"])
@pytest.mark.parametrize("seed", range(3))
def test_turns_are_those_of_matrices(seed: int, scaled: bool) -> None:
    rig = random_rig(seed)
    rig = signed_scales(rig) if scaled else rig
    for joint, other in ends(rig, seed):
        readings: list[Reading] = [
            Rotation(joint, AXIS, other),
            Bend(joint, other),
            Swing(joint, ALONG, TOWARD, other),
            Euler(joint, "zxy", "y", UNIT_FRAME, other),
        ]
        wanted = with_readings(rig, readings)
        poses = random_poses(rig, seed)
        turn = turns_seen(rig, poses, joint, other)
        outside = np.stack((twist(turn, AXIS), turn.magnitude(), swing(turn), euler(turn)), axis=1)
        inside = Evaluator(wanted).readings(poses)
        difference = (inside - outside + np.pi) % (2 * np.pi) - np.pi
        assert np.abs(difference).max() < 1e-9, (joint, other)


@pytest.mark.parametrize("scaled", [False, True], ids=["unscaled", "scaled"])
@pytest.mark.parametrize("seed", range(3))
def test_offsets_are_those_of_matrices(seed: int, scaled: bool) -> None:
    rig = random_rig(seed)
    rig = signed_scales(rig) if scaled else rig
    names = [joint.name for joint in rig.skeleton]
    for joint, other in ends(rig, seed):
        frame = frame_seen_from(skeleton_of(rig), chains_between(skeleton_of(rig), joint, other))
        weights = vector(np.array(frame).T @ IN_MODEL)
        evaluator = Evaluator(with_readings(rig, [Offset(joint, weights, other)]))
        poses = random_poses(rig, seed)
        row, eye = names.index(joint), names.index(other)
        places, turns = [], []
        for one in (poses, rest_poses(rig)):
            matrices = model_matrices(rig, one)
            places.append(matrices[:, row, :3, 3] - matrices[:, eye, :3, 3])
            turns.append(rotations_in_model(rig, one)[:, eye])
        # What the joint that looks sees, put back into the axes that it had at rest.
        seen = np.einsum("nij,nj->ni", turns[1] @ np.swapaxes(turns[0], 1, 2), places[0])
        expected = (seen - places[1]) @ IN_MODEL
        np.testing.assert_allclose(evaluator.readings(poses)[:, 0], expected, atol=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_seen_from_the_parent_a_joint_reads_as_it_does(seed: int) -> None:
    rig = random_rig(seed)
    joint = rig.skeleton[-1]
    plain: list[Reading] = [
        Rotation(joint.name, AXIS),
        Bend(joint.name),
        Swing(joint.name, ALONG, TOWARD),
        Euler(joint.name, "zxy", "y", UNIT_FRAME),
        Offset(joint.name, AXIS),
    ]
    seen = [reading._replace(relative_to=joint.parent) for reading in plain]
    poses = random_poses(rig, seed)
    readings = Evaluator(with_readings(rig, [*plain, *seen])).readings(poses)
    np.testing.assert_allclose(readings[:, :5], readings[:, 5:], atol=1e-12)


@pytest.mark.parametrize("scaled", [False, True], ids=["unscaled", "scaled"])
@pytest.mark.parametrize("seed", range(3))
def test_rest_is_exactly_zero_and_values_can_be_posed(seed: int, scaled: bool) -> None:
    rig = random_rig(seed)
    rig = signed_scales(rig) if scaled else rig
    for joint, other in ends(rig, seed):
        readings: list[Reading] = [
            Rotation(joint, AXIS, other),
            Bend(joint, other),
            Swing(joint, ALONG, TOWARD, other),
            Euler(joint, "zxy", "y", UNIT_FRAME, other),
            Offset(joint, AXIS, other),
        ]
        wanted = with_readings(rig, readings)
        evaluator, inverter = Evaluator(wanted), ReadingInverter(wanted, skeleton_of(wanted))
        assert not evaluator.readings(rest_poses(wanted)).any()
        for column, reading in enumerate(readings):
            pose = inverter.pose(reading, 0.3)
            assert pose is not None and set(pose.joints) <= inverter.needed(reading)
            value = evaluator.readings(poses_from(wanted, [pose]))[0, column]
            assert value == pytest.approx(0.3, abs=1e-9), (reading, joint, other)


def test_both_sides_read_their_own_joints() -> None:
    rig = rig_of("driver wrist both { reads bend of paw from upperarm   span 0 deg .. 70 deg }\n")
    readings = [driver.reading for driver in rig.strengths if isinstance(driver, Driver)]
    assert [joints_of(reading) for reading in readings] == [("paw_lf", "upperarm_lf"), ("paw_rt", "upperarm_rt")]


def test_a_joint_in_the_middle_reads_the_mirror_image_on_the_right() -> None:
    rig = rig_of("driver lean both { reads rotation about z in model of head from upperarm   span 0 deg .. 70 deg }\n")
    left, right = (driver.reading for driver in rig.strengths if isinstance(driver, Driver))
    assert joints_of(left) == ("head", "upperarm_lf") and joints_of(right) == ("head", "upperarm_rt")
    assert right.axis == pytest.approx([-part for part in left.axis])  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("driver a both { reads bend of paw from paw  span 0 deg .. 70 deg }", "gap-to-itself"),
        ("driver a both { reads bend of paw from pw  span 0 deg .. 70 deg }", "unknown-joint"),
        ("field a both { reads rotation of paw from paw  sample b at about z 50 deg }", "gap-to-itself"),
        ("field a both { reads rotation of paw from pw  sample b at about z 50 deg }", "unknown-joint"),
    ],
)
def test_mistakes_are_told(text: str, name: str) -> None:
    assert name in names_of(text)


def test_a_field_sees_a_joint_from_another() -> None:
    text = "field step both { reads rotation of paw from upperarm  sample up at about z 50 deg  kernel linear }\n"
    rig = rig_of(text + "shape a both { follows step.up }\n")
    assert [field.relative_to for field in rig.fields] == ["upperarm_lf", "upperarm_rt"]
    evaluator = Evaluator(rig)
    # The elbow turns the paw with it, so that the upper arm sees the paw in its sample pose.
    names = [joint.name for joint in rig.skeleton]
    poses = rest_poses(rig)
    rest = {joint.name: Turn.from_quat(joint.neutral.rotation) for joint in rig.skeleton}
    paw, elbow = rest["paw_lf"], rest["lowerarm_lf"]
    wanted = elbow * paw * Turn.from_euler("z", 50, degrees=True)
    poses.rotations[0, names.index("lowerarm_lf")] = (wanted * paw.inv()).as_quat()
    strengths = dict(zip(evaluator.names, evaluator.strengths(poses)[0], strict=True))
    assert strengths["left_step_up"] == pytest.approx(1.0, abs=1e-9)
    assert strengths["right_step_up"] == 0.0


FEET = [("expressive_robot/robot.glb", "Foot", "LowerLeg")]


@pytest.mark.parametrize(("file", "foot", "leg"), FEET, ids=["robot"])
def test_a_foot_under_a_control_follows_the_shin_in_a_clip(file: str, foot: str, leg: str) -> None:
    """The foot hangs on a control: its own rotation says nothing of the ankle, what the shin sees does."""
    model = shared_data("characters", *file.split("/"))
    text = f'plica 1\ncharacter c {{ geometry "{model.name}" left "*.L" right "*.R" }}\n'
    text += f"driver ankle both {{ reads bend of {foot} from {leg}   span 0 deg .. 70 deg }}\n"
    text += f"driver alone both {{ reads bend of {foot}   span 0 deg .. 70 deg }}\n"
    result = compile_text(text, "spec.plica", Workspace(model.parent))
    assert result.rig is not None, [one.message for one in result.diagnostics]
    rig = result.rig
    moved = 0.0
    for clip in read_clips(model):
        poses = poses_from_clip(rig, clip, Diagnostics())
        whole = filled(rig, poses)
        readings = Evaluator(rig).readings(poses)
        column = Evaluator(rig).driver_names.index("left_ankle")
        expected = turns_seen(rig, whole, f"{foot}.L", f"{leg}.L").magnitude()
        np.testing.assert_allclose(readings[:, column], expected, atol=1e-6)
        moved = max(moved, float(np.ptp(readings[:, column])))
    assert moved > 0.5


def filled(rig: Rig, poses: Poses) -> Poses:
    """The poses with every joint of the rig, those that are not named at rest."""
    rest = rest_poses(rig, poses.frames)
    where = [rest.joints.index(name) for name in poses.joints]
    rest.rotations[:, where], rest.translations[:, where] = poses.rotations, poses.translations
    return rest


def test_random_rigs_hold_readings_from_other_joints() -> None:
    """Targets and test vectors are tried on these."""
    looking = {
        driver.reading.kind
        for seed in range(8)
        for driver in random_rig(seed).strengths
        if isinstance(driver, Driver) and getattr(driver.reading, "relative_to", None) is not None
    }
    assert looking == {"rotation", "bend", "swing", "euler", "offset"}
