"""Worst poses can be made again from what is told of them: from the JSON exactly, from the text to its digits."""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.evaluate.poses import Poses, SparsePose, poses_from, rest_poses, sparse_pose
from plica.mesh.deform import Deformer
from plica.prove.declared_poses import declared_poses
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.report.summary import json_text, text
from plica.prove.report.worst_poses import declaration
from plica.prove.results import JointMove, Result, WorstFrame
from plica.prove.skin import Skin
from plica.prove.sweeps import PoseTrack
from plica.rig.rig import Expectation
from plica.skeleton.algebra import Vector, multiply, normalised
from tests.support.arms import ELBOW, SHAPE, Arms, arms, rig_from

TURN = "driver turn both { reads rotation about x of paw   span 0 deg .. 80 deg }\n"
CONTROL = "control sniff { range 0 .. 1 }\n"
EXPECTED = """
expect both { volume of forearm within 0.001 %   stretch of forearm at most 1 % on 90 %   over everything }
expect left { clearance of forearm from upperarm at least 3 mm   over everything }
expect { shapes on at most 0 }
"""


def moving(made: Arms) -> PoseTrack:
    """Every joint turns about an axis of its own and moves, and a control changes, more from frame to frame."""
    random, poses = np.random.default_rng(4), rest_poses(made.rig, 5)
    for frame in range(5):
        for column in range(len(poses.joints)):
            x, y, z = (0.12 * frame * random.normal(size=3)).tolist()
            a, b, c, d = poses.rotations[frame, column].tolist()
            poses.rotations[frame, column] = multiply((a, b, c, d), normalised((x, y, z, 1.0)))
    poses.translations[...] += 0.002 * np.arange(5)[:, None, None] * random.normal(size=poses.translations.shape[1:])
    poses.controls[:, 0] = 0.2 * np.arange(5)
    return PoseTrack("clip wade.bvh", "clip", np.arange(5) / 30.0, poses)


def proven() -> tuple[Arms, list[Result]]:
    made = arms(ELBOW + TURN + SHAPE + CONTROL + EXPECTED)
    results = Prover(ProofSubject(made.rig, made.attached, extra=[moving(made)])).results()
    return made, sorted(results, key=lambda result: result.index)


def figure(made: Arms, result: Result, poses: Poses) -> float:
    """What an expectation about the skin measures in one pose."""
    rest = next(Deformer(made.attached.mesh, made.rig, {}).positions(rest_poses(made.rig))).positions[0]
    skin = Skin(made.rig, made.attached.mesh, made.attached.regions, rest)
    positions = next(Deformer(made.attached.mesh, made.rig, made.attached.shapes).positions(poses)).positions
    return float(skin.gauge(result.expectation)(positions, np.zeros(1, np.int64)).values[0])


def about_skin(results: Sequence[Result]) -> list[Result]:
    return [result for result in results if result.expectation.of]


def test_a_pose_of_the_json_gives_the_same_figure_again() -> None:
    made, results = proven()
    entries = json.loads(json_text(made.rig, results, {}, True))["results"]
    for result in about_skin(results):
        entry = entries[result.index]
        assert entry["expectation"] == result.title
        plain = entry["pose"]["plain"]
        assert set(plain) == {"joints", "controls"}
        poses = poses_from(made.rig, [sparse_pose(plain["joints"], plain["controls"])])
        assert figure(made, result, poses) == result.worst
    wade = [entry for entry in entries if entry["pose"] and entry["pose"]["track"] == "clip wade.bvh"]
    assert wade, "some are worst in the clip, which moves joints and a control"
    assert all(entry["pose"]["plain"]["controls"]["sniff"] > 0.0 for entry in wade)


def test_a_pose_of_the_text_is_a_declaration_that_gives_the_same_figure_again() -> None:
    """Of the sweeps, which only turn joints; moves and controls of the clip stand in comments."""
    made = arms(ELBOW + TURN + SHAPE + EXPECTED)
    results = sorted(Prover(ProofSubject(made.rig, made.attached)).results(), key=lambda result: result.index)
    told = text(results, {}).split("\n\n", 1)[1].rsplit("\n\n", 1)[0]
    rig = rig_from(ELBOW + TURN + SHAPE + EXPECTED + told)
    tracks = declared_poses(rig, Diagnostics(), {})
    assert tracks
    measured = 0
    for result in about_skin(results):
        lines = told.splitlines()
        if result.status != "fails":
            assert f"// the worst of {result.title}" not in lines
            continue
        at = lines.index(f"// the worst of {result.title}")
        name = next(line.split()[1] for line in lines[at:] if line.startswith("pose "))
        assert figure(made, result, tracks[name].poses) == pytest.approx(result.worst, rel=1e-7)
        measured += 1
    assert measured >= 3


def test_moves_and_controls_are_told_too_and_every_joint() -> None:
    made, results = proven()
    told = text(results, {}, every_pose=True)
    result = next(one for one in about_skin(results) if one.frame is not None and one.frame.kind == "clip")
    assert result.frame is not None
    assert {move.joint for move in result.frame.moves} == {joint.name for joint in made.rig.skeleton}
    for joint in made.rig.skeleton:
        assert f'of "{joint.name}" ' in told
        assert f'// "{joint.name}" moved in its parent by ' in told
    assert '// control "sniff" ' in told
    rig_from(ELBOW + TURN + SHAPE + CONTROL + EXPECTED + told.split("\n\n", 1)[1].rsplit("\n\n", 1)[0])


def test_what_holds_is_told_where_it_is_asked_for() -> None:
    made = arms(ELBOW + SHAPE + "expect left { volume of forearm within 50 %   over elbow }\n")
    results = list(Prover(ProofSubject(made.rig, made.attached)).results())
    assert "pose worst_1" not in text(results, {})
    assert "pose worst_1" in text(results, {}, every_pose=True)


@pytest.mark.parametrize(
    ("axis", "shown"),
    [
        ((1.0, 0.0, 0.0), "x"),
        ((0.0, -1.0, 0.0), "-y"),
        ((0.0, 0.0, 1.0), "z"),
        ((0.0, 0.6, 0.8), "(0, 0.6, 0.8)"),
        ((0.8, 0.0, -0.6), "(0.8, 0, -0.6)"),
        ((-0.6, -0.8, 0.0), "(-0.6, -0.8, 0)"),
    ],
)
def test_an_axis_of_the_joint_goes_by_its_letter_and_no_other_does(axis: Vector, shown: str) -> None:
    move = JointMove("paw_lf", axis, 0.5, (0.0, 0.0, 0.0))
    frame = WorstFrame("clip wade.bvh", "clip", 0, 0.0, (), SparsePose(), (move,))
    assert f"at about {shown} of " in declaration(frame, [Result(0, Expectation("rest", "none"), "fails")])
