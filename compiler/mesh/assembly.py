"""Pieces that a file's reader found, put together to one Mesh: weights put right, binds merged, copies welded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from plica.mesh.arrays import Floats, Integers, Mesh, MeshPart, Offsets
from plica.mesh.weld import weld, weld_borders
from plica.readers.gltf_shown import Shown
from plica.readers.json_fields import LARGEST_NUMBER
from plica.readers.model_outline import UnreadableModel

# glTF 2.0 section 3.7.3.3: how far the sum of a vertex's weights may be from 1, for each weight that is not zero.
SUM_TOLERANCE = 2e-7
# Borders of meshes meet within this share of the body's size; files in single precision round off a tenth of it.
MEETING = 1e-6


@dataclass(frozen=True, eq=False)
class Morphed:
    """What a morph target adds to a piece: (n, 3) each."""

    offsets: Floats
    normals: Floats | None


@dataclass(frozen=True, eq=False)
class Binding:
    """How a piece hangs on the skeleton.

    joints (n, k) index `bind_joints` (b,), which index the skeleton; inverse_binds (b, 4, 4); weights (n, k).
    """

    joints: Integers
    weights: Floats
    bind_joints: Integers
    inverse_binds: Floats


@dataclass(frozen=True, eq=False)
class MeshPiece:
    """Primitives that share their vertices, as they stood when the skin was bound, in model space and in metres.

    `shown` numbers the meshes as the file shows them; `node`, `points`, `to_model` and `in_gltf` as in MeshPart.
    """

    mesh: str
    node: str | None
    primitives: tuple[int, ...]
    shown: int
    positions: Floats
    triangles: Integers
    normals: Floats | None
    uvs: Mapping[str, Floats]
    binding: Binding
    morphs: Mapping[str, Morphed]
    points: Integers | None = None
    to_model: Floats = field(default_factory=lambda: np.eye(4))
    in_gltf: Shown | None = None


def put_together(pieces: Sequence[MeshPiece], problems: Sequence[str]) -> Mesh:
    """The pieces one after the other, as one mesh. Raises UnreadableModel where there is nothing usable."""
    if not pieces or not any(len(piece.positions) for piece in pieces):
        raise UnreadableModel("its meshes hold no vertices")
    counts = [len(piece.positions) for piece in pieces]
    starts = [0, *np.cumsum(counts)[:-1].tolist()]
    result = list(problems)
    joints, weights, bind_joints, inverse_binds = _bindings([piece.binding for piece in pieces])
    positions = _checked(np.concatenate([piece.positions for piece in pieces]))
    morphs = _morphs(pieces, starts)
    shown = np.repeat([piece.shown for piece in pieces], counts)
    triangles = np.concatenate([piece.triangles + start for piece, start in zip(pieces, starts, strict=True)])
    points = weld(positions, shown, joints, weights, morphs)
    meeting = MEETING * float(np.ptp(positions, axis=0).max())
    return Mesh(
        positions=positions,
        triangles=triangles,
        normals=_normals(pieces, result),
        uvs=_uvs(pieces),
        points=weld_borders(points, positions, triangles, shown, joints, weights, morphs, meeting),
        joints=joints,
        weights=weights,
        bind_joints=bind_joints,
        inverse_binds=inverse_binds,
        morphs=morphs,
        parts=tuple(_part(piece, start, count) for piece, start, count in zip(pieces, starts, counts, strict=True)),
        problems=tuple(dict.fromkeys(result)),
    )


def _part(piece: MeshPiece, start: int, count: int) -> MeshPart:
    places = (piece.points, piece.to_model, piece.in_gltf)
    return MeshPart(piece.mesh, piece.node, piece.primitives, start, count, *places)


def put_right(joints: Integers, weights: Floats, root: int, mesh: str, problems: list[str]) -> tuple[Integers, Floats]:
    """Influences that are not negative and add up to 1, the heaviest first, no more columns than needed.

    joints, weights (n, k); a vertex without any weight is given to `root`. What was wrong by more than the tolerance
    of glTF 2.0 section 3.7.3.3 is told in `problems`.
    """
    negative = weights < 0.0
    if negative.any():
        problems.append(f"{_vertices(int(negative.any(axis=1).sum()))} of `{mesh}` with negative weights; taken as 0")
        weights = np.where(negative, 0.0, weights)
    sums = weights.sum(axis=1)
    used = (weights > 0.0).sum(axis=1)
    nothing = sums <= 0.0
    off = ~nothing & (np.abs(sums - 1.0) > SUM_TOLERANCE * used)
    if off.any():
        worst = sums[off][np.argmax(np.abs(sums[off] - 1.0))]
        problems.append(
            f"{_vertices(int(off.sum()))} of `{mesh}` whose weights do not add up to 1 (furthest off: {worst:.6g}); "
            "they are scaled so that they do"
        )
    if not weights.shape[1]:
        joints, weights = np.zeros((len(weights), 1), np.int64), np.zeros((len(weights), 1))
    weights = weights / np.where(nothing, 1.0, sums)[:, None]
    if nothing.any():
        where = f"the first is vertex {int(nothing.argmax())} of it"
        problems.append(
            f"{_vertices(int(nothing.sum()))} of `{mesh}` without any weight ({where}); the skin's root carries them"
        )
        joints, weights = joints.copy(), weights.copy()
        joints[nothing, 0], weights[nothing, 0] = root, 1.0
    joints = np.where(weights > 0.0, joints, 0)
    order = np.lexsort((joints, -weights), axis=-1)
    width = max(int(used.max(initial=1)), 1)
    return (
        np.take_along_axis(joints, order, axis=1)[:, :width],
        np.take_along_axis(weights, order, axis=1)[:, :width],
    )


def _vertices(count: int) -> str:
    return "1 vertex" if count == 1 else f"{count} vertices"


def _checked(positions: Floats) -> Floats:
    if not np.all(np.abs(positions) <= LARGEST_NUMBER):  # also false for what is no number
        raise UnreadableModel("its vertices lie where no usable number reaches")
    return positions


def _bindings(bindings: Sequence[Binding]) -> tuple[Integers, Floats, Integers, Floats]:
    """All influences over one list of binds; binds of the same joint and matrix are one."""
    numbers: dict[tuple[int, bytes], int] = {}
    matrices: list[Floats] = []
    width = max(binding.joints.shape[1] for binding in bindings)
    joints, weights = [], []
    for binding in bindings:
        renumbered = np.zeros(max(len(binding.bind_joints), 1), np.int64)
        carrying = np.unique(binding.joints[binding.weights > 0.0])
        for row in carrying.tolist():
            matrix = np.ascontiguousarray(binding.inverse_binds[row]) + 0.0  # no negative zeros
            key = (int(binding.bind_joints[row]), matrix.tobytes())
            if key not in numbers:
                numbers[key] = len(matrices)
                matrices.append(matrix)
            renumbered[row] = numbers[key]
        missing = ((0, 0), (0, width - binding.joints.shape[1]))
        own = np.where(binding.weights > 0.0, renumbered[binding.joints], 0)
        joints.append(np.pad(own, missing))
        weights.append(np.pad(binding.weights, missing))
    return (
        np.concatenate(joints),
        np.concatenate(weights),
        np.array([joint for joint, _ in numbers], dtype=np.int64),
        np.array(matrices, dtype=np.float64).reshape(-1, 4, 4),
    )


def _normals(pieces: Sequence[MeshPiece], problems: list[str]) -> Floats | None:
    given = [piece.normals for piece in pieces if piece.normals is not None]
    if len(given) == len(pieces):
        return np.concatenate(given)
    if given:
        without = next(piece.mesh for piece in pieces if piece.normals is None)
        problems.append(f"`{without}` has no normals, so those of the other meshes are not used")
    return None


def _uvs(pieces: Sequence[MeshPiece]) -> dict[str, Floats]:
    names = sorted({name for piece in pieces for name in piece.uvs})
    return {
        name: np.concatenate(
            [piece.uvs[name] if name in piece.uvs else np.full((len(piece.positions), 2), np.nan) for piece in pieces]
        )
        for name in names
    }


def _morphs(pieces: Sequence[MeshPiece], starts: Sequence[int]) -> dict[str, Offsets]:
    """The morph targets by name; those of the same name in several pieces are one."""
    names = dict.fromkeys(name for piece in pieces for name in piece.morphs)
    return {
        name: _offsets(
            [(piece.morphs[name], start) for piece, start in zip(pieces, starts, strict=True) if name in piece.morphs]
        )
        for name in names
    }


def _offsets(parts: Sequence[tuple[Morphed, int]]) -> Offsets:
    """What moves, without the vertices that stay."""
    indices, offsets, normals = [], [], []
    for morphed, start in parts:
        turned = np.zeros_like(morphed.offsets) if morphed.normals is None else morphed.normals
        moving = np.flatnonzero(np.any(morphed.offsets != 0.0, axis=1) | np.any(turned != 0.0, axis=1))
        indices.append(moving + start)
        offsets.append(morphed.offsets[moving])
        normals.append(turned[moving])
    turns = any(morphed.normals is not None for morphed, _ in parts)
    return Offsets(np.concatenate(indices), np.concatenate(offsets), np.concatenate(normals) if turns else None)
