"""The model's own morph targets move the skin that is measured, by the weights that a pose or a clip gives them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import plica
from plica.mesh.arrays import Floats
from plica.mesh.deform import Deformer, Motion, one_after_the_other
from plica.prove.cache.keys import motion_digest
from tests.support.data import shared_data
from tests.support.sheet import TALL, TARGETS, WIDE, places, sheet, sheet_spec, targets, triangles

KEYS = ((0.0, 0.0, 0.0), (1.0, 0.0, 0.25), (0.0, 0.5, 1.0))


def shown(weights: tuple[float, ...]) -> Floats:
    """glTF 2.0, section 3.7.2.2: the base and the sum of the targets by their weights."""
    moved = sum((weight * target for weight, target in zip(weights, targets(), strict=True)), np.zeros((1, 3)))
    return places() + moved


def test_poses_and_clips_show_every_target_of_the_skin(tmp_path: Path) -> None:
    """Nothing reads `tall`; poses hold it all the same, and no output does."""
    file = sheet(tmp_path, KEYS)
    character = plica.compile_file(sheet_spec(tmp_path))
    assert character.controls == tuple(f"weight of {name}" for name in TARGETS)
    assert character.rig is not None and [one.morph for one in character.rig.controls] == ["wide_lf", "wide_rt"]
    mesh = plica.attach_mesh(character)
    (clip,) = plica.read_clips(character, file).clips
    positions = plica.deform_mesh(mesh, clip.poses).positions
    np.testing.assert_allclose(positions[::24], [shown(key) for key in KEYS], atol=1e-7)  # the file's single precision
    pose = plica.pose(character, strengths={"left_wide": 0.5}, controls={"weight of tall": 0.75})
    np.testing.assert_allclose(plica.deform_mesh(mesh, pose).positions[0], shown((0.5, 0.0, 0.75)), atol=1e-7)


def test_a_model_by_others_is_shown_as_its_bytes_say() -> None:
    """Positions in every frame by the formulas of glTF 2.0, sections 3.5.3 and 3.7.2.2, from a decoding by hand."""
    from scipy.spatial.transform import Rotation

    file = shared_data("characters", "animated_morph_cube", "AnimatedMorphCube.gltf")
    document = json.loads(file.read_text("utf-8"))

    def numbers(accessor: int) -> Floats:
        one = document["accessors"][accessor]
        view = document["bufferViews"][one["bufferView"]]
        data = (file.parent / document["buffers"][view["buffer"]]["uri"]).read_bytes()
        width = {"SCALAR": 1, "VEC3": 3}[one["type"]]
        start = view.get("byteOffset", 0) + one.get("byteOffset", 0)
        return np.frombuffer(data, "<f4", one["count"] * width, start).reshape(-1, width).astype(np.float64)

    (node,), (primitive,) = document["nodes"], document["meshes"][0]["primitives"]
    offsets = np.array([numbers(target["POSITION"]) for target in primitive["targets"]])
    weights = numbers(document["animations"][0]["samplers"][0]["output"]).reshape(-1, 2)
    local = numbers(primitive["attributes"]["POSITION"]) + np.einsum("ft,tvc->fvc", weights, offsets)
    turned = Rotation.from_quat(node["rotation"]).apply((local * node["scale"]).reshape(-1, 3))
    text = f'plica 1\ncharacter cube {{ geometry "{file.name}" }}\n'
    character = plica.compile_text(text, folder=file.parent)
    (clip,) = plica.read_clips(character, file).clips
    positions = plica.deform_mesh(plica.attach_mesh(character), clip.poses).positions
    np.testing.assert_allclose(positions, turned.reshape(positions.shape), atol=1e-12)
    assert np.abs(positions - positions[0]).max() > 1.0  # the cube is 2 m large, and its corners move far


@pytest.mark.parametrize(
    ("keys", "worst"),
    [
        (KEYS, WIDE),  # at 1 s the left half is stretched across by that share; a sheet is not curved or sheared by it
        (((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), TALL),  # what nothing reads
        (((0.0, 0.0, 0.0), (0.0, -0.5, 0.0)), 0.0),  # squeezed
    ],
)
def test_measures_of_a_clip_see_the_face(tmp_path: Path, keys: tuple[tuple[float, ...], ...], worst: float) -> None:
    sheet(tmp_path, keys)
    expect = 'expect { stretch of all at most 50 %  over clip "sheet.gltf" }\n'
    character = plica.compile_file(sheet_spec(tmp_path, expect))
    for cache in (tmp_path / "cache", tmp_path / "cache", False):
        report = plica.prove_expectations(character, cache=cache, workers=1)
        (result,) = report.results
        assert result.worst == pytest.approx(worst, abs=1e-6) and result.bare == result.worst
        assert not [one.name for one in report.diagnostics if one.name == "clip-morphs-not-shown"]


def test_figures_that_were_kept_are_those_of_the_same_weights(tmp_path: Path) -> None:
    skins, strengths = np.tile(np.eye(3, 4), (2, 1, 1, 1)), np.zeros((2, 0))
    weights = np.array([[0.0, 0.5], [0.0, 1.0]])
    told = [
        motion_digest(Motion(strengths, skins), (), ("a", "b")),
        motion_digest(Motion(strengths, skins, weights), (), ("a", "b")),
        motion_digest(Motion(strengths, skins, 0.5 * weights), (), ("a", "b")),
        motion_digest(Motion(strengths, skins, weights), (), ("a", "c")),
        motion_digest(Motion(strengths, skins, weights[:, ::-1]), (), ("a", "b")),
    ]
    assert len(set(told)) == len(told)
    # Which target is off, in which place, does not matter.
    assert told[1] == motion_digest(Motion(strengths, skins, weights), (), ("c", "b"))
    assert told[1] == motion_digest(Motion(strengths, skins, weights[:, 1:]), (), ("b",))


def test_stretches_of_motion_follow_one_another() -> None:
    skins, strengths = np.tile(np.eye(3, 4), (2, 1, 1, 1)), np.ones((2, 1))
    moved = Motion(strengths, skins, np.array([[1.0], [2.0]]))
    joined = one_after_the_other([Motion(strengths, skins), moved])
    assert joined.weights is not None and joined.weights.tolist() == [[0.0], [0.0], [1.0], [2.0]]
    assert one_after_the_other([Motion(strengths, skins)] * 2).weights is None
    assert joined.without_shapes().weights is joined.weights and not joined.without_shapes().strengths.any()


@pytest.mark.parametrize("by_shape", [False, True])
def test_what_the_skin_does_not_show_is_told(tmp_path: Path, by_shape: bool) -> None:
    """A target that is on at rest is part of what is stored; one of a shape goes by the shape's strength."""
    sheet(tmp_path, KEYS, (0.0, 0.0, 0.5))
    shape = 'shape grow { morph "tall"  follows left wide }\n' if by_shape else ""
    text = shape + 'expect { squeeze of all at most 50 %  over clip "sheet.gltf" }\n'
    report = plica.prove_expectations(plica.compile_file(sheet_spec(tmp_path, text)), cache=False, workers=1)
    told = [one.message for one in report.diagnostics if one.name == "clip-morphs-not-shown"]
    assert told == (
        [] if by_shape else ["the skin is measured without the morph targets `tall`, which clip `talk` moves"]
    )


def test_a_shape_of_a_target_takes_its_strength_and_not_the_clips_weight(tmp_path: Path) -> None:
    file = sheet(tmp_path, KEYS)
    character = plica.compile_file(sheet_spec(tmp_path, 'shape grow { morph "tall"  follows left wide }\n'))
    assert character.controls == ("weight of wide_lf", "weight of wide_rt")
    (clip,) = plica.read_clips(character, file).clips
    positions = plica.deform_mesh(plica.attach_mesh(character), clip.poses).positions
    np.testing.assert_allclose(positions[::24], [shown((one, other, one)) for one, other, _ in KEYS], atol=1e-7)


def test_mirrored_poses_show_the_other_side(tmp_path: Path) -> None:
    """`even` compares a pose with its mirror image: the sheet with one side wide, and with the other."""
    sheet(tmp_path, KEYS)
    text = 'expect { even of all within 1 mm  over left wide, clip "sheet.gltf" }\n'
    report = plica.prove_expectations(plica.compile_file(sheet_spec(tmp_path, text)), cache=False, workers=1)
    assert report.ok, [one.message for one in report.diagnostics]
    (result,) = report.results
    assert result.status == "holds" and result.worst is not None and result.worst < 1e-6
    assert result.bare is not None and result.bare < 1e-6


def test_a_sculpt_over_a_face_that_is_on_holds_only_what_was_sculpted(tmp_path: Path) -> None:
    sheet(tmp_path)
    bump = np.zeros_like(places())
    bump[3] = (0.0, 0.0, 0.05)
    lines = [f"v {x:.9f} {y:.9f} {z:.9f}" for x, y, z in shown((1.0, 0.0, 0.0)) + bump]
    lines += [f"f {one} {two} {three}" for one, two, three in triangles() + 1]
    (tmp_path / "bump.obj").write_text("\n".join(lines) + "\n", "utf-8")
    text = 'shape bump { sculpt "bump.obj" posed at left wide 1   follows left wide }\n'
    mesh = plica.attach_mesh(plica.compile_file(sheet_spec(tmp_path, text)))
    assert mesh.ok, [one.message for one in mesh.diagnostics]
    (shape,) = mesh.attached.shapes.values() if mesh.attached else ()
    assert shape.primary.indices.tolist() == [3]
    np.testing.assert_allclose(shape.primary.offsets, bump[3:4], atol=1e-7)


def test_weights_of_the_wrong_shape_are_refused(tmp_path: Path) -> None:
    sheet(tmp_path)
    mesh = plica.attach_mesh(plica.compile_file(sheet_spec(tmp_path)))
    assert isinstance(mesh.deformer, Deformer) and mesh.deformer.morphs == TARGETS
    motion = Motion(np.zeros((1, 0)), np.tile(np.eye(3, 4), (1, mesh.deformer.skinning.binds, 1, 1)), np.zeros((1, 2)))
    with pytest.raises(ValueError, match="weights must have the shape"):
        next(mesh.deformer.positions(motion))
