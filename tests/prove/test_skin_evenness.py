"""`even of REGION`: poses mirrored in the skinning matrices must give the mirrored skin, as far as shapes move it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plica.evaluate.evaluator import Evaluator
from plica.mesh.arrays import Floats, Offsets
from plica.mesh.deform import Deformer
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.joint_matrices import Kinematics
from plica.mesh.skin_mirror import SkinMirror, SkinSymmetry
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.results import Result
from plica.prove.sweeps import PoseTrack
from tests.prove.test_worst_poses import moving
from tests.support.arms import ELBOW, SHAPE, Arms, arms
from tests.support.mirroring import mirrored_poses

CONTROL = "control sniff { range 0 .. 1 }\n"
EVEN = "expect both { even of forearm within 0.1 mm }\n"


def proven(made: Arms, extra: list[PoseTrack] | None = None) -> dict[str, Result]:
    results = Prover(ProofSubject(made.rig, made.attached, extra=extra or [])).results()
    return {result.title: result for result in results}


def mirror(made: Arms) -> SkinMirror:
    symmetry = SkinSymmetry.of(made.attached.symmetry)
    assert symmetry is not None
    return SkinMirror(made.rig, made.attached.mesh, symmetry)


def changed(made: Arms, **fields: object) -> Arms:
    return replace(made, attached=replace(made.attached, **fields))  # type: ignore[arg-type]


def test_mirrored_skin_matrices_are_those_of_the_mirrored_joints() -> None:
    """Held against the mirror through joint frames (quaternions of scipy), which takes another way altogether, on
    frames that are turned differently on both sides."""
    made = arms(ELBOW + CONTROL)
    poses = moving(made).poses
    through_frames = mirrored_poses(made.rig, poses)
    result = mirror(made).poses(poses)
    kinematics = Kinematics(made.rig)
    expected = kinematics.skins(made.attached.mesh, through_frames)
    assert kinematics.skins(made.attached.mesh, result) == pytest.approx(expected, abs=1e-12)
    motion = mirror(made).motion(Deformer(made.attached.mesh, made.rig, made.attached.shapes), poses)
    assert motion.skins == pytest.approx(expected, abs=1e-12)
    strengths = Evaluator(made.rig).strengths(result)
    assert strengths == pytest.approx(Evaluator(made.rig).strengths(through_frames), abs=1e-12)


def test_mirroring_twice_is_the_pose_again() -> None:
    made = arms(ELBOW + CONTROL)
    poses = moving(made).poses
    there_and_back = mirror(made).poses(mirror(made).poses(poses))
    assert there_and_back.translations == pytest.approx(poses.translations, abs=1e-12)
    sizes = np.abs((there_and_back.rotations * poses.rotations).sum(axis=2))
    assert sizes == pytest.approx(np.ones_like(sizes), abs=1e-12)
    assert (there_and_back.controls == poses.controls).all()


def test_an_even_character_is_even_to_rounding_over_any_motion() -> None:
    made = arms(ELBOW + SHAPE + CONTROL + EVEN)
    results = proven(made, [moving(made)])
    assert set(results) == {"even of left_forearm", "even of right_forearm"}
    for result in results.values():
        assert result.status == "holds" and result.worst is not None and result.bare is not None
        assert result.worst < 1e-12 and result.bare < 1e-12


@pytest.mark.parametrize("factor", [1.5, 0.0])
def test_a_side_with_other_offsets_is_off_by_what_they_differ(factor: float) -> None:
    """The skin at the vertex turns rigidly where one joint carries it, so nothing but the offsets' length counts."""
    made = arms(ELBOW + SHAPE + EVEN)
    right = made.attached.shapes["right_hold"].primary
    shapes = {**made.attached.shapes, "right_hold": Inbetweens(Offsets(right.indices, factor * right.offsets))}
    longest = float(np.linalg.norm(right.offsets, axis=1).max())
    for result in proven(changed(made, shapes=shapes)).values():
        assert result.status == "fails" and result.worst is not None and result.bare is not None
        assert 0.5 * longest < result.worst / abs(factor - 1.0) < 1.0001 * longest
        assert result.bare < 1e-12
        assert result.place is not None and result.place.vertex >= 0
        assert result.frame is not None and result.frame.pose.joints


def test_an_axis_that_turns_the_wrong_way_is_found_though_the_strengths_look_even() -> None:
    """The right elbow reads its other axis: the shape stays off there, so all that the left one adds counts."""
    text = ELBOW + SHAPE + "override driver elbow right { reads rotation about y of lowerarm }\n" + EVEN
    assert all(result.status == "fails" for result in proven(arms(text)).values())


def test_uneven_weights_are_the_bare_skins_and_do_not_count() -> None:
    made = arms(ELBOW + SHAPE + EVEN)
    mesh = made.attached.mesh
    weights = mesh.weights.copy()
    right = (mesh.positions[:, 0] < -0.45) & (mesh.positions[:, 0] > -0.5)
    weights[right] = weights[right][:, ::-1]
    uneven = changed(made, mesh=replace(mesh, weights=weights), shapes={})
    results = proven(uneven)
    for result in results.values():
        assert result.status == "holds" and result.worst == 0.0
        assert result.bare is not None and result.bare > 1e-3


def test_at_a_vertex_without_a_partner_all_that_shapes_add_counts() -> None:
    made = arms(ELBOW + SHAPE + EVEN)
    symmetry = made.attached.symmetry
    assert symmetry is not None
    partners, offsets = symmetry.partners.copy(), made.attached.shapes["left_hold"].primary
    sizes: Floats = np.linalg.norm(offsets.offsets, axis=1)
    vertex = int(offsets.indices[sizes.argmax()])
    partners[[vertex, partners[vertex]]] = -1
    alone = proven(changed(made, symmetry=replace(symmetry, partners=partners)))["even of left_forearm"]
    assert alone.status == "fails" and alone.place is not None and alone.place.vertex == vertex
    assert alone.worst is not None and 0.3 * sizes.max() < alone.worst < 1.0001 * sizes.max()


def test_what_cannot_be_mirrored_is_not_measured() -> None:
    made = arms(ELBOW + SHAPE + EVEN)
    symmetry = made.attached.symmetry
    assert symmetry is not None
    nobody = replace(symmetry, partners=np.full_like(symmetry.partners, -1))
    for unknown, why in (
        (changed(made, symmetry=None), "no mirror plane is known"),
        (changed(made, symmetry=nobody), "no vertex of left_forearm has a partner on the other side"),
    ):
        result = proven(unknown)["even of left_forearm"]
        assert (result.status, result.about) == ("not measured", why)
    joints = made.rig.skeleton
    joints = tuple(joint._replace(partner=None) if joint.name == "lowerarm_lf" else joint for joint in joints)
    alone = replace(made, rig=made.rig._replace(skeleton=joints))
    result = proven(alone)["even of left_forearm"]
    assert result.status == "not measured"
    assert result.about == "lowerarm_lf carries skin of left_forearm and has no partner on the other side"
