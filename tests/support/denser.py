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


def vertices_of(folder: Path) -> int:
    """How many vertices a demo has that `denser_demo` wrote."""
    [whole] = read_model(folder / "wren.glb").meshes[0].primitives
    return len(whole.positions)


def with_sculpts(folder: Path, spec: Path, count: int, vertices: int = 20_000) -> None:
    """Add sculpts of so many vertices anywhere on the left side of a demo that `denser_demo` wrote, for both sides;
    every second one was made over a bent elbow."""
    [whole] = read_model(folder / "wren.glb").meshes[0].primitives
    places, random = whole.positions, np.random.default_rng(1)
    left = np.flatnonzero(places[:, 0] > 0.01)
    lines = []
    for number in range(count):
        away = np.linalg.norm(places[left] - places[random.choice(left)], axis=1)
        held = np.sort(left[np.argpartition(away, vertices)[:vertices]])
        offsets = 0.002 * np.cos(40.0 * places[held]) + random.normal(0.0, 1e-4, (vertices, 3))
        arrays = {"vertex_count": np.array(len(places)), "indices": held.astype("<i4")}
        file = f"sculpts/many_{number}.npz"
        (folder / file).write_bytes(written({**arrays, "offsets": offsets.astype("<f4")}))
        pose = f"posed at elbow_bend {0.3 + 0.002 * number:.3f}" if number % 2 else ""
        lines.append(f'shape many_{number} both {{ sculpt "{file}" {pose}   one-sided   follows elbow_bend }}\n')
    with spec.open("a", encoding="utf-8") as file_of_spec:
        file_of_spec.writelines(lines)


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
