"""Mirroring and splitting against a real face: ../shared/data/face/face_shapes.npz.

A neutral and 57 shapes as sparse offsets, 22 of them pairs of left and right (MIT, (c) 2020 USC Institute for Creative
Technologies). The model is not exactly symmetric: the data's README gives the pairs' measured root mean square
differences as 0.0003 to 0.055. Lengths in the file's unit.
"""

from __future__ import annotations

from functools import lru_cache, partial
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from plica.mesh.arrays import Mesh, Offsets
from plica.mesh.mirror import added, copy_partners, handing, mirrored, side_of
from plica.mesh.plane import MirrorPlane
from plica.mesh.side_weights import Halves, SideWeights, side_weights
from plica.mesh.symmetry import SymmetryMap, symmetry_map
from plica.skeleton.planes import NORMALS
from plica.values import Side
from tests.support.data import shared_data
from tests.support.meshes import bare_mesh

WORST = 0.055
TOLERANCE = 0.03
SIDES: tuple[Side, Side] = ("left", "right")
PAIRS = ["PupilDilate", "browDown", "browInnerUp", "browOuterUp", "cheekPuff", "cheekRaiser", "cheekSquint", "eyeBlink",
         "eyeLookDown", "eyeLookIn", "eyeLookOut", "eyeLookUp", "eyeSquint", "eyeWide", "mouthDimple", "mouthFrown",
         "mouthLowerDown", "mouthPress", "mouthSmile", "mouthStretch", "mouthUpperUp", "noseSneer"]  # fmt: skip


@lru_cache(maxsize=1)
def arrays() -> dict[str, NDArray[Any]]:
    with np.load(shared_data("face", "face_shapes.npz"), allow_pickle=False) as file:
        return {name: file[name] for name in file.files}


@lru_cache(maxsize=1)
def face() -> tuple[Mesh, SymmetryMap, SideWeights]:
    mesh = bare_mesh(arrays()["neutral"].astype(np.float64), arrays()["tri_v"].astype(np.int64))
    result = symmetry_map(mesh, MirrorPlane.across("x", 0.0), TOLERANCE)
    return mesh, result, side_weights(mesh, Halves(NORMALS["x"], 0.0, 1.0), result.vertex_seam)


def shape(name: str) -> Offsets:
    return Offsets(arrays()[f"idx_{name}"].astype(np.int64), arrays()[f"off_{name}"].astype(np.float64))


def dense(offsets: Offsets, count: int) -> NDArray[np.float64]:
    rows = np.zeros((count, 3))
    rows[offsets.indices] = offsets.offsets
    return rows


def test_there_are_22_pairs() -> None:
    names = arrays()["names"].tolist()
    assert sorted(PAIRS) == sorted(name[:-2] for name in names if name.endswith("_L"))
    assert len(PAIRS) == 22
    assert len(names) == 57


@pytest.mark.parametrize("name", PAIRS)
def test_the_mirrored_left_shape_is_the_right_one(name: str) -> None:
    mesh, symmetry, sides = face()
    left, right = shape(f"{name}_L"), shape(f"{name}_R")
    partners = copy_partners(mesh.points, symmetry.partners)
    decided = handing(left, sides)
    assert decided.of == "left"
    assert handing(right, sides).of == "right"
    image = side_of(left, "right", decided, sides, partial(mirrored, partners=partners, normal=NORMALS["x"]))
    assert image.without_partner <= 4
    paired = partners >= 0
    off = (dense(image.offsets, mesh.vertex_count) - dense(right, mesh.vertex_count))[paired]
    root_mean_square = np.sqrt(np.mean(np.sum(off**2, axis=1)))
    own = np.sqrt(np.mean(np.sum(dense(right, mesh.vertex_count) ** 2, axis=1)))
    # Small as a length (own is at most 0.26) and, which is harder, as a share of the shape.
    assert root_mean_square <= WORST
    assert root_mean_square <= WORST * own
    # The test would notice a wrong reflection or wrong partners.
    unmirrored = (dense(left, mesh.vertex_count) - dense(right, mesh.vertex_count))[paired]
    assert np.sum(off**2) < 0.01 * np.sum(unmirrored**2)


def test_every_shape_split_and_added_again_is_the_same_bit_for_bit() -> None:
    mesh, _, sides = face()
    assert set(np.unique(sides.left).tolist()) == {0.0, 0.5, 1.0}
    both = handing(shape("jawOpen"), sides)
    assert both.of == "both"
    untouched = np.full(mesh.vertex_count, -1)  # splitting asks for no partners
    for name in arrays()["names"].tolist():
        whole = shape(name)
        across = partial(mirrored, partners=untouched, normal=NORMALS["x"])
        left, right = (side_of(whole, side, both, sides, across).offsets for side in SIDES)
        assert left.count + right.count >= whole.count
        total = added(left, right, mesh.vertex_count)
        assert np.array_equal(total.indices, whole.indices), name
        assert np.array_equal(total.offsets, whole.offsets), name


def test_shapes_without_a_side_are_told_from_those_with_one() -> None:
    _, _, sides = face()
    middle = [name for name in arrays()["names"].tolist() if name[-2:] not in ("_L", "_R")]
    assert len(middle) == 13
    assert {handing(shape(name), sides).of for name in middle} == {"both"}
    assert min(handing(shape(name), sides).share for name in middle) > 0.7
    assert max(handing(shape(f"{name}_L"), sides).share for name in PAIRS) < 0.38


def test_mirrored_twice_is_the_shape_itself() -> None:
    mesh, symmetry, _ = face()
    partners = copy_partners(mesh.points, symmetry.partners)
    for name in arrays()["names"].tolist():
        offsets = shape(name)
        kept = partners[offsets.indices] >= 0
        once = mirrored(offsets, partners, NORMALS["x"])
        twice = mirrored(once.offsets, partners, NORMALS["x"]).offsets
        assert np.array_equal(twice.indices, offsets.indices[kept])
        assert np.array_equal(twice.offsets, offsets.offsets[kept])
