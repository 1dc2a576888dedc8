"""Feet and hands that hang under controls: poses that Plica makes itself leave them behind, and say so."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import plica
from tests.support.data import shared_data
from tests.support.started import first_spec
from tests.variants.characters import CHARACTERS, Character
from tests.variants.law import spec_of, write_variation
from tests.variants.table import VARIANTS


def told_of(character: Character, variant: str, folder: Path, text: str = "") -> list[str]:
    """What is told of joints that are left behind."""
    variation = next(one for one in VARIANTS if one.name == variant).make(character)
    write_variation(variation, folder)
    mesh = plica.attach_mesh(plica.compile_text(spec_of(variation) + text, folder=folder))
    assert mesh.ok
    return [one.message for one in mesh.diagnostics if one.name == "joints-left-behind"]


@pytest.mark.parametrize("character", CHARACTERS, ids=lambda character: character.name)
def test_hands_that_an_elbow_leaves_behind_are_told(character: Character, tmp_path: Path) -> None:
    (message,) = told_of(character, "under_controls", tmp_path)
    for side in ("left", "right"):
        hand, forearm = character.joint(character.hand, side), character.joint(character.forearm, side)
        assert f"`{hand}` at the end of `{forearm}`" in message
    assert message.count(" at the end of ") == 2, "what hangs below a hand goes along with it"
    assert character.joint(character.foot) not in message, "no pose turns the leg"


@pytest.mark.parametrize("variant", ["written_again", "extra_joints", "rigid_parts", "cut", "rest_posed"])
def test_limbs_that_hang_together_leave_nothing_behind(variant: str, tmp_path: Path) -> None:
    for character in CHARACTERS[1:]:
        folder = tmp_path / character.name
        folder.mkdir()
        assert told_of(character, variant, folder) == []


def test_the_leg_counts_once_a_pose_turns_it(tmp_path: Path) -> None:
    character = CHARACTERS[0]
    more = "pose squat { at about x of calf_l 60 deg }\n"
    (message,) = told_of(character, "under_controls", tmp_path, more)
    assert "`foot_l` at the end of `calf_l`" in message and "`foot_r`" not in message


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        (("mannequin", "mannequin.gltf"), ()),
        (("rigged_figure", "RiggedFigure.glb"), ()),
        # By the joint list of the model: Foot.L and Foot.R are children of `Bone`, beside the body.
        (("expressive_robot", "robot.glb"), ("`Foot.L` at the end of `LowerLeg.L`", "`Foot.R` at the end of")),
        # By its joint list: IKBackLeg and IKFrontLeg hang from the armature, as its hooves.
        (("horse", "horse.glb"), ("`IKBackLeg.L` at the end of `BackLowerLeg.L`",)),
        # Its joints all hang from one, as many devices that follow hands give them.
        (("hands", "left.glb"), ("`ring-finger-phalanx-distal` at the end of `ring-finger-phalanx-intermediate`",)),
    ],
    ids=lambda one: "/".join(one) if isinstance(one, tuple) and one and "." in one[-1] else "",
)
def test_what_first_specs_of_the_shared_characters_leave_behind(
    parts: tuple[str, str], expected: tuple[str, ...], tmp_path: Path
) -> None:
    """Swept over every driver."""
    folder = tmp_path / "model"
    shutil.copytree(shared_data("characters", *parts).parent, folder)
    spec = folder / "first.plica"
    text = first_spec(folder / parts[1]).text
    spec.write_text(text + "\nexpect { even within 0.5 }\n", "utf-8")
    mesh = plica.attach_mesh(plica.compile_file(spec))
    told = [one.message for one in mesh.diagnostics if one.name == "joints-left-behind"]
    assert len(told) == bool(expected), told
    assert all(one in told[0] for one in expected), told
