"""A skin that was bound in an uneven pose: partners, sides, feathers and mirrored shapes go by the neutral stance."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

import plica
from plica.mesh.deform import Deformer
from plica.mesh.mirror import copy_partners
from plica.mesh.neutral_skin import neutral_skin
from plica.mesh.plane import reflected
from plica.mesh.skin_mirror import SkinMirror, SkinSymmetry
from tests.variants.characters import CHARACTERS, Character
from tests.variants.law import Outcome, outcome_of, poses_of, spec_of, write_variation
from tests.variants.model_file import Floats
from tests.variants.variation import Variation, unchanged

BOUND_FRAME = 3  # of the motion: the uneven pose in which the skin is bound
WREN = next(one for one in CHARACTERS if one.name == "wren")


def bound_unevenly(character: Character, method: str = "linear") -> Variation:
    """The character stored and bound in a pose of its motion; at rest its skin stands where it always did."""
    result = unchanged(character)
    model, worlds = result.model, result.worlds()
    to_rest = worlds[:, 0] @ np.linalg.inv(worlds[:, BOUND_FRAME])
    for primitive in model.primitives:
        skin = model.skins[0]
        weights = primitive.weights / primitive.weights.sum(axis=1, keepdims=True)
        matrices = np.einsum("vk,vkij->vij", weights, to_rest[np.array(skin.joints)[primitive.joints]])
        back = np.linalg.inv(matrices)
        primitive.positions = np.einsum("vij,vj->vi", back[:, :3, :3], primitive.positions) + back[:, :3, 3]
        primitive.normals = None
        primitive.morphs = {
            name: np.einsum("vij,vj->vi", back[:, :3, :3], offsets) for name, offsets in primitive.morphs.items()
        }
    for skin in model.skins:
        skin.inverse_binds = np.linalg.inv(worlds[skin.joints, BOUND_FRAME])
    return result


@cache
def outcomes(name: str) -> tuple[Outcome, Outcome]:
    """Of a character as it is, and bound unevenly."""
    character = next(one for one in CHARACTERS if one.name == name)
    result = []
    for variation in (unchanged(character), bound_unevenly(character)):
        with TemporaryDirectory() as folder:
            result.append(outcome_of(variation, Path(folder)))
    return result[0], result[1]


@pytest.mark.parametrize("name", [one.name for one in CHARACTERS])
def test_regions_strengths_and_the_skin_at_rest_are_those_of_the_character(name: str) -> None:
    as_it_is, uneven = outcomes(name)
    assert not uneven.errors and not uneven.warnings and not uneven.lost
    assert np.abs(uneven.skin[0] - as_it_is.skin[0]).max() <= 1e-6 * as_it_is.size
    for strength, values in as_it_is.strengths.items():
        assert np.abs(values - uneven.strengths[strength]).max() <= 2e-5, strength
    for region, weights in as_it_is.regions.items():
        assert np.abs(weights - uneven.regions[region]).max() <= 1e-3, region


def attached(folder: Path, *facts: str) -> tuple[plica.Character, plica.AttachedMesh]:
    """Wren bound unevenly, with more facts of the character."""
    variation = bound_unevenly(WREN)
    write_variation(variation, folder)
    text = spec_of(variation).replace("character c {", "character c {\n    " + "\n    ".join(facts))
    character = plica.compile_text(text, folder=folder)
    assert character.rig is not None and character.rig.character.stance == "rest"
    mesh = plica.attach_mesh(character)
    assert mesh.ok
    return character, mesh


@pytest.mark.parametrize("skinning", ["linear", "dual quaternion"])
def test_a_mirrored_shape_mirrors_in_the_neutral_stance(skinning: str, tmp_path: Path) -> None:
    """What a shape adds on the left, posed at rest, is the mirror image of what it adds on the right."""
    character, mesh = attached(tmp_path, f"skinning {skinning}", "stance rest pose")
    rig, found = character.rig, mesh.attached
    assert rig is not None and found.symmetry is not None and found.neutral is not None
    assert found.neutral.linear is not None
    if skinning == "linear":
        assert found.symmetry.share > 0.99
    partners = copy_partners(found.mesh.points, found.symmetry.partners)
    for declared in ("swell", "flat", "bulge"):
        sides = []
        for side in ("left", "right"):
            offsets: Floats = np.zeros_like(found.mesh.positions)
            shape = found.shapes[f"{side}_{declared}"].primary
            offsets[shape.indices] = shape.offsets
            sides.append(np.einsum("vij,vj->vi", found.neutral.linear, offsets))
        left, right = sides
        known = partners >= 0
        image = reflected(left[partners[known]], found.symmetry.plane.normal)
        assert np.abs(left).max() > 1e-3
        assert np.abs(image - right[known]).max() <= 1e-6 * np.abs(left).max() + 1e-9, declared


def test_mirrored_poses_give_the_mirrored_skin_where_one_joint_holds_it(tmp_path: Path) -> None:
    """Blended skin that was bound unevenly bends unevenly, whoever mirrors it, which `even` tells. What one joint holds
    does not, nor does any of it in the stance itself."""
    character, mesh = attached(tmp_path)
    rig, found = character.rig, mesh.attached
    symmetry = SkinSymmetry.of(found.symmetry)
    assert rig is not None and symmetry is not None and found.symmetry is not None
    poses = poses_of(bound_unevenly(WREN), character)
    deformer = Deformer(found.mesh, rig, found.shapes)
    mirrored = SkinMirror(rig, found.mesh, symmetry).motion(deformer, poses)
    (here,) = (block.positions for block in deformer.positions(poses))
    (there,) = (block.positions for block in deformer.positions(mirrored))
    partners = symmetry.partners
    known = np.flatnonzero(partners >= 0)
    plane = found.symmetry.plane
    images = np.stack([reflected(frame, plane.normal, plane.offset) for frame in here[:, known]])
    apart = np.linalg.norm(images - there[:, partners[known]], axis=2)
    assert apart[0].max() < 1e-6
    held = np.sort(found.mesh.weights, axis=1)[:, -1] > 1.0 - 1e-9
    alone = held[known] & held[partners[known]]
    assert alone.sum() > 500
    assert apart[:, alone].max() < 1e-6
    assert apart[:, ~alone].max() > 1e-3


def test_a_skin_bound_in_its_stance_is_the_stored_mesh(tmp_path: Path) -> None:
    write_variation(unchanged(WREN), tmp_path)
    character = plica.compile_text(spec_of(unchanged(WREN)), folder=tmp_path)
    mesh = plica.attach_mesh(character)
    assert character.rig is not None
    assert mesh.attached.neutral is None
    assert neutral_skin(character.rig, mesh.attached.mesh).mesh is mesh.attached.mesh
