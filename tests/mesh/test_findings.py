"""What is told about a mesh and its symmetry."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plica.diagnostics import Diagnostics
from plica.mesh.mesh_diagnostics import find_mesh, find_symmetry
from plica.quantities import length
from plica.rig.rig import Character, Rig, RigJoint, Symmetry
from plica.skeleton.algebra import unit
from plica.skeleton.planes import Plane
from plica.values import Geometry
from tests.mesh.test_gltf_mesh import HALF, skinned, two_joints
from tests.support.joints import rig_joint
from tests.support.meshes import Buffers, bare_mesh, bilateral


def joint(name: str, parent: str | None) -> RigJoint:
    return rig_joint(name, parent, (0.0, 0.0, 0.0), (0.0, 0.0, 0.0, 1.0), (1.0, 1.0, 1.0), "none", None, True)


JOINTS = (joint("hip", None), joint("knee", "hip"))


def rig_with(joints: tuple[RigJoint, ...] = JOINTS, symmetry: Symmetry | None = None) -> Rig:
    return Rig(Character("wren", "Wren", Geometry("model.gltf"), 1e-4), joints, symmetry)


RIG = rig_with()
POSITIONS, TRIANGLES = bilateral(500, 3)


def test_the_mesh_of_a_rig_and_its_problems(tmp_path: Path) -> None:
    buffers, result = Buffers(), Diagnostics()
    path = buffers.written(tmp_path / "model.gltf", two_joints([skinned(buffers, ((0.5, 0.4, 0, 0),) * 4)]))
    mesh = find_mesh(RIG, path, "model.gltf", None, result)
    assert mesh is not None and mesh.vertex_count == 4
    assert [told.name for told in result.all] == ["unclear-model"]
    assert "4 vertices of `skin` whose weights" in result.all[0].message
    assert find_mesh(RIG, tmp_path / "none.gltf", "none.gltf", None, result) is None
    assert result.has_errors


def test_a_mesh_bound_to_joints_of_another_skeleton_is_refused(tmp_path: Path) -> None:
    buffers, result = Buffers(), Diagnostics()
    path = buffers.written(tmp_path / "model.gltf", two_joints([skinned(buffers, HALF)]))
    assert find_mesh(rig_with(JOINTS[:1]), path, "model.gltf", None, result) is None
    assert "no joint of the skeleton" in result.all[0].message


def test_a_stated_plane_is_kept_and_another_is_found() -> None:
    diagnostics = Diagnostics()
    moved = bare_mesh(POSITIONS + np.array((0.25, 0, 0)), TRIANGLES)
    joints_say = rig_with(symmetry=Symmetry.of(Plane.across("x", 0.2503), True))
    symmetry = find_symmetry(joints_say, moved, None, diagnostics)
    assert symmetry is not None and abs(symmetry.plane.offset - 0.25) < 1e-9, "the points know better than the joints"
    assert find_symmetry(RIG, moved, None, diagnostics) is not None
    assert diagnostics.all == ()
    stated = rig_with(symmetry=Symmetry.of(Plane.across("x", 0.0), False))
    symmetry = find_symmetry(stated, moved, None, diagnostics)
    assert symmetry is not None and symmetry.plane.offset == 0.0
    assert "vertices-without-partner" in [told.name for told in diagnostics.all]


def test_the_points_of_a_turned_mesh_tell_how_it_is_turned() -> None:
    """Joints that miss the plane by some tenth of a millimetre: all the same every point has its partner."""
    diagnostics, turn = Diagnostics(), Rotation.from_rotvec((0.1, 0.5, -0.2))
    mesh = bare_mesh(turn.apply(POSITIONS) + np.array((0.3, 0.1, 0.2)), TRIANGLES)
    x, y, z = turn.apply((1.0, 0.0, 0.0)).tolist()
    expected = Plane((x, y, z), float(np.dot((x, y, z), (0.3, 0.1, 0.2))))
    nearly = Plane(unit((x, y + 1e-4, z)), expected.offset + 1e-4)
    symmetry = find_symmetry(rig_with(symmetry=Symmetry.of(nearly, True)), mesh, None, diagnostics)
    assert symmetry is not None and diagnostics.all == () and symmetry.share == 1.0
    assert symmetry.plane.normal == pytest.approx(expected.normal, abs=1e-10)
    assert symmetry.plane.offset == pytest.approx(expected.offset, abs=1e-10)
    straight = find_symmetry(RIG, bare_mesh(POSITIONS, TRIANGLES), None, diagnostics)
    assert straight is not None
    assert symmetry.partners.tolist() == straight.partners.tolist()


def test_what_has_no_partner_is_told_once_with_all_that_matters() -> None:
    diagnostics = Diagnostics()
    positions = np.concatenate([POSITIONS, [(0.3, 3.0, 0.0), (0.4, 3.0, 0.0), (0.3, 3.2, 0.0)]])
    mesh = bare_mesh(positions, np.concatenate([TRIANGLES, np.array([[0, 1, 2]]) + len(POSITIONS)]))
    find_symmetry(RIG, mesh, None, diagnostics)
    (told,) = diagnostics.all
    assert told.name == "vertices-without-partner"
    assert told.message == (
        f"3 of {len(positions)} vertices have no partner on the other side: 3 near `hip`; "
        f"the furthest, vertex {len(POSITIONS) + 1} at (0.4, 3, 0) m, is 700 mm from any"
    )


def test_what_is_off_is_a_note() -> None:
    diagnostics = Diagnostics()
    positions = POSITIONS.copy()
    positions[positions[:, 0].argmax()] += (0.0, 0.002, 0.0)
    find_symmetry(RIG, bare_mesh(positions, TRIANGLES), None, diagnostics)
    (told,) = diagnostics.all
    assert (told.name, told.severity) == ("vertices-off-the-mirror", "note")
    assert told.message.startswith("2 of ") and told.message.endswith("by 2 mm")


def test_no_plane_at_all() -> None:
    diagnostics = Diagnostics()
    mesh = bare_mesh(np.random.default_rng(1).uniform(size=(300, 3)), np.zeros((0, 3), np.int64))
    assert find_symmetry(RIG, mesh, None, diagnostics) is None
    assert [told.name for told in diagnostics.all] == ["no-mirror-plane"]


def test_lengths_are_short() -> None:
    assert [length(metres) for metres in (0.0, 1e-5, 0.0123456, 1.5)] == ["0 mm", "0.01 mm", "12.3 mm", "1.5 m"]
