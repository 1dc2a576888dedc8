"""Measures against closed forms and against general geometry libraries.

Sources: elementary geometry for volumes and girths; linear algebra (numpy.linalg.svd) for stretch; trimesh for volumes
and libigl (`igl.predicates`, exact predicates) for crossings. The bent tube is worked out in its test.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from plica.measure.clearance import Clearance
from plica.measure.crossing import Crossing
from plica.measure.distance import distances
from plica.measure.girth import Girth
from plica.measure.stretch import Stretch
from plica.measure.volume import Volume
from plica.mesh.arrays import Floats, Integers
from plica.prove.measures.area import RegionArea
from tests.support.meshes import bare_mesh, bilateral
from tests.support.solids import sphere, torus, tube

# All frames are one run.
ALL = np.zeros(1, np.int64)


@pytest.mark.parametrize(
    ("solid", "true"),
    [(sphere(200, 200), 4.0 / 3.0 * np.pi), (tube(3, 400), 4.0 * np.pi), (torus(300, 150), np.pi**2)],
    ids=["sphere", "cylinder", "torus"],
)
def test_volumes_of_solids(solid: tuple[Floats, Integers], true: float) -> None:
    positions, triangles = solid
    result = Volume.prepared(bare_mesh(positions, triangles), np.ones(len(positions)), positions)
    assert result.rest == pytest.approx(true, rel=1e-3)
    far = np.stack([2.0 * positions, positions + 1e4])
    assert result.relative(far).values == pytest.approx([7.0, 0.0], abs=1e-8)


@pytest.mark.parametrize(
    ("solid", "axis", "true"),
    [(sphere(401, 200), 1, 2.0 / 3.0 * np.pi), (tube(401, 200), 1, 2.0 * np.pi), (torus(400, 100), 2, np.pi**2 / 2.0)],
    ids=["hemisphere", "half a cylinder", "half a torus"],
)
def test_volumes_of_regions_are_closed_off_flat(solid: tuple[Floats, Integers], axis: int, true: float) -> None:
    """Half of each solid: discs close the cuts, one for the sphere, two for the tube and the torus. The cut runs half
    an edge beside the middle, which is why the figures are only near."""
    positions, triangles = solid
    weights = (positions[:, axis] > 0.0).astype(np.float64)
    result = Volume.prepared(bare_mesh(positions, triangles), weights, positions)
    assert result.rest == pytest.approx(true, rel=0.01)
    assert result.relative((2.0 * positions)[None]).values == pytest.approx([7.0], abs=1e-8)


def test_trimesh_finds_the_same_volume() -> None:
    trimesh = pytest.importorskip("trimesh", reason="trimesh is not installed; closed forms stand alone")
    positions, triangles = torus(40, 20)
    positions = positions + 0.05 * np.random.default_rng(1).normal(size=positions.shape)
    result = Volume.prepared(bare_mesh(positions, triangles), np.ones(len(positions)), positions)
    assert result.rest == pytest.approx(trimesh.Trimesh(positions, triangles, process=False).volume, rel=1e-12)


@pytest.mark.parametrize("degrees", [30.0, 60.0, 90.0, 130.0])
def test_what_a_tube_loses_when_linear_blending_bends_it(degrees: float) -> None:
    """Weights run evenly from 0 to 1 along the tube, about whose middle it bends by t. With B = (1 - w) + w R the
    determinant of the deformation, mean over a section, is |B|^2 + (2 w - 1)^2 (1 - cos t) / 2, where
    |B|^2 = 1 - 2 w (1 - w) (1 - cos t); over w from 0 to 1 that comes to 1 - (1 - cos t) / 6."""
    rest, triangles = tube(241, 120, radius=0.4)
    weight = (rest[:, 1:2] + 2.0) / 4.0
    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    bent = (1.0 - weight) * rest + weight * (rest @ turn.T)
    result = Volume.prepared(bare_mesh(rest, triangles), np.ones(len(rest)), rest).relative(bent[None])
    assert result.values[0] == pytest.approx(-(1.0 - np.cos(angle)) / 6.0, abs=1e-4)


def test_stretch_of_affine_maps() -> None:
    random = np.random.default_rng(2)
    flat = np.column_stack([random.uniform(-1, 1, (30, 2)), np.zeros(30)])
    triangles = random.permuted(np.tile(np.arange(30), (20, 1)), axis=1)[:, :3]
    maps = random.normal(size=(25, 3, 3))
    result = Stretch.on_surface(bare_mesh(flat, triangles), None, flat)
    frames = np.einsum("fij,vj->fvi", maps, flat) + 3.0
    figures = result.worst(frames, np.arange(len(frames)))
    largest, smallest = np.linalg.svd(maps[:, :, :2], compute_uv=False).T
    assert figures.largest.values == pytest.approx(largest, rel=1e-9)
    assert figures.smallest.values == pytest.approx(smallest, rel=1e-9)
    assert result.worst(frames, ALL).largest.values == pytest.approx([largest.max()], rel=1e-9)
    assert result.worst(frames, ALL).smallest.frames == [smallest.argmin()]
    # The angle of a simple shear by k: the singular values are the roots of the eigenvalues of [[1, k], [k, 1 + k k]].
    sheared = flat + flat[:, 1:2] * (0.3, 0.0, 0.0)
    most = np.linalg.eigvalsh([[1.0, 0.3], [0.3, 1.09]])
    expected = np.arcsin((most[1] - most[0]) / most.sum())
    assert result.worst(sheared[None], ALL).shear.values[0] == pytest.approx(expected, rel=1e-9)


def test_stretch_of_the_texture_under_affine_maps() -> None:
    """Texture coordinates are an affine map M of a flat rest surface, and A poses it: what the texture sees is A M^-1,
    times the root of |det M|, as the figure is told against the mean density. Against numpy.linalg.svd."""
    random = np.random.default_rng(12)
    flat = np.column_stack([random.uniform(-1, 1, (30, 2)), np.zeros(30)])
    triangles = random.permuted(np.tile(np.arange(30), (20, 1)), axis=1)[:, :3]
    maps = random.normal(size=(25, 3, 3))
    for layout in random.normal(size=(8, 2, 2)):
        mesh = replace(bare_mesh(flat, triangles), uvs={"skin": flat[:, :2] @ layout.T + 0.5})
        result = Stretch.on_texture(mesh, None, flat, "skin")
        frames = np.einsum("fij,vj->fvi", maps, flat) - 7.0
        figures = result.worst(frames, np.arange(len(frames)))
        seen = maps[:, :, :2] @ np.linalg.inv(layout) * np.sqrt(abs(np.linalg.det(layout)))
        largest, smallest = np.linalg.svd(seen, compute_uv=False).T
        assert figures.largest.values == pytest.approx(largest, rel=1e-8)
        assert figures.smallest.values == pytest.approx(smallest, rel=1e-8)
        skew = np.arcsin((largest**2 - smallest**2) / (largest**2 + smallest**2))
        assert figures.shear.values == pytest.approx(skew, rel=1e-6)


def test_a_texture_that_is_cut_is_measured_on_both_sides_of_the_cut() -> None:
    """Two triangles share an edge of the skin and not of the texture, where one is drawn twice as wide: by the areas,
    2 + 1 against 1 + 1 on the skin, the mean density is the root of 3 / 2."""
    places = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]])
    layout = np.array([[0.0, 0], [1, 0], [0, 1], [5, 0], [3, 1], [5, 1]])
    triangles, points = np.array([[0, 1, 2], [3, 5, 4]]), np.array([0, 1, 2, 1, 2, 3])
    mesh = replace(bare_mesh(places, triangles, points), uvs={"skin": layout})
    result = Stretch.on_texture(mesh, None, places, "skin")
    figures = result.worst(places[None], ALL)
    density = np.sqrt(3.0 / 2.0)
    assert figures.largest.values == pytest.approx([density])
    assert figures.smallest.values == pytest.approx([density / 2.0])


def test_a_layout_that_the_mesh_does_not_have() -> None:
    positions, triangles = tube(3, 8)
    with pytest.raises(KeyError):
        Stretch.on_texture(bare_mesh(positions, triangles), None, positions, "skin")


def test_the_area_of_a_flat_patch_under_affine_maps() -> None:
    """An affine map M of a plane makes every area |M e1 x M e2| times as large: the root of det(M^T M) over its two
    columns (linear algebra, numpy.linalg.det), however the patch is cut into triangles and weighed."""
    random = np.random.default_rng(21)
    flat = np.column_stack([random.uniform(-1, 1, (30, 2)), np.zeros(30)])
    triangles = random.permuted(np.tile(np.arange(30), (20, 1)), axis=1)[:, :3]
    maps = random.normal(size=(150, 3, 3))
    columns = maps[:, :, :2]
    factors = np.sqrt(np.linalg.det(columns.transpose(0, 2, 1) @ columns))
    frames = np.einsum("fij,vj->fvi", maps, flat) + 3.0
    for weights in (np.ones(30), random.uniform(0.0, 1.0, 30)):
        result = RegionArea.prepared(bare_mesh(flat, triangles), weights, flat)
        assert result.relative(frames).values == pytest.approx(factors - 1.0, rel=1e-9)


def test_areas_of_solids() -> None:
    for solid, true in ((sphere(200, 200), 4.0 * np.pi), (torus(300, 150), 4.0 * np.pi**2)):
        positions, triangles = solid
        result = RegionArea.prepared(bare_mesh(positions, triangles), np.ones(len(positions)), positions)
        assert result.rest == pytest.approx(true, rel=1e-3)
    positions, triangles = sphere(401, 200)
    half = RegionArea.prepared(bare_mesh(positions, triangles), np.full(len(positions), 0.5), positions)
    assert half.rest == pytest.approx(2.0 * np.pi, rel=1e-3)


def test_girth_of_a_swollen_tube() -> None:
    rest, triangles = tube(20, 300)
    mesh = bare_mesh(rest, triangles)
    result = Girth.prepared(mesh, np.ones(len(rest)), rest, np.array([0.0, -2, 0]), np.array([0.0, 2, 0]))
    assert result.rest == pytest.approx(2.0 * np.pi, rel=1e-3)
    assert result.relative((rest * (0.8, 3.0, 0.8))[None]).values[0] == pytest.approx(-0.2, abs=1e-9)


def test_distances_of_triangles_are_those_of_a_general_minimiser() -> None:
    """Against scipy.optimize.minimize over the two triangles' barycentric coordinates."""
    random = np.random.default_rng(3)
    a, b = random.normal(size=(2, 30, 3, 3))
    b += random.normal(scale=2.0, size=(30, 1, 3))
    limits = [
        {"type": "ineq", "fun": lambda s: 1.0 - s[0] - s[1]},
        {"type": "ineq", "fun": lambda s: 1.0 - s[2] - s[3]},
    ]
    for one, other, result in zip(a, b, distances(a, b), strict=True):

        def square(s: Floats, one: Floats = one, other: Floats = other) -> float:
            p = one[0] + s[0] * (one[1] - one[0]) + s[1] * (one[2] - one[0])
            q = other[0] + s[2] * (other[1] - other[0]) + s[3] * (other[2] - other[0])
            return float(((p - q) ** 2).sum())

        best = minimize(square, np.full(4, 0.3), bounds=[(0, 1)] * 4, constraints=limits, options={"ftol": 1e-14})
        assert result == pytest.approx(np.sqrt(max(best.fun, 0.0)), abs=2e-5)


def test_clearance_of_two_spheres() -> None:
    one, triangles = sphere(60, 60)
    positions = np.concatenate([one, one + np.array([3.0, 0.0, 0.0])])
    mesh = bare_mesh(positions, np.concatenate([triangles, triangles + len(one)]))
    first = (np.arange(len(positions)) < len(one)).astype(np.float64)
    result = Clearance.prepared(mesh, first, 1.0 - first, positions)
    moves = np.array([0.0, 5.0, -0.9, -1.5])
    frames = positions + moves[:, None, None] * (1.0 - first)[:, None] * (1.0, 0.0, 0.0)
    values = result.worst(frames, np.arange(len(frames))).values
    assert values == pytest.approx([1.0, 6.0, 0.1, 0.0], abs=5e-3)
    assert result.worst(frames, np.array([0, 3])).frames.tolist() == [2, 3]


def _igl_pairs(positions: Floats, triangles: Integers) -> set[tuple[int, int]]:
    predicates = pytest.importorskip("igl.predicates", reason="libigl is not installed")
    pairs = predicates.find_self_intersections(np.ascontiguousarray(positions), triangles.astype(np.int64), False)[1]
    return {
        (int(min(i, j)), int(max(i, j)))
        for i, j in pairs
        if not set(triangles[i].tolist()) & set(triangles[j].tolist())
    }


def test_libigl_finds_no_crossing_of_a_crumpled_surface_that_is_missed() -> None:
    rest, triangles = bilateral(1500, 4)
    result = Crossing.prepared(bare_mesh(rest, triangles), rest)
    random = np.random.default_rng(5)
    folds = random.normal(scale=3.0, size=(12, 3, 3))
    bends = np.linspace(0.0, 0.6, 12)[:, None, None]
    frames = rest + bends * np.sin(np.einsum("fij,vj->fvi", folds, rest))
    pairs = result.of(frames)
    at_rest = _igl_pairs(rest, triangles)
    total = 0
    for frame, positions in enumerate(frames):
        own = {(int(i), int(j)) for i, j in pairs.triangles[pairs.frames == frame]}
        theirs = _igl_pairs(positions, triangles) - at_rest
        assert own == theirs
        total += len(theirs)
    assert total > 500


def test_clearance_equals_that_of_every_pair() -> None:
    """Against the distance of every pair of triangles, regions side by side on one surface."""
    rest, triangles = bilateral(300, 6)
    mesh = bare_mesh(rest, triangles)
    low, high = (rest[:, 1] < -0.3).astype(np.float64), (rest[:, 1] > -0.35).astype(np.float64)
    result = Clearance.prepared(mesh, low, high, rest)
    frames = np.stack([rest, rest * (1.0, 0.5, 1.0), rest * (0.2, 1.0, 1.0)])
    values = result.worst(frames, np.arange(len(frames))).values
    one, other = result.one.corner_vertices, result.other.corner_vertices
    i, j = (part.ravel() for part in np.indices((len(one), len(other))))
    apart = ~(one[i][:, :, None] == other[j][:, None, :]).any(axis=(1, 2))
    every = [distances(places[one[i[apart]]], places[other[j[apart]]]).min() for places in frames]
    assert values == pytest.approx(every, rel=1e-12)
