"""What drafts are computed from and what comes out, against differences, closed forms and other libraries.

Sources: gradients by central differences; scipy's `Rotation.align_vectors`; libigl's as-rigid-as-possible solver
(`igl.arap_solve`, by elements); trimesh's volumes; libigl's `find_self_intersections` (exact predicates); the volume of
a prism over a regular polygon, n / 2 r^2 sin(2 pi / n) times its length.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse
from scipy.spatial.transform import Rotation

from plica.drafting.bending import Bending
from plica.drafting.best_rotation import best_rotations
from plica.drafting.contact import Contact
from plica.drafting.enclosed_volume import EnclosedVolume
from plica.drafting.equations import Equations, RankOne
from plica.drafting.patch import patch_of
from plica.drafting.problem import DraftSettings
from plica.drafting.solve import drafted
from plica.drafting.strain import StrainLimits, TriangleMaps
from plica.mesh.arrays import Floats, Integers
from tests.support.drafts import bent_character, bent_tube, tube
from tests.support.wren import skinned

RADIUS, LENGTH, AROUND = 0.5, 3.0, 8
NO_LIMITS = (StrainLimits(0.0, 1e9, 0.0),)
LIMITS = (StrainLimits(0.9, 1.1, 3.0), StrainLimits(0.8, 1.3, 20.0))


@pytest.fixture(scope="module")
def bar() -> tuple[Floats, Integers]:
    return tube(AROUND, 9, RADIUS, LENGTH)


def crumpled(places: Floats, size: float = 0.1) -> Floats:
    return np.asarray(places + np.random.default_rng(3).normal(scale=size, size=places.shape))


def check_gradient(energy: Callable[[Floats], tuple[float, Floats]], places: Floats) -> None:
    """Along random directions, against central differences."""
    _, gradient = energy(places)
    random = np.random.default_rng(4)
    for _ in range(4):
        direction = random.normal(size=places.shape)
        step = 1e-6
        slope = (energy(places + step * direction)[0] - energy(places - step * direction)[0]) / (2.0 * step)
        assert float((gradient * direction).sum()) == pytest.approx(slope, rel=1e-5)


def test_the_gradient_of_stretch_is_that_of_differences(bar: tuple[Floats, Integers]) -> None:
    maps = TriangleMaps.of(*bar)
    check_gradient(lambda places: maps.energy(places, LIMITS), crumpled(bar[0]))


def test_the_gradient_of_bending_is_that_of_differences(bar: tuple[Floats, Integers]) -> None:
    maps = TriangleMaps.of(*bar)
    bending = Bending.of(bar[0], maps.laplacian, np.linspace(0.5, 1.5, len(bar[0])))
    places = crumpled(bar[0])
    rotations = bending.rotations(places)
    assert np.allclose(np.linalg.det(rotations), 1.0)
    check_gradient(lambda moved: bending.energy_with(rotations, moved), places)
    turned = places @ rotations[0].T  # turning all of it costs nothing
    assert bending.energy(turned)[0] == pytest.approx(bending.energy(places)[0])


@pytest.mark.parametrize("thickness", [1.0, 0.1, 0.0])
def test_the_best_rotations_are_those_of_scipy(thickness: float) -> None:
    """Also where the turned vectors lie in a plane, as the edges around a point of a flat skin do."""
    random = np.random.default_rng(8)
    turns = Rotation.random(20, random_state=9)
    vectors = random.normal(size=(20, 6, 3)) * (1.0, 1.0, thickness)
    turned = np.einsum("nij,nkj->nki", turns.as_matrix(), vectors) + 0.1 * random.normal(size=vectors.shape)
    own = best_rotations(1e-5 * np.einsum("nki,nkj->nij", turned, vectors))
    for rotation, there, here in zip(own, turned, vectors, strict=True):
        assert np.allclose(rotation, Rotation.align_vectors(there, here)[0].as_matrix(), atol=1e-9)


def test_the_gradient_of_volume_is_that_of_differences_also_where_it_is_open(bar: tuple[Floats, Integers]) -> None:
    volume = EnclosedVolume.of(bar[1][:-AROUND], len(bar[0]))
    check_gradient(volume.of_positions, crumpled(bar[0]))


def test_the_gradient_of_contact_is_that_of_differences() -> None:
    pytest.importorskip("ipctk")
    problem = bent_tube(1.0, around=8, along=21)
    patch = patch_of(problem, DraftSettings())
    assert patch is not None
    contact = Contact.of(patch, None)
    places = patch.neutral.copy()
    places[:, 1] *= 0.06  # pressed flat, so that one side touches the other
    places[:, 2] += 0.3 * places[:, 1]
    held = np.setdiff1d(np.arange(len(places)), patch.moving)
    assert contact.touch(places).value > 0.0

    def energy(moved: Floats) -> tuple[float, Floats]:
        touch = contact.touch(moved)
        return touch.value, touch.gradient

    assert len(held) > 0
    check_gradient(energy, places)


def test_equations_are_solved_as_dense_ones_are(bar: tuple[Floats, Integers]) -> None:
    random = np.random.default_rng(5)
    constant = TriangleMaps.of(*bar).laplacian
    count = constant.shape[0]
    constant = (constant + 0.1 * constant @ constant + 0.1 * np.eye(count)).astype(np.float64)
    matrix = sparse.csr_array(constant)
    few = sparse.csr_array(sparse.random_array((5, 3 * count), density=0.02, random_state=6))
    touching = sparse.csr_array(100.0 * few.T @ few)
    right, vector, other = random.normal(size=(3, count, 3))
    for contact in (None, touching):
        whole = np.kron(matrix.toarray(), np.eye(3)) + 7.0 * np.outer(vector.ravel(), vector.ravel())
        whole += 3.0 * np.outer(other.ravel(), other.ravel())
        whole += 0.0 if contact is None else contact.toarray()
        expected = np.linalg.solve(whole, right.ravel()).reshape(-1, 3)
        result = Equations.of(matrix).solved(right, [RankOne(7.0, vector), RankOne(3.0, other)], contact)
        assert np.allclose(result, expected, atol=1e-9 * np.abs(expected).max())


def test_stretch_settles_as_libigl_has_it(bar: tuple[Floats, Integers]) -> None:
    """The same alternating steps from the same start: a bar with one end turned and moved, its ends held."""
    igl = pytest.importorskip("igl", reason="libigl is not installed")
    places, triangles = bar
    held = np.flatnonzero(np.abs(places[:, 0]) > 0.4 * LENGTH)
    free = np.setdiff1d(np.arange(len(places)), held)
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    start = places.copy()
    end = held[places[held, 0] > 0.0]
    start[end] = places[end] @ turn.T + (-0.4, 0.3, 0.2)
    maps = TriangleMaps.of(places, triangles)
    equations = Equations.of((2.0 * maps.laplacian)[free][:, free])
    own = start.copy()
    for steps in (1, 4):
        data = igl.ARAPData()
        data.energy = igl.ARAPEnergyType.ARAP_ENERGY_TYPE_ELEMENTS
        data.max_iter = steps
        igl.arap_precomputation(places, triangles, 3, held.astype(np.int32), data)
        theirs = igl.arap_solve(np.ascontiguousarray(start[held]), data, start.copy())
        own = start.copy()
        for _ in range(steps):
            gradient = maps.energy(own, NO_LIMITS)[1][free]
            own[free] -= equations.solved(gradient, ())
        assert np.allclose(own, theirs, atol=1e-6)
    assert np.abs(own - start).max() > 0.1


@pytest.mark.parametrize("contact", [False, True])
def test_a_bent_tube_keeps_the_volume_of_the_prism(contact: bool) -> None:
    trimesh = pytest.importorskip("trimesh")
    if contact:
        pytest.importorskip("ipctk")
    around, radius, length = 12, 0.04, 0.5
    problem = bent_tube(1.6, around=around, along=31, radius=radius, length=length)
    exact = 0.5 * around * radius**2 * np.sin(2.0 * np.pi / around) * length
    draft = drafted(problem, DraftSettings(contact=contact, inbetweens=0))
    before, after = (
        trimesh.Trimesh(positions, problem.triangles, process=False).volume
        for positions in (problem.skinned(1.0), draft.poses[-1].positions)
    )
    assert before < 0.99 * exact
    assert after == pytest.approx(exact, rel=0.002)


def test_other_libraries_find_what_the_figures_say_of_a_finger(tmp_path: Path) -> None:
    trimesh = pytest.importorskip("trimesh")
    pytest.importorskip("ipctk")
    predicates = pytest.importorskip("igl.predicates", reason="libigl is not installed")
    character = skinned("", tmp_path)
    problem = bent_character(character.rig, character.mesh, "index_2_lf", "z", -90.0)
    draft = drafted(problem, DraftSettings(inbetweens=0))
    assert draft.reached == 1.0
    bent, settled = problem.skinned(1.0), draft.poses[-1].positions

    triangles = problem.points[problem.triangles]
    used, first = np.unique(problem.points, return_index=True)
    assert np.array_equal(used, np.arange(len(used)))
    moves = np.zeros(len(used), bool)
    moves[problem.points[draft.moving]] = True
    drafted_triangles = moves[triangles].any(axis=1)

    def crossings(positions: Floats) -> set[tuple[int, int]]:
        places = np.ascontiguousarray(positions[first])
        pairs = predicates.find_self_intersections(places, triangles.astype(np.int64), False)[1]
        return {
            (min(i, j), max(i, j))
            for i, j in pairs.tolist()
            if not set(triangles[i].tolist()) & set(triangles[j].tolist())
            and (drafted_triangles[i] or drafted_triangles[j])
        }

    at_rest = crossings(problem.neutral)
    assert len(crossings(bent) - at_rest) == draft.before.crossings > 0
    assert crossings(settled) - at_rest == set()
    assert draft.after.crossings == 0

    # Only the drafted part differs, so all of the skin differs in volume by as much as it.
    part, _ = EnclosedVolume.of(triangles[drafted_triangles], len(used)).of_positions(problem.neutral[first])
    change = (draft.after.volume - draft.before.volume) * part
    volumes = [trimesh.Trimesh(places[first], triangles, process=False).volume for places in (bent, settled)]
    assert volumes[1] - volumes[0] == pytest.approx(change, rel=0.02)
