"""The law of mirroring: a mirrored pose gives mirrored strengths, on real skeletons, for every reading.

Poses are mirrored through model space by forward kinematics (`tests.support.mirroring`), which shares no formula with
the compiler. The right frames of these characters relate to the left ones by different flips, and by none in
rigged_figure.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plica.evaluate import Evaluator, Poses, rest_poses
from plica.evaluate.poses import rest_scales
from plica.pipeline import compile_text
from plica.readers.model_reader import read_outline
from plica.rig.rig import Rig, RigJoint
from plica.rig.strengths import Driver
from plica.rounding import DIGITS
from plica.skeleton.sides import pair_joints
from plica.workspace import Workspace
from tests.support.characters import PAIRED, Paired, compile_everything, from_file, made_even
from tests.support.mirroring import mirrored_poses, model_matrices

FRAMES = 12
# Readings that compare with positions and scales at rest, which files hold as 32-bit numbers.
COMPARED = ("offset", "gap", "scale")


def random_poses(rig: Rig, seed: int) -> Poses:
    """Every joint turned by up to a radian about each axis, moved by up to 2 cm and scaled by up to a quarter along all
    axes alike, which is what joints with any axes can mirror, and every control set."""
    random = np.random.default_rng(seed)
    rest = rest_poses(rig, FRAMES)
    count = len(rig.skeleton)
    turns = Rotation.from_rotvec(random.uniform(-1, 1, (FRAMES * count, 3)))
    rotations = (Rotation.from_quat(rest.rotations.reshape(-1, 4)) * turns).as_quat().reshape(FRAMES, count, 4)
    translations = rest.translations + random.uniform(-0.02, 0.02, rest.translations.shape)
    controls = random.uniform(0, 1, rest.controls.shape)
    scales = rest_scales(rig, FRAMES) * random.uniform(0.75, 1.25, (FRAMES, count, 1))
    return Poses(rest.joints, rotations, translations, rest.control_names, controls, scales)


def worst_differences(rig: Rig) -> dict[str, float]:
    """The largest difference between a strength and its mirror image's, by kind of reading."""
    poses = random_poses(rig, 7)
    evaluator = Evaluator(rig)
    before, after = evaluator.strengths(poses), evaluator.strengths(mirrored_poses(rig, poses))
    column = {name: index for index, name in enumerate(evaluator.names)}
    worst: dict[str, float] = {}
    for entry in rig.strengths:
        if entry.side != "left":
            continue
        left, right = column[entry.name], column["right" + entry.name.removeprefix("left")]
        there = np.abs(before[:, left] - after[:, right]).max()
        back = np.abs(before[:, right] - after[:, left]).max()
        difference = max(float(there), float(back))
        kind = entry.reading.kind if isinstance(entry, Driver) else entry.kind
        worst[kind] = max(worst.get(kind, 0.0), difference)
    assert before.min() < 0.01 and before.max() > 0.99  # the poses reach both ends
    return worst


KINDS = {"rotation", "bend", "swing", "euler", "offset", "scale", "gap", "control", "sample", "combine"}


@pytest.mark.parametrize("paired", PAIRED, ids=lambda paired: paired.folder)
def test_mirrored_poses_give_mirrored_strengths(paired: Paired) -> None:
    compiled = compile_everything(from_file(paired), paired.path.parent)
    assert compiled.rig is not None
    worst = worst_differences(compiled.rig)
    assert set(worst) == KINDS
    assert {kind: size for kind, size in worst.items() if kind not in COMPARED and size > 1e-9} == {}
    # The files' own rest positions and scales mirror to a ten-millionth or so, which these show.
    assert all(worst[kind] < 1e-4 for kind in COMPARED)


@pytest.mark.parametrize("paired", PAIRED, ids=lambda paired: paired.folder)
def test_with_even_rest_positions_every_reading_mirrors(paired: Paired) -> None:
    first = compile_everything(from_file(paired), paired.path.parent)
    assert first.rig is not None
    compiled = compile_everything(made_even(first.rig, paired), paired.path.parent)
    assert compiled.rig is not None, [result.message for result in compiled.diagnostics[:3]]
    worst = worst_differences(compiled.rig)
    assert set(worst) == KINDS
    assert {kind: size for kind, size in worst.items() if size > 1e-9} == {}


@pytest.mark.parametrize("paired", PAIRED, ids=lambda paired: paired.folder)
def test_scales_along_single_axes_mirror_where_the_axes_do(paired: Paired) -> None:
    """Only a joint whose partner's axes are its own mirrored ones, up to order and sign, can be scaled as its mirror
    image along single axes; the others are scaled alike along all."""
    text = "\n".join(
        f'driver s{number}{axis} both {{ reads scale along {axis} of "{base}" span 0 % .. 40 % unclamped }}'
        for number, base in enumerate(bases_of(paired))
        for axis in "xyz"
    )
    compiled = compile_text(f"plica 1\n{from_file(paired)}\n{text}", "s.plica", Workspace(paired.path.parent))
    rig = compiled.rig
    assert rig is not None, [result.message for result in compiled.diagnostics[:3]]
    poses = random_poses(rig, 9)
    assert poses.scales is not None
    apart = [axes_apart(rig, joint) for joint in rig.skeleton]
    single = [column for column, size in enumerate(apart) if size < 1e-6]
    poses.scales[:, single] *= np.random.default_rng(9).uniform(0.8, 1.25, (FRAMES, len(single), 3))
    evaluator = Evaluator(rig)
    before, after = evaluator.strengths(poses), evaluator.strengths(mirrored_poses(rig, poses))
    column = {name: index for index, name in enumerate(evaluator.names)}
    for entry in rig.strengths:
        if entry.side == "left":
            other = column["right" + entry.name.removeprefix("left")]
            np.testing.assert_allclose(after[:, other], before[:, column[entry.name]], atol=5e-6)  # 32-bit frames
    askew = any(one.name == "scale-mirrored-askew" for one in compiled.diagnostics)
    assert askew == any(
        1e-2 < size < np.inf for size, joint in zip(apart, rig.skeleton, strict=True) if joint.side != "none"
    )


def axes_apart(rig: Rig, joint: RigJoint) -> float:
    """How far the axes of a joint's partner at rest are from its own, mirrored, up to order and sign."""
    names = [other.name for other in rig.skeleton]
    matrices = model_matrices(rig, rest_poses(rig))[0, :, :3, :3]
    axes = matrices / np.linalg.norm(matrices, axis=1, keepdims=True)
    assert rig.symmetry is not None
    reflection = np.diag([-1.0 if axis == rig.symmetry.axis else 1.0 for axis in "xyz"])
    partner = joint.name if joint.side == "none" else joint.partner
    if partner is None:
        return np.inf
    across = np.abs(axes[names.index(partner)].T @ reflection @ axes[names.index(joint.name)])
    return float(np.abs(across - across.round()).max())


def bases_of(paired: Paired) -> list[str]:
    """The names of all pairs of joints, without their sides."""
    skeleton = read_outline(paired.path).skeleton
    return [pair.base for pair in pair_joints(list(skeleton.index), [paired.left], [paired.right]).pairs.values()]


@pytest.mark.parametrize("paired", PAIRED, ids=lambda paired: paired.folder)
def test_mirroring_twice_is_identity(paired: Paired) -> None:
    """Declared for the other side, the mirrored axes mirror back to what was written."""
    compiled = compile_everything(from_file(paired), paired.path.parent)
    assert compiled.rig is not None
    exchanged = from_file(paired).replace(f'left "{paired.left}" right "{paired.right}"', "")
    exchanged = exchanged.replace("}", f'left "{paired.right}" right "{paired.left}" }}')
    lines = []
    expected: dict[str, tuple[float, ...]] = {}
    for entry in compiled.rig.strengths:
        if isinstance(entry, Driver) and entry.reading.kind == "rotation" and entry.side == "right":
            axis = ", ".join(map(repr, entry.reading.axis))
            base = base_of(compiled.rig, entry.reading.joint, paired)
            reads = f'reads rotation about ({axis}) of "{base}"'
            lines.append(f"driver {entry.declared} both {{ {reads} span 0 deg .. 9 deg }}")
            left = next(item for item in compiled.rig.strengths if item.name == f"left_{entry.declared}")
            assert isinstance(left, Driver) and left.reading.kind == "rotation"
            expected[entry.declared] = left.reading.axis
    back = compile_text("\n".join(["plica 1", exchanged, *lines]), "back.plica", Workspace(paired.path.parent))
    assert back.rig is not None, [result.message for result in back.diagnostics[:3]]
    result = {
        entry.declared: entry.reading.axis
        for entry in back.rig.strengths
        if isinstance(entry, Driver) and entry.side == "right" and entry.reading.kind == "rotation"
    }
    assert result.keys() == expected.keys() and len(result) > 20
    for name, axis in expected.items():
        # Both are written with so many digits: half a unit of each, the first turned by a matrix.
        np.testing.assert_allclose(result[name], axis, atol=10.0 ** (1 - DIGITS))


def base_of(rig: Rig, joint: str, paired: Paired) -> str:
    """The name of a right joint without its side."""
    names = [item.name for item in rig.skeleton]
    sides = pair_joints(names, [paired.left], [paired.right])
    return next(pair.base for pair in sides.pairs.values() if names[pair.right] == joint)
