"""Partners across the mirror plane."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.mesh.arrays import Mesh
from plica.mesh.mesh_reader import read_mesh
from plica.mesh.plane import MirrorPlane, find_plane
from plica.mesh.symmetry import plane_of, report_of, symmetry_between, symmetry_map
from plica.readers.model_reader import read_outline
from tests.support.data import SMALL_DATA, shared_data
from tests.support.meshes import bare_mesh, bilateral

TOLERANCE = 1e-4
MIDDLE = MirrorPlane.across("x", 0.0)


def of_file(path: Path) -> tuple[Mesh, list[str]]:
    joints = [joint.name for joint in read_outline(path).skeleton.joints]
    return read_mesh(path, joints), joints


def expected_partners(mesh: Mesh) -> list[int]:
    """By brute force: the vertex at exactly the mirrored place."""
    places = {tuple(place): vertex for vertex, place in enumerate((mesh.positions + 0.0).tolist())}
    return [places[tuple(place)] for place in (mesh.positions * (-1.0, 1.0, 1.0) + 0.0).tolist()]


@given(st.integers(20, 400), st.integers(0, 1000), st.booleans())
@settings(max_examples=40, deadline=None)
def test_exact_on_meshes_mirrored_by_construction(size: int, seed: int, shuffled: bool) -> None:
    mesh = bare_mesh(*bilateral(size, seed, shuffled=shuffled))
    result = symmetry_map(mesh, MIDDLE, TOLERANCE)
    assert result.partners.tolist() == expected_partners(mesh)
    assert result.seam.tolist() == (mesh.positions[:, 0] == 0.0).tolist()
    assert result.uneven_edges == 0 and not result.by_edges.any()


@given(st.integers(20, 300), st.integers(0, 1000), st.floats(0.0, 0.02), st.floats(0.0, 1.0))
@settings(max_examples=40, deadline=None)
def test_an_involution_whatever_the_mesh(size: int, seed: int, noise: float, share: float) -> None:
    random = np.random.default_rng(seed)
    positions, triangles = bilateral(size, seed)
    chosen = random.random(len(positions)) < share
    positions[chosen] += random.normal(scale=noise, size=(int(chosen.sum()), 3))
    kept = triangles[random.random(len(triangles)) < 0.9]
    partners = symmetry_map(bare_mesh(positions, kept), MIDDLE, TOLERANCE).partners
    known = np.flatnonzero(partners >= 0)
    np.testing.assert_array_equal(partners[partners[known]], known)


def test_noise_within_the_tolerance_changes_nothing() -> None:
    positions, triangles = bilateral(2000, 3)
    noisy = positions + np.random.default_rng(4).uniform(-0.2, 0.2, positions.shape) * TOLERANCE
    result = symmetry_map(bare_mesh(noisy, triangles), MIDDLE, TOLERANCE)
    assert result.partners.tolist() == expected_partners(bare_mesh(positions, triangles))
    assert np.nanmax(result.distances) <= TOLERANCE


def test_edges_tell_partners_beyond_the_tolerance() -> None:
    positions, triangles = bilateral(2000, 3)
    moved = positions.copy()
    top = positions[:, 0].argmax()
    patch = np.linalg.norm(positions - positions[top], axis=1) < 0.1
    moved[patch] += (0.002, 0.004, -0.003)
    mesh = bare_mesh(moved, triangles)
    result = symmetry_map(mesh, MIDDLE, TOLERANCE)
    assert result.partners.tolist() == expected_partners(bare_mesh(positions, triangles))
    report = report_of(mesh, result, ["root"])
    assert (report.unmatched_count, report.uneven_count) == (0, 2 * patch.sum())
    assert report.worst is not None and report.worst.joint == "root"
    assert report.worst.worst == pytest.approx(np.linalg.norm((0.002, 0.004, -0.003)))


def test_two_skins_in_the_same_place_are_told_apart_by_their_edges() -> None:
    positions, triangles = bilateral(200, 3)
    count = len(positions)
    both = bare_mesh(np.concatenate([positions, positions]), np.concatenate([triangles, triangles + count]))
    inner = both.positions.copy()
    inner[count:][positions[:, 0] > 0.3] += (0.0, 0.01, 0.0)  # only there are the two apart
    inner[count:][positions[:, 0] < -0.3] += (0.0, 0.01, 0.0)
    result = symmetry_map(bare_mesh(inner, both.triangles), MIDDLE, TOLERANCE)
    single = np.array(expected_partners(bare_mesh(positions, triangles)))
    np.testing.assert_array_equal(result.partners, np.concatenate([single, single + count]))


def test_what_has_no_partner_is_told_with_place_and_distance() -> None:
    positions, triangles = bilateral(500, 3)
    horn = np.array([(0.3, 3.0, 0.0), (0.4, 3.0, 0.0), (0.3, 3.2, 0.0)])
    mesh = bare_mesh(
        np.concatenate([positions, horn]), np.concatenate([triangles, np.array([[0, 1, 2]]) + len(positions)])
    )
    result = symmetry_map(mesh, MIDDLE, TOLERANCE)
    report = report_of(mesh, result, ["root"])
    assert result.unmatched.tolist() == [len(positions) + number for number in range(3)]
    (place,) = report.unmatched
    assert (place.joint, place.count, place.vertex) == ("root", 3, len(positions) + 1)
    assert place.position == (0.4, 3.0, 0.0)
    assert place.worst == pytest.approx(0.7)  # mirrored to x = -0.4, and the nearest vertex is the horn's own at 0.3


def test_copies_at_seams_share_their_partners() -> None:
    positions, triangles = bilateral(100, 3)
    count = len(positions)
    mesh = bare_mesh(
        np.concatenate([positions, positions[:10]]), triangles, np.concatenate([np.arange(count), np.arange(10)])
    )
    result = symmetry_map(mesh, MIDDLE, TOLERANCE)
    np.testing.assert_array_equal(result.vertex_partners[count:], result.vertex_partners[:10])
    assert result.share == 1.0


@pytest.mark.parametrize("axis", ["x", "y", "z"])
@pytest.mark.parametrize("offset", [0.0, 0.3, -12.75])
def test_the_plane_is_found_from_the_points(axis: str, offset: float) -> None:
    positions, _ = bilateral(3000, 8)
    across, up, along = positions.T
    positions = np.column_stack([across, up + 0.2 * up**2 + 0.3 * along**2, along + 0.25 * up**3])
    column = "xyz".index(axis)
    placed = np.roll(positions, column, axis=1)
    placed[:, column] += offset
    result = find_plane(placed, TOLERANCE)
    assert result is not None
    assert result.axis == axis and result.found
    assert result.offset == pytest.approx(offset, abs=1e-9)


def test_one_sided_points_have_no_plane() -> None:
    assert find_plane(np.random.default_rng(1).uniform(0.0, 1.0, (500, 3)), TOLERANCE) is None
    assert find_plane(np.zeros((0, 3)), TOLERANCE) is None


@pytest.mark.parametrize("count", [0, 1, 2])
def test_hardly_any_points(count: int) -> None:
    mesh = bare_mesh(np.zeros((count, 3)), np.zeros((0, 3), np.int64), np.zeros(count, np.int64))
    result = symmetry_map(mesh, MIDDLE, TOLERANCE)
    assert result.partners.tolist() == [0][:count]
    assert report_of(mesh, result, []).worst is None


@pytest.mark.parametrize(
    ("parts", "axis", "least", "most"),
    [
        (("full_body", "full_body.gltf"), "x", 1.0, 1.0),
        (("mannequin", "mannequin.gltf"), "x", 0.985, 0.999),
        (("base_mesh_facing_x", "base_mesh.glb"), "z", 1.0, 1.0),
        (("rigged_figure", "RiggedFigure.glb"), "x", 1.0, 1.0),
    ],
)
def test_open_characters(parts: tuple[str, ...], axis: str, least: float, most: float) -> None:
    # Sources and licences of the models: tests/data/LICENCES.md and the shared data. Shares as the data was chosen:
    # all of the body, about 99 % of the mannequin, whose tag and screen one side alone has.
    mesh, joints = of_file(shared_data("characters", *parts))
    plane = plane_of(mesh, TOLERANCE)
    assert plane is not None
    assert (plane.axis, plane.offset) == (axis, 0.0)
    result = symmetry_map(mesh, plane, TOLERANCE)
    assert least <= result.share <= most
    report = report_of(mesh, result, joints)
    assert report.unmatched_count == len(result.unmatched)
    assert all(place.joint in joints for place in (*report.unmatched, *report.uneven))


def test_a_pair_of_hands_in_two_files() -> None:
    # WebXR hands (MIT, (c) 2019 Amazon): the mirrored left hand lies (1.8, -0.2, 1.0) mm from the right one
    left, right = (of_file(SMALL_DATA / f"hand_{side}.glb")[0] for side in ("left", "right"))
    result = symmetry_between(left, right, TOLERANCE)
    assert result is not None
    assert result.axis == "x"
    np.testing.assert_allclose(result.offset, (0.0018, -0.0002, 0.0010), atol=5e-5)
    assert result.share == 1.0 and np.nanmax(result.distances) < 1e-6
    np.testing.assert_array_equal(result.back[result.partners], np.arange(left.point_count))
    assert result.uneven_edges == 0


def test_meshes_that_do_not_mirror_each_other() -> None:
    random = np.random.default_rng(2)
    none = np.zeros((0, 3), np.int64)
    first, second = (bare_mesh(random.normal(size=(300, 3)) * size, none) for size in (1.0, 3.0))
    assert symmetry_between(first, second, TOLERANCE) is None
