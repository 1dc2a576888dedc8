"""Pairs of triangles against two general geometry libraries.

Sources: libigl (`igl.predicates.find_self_intersections`, exact predicates), the Flexible Collision Library
(`fcl.collide`, python-fcl), and for degenerate triangles the linear programming of scipy. Pairs on a small grid of
whole numbers are often touching, coplanar or degenerate, and no rounding is in them.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from plica.measure.separating_axis import meeting
from plica.mesh.arrays import Floats
from tests.measure.test_separating import BASE, CASES

MADE_BY_HAND = [(np.array(BASE), np.array(other, np.float64)) for other, _ in CASES.values()]


def grid_pairs(count: int, seed: int, size: int) -> list[tuple[Floats, Floats]]:
    """Triangles with corners on a grid of `size` whole numbers each way."""
    corners = np.random.default_rng(seed).integers(0, size, size=(count, 2, 3, 3)).astype(np.float64)
    return [(one, other) for one, other in corners]


def ours(pairs: list[tuple[Floats, Floats]]) -> list[bool]:
    result = meeting(np.stack([one for one, _ in pairs]), np.stack([other for _, other in pairs]))
    return [bool(one) for one in result]


def is_degenerate(pair: tuple[Floats, Floats]) -> bool:
    """Whether one of them has no area."""
    return any(not np.cross(corners[1] - corners[0], corners[2] - corners[0]).any() for corners in pair)


def by_linear_programming(one: Floats, other: Floats) -> bool:
    """Whether some place has barycentric weights in both (scipy.optimize.linprog, the HiGHS solver)."""
    equal = np.zeros((5, 6))
    equal[:3, :3], equal[:3, 3:] = one.T, -other.T
    equal[3, :3], equal[4, 3:] = 1.0, 1.0
    result = linprog(np.zeros(6), A_eq=equal, b_eq=[0.0, 0.0, 0.0, 1.0, 1.0], bounds=(0.0, None))
    return bool(result.status == 0)


def by_fcl(one: Floats, other: Floats) -> bool:
    fcl = pytest.importorskip("fcl", reason="python-fcl is not installed")
    bodies = []
    for triangle in (one, other):
        model = fcl.BVHModel()
        model.beginModel(3, 1)
        model.addSubModel(triangle, np.array([[0, 1, 2]]))
        model.endModel()
        bodies.append(fcl.CollisionObject(model))
    result = fcl.CollisionResult()
    fcl.collide(*bodies, fcl.CollisionRequest(), result)
    return bool(result.is_collision)


def by_igl(pairs: list[tuple[Floats, Floats]]) -> list[bool]:
    """All pairs at once, each far from the others."""
    predicates = pytest.importorskip("igl.predicates", reason="libigl is not installed")
    shift = np.arange(len(pairs))[:, None, None, None] * np.array([64.0, 0.0, 0.0])
    corners = np.array(pairs) + shift
    triangles = np.arange(6 * len(pairs), dtype=np.int64).reshape(-1, 3)
    met = predicates.find_self_intersections(np.ascontiguousarray(corners.reshape(-1, 3)), triangles, False)[1]
    result = np.zeros(len(pairs), dtype=bool)
    for one, other in met:
        assert one // 2 == other // 2
        result[one // 2] = True
    return [bool(one) for one in result]


def test_pairs_made_by_hand_are_what_both_libraries_say() -> None:
    """Through, above, touching at corners and edges, coplanar, and triangles that are segments or points."""
    result = ours(MADE_BY_HAND)
    assert result == by_igl(MADE_BY_HAND)
    assert result == [by_fcl(*pair) for pair in MADE_BY_HAND]


@pytest.mark.parametrize("size", [2, 3, 5])
def test_pairs_on_a_grid_are_what_libigl_says(size: int) -> None:
    pairs = [pair for pair in grid_pairs(4000, size, size) if not is_degenerate(pair)]
    result = ours(pairs)
    assert result == by_igl(pairs)
    assert 0.1 * len(pairs) < sum(result) < len(pairs)  # both answers come up


def test_pairs_in_one_plane_are_what_libigl_says() -> None:
    flat = [(one * (1, 1, 0), other * (1, 1, 0)) for one, other in grid_pairs(3000, 7, 4)]
    pairs = [pair for pair in flat if not is_degenerate(pair)]
    result = ours(pairs)
    assert result == by_igl(pairs)
    assert 0.1 * len(pairs) < sum(result) < len(pairs)


@pytest.mark.parametrize("size", [2, 3, 5])
def test_degenerate_pairs_are_what_linear_programming_says(size: int) -> None:
    """Segments and points; libigl takes them for triangles and finds pairs that are apart, so it is not asked here."""
    pairs = [pair for pair in grid_pairs(4000, size, size) if is_degenerate(pair)][:150]
    result = ours(pairs)
    assert result == [by_linear_programming(*pair) for pair in pairs]
    assert len(pairs) > 20 and 0 < sum(result) < len(pairs)


def test_random_pairs_are_what_fcl_says() -> None:
    random = np.random.default_rng(11)
    pairs = [(one, other) for one, other in random.normal(size=(1000, 2, 3, 3))]
    assert ours(pairs) == [by_fcl(*pair) for pair in pairs]
