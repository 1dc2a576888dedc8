"""What breaks first: figures of the skin near joints, and which region is measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plica.mesh.arrays import Floats
from plica.mesh.attach import Attached
from plica.mesh.inbetweens import Inbetweens
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.rig.rig import Rig
from plica.start.anatomy import PARTS
from plica.start.bending_joints import BendingJoint, Evidence
from plica.start.bent_regions import bent_regions
from plica.start.bent_skin import bent_skins, cut_out
from plica.start.skin_figures import SHARE, BentSkin, SkinFigure, not_measured, stated_of
from tests.support.arms import ELBOW, Arms, arms

AROUND_ELBOW = "region elbow both { skin of upperarm, lowerarm }\n"
NO_SHAPES: dict[str, Inbetweens] = {}


def _elbow(degrees: int, more: str = "") -> Arms:
    driver = f"driver elbow both {{ reads rotation about z of lowerarm   span 0 deg .. {degrees} deg }}\n"
    return arms(AROUND_ELBOW + driver + more, shapes=NO_SHAPES)


def _bent(made: Arms, region: str = "elbow") -> BentSkin:
    (found,) = bent_skins(made.rig, made.attached, [("elbow", region)])
    return found


def _worst(bent: BentSkin, kind: str) -> float:
    (figure,) = (one for one in bent.figures if one.kind == kind)
    assert figure.worst is not None
    return figure.worst


def test_the_figures_of_skin_that_suffers_are_those_that_prove_finds() -> None:
    expects = (
        "expect both { volume of elbow within 1 %   over elbow\n"
        f"stretch of elbow at most 1 % on {100 * SHARE:g} %   over elbow\n"
        f"squeeze of elbow at most 1 % on {100 * SHARE:g} %   over elbow }}\n"
    )
    made = _elbow(140, expects)
    proven = {
        (one.expectation.kind, one.expectation.side): one.worst
        for one in Prover(ProofSubject(made.rig, made.attached)).results()
    }
    bent = _bent(made)
    assert bent.suffers and not bent.unknown
    stated = [figure.kind for figure in stated_of(bent.figures)]
    assert "volume" in stated
    for kind in stated:
        both = [proven[kind, side] for side in ("left", "right")]
        assert _worst(bent, kind) == pytest.approx(max(both, key=abs), abs=1e-9)


def test_a_small_bend_does_no_harm_and_a_large_one_crosses() -> None:
    small, large = _bent(_elbow(8)), _bent(_elbow(140))
    assert not small.suffers and small.badness < 1.0 and _worst(small, "crossing") == 0.0
    assert _worst(large, "crossing") > 0.0 and _worst(large, "volume") < -0.04
    order = bent_skins(*_two_spans(), [("slight", "elbow"), ("elbow", "elbow")])
    assert [bent.driver for bent in order] == ["elbow", "slight"]


def _two_spans() -> tuple[Rig, Attached]:
    slight = "driver slight both { reads rotation about z of lowerarm   span 0 deg .. 8 deg }\n"
    made = _elbow(140, slight)
    return made.rig, made.attached


def test_the_worse_side_counts() -> None:
    made = _elbow(100)
    mesh = made.attached.mesh
    right = mesh.positions[:, 0] < 0
    # An elbow that does not blend: what is nearer the paw is the lower arm's alone.
    hard = np.where((np.abs(mesh.positions[:, 0]) > 0.5)[:, None], [0.0, 1.0], [1.0, 0.0])

    def bent(weights: Floats) -> BentSkin:
        return _bent(Arms(made.rig, replace(made.attached, mesh=replace(mesh, weights=weights))))

    soft_both, hard_both = bent(mesh.weights), bent(hard)
    for one_hard in (right, ~right):
        uneven = bent(np.where(one_hard[:, None], hard, mesh.weights))
        for kind in ("volume", "stretch", "squeeze"):
            worse = max((_worst(one, kind) for one in (soft_both, hard_both)), key=abs)
            assert _worst(uneven, kind) == pytest.approx(worse, abs=1e-9)
    assert _worst(soft_both, "volume") != pytest.approx(_worst(hard_both, "volume"), abs=1e-3)


def test_what_cannot_be_measured_is_unknown_and_never_good() -> None:
    made = _elbow(100)
    nothing = {name: 0.0 * weights for name, weights in made.attached.regions.items()}
    bent = _bent(Arms(made.rig, replace(made.attached, regions=nothing)))
    assert bent.unknown and not bent.suffers
    assert {figure.why for figure in bent.figures} == {"no skin follows the joint"}
    assert all(figure.worst is None for figure in not_measured("elbow", "why").figures)


def test_a_figure_is_held_against_what_an_expectation_without_a_limit_allows() -> None:
    assert SkinFigure("volume", -0.051).suffers and not SkinFigure("volume", 0.05).suffers
    assert SkinFigure("stretch", 0.8).badness == pytest.approx(2.0)
    assert SkinFigure("crossing", 3.0).suffers and not SkinFigure("crossing", 0.0).suffers
    assert SkinFigure("crossing", 3.0).badness == 1.0
    assert not SkinFigure("squeeze", None, "why").suffers


def test_an_expectation_states_what_suffers_or_what_is_nearest_to_it() -> None:
    good = (SkinFigure("volume", 0.01), SkinFigure("stretch", 0.3), SkinFigure("crossing", 4.0))
    assert [figure.kind for figure in stated_of(good)] == ["stretch"]
    bad = (SkinFigure("volume", -0.2), SkinFigure("stretch", 0.3), SkinFigure("squeeze", 0.7))
    assert [figure.kind for figure in stated_of(bad)] == ["volume", "squeeze"]
    assert stated_of((SkinFigure("volume", None, "why"), SkinFigure("crossing", 4.0))) == ()


def test_the_part_that_is_measured_is_whole_triangles() -> None:
    mesh = _elbow(100).attached.mesh
    weights = (mesh.positions[:, 0] > 0.5).astype(np.float64)
    part, vertices = cut_out(mesh, weights)
    inside = (weights[mesh.triangles] > 0.0).any(axis=1)
    assert len(part.triangles) == inside.sum()
    assert np.array_equal(part.positions[part.triangles], mesh.positions[mesh.triangles[inside]])
    assert np.array_equal(part.weights, mesh.weights[vertices])


# ---- the region ----------------------------------------------------------------------------------------------


def _subject(made: Arms, base: str) -> BendingJoint:
    names = [joint.name for joint in made.rig.skeleton]
    left, right = names.index(f"{base}_lf"), names.index(f"{base}_rt")
    told = Evidence("", "", "anatomy", None)
    return BendingJoint(left, right, base, base, "elbow", None, (0.0, 100.0), told, PARTS["elbow"])


def _bases(made: Arms) -> list[str]:
    return [joint.name.removesuffix("_lf").removesuffix("_rt") for joint in made.rig.skeleton]


def test_a_region_is_the_skin_of_the_joints_that_hold_what_bends() -> None:
    made = arms(ELBOW, shapes=NO_SHAPES)
    subjects = [_subject(made, base) for base in ("upperarm", "lowerarm", "paw")]
    found = bent_regions(made.rig, made.attached.mesh, subjects, _bases(made))
    # Nothing of the arm stays behind when the whole of it turns, and the paw holds no skin.
    assert set(found) == {"lowerarm"}
    assert found["lowerarm"].joints == ("lowerarm", "upperarm")
    assert found["lowerarm"].covered == pytest.approx(1.0)


def test_a_joint_between_two_bones_is_part_of_the_region() -> None:
    """A helper that carries half of the forearm's blend, as joints for twist do."""
    made = arms(ELBOW, shapes=NO_SHAPES)
    mesh, names = made.attached.mesh, [joint.name for joint in made.rig.skeleton]
    helper = np.where(mesh.positions[:, 0] > 0, names.index("paw_lf"), names.index("paw_rt"))
    joints = np.column_stack([mesh.joints, helper])
    upper, lower = mesh.weights.T
    weights = np.column_stack([upper, lower - 0.5 * upper * lower, 0.5 * upper * lower])
    helped = replace(mesh, joints=joints, weights=weights)
    found = bent_regions(made.rig, helped, [_subject(made, "lowerarm")], _bases(made))
    assert found["lowerarm"].joints == ("lowerarm", "upperarm", "paw")[: len(found["lowerarm"].joints)]
    assert found["lowerarm"].covered > 0.9


def test_the_other_side_cannot_be_part_of_it() -> None:
    made = arms(ELBOW, shapes=NO_SHAPES)
    mesh, names = made.attached.mesh, [joint.name for joint in made.rig.skeleton]
    left = mesh.positions[:, 0] > 0
    joints = mesh.joints.copy()
    joints[left, 0] = names.index("upperarm_rt")  # what should follow the left upper arm follows the right one
    found = bent_regions(made.rig, replace(mesh, joints=joints), [_subject(made, "lowerarm")], _bases(made))
    assert found["lowerarm"].joints == ("lowerarm",)
    assert found["lowerarm"].covered < 0.7
