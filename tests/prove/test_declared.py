"""Declared poses: both sides from one text, measured where an expectation goes over them and over everything."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plica.diagnostics import Diagnostics
from plica.evaluate.evaluator import Evaluator
from plica.prove.declared_poses import declared_poses
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.report import summary as report
from plica.prove.sweeps import Sweeper
from plica.rig.rig import Expectation
from tests.support.arms import ELBOW, arms
from tests.support.mirroring import mirrored_poses
from tests.support.texts import compiled as compiled_of
from tests.support.texts import rig_of

TEXT = """
driver elbow both { reads rotation about z of lowerarm   span 10 deg .. 130 deg }
pose salute both {
    at  elbow 0.5
    at  about x of upperarm 20 deg, about y of upperarm 30 deg
}
pose curl { at left elbow 1, right elbow 0.25 }
shape swell both { follows elbow }
"""


def test_a_pose_gives_the_strengths_that_it_states() -> None:
    rig = rig_of(TEXT)
    diagnostics = Diagnostics()
    tracks = declared_poses(rig, diagnostics, {})
    assert not diagnostics.all
    assert list(tracks) == ["curl", "left_salute", "right_salute"]
    evaluator = Evaluator(rig)
    for name, expected in (("curl", (1.0, 0.25)), ("left_salute", (0.5, 0.0)), ("right_salute", (0.0, 0.5))):
        strengths = evaluator.strengths(tracks[name].poses)[0]
        assert strengths == pytest.approx(expected, abs=1e-9)


def test_turns_of_one_joint_follow_each_other_about_axes_that_stay_put() -> None:
    """Held against scipy: lower-case letters are rotations about fixed axes (scipy.spatial.transform.Rotation)."""
    rig = rig_of(TEXT)
    poses = declared_poses(rig, Diagnostics(), {})["left_salute"].poses
    joint = next(joint for joint in rig.skeleton if joint.name == "upperarm_lf")
    posed = Rotation.from_quat(poses.rotations[0, poses.joints.index(joint.name)])
    expected = Rotation.from_quat(joint.neutral.rotation) * Rotation.from_euler("xy", (20, 30), degrees=True)
    assert (posed * expected.inv()).magnitude() < 1e-12


def test_the_right_pose_is_the_mirror_image_of_the_left_one() -> None:
    rig = rig_of(TEXT)
    tracks = declared_poses(rig, Diagnostics(), {})
    left, right = tracks["left_salute"].poses, tracks["right_salute"].poses
    mirrored = mirrored_poses(rig, left)
    apart = Rotation.from_quat(mirrored.rotations[0]).inv() * Rotation.from_quat(right.rotations[0])
    assert np.abs(apart.magnitude()).max() < 1e-9


def test_expectations_go_over_named_poses_and_everything_over_all() -> None:
    rig = rig_of(TEXT)
    sweeper = Sweeper(rig, poses=declared_poses(rig, Diagnostics(), {}))
    over_one = sweeper.tracks(Expectation("reach", "none", ("left_elbow",), over_poses=("curl",)))
    assert [track.name for track in over_one] == ["rest", "pose curl"]
    names = {track.name for track in sweeper.everything()}
    assert {"pose curl", "pose left_salute", "pose right_salute"} <= names


def test_a_pose_that_contradicts_itself_is_said_at_the_pose() -> None:
    more = """
driver bent both { reads bend of lowerarm   span 0 deg .. 90 deg }
combine either both = greatest(elbow, bent)
pose both_ways { at left elbow 1, left bent 0 }
pose many_ways { at left either 0.5 }
"""
    compiled = compiled_of(TEXT + more)
    assert compiled.rig is not None
    diagnostics = Diagnostics()
    declared_poses(compiled.rig, diagnostics, compiled.origins)
    told = {one.name: one.span.source.text[one.span.start : one.span.end] for one in diagnostics.all if one.span}
    assert told == {"pose-contradicts-itself": "both_ways", "strength-not-posable": "many_ways"}


def test_skin_is_measured_in_a_pose() -> None:
    made = arms(
        ELBOW + "pose bent both { at elbow 1 }\nexpect left { squeeze of forearm at most 1 %   over pose bent }\n"
    )
    poses = declared_poses(made.rig, Diagnostics(), {})
    (result,) = Prover(ProofSubject(made.rig, made.attached, poses=poses)).results()
    assert result.status == "fails"
    assert result.frame is not None
    assert result.frame.track == "pose left_bent"
    assert report.pose(result.frame, angles=False) == "pose left_bent"
