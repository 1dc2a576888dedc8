"""Which morph target a driver reads: on the left, on the right, in poses that are mirrored."""

from __future__ import annotations

from pathlib import Path

import pytest

from plica.evaluate.evaluator import Evaluator
from plica.evaluate.pose_components import skeleton_of
from plica.evaluate.pose_mirror import PoseMirror
from plica.evaluate.poses import SparsePose, poses_from, rest_poses
from plica.kinds.readings import MorphWeight, weight_control
from plica.pipeline import Compiled, compile_text
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.workspace import Workspace
from tests.support.faces import ShownMesh, face
from tests.support.texts import rig_of

PATTERNS = 'left "*_lf" right "*_rt"'


def compiled(folder: Path, text: str, sides: str = PATTERNS) -> Compiled:
    character = f'plica 1\ncharacter otter {{ geometry "face.gltf"\n{sides} }}\n'
    return compile_text(character + text, "face.plica", Workspace(folder))


def read_by(rig: Rig | None) -> dict[str, str]:
    """The morph target that each driver reads."""
    assert rig is not None
    drivers = [one for one in rig.strengths if isinstance(one, Driver)]
    return {one.name: one.reading.morph for one in drivers if isinstance(one.reading, MorphWeight)}


@pytest.mark.parametrize(
    ("names", "written"),
    [
        (("smile_lf", "smile_rt"), "smile_lf"),
        (("smile_lf", "smile_rt"), "smile_rt"),
        (("smile_lf", "smile_rt"), "smile"),  # as joints are named, by what both share
        (("mouthSmileLeft", "mouthSmileRight"), "mouthSmileLeft"),
        (("Smile_L", "Smile_R"), "Smile_R"),
        (("left smile", "right smile"), "left smile"),
    ],
)
def test_both_sides_read_partners(tmp_path: Path, names: tuple[str, str], written: str) -> None:
    face(tmp_path, {"skin": ShownMesh((*names, "chew"))})
    result = compiled(tmp_path, f'driver grin both {{ reads weight of "{written}" span 0 .. 1 }}')
    assert read_by(result.rig) == {"left_grin": names[0], "right_grin": names[1]}
    assert result.rig is not None
    assert [(one.name, one.side, one.morph) for one in result.rig.controls] == [
        (weight_control(names[0]), "left", names[0]),
        (weight_control(names[1]), "right", names[1]),
    ]


def test_patterns_come_before_words(tmp_path: Path) -> None:
    """`left` in these names is what is moved, not the side that it is on."""
    face(tmp_path, {"skin": ShownMesh(("look_left_lf", "look_left_rt", "look_right_lf", "look_right_rt"))})
    result = compiled(tmp_path, 'driver look both { reads weight of "look_left" span 0 .. 1 }')
    assert read_by(result.rig) == {"left_look": "look_left_lf", "right_look": "look_left_rt"}


def test_one_side_reads_what_is_written(tmp_path: Path) -> None:
    face(tmp_path, {"skin": ShownMesh(("smile_lf", "smile_rt"))})
    text = """
        driver one { reads weight of "smile_rt" span 0 .. 1 }
        driver other left { reads weight of "smile_rt" span 0 .. 1 }
        driver own right { reads weight of "smile" span 0 .. 1 }
    """
    assert read_by(compiled(tmp_path, text).rig) == {
        "one": "smile_rt",
        "left_other": "smile_rt",
        "right_own": "smile_rt",
    }


def test_a_target_of_neither_side_is_the_same_number_and_told(tmp_path: Path) -> None:
    face(tmp_path, {"skin": ShownMesh(("chew",))})
    result = compiled(tmp_path, 'driver chewing both { reads weight of "chew" span 0 .. 1 }')
    assert read_by(result.rig) == {"left_chewing": "chew", "right_chewing": "chew"}
    assert "same-on-both-sides" in [one.name for one in result.diagnostics]


@pytest.mark.parametrize(
    ("meshes", "reads", "name", "hint"),
    [
        ({"skin": ShownMesh(("smile_lf",))}, "smile_lf", "morph-without-partner", None),
        ({"skin": ShownMesh(("smileRight",))}, "smileRight", "morph-without-partner", None),
        ({"skin": ShownMesh(("smile_lf", "smile_rt"))}, "smle", "unknown-morph", "did you mean `smile`?"),
        ({"skin": ShownMesh(("a",)), "teeth": ShownMesh(("a",), (0.5,))}, "a", "morph-weights-differ", None),
    ],
)
def test_what_cannot_be_read_is_refused(
    tmp_path: Path, meshes: dict[str, ShownMesh], reads: str, name: str, hint: str | None
) -> None:
    face(tmp_path, meshes)
    result = compiled(tmp_path, f'driver d both {{ reads weight of "{reads}" span 0 .. 1 }}')
    found = {one.name: one for one in result.diagnostics}
    assert result.rig is None and name in found
    assert hint is None or found[name].hint == hint


def test_any_mesh_will_do(tmp_path: Path) -> None:
    """Also one that the character's skin leaves out."""
    face(tmp_path, {"skin": ShownMesh(()), "teeth": ShownMesh(("bite",))})
    character = 'plica 1\ncharacter otter { geometry "face.gltf" mesh "skin" }\n'
    text = character + 'driver d { reads weight of "bite" span 0 .. 1 }'
    assert read_by(compile_text(text, "face.plica", Workspace(tmp_path)).rig) == {"d": "bite"}


@pytest.mark.parametrize(
    ("shown", "rest"),
    [
        (ShownMesh(("a", "b")), 0.0),
        (ShownMesh(("a", "b"), (0.0, 0.25)), 0.25),
        (ShownMesh(("a", "b"), (0.0, 0.25), (0.5, -0.75)), -0.75),  # glTF 2.0 3.7.2.2: the node's come first
        (ShownMesh(("a", "b"), (0.25,)), 0.0),
    ],
)
def test_rest_is_the_models_own(tmp_path: Path, shown: ShownMesh, rest: float) -> None:
    face(tmp_path, {"skin": shown})
    rig = compiled(tmp_path, 'driver d { reads weight of "b" span 0 .. 1 }').rig
    assert rig is not None
    (control,) = rig.controls
    assert control.rest == rest and control.range[0] <= rest <= control.range[1]
    evaluator = Evaluator(rig)
    assert evaluator.readings(rest_poses(rig))[0, 0] == 0.0
    moved = poses_from(rig, [SparsePose({}, {control.name: 0.75})])
    assert evaluator.readings(moved)[0, 0] == 0.75 - rest


def test_without_a_model_marks_in_the_name_tell_the_sides() -> None:
    rig = rig_of('driver a both { reads weight of "wide_lf" span 0 .. 1 }')
    assert read_by(rig) == {"left_a": "wide_lf", "right_a": "wide_rt"}


def test_mirrored_poses_exchange_partners() -> None:
    rig = rig_of("""
        driver a both { reads weight of "wide_lf" span 0 .. 1 }
        driver b { reads weight of "chew" span 0 .. 1 }
        driver c { reads weight of "wink_left" span 0 .. 1 }
    """)
    assert rig.symmetry is not None
    given = {"wide_lf": 0.5, "wide_rt": 0.25, "chew": 0.75, "wink_left": 1.0}
    pose = SparsePose({}, {weight_control(name): value for name, value in given.items()})
    mirrored = PoseMirror(rig, skeleton_of(rig), rig.symmetry).pose(pose)
    # Nothing reads `wink_right`, so nothing holds it.
    wanted = {"wide_lf": 0.25, "wide_rt": 0.5, "chew": 0.75}
    assert mirrored.controls == {weight_control(name): value for name, value in wanted.items()}


FACE_ONLY = {"skin": ShownMesh(("smile_lf", "smile_rt"))}


@pytest.mark.parametrize("sides", [PATTERNS, ""])
def test_a_face_without_pairs_of_joints_has_the_sides_of_its_targets(tmp_path: Path, sides: str) -> None:
    path = face(tmp_path, FACE_ONLY)
    path.write_text(path.read_text("utf-8").replace('"ear_', '"whisker'), "utf-8")
    rig = compiled(tmp_path, 'driver grin both { reads weight of "smile_lf" span 0 .. 1 }', sides).rig
    assert read_by(rig) == {"left_grin": "smile_lf", "right_grin": "smile_rt"}


def test_unknown_joints_of_such_a_face_are_told(tmp_path: Path) -> None:
    path = face(tmp_path, FACE_ONLY)
    path.write_text(path.read_text("utf-8").replace('"ear_', '"whisker'), "utf-8")
    result = compiled(tmp_path, "driver nod both { reads bend of neck span 0 deg .. 10 deg }", "")
    assert result.rig is None and "unknown-joint" in [one.name for one in result.diagnostics]
