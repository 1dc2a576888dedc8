"""Which pose of a model is the neutral stance: the more even one, or as the fact says; else an error that names it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plica.pipeline import Compiled, compile_file
from plica.readers.model_reader import read_outline
from tests.support.data import shared_data
from tests.support.stances import about, bound_frames, model, transform

WALKING = {"arm_lf": about("z", -70), "arm_rt": about("z", 20), "hand_rt": about("y", 40)}
"""Turns of a pose in which left does not mirror right."""
LOWERED = {"arm_lf": about("z", -60), "arm_rt": about("z", 60)}
"""Turns of another pose that is even."""
ELBOW = "driver elbow both { reads rotation about z of hand span 0 deg .. 90 deg }\n"


def compiled(folder: Path, fact: str = "", more: str = ELBOW) -> Compiled:
    """The spec of the model in a folder, with a fact of the character and more declarations."""
    spec = folder / "body.plica"
    spec.write_text(
        f'plica 1\ncharacter body {{ geometry "body.gltf" left "*_lf" right "*_rt" {fact} }}\n{more}', encoding="utf-8"
    )
    return compile_file(spec)


def names(result: Compiled) -> set[str]:
    """The names of what was found."""
    return {one.name for one in result.diagnostics}


def neutral(result: Compiled) -> dict[str, np.ndarray]:
    """The joints' frames in model space in the neutral stance, (4, 4) each."""
    assert result.rig is not None
    frames: dict[str, np.ndarray] = {}
    for joint in result.rig.skeleton:
        local = np.eye(4)
        local[:3, :3] = Rotation.from_quat(joint.neutral.rotation).as_matrix() * np.array(joint.neutral.scale)
        local[:3, 3] = joint.neutral.translation
        frames[joint.name] = (np.eye(4) if joint.parent is None else frames[joint.parent]) @ local
    return frames


def same(first: np.ndarray, second: np.ndarray) -> None:
    """Frames out of 32-bit matrices."""
    np.testing.assert_allclose(first, second, atol=1e-6)


def test_the_bind_pose_is_taken_where_the_rest_is_a_pose_of_an_animation(tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", rest=WALKING)
    result = compiled(tmp_path)
    assert names(result) == set()
    assert result.rig is not None
    assert result.rig.character.stance == "bind"
    for name, frame in bound_frames().items():
        same(neutral(result)[name], frame)
    hand = next(joint for joint in result.rig.skeleton if joint.name == "hand_rt")
    assert Rotation.from_quat(hand.rest.rotation).magnitude() == pytest.approx(np.radians(40))


def test_the_rest_is_taken_where_the_skin_was_bound_unevenly(tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", bound=WALKING)
    result = compiled(tmp_path)
    assert names(result) == set()
    assert result.rig is not None
    assert result.rig.character.stance == "rest"
    for name, frame in bound_frames().items():
        same(neutral(result)[name], frame)


@pytest.mark.parametrize("turns", [LOWERED, {"hips": about("y", 20)}, {"hand_lf": about("x", 0.1)}])
def test_a_near_tie_is_an_error_that_names_the_fact(turns: dict[str, Rotation], tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", rest=turns, root=np.eye(4))
    if "hips" in turns:  # the whole body turned: one similarity, and nothing to be said
        assert names(compiled(tmp_path)) <= {"uneven-rest-pose"}
        return
    result = compiled(tmp_path)
    assert names(result) == {"stance-unknown"}
    assert "`stance bind pose`" in str(result.diagnostics[0].hint)
    for fact, taken in (("stance bind pose", "bind"), ("stance rest pose", "rest")):
        chosen = compiled(tmp_path, fact)
        assert names(chosen) == set()
        assert chosen.rig is not None
        assert chosen.rig.character.stance == taken


def test_pairs_that_nobody_declared_tell_too(tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", rest=WALKING)
    spec = tmp_path / "body.plica"
    spec.write_text('plica 1\ncharacter body { geometry "body.gltf" }\n', encoding="utf-8")
    result = compile_file(spec)
    assert result.rig is not None
    assert result.rig.character.stance == "bind"


def test_two_uneven_poses_are_warned_of(tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", rest=WALKING, bound={"arm_lf": about("z", -25)})
    assert "uneven-stance" in names(compiled(tmp_path, "stance bind pose"))


@pytest.mark.parametrize("scale", [1.0, 100.0])
@pytest.mark.parametrize("turn", [about("x", 0), about("x", 90), about("z", 90)])
def test_the_space_of_the_vertices_may_be_another(scale: float, turn: Rotation, tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", rest=WALKING, space=transform(turn, scale=scale))
    result = compiled(tmp_path)
    assert names(result) == set()
    frames, expected = neutral(result), bound_frames()
    shift = frames["hips"][:3, 3] - expected["hips"][:3, 3]
    for name, frame in expected.items():
        same(frames[name][:3, 3] - shift, frame[:3, 3])
        turned = frames[name][:3, :3].T @ frames["hips"][:3, :3]
        same(turned / np.linalg.norm(turned, axis=0), frame[:3, :3].T @ expected["hips"][:3, :3])


@pytest.mark.parametrize("scale", [1.0, 100.0])
def test_a_strongly_turned_body_is_not_taken_for_turned_vertices(scale: float, tmp_path: Path) -> None:
    turned = Rotation.from_rotvec(np.radians(60.0) * np.array((0.36, 0.48, -0.8)))
    model(tmp_path / "body.gltf", rest=WALKING | {"hips": turned}, space=transform(about("x", 0), scale=scale))
    result = compiled(tmp_path)
    assert names(result) == {"far-from-bind-pose"}
    for name, frame in bound_frames().items():
        same(neutral(result)[name][:3, 3], frame[:3, 3])


@pytest.mark.parametrize(("scale", "warned"), [(1.0, False), (100.0, True), (0.001, True)])
def test_a_body_of_no_size_that_bodies_have_is_warned_of(scale: float, warned: bool, tmp_path: Path) -> None:
    model(tmp_path / "body.gltf")
    document = json.loads((tmp_path / "body.gltf").read_text("utf-8"))
    for node in document["nodes"]:
        if "translation" in node:
            node["translation"] = [value * scale for value in node["translation"]]
    (tmp_path / "body.gltf").write_text(json.dumps(document), "utf-8")
    assert ("unlikely-size" in names(compiled(tmp_path, "stance rest pose"))) == warned


@pytest.mark.parametrize("angle", [10.0, 25.0, 40.0])
@pytest.mark.parametrize("axis", [(0.36, 0.48, -0.8), (-0.8, 0.6, 0.0), (0.0, 0.0, 1.0), (0.48, 0.64, 0.6)])
def test_a_space_that_cannot_be_told_is_refused_or_warned_of(
    axis: tuple[float, float, float], angle: float, tmp_path: Path
) -> None:
    """Never another one in silence: vertices turned by a right angle, in whatever turn nearer to it the body rests."""
    turned = Rotation.from_rotvec(np.radians(angle) * np.array(axis))
    model(tmp_path / "body.gltf", rest=WALKING | {"hips": turned}, space=transform(about("x", 90)))
    result = compiled(tmp_path)
    if not names(result) & {"bind-pose-unusable", "far-from-bind-pose", "uneven-stance", "stance-unknown"}:
        for name, frame in bound_frames().items():
            same(neutral(result)[name][:3, 3] - neutral(result)["hips"][:3, 3], frame[:3, 3] - (0.0, 1.0, 0.0))


def test_a_similarity_between_both_is_no_difference(tmp_path: Path) -> None:
    """Measured in centimetres, lying on its back and elsewhere: the file's rest is taken to the last bit."""
    model(tmp_path / "body.gltf", space=transform(about("x", 90), (3.0, 4.0, 5.0), 100.0))
    result = compiled(tmp_path)
    assert result.rig is not None
    assert all(joint.neutral == joint.rest for joint in result.rig.skeleton)


def test_a_joint_without_inverse_bind_matrix_keeps_its_place_in_the_joint_above(tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", rest=WALKING, unbound=("hand_lf", "hand_rt"))
    result = compiled(tmp_path)
    assert result.rig is not None
    assert result.rig.character.stance == "bind"
    for joint in result.rig.skeleton:
        if joint.name.startswith("hand"):
            assert joint.neutral == joint.rest


def test_readings_through_an_unbound_joint_are_refused(tmp_path: Path) -> None:
    model(tmp_path / "body.gltf", rest=WALKING | {"spine": about("x", 10)}, unbound=("spine",))
    arm = "driver shoulder both { reads rotation about z of arm span 0 deg .. 90 deg }\n"
    assert "reading-through-unbound" in names(compiled(tmp_path, more=arm))
    assert "reading-through-unbound" in names(
        compiled(tmp_path, more="driver back { reads bend of spine span 0 deg .. 90 deg }\n")
    )
    assert names(compiled(tmp_path, more=ELBOW)) == set()
    assert "reading-through-unbound" not in names(compiled(tmp_path, "stance rest pose", more=arm))


def test_skins_have_to_agree_up_to_a_similarity(tmp_path: Path) -> None:
    inverse = {name: np.linalg.inv(frame) for name, frame in bound_frames().items()}
    other = transform(about("y", 90), (0.0, 2.0, 0.0), 0.01)
    agreeing = {name: matrix @ other for name, matrix in inverse.items() if name != "hips"}
    model(tmp_path / "body.gltf", rest=WALKING, skins=[inverse, agreeing])
    result = compiled(tmp_path)
    assert names(result) == set()
    for name, frame in bound_frames().items():
        same(neutral(result)[name], frame)
    disagreeing = agreeing | {"hand_lf": np.linalg.inv(transform(about("x", 30))) @ agreeing["hand_lf"]}
    model(tmp_path / "body.gltf", rest=WALKING, skins=[inverse, disagreeing])
    result = compiled(tmp_path)
    assert "bind-pose-unusable" in names(result)
    assert any("do not agree" in one.message for one in result.diagnostics)
    assert names(compiled(tmp_path, "stance rest pose")) <= {"uneven-rest-pose"}


def test_scale_is_the_joints_and_shear_is_refused(tmp_path: Path) -> None:
    """Q P by scipy.linalg.polar: the rotation is Q, the scale the diagonal of P."""
    from scipy.linalg import polar

    frames = bound_frames()
    stretch = np.diag((1.0, 1.2, 0.9, 1.0))
    stretched = {name: np.linalg.inv(frame @ stretch) for name, frame in frames.items()}
    model(tmp_path / "body.gltf", rest=WALKING, skins=[stretched])
    result = compiled(tmp_path)
    assert names(result) == set()
    for name, frame in frames.items():
        turned, _ = polar(frame[:3, :3] @ stretch[:3, :3])
        unscaled = neutral(result)[name][:3, :3] @ np.linalg.inv(stretch[:3, :3])
        np.testing.assert_allclose(unscaled, turned, atol=1e-5)
    shear = np.eye(4)
    shear[0, 1] = 0.05
    model(
        tmp_path / "body.gltf", rest=WALKING, skins=[{name: np.linalg.inv(one @ shear) for name, one in frames.items()}]
    )
    assert "bind-pose-unusable" in names(compiled(tmp_path))


def test_polar_factors_are_those_of_scipy() -> None:
    from scipy.linalg import polar as reference

    from plica.skeleton.frames import polar

    random = np.random.default_rng(5)
    for _ in range(200):
        matrix = random.normal(size=(3, 3)) * 10.0 ** random.uniform(-3, 3)
        if np.linalg.cond(matrix) > 1e6:
            continue
        turned, stretch = polar(tuple(tuple(row) for row in matrix.tolist()))  # type: ignore[arg-type]
        expected, symmetric = reference(matrix)
        np.testing.assert_allclose(turned, expected, atol=1e-12)
        np.testing.assert_allclose(stretch, symmetric, atol=1e-11 * np.abs(matrix).max())


@pytest.mark.parametrize(
    ("parts", "taken"),
    [(("expressive_robot", "robot.glb"), "bind"), (("horse", "horse.glb"), "bind")],
)
def test_characters_that_rest_in_a_pose(parts: tuple[str, str], taken: str, tmp_path: Path) -> None:
    from plica.diagnostics import Diagnostics
    from plica.start.compose import start_spec

    path = shared_data("characters", *parts)
    assert f"stance    {taken} pose" in start_spec(path, Diagnostics()).text


@pytest.mark.parametrize(
    "parts",
    [
        ("full_body", "full_body.gltf"),
        ("base_mesh_facing_x", "base_mesh.glb"),
        ("mannequin", "mannequin.gltf"),
        ("rigged_figure", "RiggedFigure.glb"),
        ("unnamed_man", "man.glb"),
        ("hands", "left.glb"),
    ],
)
def test_characters_that_rest_as_they_were_bound(parts: tuple[str, str]) -> None:
    assert read_outline(shared_data("characters", *parts)).bind.same


def test_check_says_which_pose_is_neutral(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from plica.commands.main import main

    model(tmp_path / "body.gltf", rest=WALKING)
    compiled(tmp_path)
    monkeypatch.setattr("sys.argv", ["plica", "check", str(tmp_path / "body.plica")])
    assert main() == 0
    said = capsys.readouterr().out
    assert "neutral stance: the bind pose, the more even one" in said
    assert "the file's rest gives" in said


def test_the_skin_stands_as_it_is_stored_in_a_bind_pose_in_other_units(tmp_path: Path) -> None:
    import plica

    model(tmp_path / "body.gltf", rest=WALKING, space=transform(about("x", 90), scale=100.0))
    compiled(tmp_path)
    character = plica.compile_file(tmp_path / "body.plica")
    mesh = plica.attach_mesh(character)
    posed = plica.deform_mesh(mesh, plica.pose(character)).positions[0]
    np.testing.assert_allclose(posed, mesh.positions, atol=1e-6)
    assert np.ptp(mesh.positions, axis=0).max() == pytest.approx(0.1, abs=1e-6)
