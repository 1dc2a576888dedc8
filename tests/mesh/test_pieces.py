"""Pieces that mirror each other once they are moved: every point of theirs has its partner, and how far is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.mesh_diagnostics import find_symmetry
from plica.mesh.mesh_reader import mesh_of_rig
from plica.mesh.plane import MirrorPlane
from plica.mesh.symmetry import symmetry_map
from plica.pipeline import compile_file
from tests.support.data import shared_data
from tests.support.meshes import bare_mesh, bilateral

TOLERANCE = 1e-4
MIDDLE = MirrorPlane.across("x")
MOVED = np.array((0.004, -0.01, 0.006))


def piece(seed: int, at: tuple[float, float, float], size: int = 60) -> tuple[Floats, Integers]:
    """A piece that is nowhere even, in the stated place."""
    positions, triangles = bilateral(size, seed)
    bent = positions * (1.0, 1.3, 0.7) + 0.3 * positions[:, [1, 2, 0]] ** 2
    return 0.1 * bent + at, triangles


def mesh_of(*pieces: tuple[Floats, Integers]) -> Mesh:
    starts = np.cumsum([0, *(len(positions) for positions, _ in pieces)])
    triangles = [triangles + start for (_, triangles), start in zip(pieces, starts, strict=False)]
    return bare_mesh(np.concatenate([positions for positions, _ in pieces]), np.concatenate(triangles))


def mirrored(one: tuple[Floats, Integers]) -> tuple[Floats, Integers]:
    return one[0] * (-1.0, 1.0, 1.0), one[1][:, ::-1]


@pytest.mark.parametrize("degrees", [0.0, 1.5])
def test_a_piece_that_was_moved_and_turned_has_all_its_partners(degrees: float) -> None:
    body, limb = bilateral(500, 3), piece(5, (0.6, 0.2, 0.1))
    places, triangles = mirrored(limb)
    middle = places.mean(axis=0)
    turned = Rotation.from_euler("xyz", (degrees, -degrees, degrees), degrees=True).apply(places - middle) + middle
    mesh = mesh_of(body, limb, (turned + MOVED, triangles))
    result = symmetry_map(mesh, MIDDLE, TOLERANCE)
    first, second = len(body[0]), len(body[0]) + len(limb[0])
    expected = np.arange(len(limb[0]))
    np.testing.assert_array_equal(result.partners[first:second], second + expected)
    np.testing.assert_array_equal(result.partners[second:], first + expected)
    assert result.by_edges[first:].all() and not result.by_edges[:first].any()
    apart = np.linalg.norm(mirrored(limb)[0] - mesh.positions[second:], axis=1)
    np.testing.assert_allclose(result.distances[first:second], apart, atol=1e-12)
    np.testing.assert_allclose(result.distances[second:], apart, atol=1e-12)


def test_a_piece_that_mirrors_itself_beside_the_plane_is_its_own() -> None:
    places, triangles = bilateral(120, 7)
    mesh = mesh_of(bilateral(500, 3), (0.2 * places + (0.003, 2.0, 0.0), triangles))
    result = symmetry_map(mesh, MIDDLE, TOLERANCE)
    assert result.share == 1.0
    known = np.arange(len(result.partners))
    np.testing.assert_array_equal(result.partners[result.partners], known)
    moved = result.distances[-len(places) :]
    np.testing.assert_allclose(moved, 0.006, atol=1e-9)


def test_pieces_of_another_form_or_too_far_off_stay_without_a_partner() -> None:
    limb = piece(5, (0.6, 0.2, 0.1))
    for other in (piece(6, (-0.6, 0.2, 0.1)), (mirrored(limb)[0] + (0.0, 0.5, 0.0), mirrored(limb)[1])):
        mesh = mesh_of(bilateral(500, 3), limb, other)
        assert (symmetry_map(mesh, MIDDLE, TOLERANCE).partners[-len(limb[0]) - len(other[0]) :] == -1).all()


def test_of_pieces_that_are_alike_and_as_near_none_is_chosen() -> None:
    limb = piece(5, (0.6, 0.2, 0.1))
    places, triangles = mirrored(limb)
    mesh = mesh_of(bilateral(500, 3), limb, (places + MOVED, triangles), (places - MOVED, triangles))
    assert (symmetry_map(mesh, MIDDLE, TOLERANCE).partners[-3 * len(places) :] == -1).all()


def test_a_machine_of_pieces_has_its_partners_and_is_said_to_be_uneven(tmp_path: Path) -> None:
    """The robot's head and hands mirror across x = -2.7 mm, its feet across -7 mm, its shoulders stand 5 cm apart: by
    places and edges alone 43 % of its vertices have a partner. What is left has other points on both sides."""
    model = shared_data("characters", "expressive_robot", "robot.glb")
    (tmp_path / model.name).write_bytes(model.read_bytes())
    spec = tmp_path / "robot.plica"
    facts = 'geometry "robot.glb"\nstance bind pose\nleft "*.L", "*.L_*"\nright "*.R", "*.R_*"'
    spec.write_text(f"plica 1\ncharacter robot {{\n{facts}\n}}\n", "utf-8")
    rig, told = compile_file(spec).rig, Diagnostics()
    assert rig is not None
    mesh = mesh_of_rig(rig, tmp_path / model.name)
    symmetry = find_symmetry(rig, mesh, None, told)
    assert symmetry is not None and symmetry.share > 0.95
    for part, share in (("Foot.L", 1.0), ("LowerLeg.R", 1.0), ("Shoulder.L", 1.0), ("Arm.L", 0.8)):
        (stretch,) = (one for one in mesh.parts if one.node == part)
        there = symmetry.vertex_partners[stretch.start : stretch.start + stretch.count]
        assert np.mean(there >= 0) >= share, part
        sides = {one.node for one in mesh.parts for at in there if one.start <= at < one.start + one.count}
        assert sides == {part.replace(".L", ".?").replace(".R", ".L").replace(".?", ".R")}
    assert {one.name for one in told.all} == {"vertices-without-partner", "vertices-off-the-mirror"}
