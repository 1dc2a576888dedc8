"""Mirroring and splitting of offsets."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plica.mesh.arrays import Integers, Offsets
from plica.mesh.mirror import ONE_SIDED, added, copy_partners, handing, mirrored, side_of
from plica.mesh.offsets import weighted
from plica.mesh.plane import MirrorPlane
from plica.mesh.side_weights import Halves, SideWeights, side_weights
from plica.mesh.symmetry import symmetry_map
from plica.skeleton.planes import NORMALS
from plica.skeleton.sides import AXES
from tests.support.meshes import bare_mesh, bilateral

SIZE = 60
sizes = st.floats(-1e3, 1e3, allow_subnormal=False).filter(lambda value: value == 0.0 or abs(value) > 1e-100)
vectors = st.tuples(sizes, sizes, sizes)
moves = st.dictionaries(st.integers(0, SIZE - 1), vectors)


def offsets_of(values: dict[int, tuple[float, float, float]], normals: bool = False) -> Offsets:
    indices = np.array(sorted(values), dtype=np.int64)
    rows = np.array([values[index] for index in sorted(values)]).reshape(-1, 3)
    return Offsets(indices, rows, rows[:, ::-1].copy() if normals else None)


def same(one: Offsets, other: Offsets) -> bool:
    """Equal bit for bit, signs of zeros included."""
    if (one.normals is None) != (other.normals is None) or not np.array_equal(one.indices, other.indices):
        return False
    pairs = [(one.offsets, other.offsets)]
    if one.normals is not None and other.normals is not None:
        pairs.append((one.normals, other.normals))
    return all(a.shape == b.shape and a.tobytes() == b.tobytes() for a, b in pairs)


def involution(seed: int) -> Integers:
    """Random partners: a third of the points on the seam, the others in pairs."""
    order = np.random.default_rng(seed).permutation(SIZE)
    partners = np.arange(SIZE)
    for one, other in order[: SIZE * 2 // 3].reshape(-1, 2):
        partners[one], partners[other] = other, one
    return partners


@given(moves, st.integers(0, 100), st.sampled_from([0, 1, 2]), st.booleans())
def test_mirrored_twice_is_not_at_all(
    values: dict[int, tuple[float, float, float]], seed: int, axis: int, normals: bool
) -> None:
    offsets, partners = offsets_of(values, normals), involution(seed)
    once = mirrored(offsets, partners, NORMALS[AXES[axis]])
    assert same(mirrored(once.offsets, partners, NORMALS[AXES[axis]]).offsets, offsets)
    assert once.without_partner == 0
    assert (np.diff(once.offsets.indices) > 0).all()


def test_a_reflection_turns_one_coordinate_round() -> None:
    offsets = Offsets(np.array([0, 2]), np.array([[1.0, 2, 3], [4, 5, 6]]), np.array([[0.0, 0, 1], [1, 0, 0]]))
    result = mirrored(offsets, np.array([3, 1, 2, 0]), NORMALS["x"])
    assert result.offsets.indices.tolist() == [2, 3]
    assert result.offsets.offsets.tolist() == [[-4, 5, 6], [-1, 2, 3]]
    assert result.offsets.normals is not None
    assert result.offsets.normals.tolist() == [[-1, 0, 0], [0, 0, 1]]
    assert mirrored(offsets, np.array([3, 1, 2, 0]), NORMALS["z"]).offsets.offsets.tolist() == [[4, 5, -6], [1, 2, -3]]


def test_what_has_no_partner_is_counted() -> None:
    offsets = Offsets(np.array([0, 1, 2]), np.array([[1.0, 0, 0], [3, 4, 0], [0, 1, 0]]))
    result = mirrored(offsets, np.array([3, -1, -1, 0]), NORMALS["x"])
    assert result.offsets.indices.tolist() == [3]
    assert (result.without_partner, result.largest_lost) == (2, 5.0)


@given(moves, st.integers(0, 100))
def test_left_and_right_of_a_split_sculpt_give_it_back_bit_for_bit(
    values: dict[int, tuple[float, float, float]], seed: int
) -> None:
    offsets = offsets_of(values, normals=True)
    left = np.random.default_rng(seed).choice([0.0, 0.5, 1.0], SIZE)
    sides = SideWeights(left, 1.0 - left)
    total = added(weighted(offsets, sides.left), weighted(offsets, sides.right), SIZE)
    assert same(total, offsets)


@given(moves, st.integers(0, 100))
def test_in_a_band_they_give_it_back_to_rounding(values: dict[int, tuple[float, float, float]], seed: int) -> None:
    offsets = offsets_of(values)
    x = np.random.default_rng(seed).uniform(-0.01, 0.01, SIZE)
    mesh = bare_mesh(np.stack([x, x, x], axis=1), np.zeros((0, 3), np.int64))
    sides = side_weights(mesh, Halves(NORMALS["x"], 0.0, 1.0), band=0.015)
    total = added(weighted(offsets, sides.left), weighted(offsets, sides.right), SIZE)
    assert np.array_equal(total.indices, offsets.indices)
    assert np.allclose(total.offsets, offsets.offsets, rtol=4e-16, atol=0.0)


X = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
PARTNERS = np.array([4, 3, 2, 1, 0])
ACROSS = partial(mirrored, partners=PARTNERS, normal=NORMALS["x"])
SIDES = SideWeights(np.array([0.0, 0, 0.5, 1, 1]), np.array([1.0, 1, 0.5, 0, 0]))


def lifting(*sizes_by_vertex: float) -> Offsets:
    rows = np.zeros((5, 3))
    rows[:, 1] = sizes_by_vertex
    moving = np.flatnonzero(rows[:, 1])
    return Offsets(moving, rows[moving])


@pytest.mark.parametrize(
    ("sculpt", "expected"),
    [
        (lifting(0, 0, 0, 0.01, 0.01), "left"),
        (lifting(0, 0, 0.01, 0.01, 0.01), "left"),
        (lifting(0.01, 0, 0, 0, 0), "right"),
        (lifting(0, 0.003, 0.004, 0.01, 0.01), "left"),  # runs out over the seam
        (lifting(0, 0.009, 0.01, 0.01, 0), "both"),
        (lifting(0.01, 0, 0, 0.011, 0), "both"),
        (lifting(0, 0, 0.01, 0, 0), "both"),
        (lifting(0, 0, 0, 0, 0), "both"),
        (lifting(0, 0.00009, 0, 0.00011, 0), "left"),  # above the threshold on the left alone
        (lifting(0, 0.00009, 0, 0.00009, 0), "both"),
    ],
)  # fmt: skip
def test_whose_side_a_sculpt_is(sculpt: Offsets, expected: str) -> None:
    result = handing(sculpt, SIDES, 1e-4)
    assert result.of == expected
    assert result.largest_seam == abs(sculpt.offsets[sculpt.indices == 2]).max(initial=0.0)
    swapped = {"left": "right", "right": "left", "both": "both"}
    assert handing(mirrored(sculpt, PARTNERS, NORMALS["x"]).offsets, SIDES, 1e-4).of == swapped[expected]


def test_the_decision_is_told_in_words() -> None:
    one = handing(lifting(0, 0.003, 0, 0.01, 0), SIDES)
    assert one.share == pytest.approx(0.3)
    assert one.share < ONE_SIDED
    assert one.sentence == (
        "it moves the left by up to 10 mm and the right by up to 3 mm, "
        "so it is the left side's and mirrored to the right"
    )
    both = handing(lifting(0.01, 0, 0, 0.01, 0), SIDES)
    assert both.sentence.endswith("so it is split between the sides")


def test_what_a_sculpt_means_for_each_side() -> None:
    sculpt = lifting(0, 0, 0.002, 0.01, 0.02)
    decided = handing(sculpt, SIDES)
    left = side_of(sculpt, "left", decided, SIDES, ACROSS).offsets
    right = side_of(sculpt, "right", decided, SIDES, ACROSS).offsets
    assert same(left, sculpt)
    assert same(right, mirrored(sculpt, PARTNERS, NORMALS["x"]).offsets)
    assert same(side_of(sculpt, "none", decided, SIDES, ACROSS).offsets, sculpt)
    both = lifting(0.01, 0.01, 0.01, 0.01, 0.012)
    decided = handing(both, SIDES)
    left, right = (side_of(both, side, decided, SIDES, ACROSS).offsets for side in ("left", "right"))
    assert left.indices.tolist() == [2, 3, 4]
    assert left.offsets[:, 1].tolist() == [0.005, 0.01, 0.012]
    assert same(added(left, right, 5), both)


def test_copies_take_their_images_from_copies() -> None:
    #        vertex: 0  1  2  3  4  5  6
    points = np.array([0, 1, 1, 2, 2, 3, 4])
    partners = np.array([3, 2, 1, 0, -1])
    assert copy_partners(points, partners).tolist() == [5, 3, 4, 1, 2, 0, -1]
    uneven = copy_partners(np.array([0, 0, 0, 1, 1]), np.array([1, 0]))
    assert uneven.tolist() == [3, 4, 4, 0, 1]


def test_with_the_symmetry_map_of_a_mesh_with_copies() -> None:
    positions, triangles = bilateral(400, 3)
    count = len(positions)
    doubled = bare_mesh(
        np.concatenate([positions, positions]),
        np.concatenate([triangles, triangles + count]),
        np.concatenate([np.arange(count), np.arange(count)]),
    )
    result = symmetry_map(doubled, MirrorPlane.across("x", 0.0), 1e-6)
    partners = copy_partners(doubled.points, result.partners)
    assert (partners >= 0).all()
    rows = np.random.default_rng(0).normal(size=(2 * count, 3))
    sculpt = Offsets(np.arange(2 * count), rows)
    image = mirrored(sculpt, partners, NORMALS["x"]).offsets
    assert np.allclose(doubled.positions[partners] * [-1, 1, 1], doubled.positions, atol=1e-9)
    assert same(mirrored(image, partners, NORMALS["x"]).offsets, sculpt)
