"""Side weights: a partition of unity, 0.5 on the seam, any plane."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plica.mesh.plane import MirrorPlane
from plica.mesh.side_weights import Halves, halves_of, side_weights
from plica.rig.rig import Character, Rig, Symmetry
from plica.skeleton.planes import NORMALS, Plane
from plica.skeleton.sides import AXES
from tests.support.joints import rig_joint
from tests.support.meshes import bare_mesh

NO_TRIANGLES = np.zeros((0, 3), np.int64)
coordinates = st.lists(
    st.floats(-1e6, 1e6) | st.floats(-0.02, 0.02) | st.sampled_from([0.0, -0.0, 0.25, -0.005, 0.005]), min_size=1
)


@given(coordinates, st.sampled_from([0, 1, 2]), st.sampled_from([0.0, 0.01, 1e-9, 3.0]), st.sampled_from([1.0, -1.0]))
def test_sides_add_up_to_1_everywhere(values: list[float], axis: int, band: float, left: float) -> None:
    positions = np.zeros((len(values), 3))
    positions[:, axis] = values
    mesh = bare_mesh(positions, NO_TRIANGLES)
    sides = side_weights(mesh, Halves(NORMALS[AXES[axis]], 0.0, left), band=band)
    total = sides.left + sides.right
    assert (np.abs(total - 1.0) <= np.spacing(1.0)).all()
    plain = np.isin(sides.left, [0.0, 0.5, 1.0])
    assert np.array_equal(total[plain], np.ones(int(plain.sum())))
    if band == 0.0:
        assert plain.all()
    assert np.array_equal(sides.of("none"), np.ones(len(values)))
    # The other way round is the other side, bit for bit.
    other = side_weights(bare_mesh(-positions, NO_TRIANGLES), Halves(NORMALS[AXES[axis]], 0.0, left), band=band)
    assert np.array_equal(other.left, sides.right)


def test_points_on_the_seam_carry_half_for_each_side() -> None:
    """Common practice, no source."""
    positions = np.array([[0.25, 9.0, 9.0], [0.2500001, 0, 0], [0.3, 0, 0], [0.2, 0, 0]])
    mesh = bare_mesh(positions, NO_TRIANGLES)
    sides = side_weights(mesh, Halves(NORMALS["x"], 0.25, 1.0), tolerance=1e-6)
    assert sides.left.tolist() == [0.5, 0.5, 1.0, 0.0]
    assert sides.right.tolist() == [0.5, 0.5, 0.0, 1.0]
    marked = side_weights(mesh, Halves(NORMALS["x"], 0.25, 1.0), seam=np.array([True, False, False, True]))
    assert marked.left.tolist() == [0.5, 1.0, 1.0, 0.5]


def test_the_band_is_as_wide_as_stated() -> None:
    x = np.array([-0.006, -0.005, -0.004, -0.0025, 0.0, 0.0025, 0.005, 0.006])
    mesh = bare_mesh(np.stack([x, x, x], axis=1), NO_TRIANGLES)
    left = side_weights(mesh, Halves(NORMALS["x"], 0.0, 1.0), band=0.01).left
    assert left[[0, 1, 4, 6, 7]].tolist() == [0.0, 0.0, 0.5, 1.0, 1.0]
    # Hermite's cubic 3 t^2 - 2 t^3 at a quarter and three quarters, worked out by hand: 5/32 and 27/32.
    assert left[[3, 5]] == pytest.approx([5 / 32, 27 / 32], abs=1e-15)
    assert 0.0 < left[2] < left[3]


def test_copies_of_a_point_are_on_the_same_side() -> None:
    positions = np.array([[1e-7, 0, 0], [-1e-7, 0, 0], [1.0, 0, 0]])
    mesh = bare_mesh(positions, NO_TRIANGLES, np.array([0, 0, 1]))
    assert side_weights(mesh, Halves(NORMALS["x"], 0.0, 1.0)).left.tolist() == [1.0, 1.0, 1.0]


def rig_with(left: tuple[float, float, float], right: tuple[float, float, float], plane: Symmetry | None) -> Rig:
    still, even = (0.0, 0.0, 0.0, 1.0), (1.0, 1.0, 1.0)
    root = rig_joint("root", None, (0.0, 1.0, 0.5), still, even, "none", None, True)
    joints = (
        root,
        rig_joint("arm_l", "root", left, still, even, "left", "arm_r", True),
        rig_joint("arm_r", "root", right, still, even, "right", "arm_l", True),
    )
    return Rig(character=Character("one", "one", None, 1e-5), skeleton=joints, symmetry=plane)


def test_left_is_where_the_left_joints_are() -> None:
    facing_x = rig_with((0.0, 0.0, -0.3), (0.0, 0.0, 0.3), Symmetry.of(Plane.across("z", 0.5), False))
    assert halves_of(facing_x) == Halves(NORMALS["z"], 0.5, -1.0)
    usual = rig_with((0.3, 0.0, 0.0), (-0.3, 0.0, 0.0), Symmetry.of(Plane.across("x", 0.0), False))
    assert halves_of(usual) == Halves(NORMALS["x"], 0.0, 1.0)
    bare = usual._replace(skeleton=(), symmetry=Symmetry.of(Plane.across("x", 0.1), True))
    assert halves_of(bare) == Halves(NORMALS["x"], 0.1, 1.0)
    turned = rig_with((0.24, 0.0, -0.18), (-0.24, 0.0, 0.18), Symmetry.of(Plane((-0.8, 0.0, 0.6), 0.0), True))
    assert halves_of(turned) == Halves((-0.8, 0.0, 0.6), 0.0, -1.0)
    assert halves_of(usual._replace(symmetry=None)) is None
    assert halves_of(usual._replace(symmetry=None), MirrorPlane.across("x", 0.25)) == Halves(NORMALS["x"], 0.25, 1.0)


def test_heights_are_signed_distances_to_the_left() -> None:
    random = Random(3)
    positions = np.array([[random.uniform(-1, 1) for _ in range(3)] for _ in range(20)])
    assert np.allclose(Halves(NORMALS["y"], 0.2, -1.0).heights(positions), 0.2 - positions[:, 1])
