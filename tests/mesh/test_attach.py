"""Shapes from sculpt files to both sides' offsets, on Wren's mesh, through the same call that a build makes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.evaluate import Poses
from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.attach import Attached, attach
from plica.mesh.deform import Deformer
from plica.mesh.npz import written
from plica.mesh.pose_solver import PoseSolver
from plica.mesh.weld import first_vertices, point_triangles
from plica.rig.rig import Rig
from plica.rig.surfaces import JointPose, Sculpt
from plica.workspace import Workspace
from tests.support.mirroring import mirrored_poses
from tests.support.wren import Skinned, skinned

ELBOW = "driver elbow both { reads rotation about x of lowerarm span 0 deg .. 130 deg }\n"
SHAPE = ELBOW + 'shape swell both { sculpt "swell.npz" posed at elbow 1 follows elbow }\n'


def npz(mesh_vertices: int, offsets: Offsets, **more: np.ndarray) -> bytes:
    """An offsets sculpt as artists' tools write it."""
    return written(
        {
            "indices": offsets.indices.astype("<i4"),
            "offsets": offsets.offsets.astype("<f4"),
            "vertex_count": np.array(mesh_vertices, "<i8"),
            **more,
        }
    )


def bump(mesh: Mesh, joint: str, rig: Rig, height: float = 0.005) -> Offsets:
    """A smooth bump on the skin of a joint, in model space."""
    index = next(number for number, item in enumerate(rig.skeleton) if item.name == joint)
    bound = mesh.bind_joints[mesh.joints] == index
    weight = np.where(bound, mesh.weights, 0.0).sum(axis=1)
    indices = np.flatnonzero(weight > 0.5)
    shift = np.stack([np.sin(40 * mesh.positions[indices, 1]), np.ones(len(indices)), weight[indices]], axis=1)
    return Offsets(indices, (height * shift).astype(np.float32).astype(np.float64))


def attached(made: Skinned, normals: bool = False) -> tuple[Attached, Diagnostics]:
    """The mesh attached, and what was found."""
    diagnostics = Diagnostics()
    result = attach(made.rig, Workspace(made.folder).locate, diagnostics, normals=normals)
    assert result is not None, [item.message for item in diagnostics.all]
    return result, diagnostics


def prepared(folder: Path, declarations: str, sculpt: bytes, name: str = "swell.npz") -> Skinned:
    """Wren with one sculpt file."""
    return skinned(declarations, folder, **{name: sculpt})


def moved_by(made: Skinned, result: Attached, poses: Poses) -> Floats:
    """How far the shapes move the posed skin, (v, 3)."""
    with_shapes = Deformer(result.mesh, made.rig, result.shapes)
    without = Deformer(result.mesh, made.rig, {})
    one, other = (next(iter(each.positions(poses))).positions[0] for each in (with_shapes, without))
    return one - other


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Skinned:
    """Wren with a bending elbow and no shapes."""
    return skinned(ELBOW, tmp_path_factory.mktemp("plain"))


def test_reposing_returns_the_sculpt_on_both_sides(plain: Skinned, tmp_path: Path) -> None:
    sculpt = bump(plain.mesh, "lowerarm_lf", plain.rig)
    made = prepared(tmp_path, SHAPE, npz(plain.mesh.vertex_count, sculpt))
    result, found = attached(made)
    assert not found.has_errors
    shapes = {shape.name: shape for shape in made.rig.shapes}
    source = shapes["left_swell"].source
    assert isinstance(source, Sculpt)
    poses = PoseSolver(made.rig).pose(source.pose).poses
    expected = np.zeros_like(result.mesh.positions)
    expected[sculpt.indices] = sculpt.offsets
    size = float(np.ptp(result.mesh.positions, axis=0).max())
    assert np.abs(moved_by(made, result, poses) - expected).max() < 1e-6 * size
    # The right side does the mirrored thing in the mirrored pose, though its joints stand at odd angles.
    assert result.symmetry is not None
    mirrored = moved_by(made, result, mirrored_poses(made.rig, poses))
    partners = result.symmetry.vertex_partners
    assert np.abs(mirrored - result.symmetry.plane.mirrored_vectors(expected[partners])).max() < 1e-6 * size


def test_a_sculpt_of_the_right_side_serves_both_too(plain: Skinned, tmp_path: Path) -> None:
    left, right = (bump(plain.mesh, f"lowerarm_{side}", plain.rig) for side in ("lf", "rt"))
    made = prepared(tmp_path, SHAPE, npz(plain.mesh.vertex_count, right))
    result, _ = attached(made)
    assert np.array_equal(result.shapes["right_swell"].primary.indices, right.indices)
    assert np.array_equal(result.shapes["left_swell"].primary.indices, left.indices)


def test_a_sculpt_of_both_sides_is_split_and_adds_up(plain: Skinned, tmp_path: Path) -> None:
    """Points on the midline carry 0.5 for each side (common practice, no source)."""
    mesh = plain.mesh
    everywhere = np.arange(mesh.vertex_count)
    sculpt = Offsets(
        everywhere, np.broadcast_to(np.float32([0.001, 0.002, 0.0]).astype(np.float64), (len(everywhere), 3))
    )
    text = ELBOW + 'shape swell both { sculpt "swell.npz" follows elbow }\n'
    result, _ = attached(prepared(tmp_path, text, npz(mesh.vertex_count, sculpt)))
    total = np.zeros_like(mesh.positions)
    for side in ("left", "right"):
        offsets = result.shapes[f"{side}_swell"].primary
        total[offsets.indices] += offsets.offsets
    assert result.symmetry is not None
    assert np.array_equal(total, sculpt.offsets)  # bit for bit
    seam = np.flatnonzero(result.symmetry.vertex_seam)
    left = result.shapes["left_swell"].primary
    assert np.array_equal(left.offsets[np.isin(left.indices, seam)], sculpt.offsets[seam] / 2)


def obj_of(mesh: Mesh, positions: Floats, triangles: np.ndarray | None = None) -> bytes:
    """Positions and faces as Wavefront's published text form."""
    lines = ["v " + " ".join(f"{value:.9g}" for value in row) for row in positions]
    faces = mesh.triangles if triangles is None else triangles
    lines += ["f " + " ".join(str(corner + 1) for corner in row) for row in faces]
    return "\n".join(lines).encode()


@pytest.mark.parametrize("welded", [False, True])
def test_a_whole_mesh_sculpted_over_the_pose_is_taken_off_it(plain: Skinned, tmp_path: Path, welded: bool) -> None:
    mesh = plain.mesh
    sculpt = bump(mesh, "lowerarm_lf", plain.rig)
    pose = PoseSolver(plain.rig).pose([JointPose("lowerarm_lf", (1.0, 0.0, 0.0), np.radians(130.0))]).poses
    posed = next(iter(Deformer(mesh, plain.rig, {}).positions(pose))).positions[0].copy()
    posed[sculpt.indices] += sculpt.offsets
    kept = first_vertices(mesh.points)
    content = obj_of(mesh, posed[kept], point_triangles(mesh)) if welded else obj_of(mesh, posed)
    made = prepared(tmp_path, SHAPE.replace(".npz", ".obj"), content, "swell.obj")
    result, found = attached(made)
    assert not found.has_errors, [item.message for item in found.all]
    source = made.rig.shapes[0].source
    assert isinstance(source, Sculpt)
    shown = moved_by(made, result, PoseSolver(made.rig).pose(source.pose).poses)
    if not welded:
        expected = np.zeros_like(mesh.positions)
        expected[sculpt.indices] = sculpt.offsets
        assert np.abs(shown - expected).max() < 3e-6
    assert result.shapes["left_swell"].primary.count <= 1.2 * sculpt.count


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ("fewer vertices", "sculpt-of-other-size"),
        ("another fingerprint", "sculpt-of-other-size"),
        ("damaged", "unreadable-sculpt"),
    ],
)
def test_sculpts_of_another_mesh_are_refused(plain: Skinned, tmp_path: Path, change: str, rule: str) -> None:
    offsets, count = bump(plain.mesh, "lowerarm_lf", plain.rig), plain.mesh.vertex_count
    content = {
        "fewer vertices": npz(count - 1, Offsets(offsets.indices[:5], offsets.offsets[:5])),
        "another fingerprint": npz(count, offsets, fingerprint=np.array("1:5:a:b:c")),
        "damaged": b"PK\x03\x04 not really",
    }[change]
    made = prepared(tmp_path, SHAPE, content)
    diagnostics = Diagnostics()
    attach(made.rig, Workspace(made.folder).locate, diagnostics)
    assert rule in [item.name for item in diagnostics.all]
    assert diagnostics.has_errors


def test_a_sculpt_in_another_order_is_refused(plain: Skinned, tmp_path: Path) -> None:
    order = np.random.default_rng(3).permutation(plain.mesh.vertex_count)
    places = np.argsort(order)
    content = obj_of(plain.mesh, plain.mesh.positions[order], places[plain.mesh.triangles])
    made = prepared(tmp_path, ELBOW + 'shape swell both { sculpt "swell.obj" follows elbow }', content, "swell.obj")
    diagnostics = Diagnostics()
    attach(made.rig, Workspace(made.folder).locate, diagnostics)
    assert "sculpt-in-other-order" in [item.name for item in diagnostics.all]


def test_within_and_threshold(plain: Skinned, tmp_path: Path) -> None:
    sculpt = bump(plain.mesh, "lowerarm_lf", plain.rig)
    text = (
        ELBOW
        + "region forearm both { skin of lowerarm }\n"
        + 'shape swell both { sculpt "swell.npz" posed at elbow 1 within forearm follows elbow threshold 4 mm }'
    )
    result, found = attached(prepared(tmp_path, text, npz(plain.mesh.vertex_count, sculpt)))
    lengths = np.linalg.norm(result.shapes["left_swell"].primary.offsets, axis=1)
    assert lengths.min() >= 0.004 and 0 < len(lengths) < sculpt.count
    assert "offsets-dropped" in [item.name for item in found.all]


def test_normals_are_the_change_of_the_normals(plain: Skinned, tmp_path: Path) -> None:
    made = prepared(tmp_path, SHAPE, npz(plain.mesh.vertex_count, bump(plain.mesh, "lowerarm_lf", plain.rig)))
    offsets = attached(made, normals=True)[0].shapes["left_swell"].primary
    assert offsets.normals is not None
    assert 0.01 < np.abs(offsets.normals).max() <= 2.0
    assert offsets.count > attached(made)[0].shapes["left_swell"].primary.count  # neighbours turn as well


def test_shapes_that_were_on_are_taken_off_whole_meshes(plain: Skinned, tmp_path: Path) -> None:
    """A second sculpt over the pose in which a first shape is on holds only what it adds."""
    mesh = plain.mesh
    first, second = bump(mesh, "lowerarm_lf", plain.rig), bump(mesh, "upperarm_lf", plain.rig, 0.002)
    pose = PoseSolver(plain.rig).pose([JointPose("lowerarm_lf", (1.0, 0.0, 0.0), np.radians(130.0))]).poses
    posed = next(iter(Deformer(mesh, plain.rig, {}).positions(pose))).positions[0].copy()
    posed[first.indices] += first.offsets
    posed[second.indices] += second.offsets
    text = SHAPE + 'shape crease both { sculpt "crease.obj" posed at elbow 1 after swell follows elbow }'
    made = skinned(text, tmp_path, **{"swell.npz": npz(mesh.vertex_count, first), "crease.obj": obj_of(mesh, posed)})
    result, found = attached(made)
    assert not found.has_errors, [item.message for item in found.all]
    crease = result.shapes["left_crease"].primary
    shown = np.zeros(mesh.vertex_count)
    shown[crease.indices] = np.linalg.norm(crease.offsets, axis=1)
    elsewhere = np.setdiff1d(np.arange(mesh.vertex_count), second.indices)
    assert shown[elsewhere].max() < 1e-4
    assert shown[second.indices].max() > 1e-3


def test_over_a_band_the_sides_pass_into_each_other(plain: Skinned, tmp_path: Path) -> None:
    everywhere = np.arange(plain.mesh.vertex_count)
    sculpt = Offsets(everywhere, np.full((len(everywhere), 3), 2.0**-10))
    text = ELBOW + 'shape swell both { sculpt "swell.npz" follows elbow }\n'
    made = prepared(tmp_path, text, npz(plain.mesh.vertex_count, sculpt))
    wide = made._replace(rig=made.rig._replace(character=made.rig.character._replace(band=0.04)))
    result, _ = attached(wide)
    assert result.sides is not None
    shares = result.sides.left
    away = np.abs(result.mesh.positions[:, 0])
    assert ((shares > 0) & (shares < 1))[away < 0.019].all()
    assert set(shares[away > 0.0201]) == {0.0, 1.0}
    assert np.abs(result.sides.left + result.sides.right - 1).max() <= 2.0**-52
