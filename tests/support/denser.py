"""The demo with a denser skin: every triangle cut into four, as often as asked for, with sculpts to match."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from plica.demo import demo_files
from plica.diagnostics import Diagnostics
from plica.emit.writer import write
from plica.mesh.arrays import Floats, Integers
from plica.mesh.npz import written
from plica.mesh.npz_offsets import read_npz_offsets
from plica.mesh.weld import edges_of
from tests.variants.model_file import Primitive, read_model, write_model


def denser_demo(folder: Path, cuts: int) -> Path:
    """Write the demo into a folder and give its spec; each cut makes four triangles of one (of 44,416 at first)."""
    write(demo_files(), folder, Diagnostics())
    model = read_model(folder / "wren.glb")
    [whole] = model.meshes[0].primitives
    sculpts = {path: _full(path) for path in sorted((folder / "sculpts").glob("*.npz"))}
    for _ in range(cuts):
        ends = edges_of(whole.triangles)
        whole = _cut(whole, ends)
        sculpts = {path: _between(offsets, ends) for path, offsets in sculpts.items()}
    model.meshes[0].primitives[0] = whole
    write_model(model, folder / "wren.glb")
    for path, offsets in sculpts.items():
        held = np.flatnonzero(np.abs(offsets).max(axis=1) > 1e-6)
        arrays = {"vertex_count": np.array(len(offsets)), "indices": held.astype("<i4")}
        path.write_bytes(written({**arrays, "offsets": offsets[held].astype("<f4")}))
    return folder / "wren.plica"


def _full(path: Path) -> Floats:
    stored = read_npz_offsets(path)
    result = np.zeros((stored.vertex_count, 3))
    result[stored.offsets.indices] = stored.offsets.offsets
    return result


def _between(values: Floats, ends: Integers) -> Floats:
    """The values of the vertices, then those in the middle of each edge."""
    return np.concatenate([values, values[ends].mean(axis=1)])


def _cut(old: Primitive, ends: Integers) -> Primitive:
    """A vertex in the middle of each edge, with the four heaviest of its ends' joints."""
    corners = old.triangles
    keys = ends[:, 0].astype(np.int64) * len(old.positions) + ends[:, 1]
    edges = np.sort(np.stack([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]], axis=1), axis=2)
    a, b, c = corners.T
    x, y, z = (np.searchsorted(keys, edges[..., 0] * len(old.positions) + edges[..., 1]) + len(old.positions)).T
    joints, weights = _weights(old, ends)
    return replace(
        old,
        positions=_between(old.positions, ends),
        normals=None,
        uvs=None if old.uvs is None else _between(old.uvs, ends),
        triangles=np.concatenate([np.stack(each, axis=1) for each in ((a, x, z), (x, b, y), (z, y, c), (x, y, z))]),
        joints=joints,
        weights=weights,
        source=np.concatenate([old.source, old.source[ends[:, 0]]]),
    )


def _weights(old: Primitive, ends: Integers) -> tuple[Integers, Floats]:
    """Joints and weights (v + edges, 4)."""
    full = np.zeros((len(old.positions), int(old.joints.max()) + 1))
    np.add.at(full, (np.arange(len(full))[:, np.newaxis], old.joints), old.weights)
    mixed = full[ends].mean(axis=1)
    heaviest = np.argsort(-mixed, axis=1, kind="stable")[:, : old.joints.shape[1]]
    held = np.take_along_axis(mixed, heaviest, axis=1)
    held /= held.sum(axis=1, keepdims=True)
    return np.concatenate([old.joints, heaviest]), np.concatenate([old.weights, held])
