"""One recogniser of bodies: builds, limbs and what hangs under controls, on characters of three kinds."""

from __future__ import annotations

import pytest

from plica.readers.model_reader import read_outline
from plica.skeleton.body import Body, body_of
from plica.skeleton.limbs import FOUR_LEGGED, UPRIGHT
from plica.skeleton.side_patterns import find_sides
from plica.skeleton.skeleton import Joint, Skeleton
from tests.support.data import shared_data


def _body(*parts: str) -> Body:
    skeleton = read_outline(shared_data("characters", *parts)).skeleton
    return body_of(skeleton, find_sides(skeleton).sides)


def _name(body: Body, joint: int) -> str:
    return body.skeleton.joints[joint].name


@pytest.mark.parametrize(
    "parts",
    [("full_body", "full_body.gltf"), ("unnamed_man", "man.glb"), ("expressive_robot", "robot.glb")],
    ids=lambda parts: parts[0],
)
def test_upright_bodies_have_arms_and_legs_with_or_without_names(parts: tuple[str, str]) -> None:
    body = _body(*parts)
    assert body.build == "upright"
    assert set(body.limbs) == set(UPRIGHT)
    for name, limb in body.limbs.items():
        upper, lower = body.parts[limb.upper], body.parts[limb.lower]
        assert (upper, lower) == (("shoulder", "elbow") if name.endswith("arm") else ("hip", "knee"))


def test_a_horse_has_four_legs_and_its_hoofs_end_them() -> None:
    body = _body("horse", "horse.glb")
    assert body.build == "four-legged"
    assert set(body.limbs) == set(FOUR_LEGGED)
    assert {_name(body, end): _name(body, limb) for end, limb in body.hung.items()} == {
        f"IK{one}Leg.{side}": f"{one}LowerLeg.{side}" for one in ("Front", "Back") for side in "LR"
    }


def test_what_stands_at_no_tip_stays_where_it_hangs() -> None:
    joints = [
        Joint("root", skinned=False),
        Joint("upper", 0, (0.0, 1.0, 0.0)),
        Joint("lower", 1, (0.0, -0.5, 0.0)),
        Joint("lower_end", 2, (0.0, -0.4, 0.0), skinned=False),
        Joint("control", 0, (0.0, 0.1, 0.0), skinned=False),
    ]
    there = body_of(Skeleton((*joints, Joint("hoof", 4))))
    assert there.hung == {5: 2}
    assert there.bones.before[5] == 2
    elsewhere = body_of(Skeleton((*joints, Joint("hoof", 4, (0.0, 0.0, 0.3)))))
    assert elsewhere.hung == {}
