"""What the public functions give, and what they raise."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

import plica
from plica.errors import (
    ArrayError,
    NoMeshError,
    NoRigError,
    NothingBuiltError,
    UnknownNameError,
    UnreachablePoseError,
)
from plica.mesh.arrays import Mesh
from tests.support.wren import skinned

TEXT = """plica 1
character stick { skeleton { joint hips at 0 m, 1 m, 0 m   joint chest under hips at 0 m, 0.3 m, 0 m } }
control sniff { range 0 .. 1   rest 0 }
driver lean { reads bend of chest   span 0 deg .. 30 deg }
driver nose { reads control sniff   span 0 .. 1 }
"""
WRONG = TEXT.replace("bend of chest", "bend of cheast")
ARM = """
driver elbow both { reads rotation about x of lowerarm   span 0 deg .. 130 deg }
shape swell both { sculpt "swell.npz"   follows elbow }
expect { rest }
"""


@pytest.fixture
def stick() -> plica.Character:
    """A character without a mesh."""
    made = plica.compile_text(TEXT)
    assert made.ok, made.diagnostics
    return made


def test_results_are_frozen(stick: plica.Character) -> None:
    for result in (stick, plica.compute_strengths(stick, {}), plica.build_files(stick), plica.format_text("")):
        with pytest.raises(dataclasses.FrozenInstanceError):
            result.names = ()  # type: ignore[union-attr]


def test_a_lone_joint_in_a_plain_pose(stick: plica.Character) -> None:
    turned = {"joints": {"chest": {"rotation": [np.sin(np.radians(7.5)), 0, 0, np.cos(np.radians(7.5))]}}}
    assert plica.compute_strengths(stick, turned)["lean"] == pytest.approx([0.5])
    assert plica.compute_strengths(stick, [turned, {}])["lean"] == pytest.approx([0.5, 0.0])
    turns = plica.pose(stick, turns={"chest": [("x", np.radians(5)), ((2, 0, 0), np.radians(10))]})
    assert plica.compute_strengths(stick, turns)["lean"] == pytest.approx([0.5])


def test_poses_take_strengths_and_controls_together(stick: plica.Character) -> None:
    made = plica.pose(stick, strengths={"lean": 0.25}, controls={"sniff": 0.75})
    assert plica.compute_strengths(stick, made).as_dicts() == [pytest.approx({"lean": 0.25, "nose": 0.75})]


def test_arrays_may_hold_scales(stick: plica.Character) -> None:
    scales = np.array([[[1.0, 2.0, 1.0]], [[1.0, 1.0, 1.0]]])
    made = plica.poses_from_arrays(stick, scales=scales, joints=["chest"])
    assert made.scales is not None and (made.scales == scales).all()
    with pytest.raises(ValueError, match="scales must have the shape"):
        plica.poses_from_arrays(stick, scales=scales[0], joints=["chest"])


def test_arrays_of_some_joints(stick: plica.Character) -> None:
    half = np.radians(7.5)
    rotations = np.array([[[np.sin(half), 0, 0, np.cos(half)]], [[0, 0, 0, 1.0]]])
    made = plica.poses_from_arrays(stick, rotations=rotations, joints=["chest"], controls={"sniff": [1.0, 0.0]})
    result = plica.compute_strengths(stick, made)
    assert result["lean"] == pytest.approx([0.5, 0.0])
    assert result["nose"] == pytest.approx([1.0, 0.0])
    assert plica.compute_strengths(stick, made[1])["nose"] == pytest.approx([0.0])
    assert [one.frames for one in (made[-1], made[:], made[2:])] == [1, 2, 0]
    with pytest.raises(IndexError):
        made[2]


@pytest.mark.parametrize(
    ("error", "words", "given"),
    [
        (UnknownNameError, "no joint `cheast`; did you mean `chest`", {"joints": {"cheast": {}}}),
        (UnknownNameError, "no control `snif`", {"controls": {"snif": 1.0}}),
        (ArrayError, "4 finite numbers", {"joints": {"chest": {"rotation": [0, 0, 1]}}}),
        (ArrayError, "finite", {"joints": {"chest": {"translation": [0, 0, float("nan")]}}}),
        (ArrayError, "put joints under `joints`", {"chest": {"rotation": [0, 0, 0, 1]}}),
        (ArrayError, "a pose is a mapping", [3]),
    ],
)
def test_poses_that_are_wrong(stick: plica.Character, error: type[Exception], words: str, given: object) -> None:
    with pytest.raises(error, match=words):
        plica.compute_strengths(stick, given)  # type: ignore[arg-type]


def test_arrays_that_are_wrong(stick: plica.Character) -> None:
    for wrong in (
        {"rotations": np.zeros((3, 4))},
        {"rotations": np.zeros((3, 1, 4))},
        {"translations": np.zeros((3, 2, 4))},
        {"rotations": np.zeros((3, 2, 4)), "translations": np.zeros((2, 2, 3))},
        {"rotations": np.full((3, 2, 4), np.inf)},
        {"rotations": [[1], [1, 2]]},
        {"controls": {"sniff": 1.0}},
        {},
    ):
        with pytest.raises(ArrayError):
            plica.poses_from_arrays(stick, **wrong)  # type: ignore[arg-type]
    with pytest.raises(ArrayError):
        plica.Poses(("chest",), np.zeros((1, 4)), np.zeros((1, 1, 3)), (), np.zeros((1, 0)))


def test_poses_that_cannot_be(stick: plica.Character) -> None:
    with pytest.raises(UnreachablePoseError, match="lean"):
        plica.pose(stick, strengths={"lean": 2.0})
    with pytest.raises(UnknownNameError, match="did you mean `lean`"):
        plica.pose(stick, strengths={"leann": 1.0})
    both = plica.compile_text(TEXT.replace("driver lean", "driver left_lean"))
    with pytest.raises(UnknownNameError, match="did you mean `left_lean`"):
        plica.pose(both, strengths={"lean": 1.0})
    with pytest.raises(UnknownNameError, match="axis"):
        plica.pose(stick, turns={"chest": ("w", 1.0)})
    with pytest.raises(ArrayError):
        plica.pose(stick, turns={"chest": ((0, 0, 0), 1.0)})
    with pytest.raises(ArrayError):
        plica.pose(stick, controls={"sniff": float("inf")})


def test_a_spec_with_errors_is_refused_wherever_a_rig_is_needed() -> None:
    wrong = plica.compile_text(WRONG)
    assert not wrong.ok and wrong.rig is None
    for call in (plica.pose, plica.attach_mesh, lambda one: plica.compute_strengths(one, {})):
        with pytest.raises(NoRigError, match="no joint"):
            call(wrong)  # type: ignore[operator]


def test_a_spec_with_errors_is_told_by_what_gives_diagnostics(tmp_path: Path) -> None:
    wrong = plica.compile_text(WRONG)
    for result in (plica.build_files(wrong), plica.prove_expectations(wrong), plica.measure_clips(wrong, "walk.bvh")):
        assert not result.ok
        assert [one.code for one in result.diagnostics] == ["PL203"]
    assert not plica.prove_expectations(wrong).holds
    with pytest.raises(NothingBuiltError, match="cheast"):
        plica.write_files(plica.build_files(wrong), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_files_that_are_not_there_are_diagnostics(tmp_path: Path, stick: plica.Character) -> None:
    absent = tmp_path / "absent"
    for result in (
        plica.compile_file(absent.with_suffix(".plica")),
        plica.read_rig(absent.with_suffix(".json")),
        plica.read_clips(stick, absent.with_suffix(".bvh")),
        plica.measure_clips(stick, absent.with_suffix(".bvh")),
        plica.compare_characters(absent, absent),
        plica.start_spec(absent.with_suffix(".glb")),
        plica.prove_expectations(stick, clips=[absent.with_suffix(".bvh")], cache=False),
        plica.prove_expectations(stick, baseline=absent.with_suffix(".json"), cache=False),
    ):
        assert not result.ok, result
        assert result.diagnostics, result


def test_a_proof_without_expectations_does_not_hold(stick: plica.Character) -> None:
    report = plica.prove_expectations(stick, cache=False)
    assert (report.ok, report.results, report.holds) == (True, (), False)


def test_a_character_without_a_model_has_no_mesh(stick: plica.Character) -> None:
    with pytest.raises(NoMeshError, match="geometry"):
        plica.attach_mesh(stick)


def test_what_others_chose_is_no_markup_in_a_notebook() -> None:
    text = WRONG.replace("stick", "stick \"<script>alert('x')</script>\"").replace("cheast", "cheast")
    html = plica.compile_text(text, name="<img onerror='x'>.plica")._repr_html_()
    assert "<img" not in html and "<script" not in html
    assert "&lt;img onerror=&#39;x&#39;&gt;.plica" in html


class TestWithMesh:
    """Wren's mesh with a shape of the test's own."""

    @pytest.fixture(scope="class")
    @classmethod
    def wren(cls, tmp_path_factory: pytest.TempPathFactory) -> plica.Character:
        folder = tmp_path_factory.mktemp("wren")
        skinned("", folder)
        mesh = plica.attach_mesh(plica.compile_file(folder / "wren.plica")).mesh
        (folder / "swell.npz").write_bytes(_sculpt(mesh))
        (folder / "wren.plica").write_text((folder / "wren.plica").read_text("utf-8") + ARM, "utf-8")
        return plica.compile_file(folder / "wren.plica")

    def test_shapes_are_on_off_or_some(self, wren: plica.Character) -> None:
        mesh = plica.attach_mesh(wren)
        assert mesh.ok, mesh.diagnostics
        assert set(mesh.shapes) == {"left_swell", "right_swell"}
        bent = plica.pose(wren, strengths={"left_elbow": 1.0})
        whole = plica.deform_mesh(mesh, bent).positions
        bare = plica.deform_mesh(mesh, bent, shapes=False).positions
        left = plica.deform_mesh(mesh, bent, shapes=["left_swell"]).positions
        right = plica.deform_mesh(mesh, bent, shapes=["right_swell"]).positions
        assert np.abs(whole - bare).max() > 0.004
        assert np.array_equal(left, whole)
        assert np.array_equal(right, bare)
        with pytest.raises(UnknownNameError, match="did you mean `left_swell`"):
            plica.deform_mesh(mesh, bent, shapes=["left_swel"])

    def test_at_rest_the_mesh_stands_as_it_is_stored(self, wren: plica.Character) -> None:
        mesh = plica.attach_mesh(wren)
        skin = plica.deform_mesh(mesh, {})
        assert skin.positions.shape == (1, *mesh.positions.shape)
        assert np.allclose(skin.positions[0], mesh.positions, atol=1e-6)
        assert np.allclose(np.linalg.norm(skin.normals(), axis=2), 1.0)
        assert "data:image/png;base64," in skin._repr_html_()

    def test_a_sculpt_with_errors_is_not_passed_over(self, wren: plica.Character) -> None:
        (wren.folder / "broken.npz").write_bytes(b"no archive")
        (wren.folder / "broken.plica").write_text(
            Path(wren.file).read_text("utf-8").replace("swell.npz", "broken.npz"), "utf-8"
        )
        mesh = plica.attach_mesh(plica.compile_file(wren.folder / "broken.plica"))
        assert not mesh.ok
        with pytest.raises(NoMeshError, match="first"):
            plica.deform_mesh(mesh, {})
        assert plica.deform_mesh(mesh, {}, shapes=False).frames == 1

    def test_a_model_that_is_gone(self, wren: plica.Character, tmp_path: Path) -> None:
        gone = wren.__replace__(folder=tmp_path)
        mesh = plica.attach_mesh(gone)
        assert (mesh.ok, mesh.attached) == (False, None)
        with pytest.raises(NoMeshError, match=r"wren\.glb"):
            plica.deform_mesh(mesh, {})

    def test_a_rig_that_was_read_back_builds_the_same_files(self, wren: plica.Character, tmp_path: Path) -> None:
        built = plica.build_files(wren, "json")
        assert plica.write_files(built, tmp_path, dry_run=True).written and not list(tmp_path.iterdir())
        assert plica.write_files(built, tmp_path).ok
        assert plica.compare_folder(built, tmp_path).is_current
        read = plica.read_rig(tmp_path / "wren.rig.json", folder=wren.folder)
        again = plica.build_files(read, "json")
        assert (again.build, dict(again.files)) == (built.build, dict(built.files))
        (tmp_path / "wren.rig.json").write_text("{}", "utf-8")
        assert not plica.compare_folder(built, tmp_path).is_current


def _sculpt(mesh: Mesh) -> bytes:
    """5 mm outward on the whole left lower arm, as plain offsets."""
    from io import BytesIO

    moved = np.flatnonzero(mesh.positions[:, 0] > 0.2)
    content = BytesIO()
    offsets = np.tile([0.005, 0.0, 0.0], (len(moved), 1))
    np.savez(content, vertex_count=mesh.vertex_count, indices=moved, offsets=offsets)
    return content.getvalue()
