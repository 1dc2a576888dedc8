"""The demo's clip, sculpts and pictures: what its users rely on, checked on the bytes that are shipped."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from plica.specs.wren import clip, sculpts
from plica.specs.wren.drafts import is_draft
from plica.specs.wren.model import DemoModel, wren
from plica.specs.wren.skeleton import wren_skeleton
from plica.specs.wren.skinning import local_matrices, skinned
from tests.support.wren_files import Array, archive, files, opened, read, sculpt_paths


@pytest.fixture(scope="module")
def model() -> DemoModel:
    return wren()


# --- the clip -----------------------------------------------------------------------------------------------


def test_the_clip_animates_the_same_nodes_smoothly() -> None:
    document, model_document = opened("clips/rounds.glb"), opened("wren.glb")
    skeleton = wren_skeleton()
    assert not document.meshes
    assert [node.name for node in document.nodes] == list(skeleton.names)
    for node, other in zip(document.nodes, model_document.nodes, strict=False):
        assert (node.translation, node.rotation) == (other.translation, other.rotation)
    (animation,) = document.animations
    for channel in animation.channels:
        sampler = animation.samplers[channel.sampler]
        assert sampler.interpolation == "LINEAR"
        times, values = read("clips/rounds.glb", sampler.input), read("clips/rounds.glb", sampler.output)
        assert len(times) == len(values) == 181
        assert times[-1, 0] == pytest.approx(6.0)
        if channel.target.path == "rotation":
            assert np.allclose(np.linalg.norm(values, axis=1), 1.0, atol=1e-6)
            # No frame turns more than 20 degrees: nothing jumps.
            assert np.einsum("ij,ij->i", values[1:], values[:-1]).min() > np.cos(np.radians(10.0))


def test_the_clip_does_both_sides_at_different_times() -> None:
    skeleton = wren_skeleton()
    times = np.arange(0.0, 6.0, 0.1)
    poses = [clip.pose_at(float(time), skeleton) for time in times]

    def bend(name: str) -> Array:
        rotations = np.array([pose[name].rotation for pose in poses])
        cosines = (np.trace(rotations, axis1=1, axis2=2) - 1.0) / 2.0
        return np.asarray(np.degrees(np.arccos(np.clip(cosines, -1.0, 1.0))))

    for name, least in (("lowerarm", 120.0), ("index_1", 75.0), ("lowerleg", 35.0)):
        left, right = bend(f"{name}_lf"), bend(f"{name}_rt")
        assert left.max() > least
        assert right.max() > least
        assert np.abs(left - right).max() > 0.5 * least
    lifted = max(float(np.linalg.norm(pose["whiskerpad_rt"].offset)) for pose in poses)
    assert 0.003 < lifted < 0.0045
    assert local_matrices(skeleton, poses[0]).shape == (len(skeleton.joints), 4, 4)


# --- sculpts ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sculpt_paths())
def test_sculpts_are_sparse_left_and_of_plausible_size(path: str, model: DemoModel) -> None:
    content = archive(path)
    indices, offsets = content["indices"], content["offsets"]
    assert indices.dtype == np.int32
    assert offsets.dtype == np.float32
    assert content["vertex_count"].shape == ()
    assert int(content["vertex_count"]) == len(model.positions)
    assert len(indices) == len(offsets) > 30
    assert np.all(np.diff(indices) > 0)
    assert indices[0] >= 0
    assert indices[-1] < len(model.positions)
    assert np.all(model.positions[indices, 0] > 0.0)
    assert 0.0005 < np.linalg.norm(offsets, axis=1).max() < (0.05 if is_draft(path) else 0.01)
    full = np.zeros(model.positions.shape)
    full[indices] = offsets
    welded = np.zeros((model.welded.max() + 1, 3))
    welded[model.welded] = full
    assert np.array_equal(welded[model.welded], full)  # the texture's borders do not tear


def test_the_elbow_crease_gives_the_joint_its_girth_back(model: DemoModel) -> None:
    """On the outer side of the bent elbow the skin stands as far from the joint as it does at rest, more nearly than
    blending puts it.
    """
    content = archive("sculpts/elbow_crease.npz")
    elbow, rest = model.skeleton["lowerarm_lf"].place, model.positions[content["indices"]]
    posed = skinned(model, sculpts.elbow_pose())[content["indices"]]
    own, before, after = (np.linalg.norm(at - elbow, axis=1) for at in (rest, posed, posed + content["offsets"]))
    outside = (rest - elbow) @ model.skeleton["lowerarm_lf"].frame[:, 2] < -0.02
    beside = (own < 0.045) & outside
    assert np.mean(np.abs(after - own)[beside]) < 0.95 * np.mean(np.abs(before - own)[beside])


# --- pictures -----------------------------------------------------------------------------------------------


def picture(path: str) -> Image.Image:
    return Image.open(io.BytesIO(files()[path]))


@pytest.mark.parametrize("name", ["brow", "muzzle", "forearm"])
def test_masks_are_soft_grey_and_on_both_sides(name: str) -> None:
    image = picture(f"masks/{name}.png")
    assert (image.mode, image.size) == ("L", (512, 512))
    values = np.asarray(image).astype(int)
    assert values.min() == 0
    assert values.max() == 255
    assert np.sum((values > 20) & (values < 235)) > 100
    assert values[:, :256].max() == values[:, 256:].max() == 255
    assert np.abs(values - values[:, ::-1]).max() <= 64  # the same but for texels on a border
    assert np.mean(np.abs(values - values[:, ::-1])) < 0.05


def test_normal_maps_hold_unit_vectors_and_differ_only_in_the_folds() -> None:
    maps = {}
    for name in ("relaxed", "contracted"):
        image = picture(f"maps/{name}.png")
        assert (image.mode, image.size) == ("RGB", (1024, 1024))
        maps[name] = np.asarray(image).astype(np.float64) / 127.5 - 1.0
        assert np.abs(np.linalg.norm(maps[name], axis=2) - 1.0).max() < 0.012
        assert maps[name][..., 2].min() > 0.2
    change = np.abs(maps["contracted"] - maps["relaxed"]).max(axis=2)
    areas = [np.asarray(picture(f"masks/{name}.png").resize((1024, 1024))) for name in ("brow", "muzzle", "forearm")]
    inside = np.maximum.reduce(areas)
    assert change[inside > 250].mean() > 0.08
    far = np.asarray(Image.fromarray(inside).resize((128, 128), Image.Resampling.BOX).resize((1024, 1024))) == 0
    assert change[far].max() < 0.02
