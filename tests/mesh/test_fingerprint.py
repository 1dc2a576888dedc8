"""What differs between a neutral mesh and another, and how it is told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Mesh, Offsets
from plica.mesh.fingerprint import compare_fingerprints, compare_neutral, fingerprint, read_fingerprint
from plica.mesh.mesh_diagnostics import check_sculpt, find_sculpt
from plica.mesh.npz import written
from plica.mesh.sculpt_reader import Sculpted, read_sculpt, sculpted_positions
from plica.mesh.weld import edges_of, per_vertex
from tests.support.meshes import bare_mesh, bilateral

TOLERANCE = 1e-5
SEAMS = 7


def mesh_with_seams() -> Mesh:
    """A body whose first vertices have copies at the end."""
    positions, triangles = bilateral(300, 1)
    count = len(positions)
    points = np.concatenate([np.arange(count), np.arange(SEAMS)])
    return bare_mesh(np.concatenate([positions, positions[:SEAMS]]), triangles, points)


MESH = mesh_with_seams()
EDGES = edges_of(MESH.triangles)
ORDER = np.random.default_rng(3).permutation(MESH.vertex_count)
PLACE = np.argsort(ORDER)


def moved(count: int, by: float = 0.01) -> Mesh:
    positions = MESH.positions.copy()
    positions[10 : 10 + count, 1] += by
    return replace(MESH, positions=positions)


def reordered() -> Mesh:
    return replace(MESH, positions=MESH.positions[ORDER], triangles=PLACE[MESH.triangles])


@pytest.mark.parametrize(
    ("other", "kind"),
    [
        (MESH, "none"),
        (replace(MESH, positions=MESH.positions + 1e-12), "none"),  # glTF stores single precision
        (moved(3), "moved"),
        (reordered(), "order"),
        (replace(MESH, triangles=MESH.triangles[:-1]), "topology"),
        (bare_mesh(*bilateral(200, 1)), "count"),
    ],
)
def test_fingerprints_tell_what_kind_of_thing_differs(other: Mesh, kind: str) -> None:
    text = str(fingerprint(other))
    read = read_fingerprint(text)
    assert read == fingerprint(other)
    assert compare_fingerprints(fingerprint(MESH), read) == kind


@pytest.mark.parametrize(
    "text", ["", "1", "2:5:a:b:c", "1:x:a:b:c", "1:²:a:b:c", "1:5:a:b:c:d", "1:" + "9" * 40 + ":a:b:c"]
)
def test_other_texts_are_no_fingerprints(text: str) -> None:
    assert read_fingerprint(text) is None


def test_how_many_moved_how_far_and_where() -> None:
    result = compare_neutral(MESH, moved(3).positions, EDGES, ["root"], TOLERANCE)
    assert (result.kind, result.count) == ("moved", 3)
    assert result.worst is not None and result.worst.joint == "root"
    assert result.worst.worst == pytest.approx(0.01)
    assert 10 <= result.worst.vertex < 13
    assert compare_neutral(MESH, MESH.positions, EDGES, [], TOLERANCE).same


@pytest.mark.parametrize("edges", [True, False])
def test_another_order(edges: bool) -> None:
    other = reordered()
    result = compare_neutral(MESH, other.positions, edges_of(other.triangles) if edges else None, [], TOLERANCE)
    assert result.kind == "order"
    elsewhere = np.linalg.norm(other.positions - MESH.positions, axis=1) > TOLERANCE
    assert result.count == elsewhere.sum()


def test_another_count_and_other_faces() -> None:
    assert compare_neutral(MESH, MESH.positions[: -SEAMS - 1], EDGES, [], TOLERANCE).kind == "count"
    random = np.random.default_rng(2)
    other = random.integers(0, MESH.vertex_count, (600, 2))
    result = compare_neutral(MESH, random.normal(size=MESH.positions.shape), other, [], TOLERANCE)
    assert result.kind == "topology"


def test_a_file_without_copies_at_seams_is_the_same_mesh() -> None:
    points = MESH.positions[: MESH.point_count]
    result = compare_neutral(MESH, points, EDGES, [], TOLERANCE)
    assert (result.kind, result.layout) == ("none", "points")
    changed = points + np.array((0.0, 0.0, 0.001))
    sculpt = Sculpted(len(points), changed)
    np.testing.assert_array_equal(sculpted_positions(sculpt, MESH, MESH.positions), per_vertex(MESH.points, changed))


def test_sculpts_over_a_pose_are_compared_with_the_pose() -> None:
    posed = MESH.positions @ np.array([(0.0, 1, 0), (-1, 0, 0), (0, 0, 1)]) + 2.0
    sculpt = posed.copy()
    sculpt[5] += 0.02
    result = compare_neutral(MESH, sculpt, EDGES, [], TOLERANCE, posed)
    assert (result.kind, result.count) == ("moved", 1)
    assert compare_neutral(MESH, posed[ORDER], None, [], TOLERANCE, posed).kind == "order"


@pytest.mark.parametrize(
    ("sculpt", "name"),
    [
        (Sculpted(MESH.vertex_count, moved(20).positions, None, EDGES), None),
        (Sculpted(MESH.vertex_count, reordered().positions), "sculpt-in-other-order"),
        (Sculpted(5, np.zeros((5, 3))), "sculpt-of-other-size"),
        (Sculpted(MESH.point_count, None, Offsets(np.arange(1), np.ones((1, 3)))), "sculpt-of-other-size"),
        (Sculpted(MESH.vertex_count, MESH.positions, None, EDGES[:, ::-1] // 2), "sculpt-of-other-mesh"),
        (
            Sculpted(MESH.vertex_count, MESH.positions, fingerprint=str(fingerprint(moved(2)))),
            "sculpt-of-edited-neutral",
        ),
        (
            Sculpted(MESH.vertex_count, MESH.positions, fingerprint=str(fingerprint(reordered()))),
            "sculpt-in-other-order",
        ),
        (Sculpted(MESH.vertex_count, MESH.positions, fingerprint="what"), "unreadable-sculpt"),
        (Sculpted(MESH.vertex_count, MESH.positions, fingerprint=str(fingerprint(MESH))), None),
    ],
)
def test_sculpts_that_do_not_fit_are_refused(sculpt: Sculpted, name: str | None) -> None:
    diagnostics = Diagnostics()
    fits = check_sculpt(sculpt, MESH, "swell.obj", None, diagnostics, ["root"], TOLERANCE)
    assert fits is (name is None)
    assert [told.name for told in diagnostics.all] == ([name] if name else [])


def test_sculpts_of_every_kind(tmp_path: Path) -> None:
    changed = np.array([(0.0, 0.0, 1.0)])
    offsets = {"indices": np.array([4]), "offsets": changed, "vertex_count": np.array(MESH.vertex_count)}
    (tmp_path / "a.npz").write_bytes(written(offsets))
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in moved(2).positions.tolist()]
    lines += [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in MESH.triangles.tolist()]
    (tmp_path / "b.OBJ").write_text("\n".join(lines))
    stored, whole = (read_sculpt(tmp_path / name) for name in ("a.npz", "b.OBJ"))
    expected = MESH.positions.copy()
    expected[4] += changed[0]
    np.testing.assert_array_equal(sculpted_positions(stored, MESH, MESH.positions), expected)
    np.testing.assert_array_equal(sculpted_positions(whole, MESH, MESH.positions), moved(2).positions)
    np.testing.assert_array_equal(edges_of(MESH.triangles), np.unique(np.sort(whole.edges, axis=1), axis=0))
    with pytest.raises(ValueError, match="another mesh"):
        sculpted_positions(Sculpted(3, np.zeros((3, 3))), MESH, MESH.positions)


@pytest.mark.parametrize("name", ["none.npz", "none.obj", "none.glb", "none"])
def test_sculpts_that_cannot_be_read_are_told(name: str, tmp_path: Path) -> None:
    diagnostics = Diagnostics()
    assert find_sculpt(tmp_path / name, name, (), None, diagnostics) is None
    (tmp_path / name).write_bytes(b"what?")
    assert find_sculpt(tmp_path / name, name, (), None, diagnostics) is None
    assert {told.name for told in diagnostics.all} == {"unreadable-sculpt"}
    assert len(diagnostics.all) == 2
