"""Joints told by their names."""

from __future__ import annotations

import pytest

from plica.skeleton.joint_parts import parts_of
from plica.skeleton.joint_words import words_of
from plica.skeleton.skeleton import Joint, Skeleton
from plica.start.name_words import is_plain_name, plain_name, unique_name, writable


def _chain(*names: str) -> Skeleton:
    return Skeleton(tuple(Joint(name, index - 1 if index else None, (0, -1, 0)) for index, name in enumerate(names)))


@pytest.mark.parametrize(
    ("names", "parts"),
    [
        ("UpLeg Leg Foot ToeBase", "hip knee ankle toes"),
        ("thigh calf foot ball ball_leaf", "hip knee ankle toes -"),
        ("upper_leg lower_leg ankle toes", "hip knee ankle toes"),
        ("leg_joint_1 leg_joint_2 leg_joint_3 leg_joint_5", "hip knee ankle toes"),
        ("Shoulder Arm ForeArm Hand", "clavicle shoulder elbow wrist"),
        ("collar shoulder elbow wrist hand", "clavicle shoulder elbow wrist -"),
        ("clavicle upperArm lowerArm twist", "clavicle shoulder elbow -"),
        ("arm1 arm2 arm3 arm4", "shoulder elbow wrist -"),
        ("hips spine chest neck head jaw", "- spine spine neck head jaw"),
        ("HipJoint UpLeg Knee", "- hip knee"),
        ("hand index_01 index_02 index_03 index_04_leaf", "wrist base middle end -"),
        ("hand index0 index1 index2 index3 index4", "wrist - base middle end -"),
        ("hand f_ring.01 f_ring.02 f_ring.03", "wrist base middle end"),
        ("wrist ring-finger-metacarpal ring-finger-phalanx-proximal ring-finger-phalanx-distal", "wrist - base end"),
        ("hand thumb1 thumb2", "wrist thumb thumb"),
        ("head ear_base ear_middle", "head ear ear"),
        ("Hand HandMiddle1 HandMiddle2 HandMiddle3 HandMiddle4", "wrist base middle end -"),
        ("spine tail_1 tail_middle", "spine tail tail"),
        ("tail_1 tail_2", "tail tail"),
        ("Back BackShoulder BackLeg BackLowerLeg", "spine shoulder hip knee"),
        ("wing_1 feather_2", "wing wing"),
        ("joint_1 joint_2", "unknown unknown"),
        ("eye_aim", "-"),
    ],
)
def test_parts(names: str, parts: str) -> None:
    own = names.split()
    result = ["-" if part in ("none", "pelvis") else part for part in parts_of(_chain(*own), own)]
    result = [part.removeprefix("finger ") for part in result]
    assert " ".join(result) == parts


def test_words() -> None:
    assert words_of("LeftUpLeg_01") == ("left", "up", "leg", "01")
    assert words_of("f_index.02") == ("f", "index", "02")
    assert words_of("IKHand") == ("ik", "hand")
    assert words_of("Schädel2") == ("sch", "ä", "del", "2")


def test_plain_names() -> None:
    assert plain_name("upper arm.001", "joint") == "upper_arm_001"
    assert plain_name("3rd", "joint") == "joint_3rd"
    assert plain_name("left", "joint") == "joint_left"
    assert plain_name("...", "joint") == "joint"
    assert is_plain_name("flügel")
    assert not is_plain_name("a·b")
    assert not writable("a{b}")


def test_unique_names_count_their_output_names() -> None:
    taken: set[str] = set()
    assert unique_name("arm", taken, paired=True) == "arm"
    assert unique_name("left_arm", taken) == "left_arm_2"
    assert unique_name("arm", taken) == "arm_2"
