"""The demo's knuckle shapes: what they are there for."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from plica.specs.wren import otter, sculpts
from plica.specs.wren.model import wren
from plica.specs.wren.skinning import blended, skinned, turn
from tests.support.wren_files import archive

Array = NDArray[Any]


def test_the_inbetween_is_a_sculpt_of_its_own() -> None:
    """Taken off their poses, it is neither half of the whole nor the share that the whole has at its strength."""
    model, rest = wren(), {}
    for name, degrees in (("index_knuckle", 80.0), ("index_knuckle_half", 40.0)):
        content = archive(f"sculpts/{name}.npz")
        matrices = blended(model, sculpts.finger_pose("index", degrees))[content["indices"], :3, :3]
        rest[name] = np.zeros((len(model.positions), 3))
        rest[name][content["indices"]] = np.linalg.solve(matrices, content["offsets"][:, :, None])[:, :, 0]
    whole, half = rest["index_knuckle"], rest["index_knuckle_half"]
    for share in (0.35, 0.5):
        assert np.linalg.norm(half - share * whole) > 0.1 * np.linalg.norm(whole)


def test_the_fist_is_drawn_less_with_its_knuckles_than_without() -> None:
    """The greatest stretch of the paw's triangles, by the singular values of each (numpy.linalg.svd)."""
    model = wren()
    fist = {joint: turn(("z", 80.0)) for joint in (f"{digit.name}_1_lf" for digit in otter.FINGERS)}
    offsets = np.zeros_like(model.positions)
    for digit in otter.FINGERS:
        content = archive(f"sculpts/{digit.name}_knuckle.npz")
        matrices = blended(model, sculpts.finger_pose(digit.name, 80.0))[content["indices"], :3, :3]
        offsets[content["indices"]] += np.linalg.solve(matrices, content["offsets"][:, :, None])[:, :, 0]
    bare = skinned(model, fist)
    shaped = bare + np.einsum("nij,nj->ni", blended(model, fist)[:, :3, :3], offsets)
    paw = [model.skeleton.number[f"{digit.name}_1_lf"] for digit in otter.FINGERS]
    paw.append(model.skeleton.number["paw_lf"])
    own = np.where(np.isin(model.joints, paw), model.weights, 0.0).sum(axis=1)
    triangles = model.triangles[own[model.triangles].mean(axis=1) > 0.5]
    most = [_greatest_stretch(model.positions, positions, triangles) for positions in (bare, shaped)]
    assert most[1] < 0.45 < most[0]


def _greatest_stretch(rest: Array, positions: Array, triangles: Array) -> float:
    """The largest singular value of the map of any triangle's plane, less 1."""
    before, after = (points[triangles[:, 1:]] - points[triangles[:, :1]] for points in (rest, positions))
    first = before[:, 0] / np.linalg.norm(before[:, 0], axis=1)[:, None]
    normal = np.cross(before[:, 0], before[:, 1])
    known = np.linalg.norm(normal, axis=1) > 0.0
    second = np.cross(normal[known], first[known])
    second /= np.linalg.norm(second, axis=1)[:, None]
    axes = np.stack([first[known], second], axis=2)
    flat = np.swapaxes(before[known] @ axes, 1, 2)
    maps = np.swapaxes(after[known], 1, 2) @ np.linalg.inv(flat)
    return float(np.linalg.svd(maps, compute_uv=False)[:, 0].max()) - 1.0
