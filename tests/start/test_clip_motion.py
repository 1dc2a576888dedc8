"""Axes and spans from a model's own clips; scipy has the rotations, the glTF file the keys."""

from __future__ import annotations

import base64
import json
import struct
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from plica.kinds.readings import SeenFrom
from plica.readers.model_reader import read_outline
from plica.skeleton.quaternions import Array
from plica.start.bending_joints import BendingJoint
from plica.start.clip_motion import EXPLAINED, evidence_of, motion_of
from plica.start.first_look import FirstLook, first_look
from tests.support.data import shared_data

CLIPS = {
    "horse": ("horse", "horse.glb"),
    "robot": ("expressive_robot", "robot.glb"),
    "unnamed_man": ("unnamed_man", "man.glb"),
    "rigged_figure": ("rigged_figure", "RiggedFigure.glb"),
    "mannequin": ("mannequin", "Med_General.glb"),
}


def _look(name: str) -> FirstLook:
    path = shared_data("characters", *CLIPS[name])
    return first_look(path, read_outline(path), path.stem)


def _chunks(path: Path) -> tuple[dict[str, list[dict[str, object]]], bytes]:
    data = path.read_bytes()
    length = struct.unpack_from("<I", data, 12)[0]
    return json.loads(data[20 : 20 + length]), data[20 + length + 8 :]


def keyed_rotations(path: Path) -> dict[str, list[NDArray[np.float64]]]:
    """The rotation keys of every node in every animation, read from the file's bytes alone (glTF 2.0 section 3.11)."""
    document, binary = _chunks(path)

    def floats(accessor: int) -> NDArray[np.float64]:
        found = document["accessors"][accessor]
        view = document["bufferViews"][int(str(found["bufferView"]))]
        start = int(str(view.get("byteOffset", 0))) + int(str(found.get("byteOffset", 0)))
        values = np.frombuffer(binary, "<f4", int(str(found["count"])) * 4, start)
        return values.reshape(-1, 4).astype(float)

    result: dict[str, list[NDArray[np.float64]]] = {}
    for animation in document["animations"]:
        samplers: list[dict[str, int]] = animation["samplers"]  # type: ignore[assignment]
        channels: list[dict[str, dict[str, object]]] = animation["channels"]  # type: ignore[assignment]
        for channel in channels:
            target = channel["target"]
            if target["path"] == "rotation" and samplers[int(str(channel["sampler"]))].get("interpolation") in (
                None,
                "LINEAR",
            ):
                name = str(document["nodes"][int(str(target["node"]))]["name"])
                result.setdefault(name, []).append(floats(samplers[int(str(channel["sampler"]))]["output"]))
    return result


def _degrees_off(a: tuple[float, float, float], b: NDArray[np.float64]) -> float:
    return float(np.degrees(np.arccos(np.clip(abs(np.dot(a, b)), 0.0, 1.0))))


def _own_axis(keys: list[NDArray[np.float64]], rest: tuple[float, ...]) -> NDArray[np.float64]:
    turns = np.concatenate([(Rotation.from_quat(rest).inv() * Rotation.from_quat(one)).as_rotvec() for one in keys])
    return np.asarray(np.linalg.svd(turns, full_matrices=False)[2][0])


@pytest.mark.parametrize(("name", "least", "off"), [("horse", 7, 4.0), ("robot", 1, 1.0), ("mannequin", 2, 1.0)])
def test_hinges_are_those_that_the_files_keys_turn_about(name: str, least: int, off: float) -> None:
    # Keys weigh by their number, frames by their time, and a pair has one axis for both sides: hence not 0 degrees.
    look = _look(name)
    keys = keyed_rotations(shared_data("characters", *CLIPS[name]))
    joints = look.stance.skeleton.joints
    checked = 0
    for one in look.found.alone():
        if one.axis is None or one.evidence.source != "clips" or one.seen_from is not None:
            continue
        joint = joints[one.joint]
        if one.evidence.share is not None and one.evidence.share > 0.97 and joint.name in keys:
            assert _degrees_off(one.axis, _own_axis(keys[joint.name], joint.rotation)) < off, joint.name
            checked += 1
    assert checked >= least


def _turns(rotation: Rotation) -> Array:
    return np.asarray(rotation.as_quat()).T * np.where(rotation.as_quat()[:, 3] < 0.0, -1.0, 1.0)


def test_a_hinge_is_told_from_what_turns_every_way() -> None:
    axis = np.array([0.36, 0.48, 0.8])
    angles = np.radians(np.linspace(-20.0, 95.0, 400))
    noise = np.random.default_rng(7).normal(0.0, 0.02, (400, 3))
    hinge = evidence_of([_turns(Rotation.from_rotvec(angles[:, None] * axis + noise))])
    assert hinge is not None
    assert hinge.is_hinge
    assert _degrees_off(hinge.axis, axis) < 0.2
    assert np.dot(hinge.axis, axis) > 0.0  # it goes farthest where it turns positively
    assert np.degrees(hinge.ends) == pytest.approx((-19.0, 94.0), abs=2.0)
    ball = evidence_of([_turns(Rotation.random(400, random_state=3))])
    assert ball is not None
    assert not ball.is_hinge
    assert ball.share < EXPLAINED


def test_a_stance_that_clips_never_come_back_to_is_no_hinge() -> None:
    # 60 degrees about x all the time, and 10 about y and z around it: x has most of the turn and none of the motion.
    around = np.random.default_rng(5).normal(0.0, np.radians(10.0), (400, 3)) * (0.0, 1.0, 1.0)
    turns = Rotation.from_rotvec(around) * Rotation.from_rotvec([np.radians(60.0), 0.0, 0.0])
    found = evidence_of([_turns(turns)])
    assert found is not None
    assert found.share > EXPLAINED
    assert found.moves
    assert not found.is_hinge


def test_joints_that_turn_about_different_axes_share_none() -> None:
    angles = np.radians(np.linspace(0.0, 80.0, 200))
    apart = [np.array([np.cos(np.radians(one)), np.sin(np.radians(one)), 0.0]) for one in (0.0, 20.0, 34.0)]
    first, near, far = (_turns(Rotation.from_rotvec(angles[:, None] * axis)) for axis in apart)
    close, wide = evidence_of([first, near]), evidence_of([first, far])
    assert close is not None
    assert wide is not None
    assert close.is_hinge
    assert np.degrees(close.apart) == pytest.approx(10.0, abs=0.1)
    assert wide.has_axis  # together they look like a hinge, which neither of them is
    assert not wide.is_hinge


def test_what_hardly_moves_tells_nothing() -> None:
    angles = np.radians(np.linspace(0.0, 4.0, 50))
    found = evidence_of([_turns(Rotation.from_rotvec(angles[:, None] * (1.0, 0.0, 0.0)))])
    assert found is not None
    assert not found.moves
    assert evidence_of([]) is None


def test_both_sides_have_one_answer() -> None:
    # Whichever side is asked: the pooled axis lies between the two, each as its own keys tell it.
    look = _look("unnamed_man")
    joints = look.stance.skeleton.joints
    clip = motion_of(
        shared_data("characters", *CLIPS["unnamed_man"]),
        look.stance.skeleton,
        [SeenFrom(joint.name) for joint in joints],
    )
    knees = [one for one in look.found.joints if one.part == "knee"]
    assert [one.paired for one in knees] == [True]
    for side in (knees[0].joint, knees[0].partner):
        assert side is not None
        alone = evidence_of([clip.turns[SeenFrom(joints[side].name)]])
        assert alone is not None
        assert alone.is_hinge
        assert np.degrees(alone.ends[1]) <= knees[0].span[1] + 2.5


def _found(look: FirstLook, base: str) -> BendingJoint:
    return next(one for one in look.found.joints if one.base == base)


def test_a_horse_is_read_as_its_clips_move_it() -> None:
    look = _look("horse")
    assert _found(look, "FrontLowerLeg").reads == "rotation about -x of FrontLowerLeg"
    assert _found(look, "FrontLowerLeg").span == (0.0, 110.0)
    assert _found(look, "Neck2").axis is None  # 65 % of its motion is about one axis
    assert _found(look, "IKFrontLeg").reads.endswith("of IKFrontLeg from FrontLowerLeg")
    bases = {one.base for one in look.found.joints}
    assert not bases & {"Body", "PoleTarget", "PoleTargetBack", "Tail7_end", "FrontLowerLeg_end", "Ear4_end"}
    assert all(one.body_part.source is None for one in look.found.joints)  # no table is of horses


def test_a_file_whose_clips_are_damaged_still_gets_a_look(tmp_path: Path) -> None:
    source = shared_data("characters", "simple_skin", "SimpleSkin.gltf")
    document = json.loads(source.read_text("utf-8"))
    view = document["bufferViews"][
        document["accessors"][document["animations"][0]["samplers"][0]["input"]]["bufferView"]
    ]
    head, _, data = document["buffers"][view["buffer"]]["uri"].partition(",")
    raw = bytearray(base64.b64decode(data))
    start = view.get("byteOffset", 0)
    raw[start : start + 8] = raw[start : start + 8][::-1]
    document["buffers"][view["buffer"]]["uri"] = f"{head},{base64.b64encode(bytes(raw)).decode()}"
    damaged = tmp_path / "damaged.gltf"
    damaged.write_text(json.dumps(document), "utf-8")
    look = first_look(damaged, read_outline(damaged), "damaged")
    assert look.motion.fault
    assert look.motion.clips == 0
