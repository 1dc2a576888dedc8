"""A character that skins by dual quaternions, from the stage to the build, against UsdSkel's own skinning.

UsdSkel follows Kavan and others, "Skinning with Dual Quaternions" (2007). The skin that an artist sculpts over, and the
skin that programs show with the finished shapes, are worked out by usd-core here.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from plica.diagnostics import Diagnostics, Severity
from plica.evaluate.poses import Poses
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.attach import Attached, attach
from plica.mesh.joint_matrices import Kinematics
from plica.pipeline import compile_text
from plica.prove.declared_poses import declared_poses
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.rig.rig import Rig
from plica.workspace import Workspace
from tests.outside.test_skinning import skinned_by_usd
from tests.support.arms import arms_mesh, rig_from
from tests.support.usd_arms import usd_arms

# The elbow turns about the arm itself too: there the two methods differ most.
SPEC = """plica 1
character otter {
    geometry "arms.usda"
    left "*_lf"   right "*_rt"
}
region limb left { skin of upperarm, lowerarm }
driver elbow both { reads rotation about z of lowerarm  span 0 deg .. 90 deg }
shape swell left { sculpt "swell.obj" posed at about x of lowerarm 120 deg, about z of lowerarm 90 deg  follows elbow }
expect left { volume of limb within 1 %  over pose bent }
pose bent left { at about x of lowerarm 120 deg, about z of lowerarm 90 deg }
"""


class Elbow(NamedTuple):
    """The character, its mesh with the shape, the bent pose, and the sculpt as the artist made it."""

    rig: Rig
    attached: Attached
    poses: Poses
    sculpt: Floats


def obj(positions: Floats, mesh: Mesh) -> str:
    """A sculpt as an artist's program writes it."""
    points = "".join(f"v {x!r} {y!r} {z!r}\n" for x, y, z in positions.tolist())
    return points + "".join(f"f {a} {b} {c}\n" for a, b, c in (mesh.triangles + 1).tolist())


def elbow(folder: Path) -> Elbow:
    """The tubes, bent and sculpted over the skin that UsdSkel shows."""
    pytest.importorskip("pxr", reason="usd-core is not installed")
    plain = rig_from("")
    mesh = arms_mesh(plain)
    usd_arms(folder, plain, mesh, ["dualQuaternion"])
    (folder / "swell.obj").touch()
    result = compile_text(SPEC, "otter.plica", Workspace(folder))
    rig = result.rig
    assert rig is not None
    assert rig.character.skinning == "dual quaternion"
    poses = declared_poses(rig, Diagnostics(), {})["left_bent"].poses
    shown = skinned_by_usd(mesh, Kinematics(rig).skins(mesh, poses)[0], "dualQuaternion")
    near = np.exp(-(((mesh.positions[:, 0] - 0.5) / 0.06) ** 2))
    sculpt = shown + 0.01 * near[:, None] * (0.2, 0.9, 0.4)
    (folder / "swell.obj").write_text(obj(sculpt, mesh), "utf-8")
    diagnostics = Diagnostics()
    attached = attach(rig, Workspace(folder).locate, diagnostics)
    assert attached is not None
    assert [one.message for one in diagnostics.all if one.severity is Severity.ERROR] == []
    return Elbow(rig, attached, poses, sculpt)


def shown_by_usd(made: Elbow, offsets: Attached) -> Floats:
    """What UsdSkel shows of the mesh in the pose, the shape on."""
    mesh, moved = offsets.mesh, offsets.shapes["left_swell"].primary
    shaped = mesh.positions.copy()
    shaped[moved.indices] += moved.offsets
    skins = Kinematics(made.rig).skins(mesh, made.poses)[0]
    return skinned_by_usd(Mesh(**{**vars(mesh), "positions": shaped}), skins, "dualQuaternion")


def linearly(made: Elbow) -> Rig:
    """The same rig, taken for one that skins linearly."""
    return made.rig._replace(character=made.rig.character._replace(skinning="linear"))


def test_a_sculpt_lands_where_it_was_sculpted(tmp_path: Path) -> None:
    made = elbow(tmp_path)
    missed = np.linalg.norm(shown_by_usd(made, made.attached) - made.sculpt, axis=1)
    assert missed.max() < 2e-6, "single precision of usd-core"
    wrong = attach(linearly(made), Workspace(tmp_path).locate, Diagnostics())
    assert wrong is not None
    assert np.linalg.norm(shown_by_usd(made, wrong) - made.sculpt, axis=1).max() > 0.005, "the test can tell"


def test_a_volume_is_that_of_the_skin_that_is_shown(tmp_path: Path) -> None:
    trimesh = pytest.importorskip("trimesh", reason="trimesh is not installed")
    made = elbow(tmp_path)
    mesh, skins = made.attached.mesh, Kinematics(made.rig).skins(made.attached.mesh, made.poses)[0]
    left = mesh.triangles[(mesh.positions[mesh.triangles][..., 0] > 0).all(axis=1)]

    def volume(positions: Floats) -> float:
        return float(trimesh.Trimesh(positions, left, process=False).volume)

    at_rest = volume(mesh.positions)
    expected = volume(skinned_by_usd(mesh, skins, "dualQuaternion")) / at_rest - 1.0
    for rig, agrees in ((made.rig, True), (linearly(made), False)):
        bare = Attached(**{**vars(made.attached), "shapes": {}})
        poses = declared_poses(rig, Diagnostics(), {})
        (result,) = Prover(ProofSubject(rig, bare, poses=poses)).results()
        assert result.worst is not None
        assert (abs(result.worst - expected) < 1e-6) is agrees
