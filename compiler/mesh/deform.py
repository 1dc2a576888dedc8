"""The mesh over poses: shapes first, then joints, many frames at once in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import sparse

from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import Poses
from plica.mesh.arrays import Floats, Integers, Mesh, Offsets
from plica.mesh.inbetweens import Inbetweens, coefficients
from plica.mesh.joint_matrices import Kinematics
from plica.mesh.skinning import Blend, Rows, Skinning, cut, rows_between
from plica.mesh.sparse import SparseFloats
from plica.rig.rig import Rig
from plica.rig.strengths import Control
from plica.rig.surfaces import Morph
from plica.values import SkinningMethod

# Positions yielded at once.
BLOCK_BYTES = 64 << 20
# Vertices x frames that are worked on at once: a few arrays of so many numbers stay in a core's cache.
_CACHED = 1 << 14
_FRAMES = 64


@dataclass(frozen=True, eq=False)
class Motion:
    """What a mesh does: strengths (frames, shapes) in the order of `Deformer.shapes`, skins (frames, binds, 3, 4).

    `weights` (frames, morphs): those of the model's own morph targets, in the order of `Deformer.morphs`; None where
    all are 0.
    """

    strengths: Floats
    skins: Floats
    weights: Floats | None = None

    @property
    def frames(self) -> int:
        """The number of frames."""
        return len(self.skins)

    def without_shapes(self) -> Motion:
        """The same with every shape off; the model's own morph targets stay."""
        return Motion(np.zeros_like(self.strengths), self.skins, self.weights)

    def part(self, frames: slice) -> Motion:
        """Some of the frames."""
        weights = None if self.weights is None else self.weights[frames]
        return Motion(self.strengths[frames], self.skins[frames], weights)


def one_after_the_other(motions: Sequence[Motion]) -> Motion:
    """The frames of all of them."""
    rows = [motion.weights for motion in motions]
    width = max((row.shape[1] for row in rows if row is not None), default=0)
    filled = [np.zeros((one.frames, width)) if row is None else row for one, row in zip(motions, rows, strict=True)]
    return Motion(
        np.concatenate([motion.strengths for motion in motions]),
        np.concatenate([motion.skins for motion in motions]),
        np.concatenate(filled) if width else None,
    )


class PositionBlock(NamedTuple):
    """Some frames: the number of the first, and positions (frames, v, 3) in metres of model space.

    In memory the frames of one vertex lie side by side, so that measures go along them without turning anything round.
    """

    start: int
    positions: Floats


class Deformer:
    """A mesh with its shapes, ready to be posed.

    Strengths come from the rig; a shape that follows none stays off. `method` is how the character skins. `morphs`: the
    model's own morph targets that poses hold the weights of and no shape takes over; they move the skin as well.
    """

    def __init__(self, mesh: Mesh, rig: Rig, shapes: Mapping[str, Inbetweens]) -> None:
        """`shapes` by their names in the rig; those that are left out do nothing.

        Raises ValueError for a shape that the rig does not have, and where the rig refers to what it does not have.
        """
        self.mesh, self._rig = mesh, rig
        self.skinning = Skinning(mesh)
        self.method: SkinningMethod = rig.character.skinning
        self._kinematics = Kinematics(rig)
        self._evaluator = Evaluator(rig)
        own = own_morphs(rig, mesh)
        self.morphs, self._weights = tuple(own), tuple(own.values())
        self._places = mesh.positions
        self._take(shapes)

    def with_shapes(self, shapes: Mapping[str, Inbetweens]) -> Deformer:
        """The same with other shapes; what hangs on the rig alone is not made again. Raises ValueError as the first
        time, and for a part of the mesh."""
        if self._places is not self.mesh.positions:
            raise ValueError("a part of a mesh keeps its shapes")
        result = copy(self)
        result._take(shapes)
        return result

    def _take(self, shapes: Mapping[str, Inbetweens]) -> None:
        self.shapes, self._sources = tuple(shapes), tuple(shapes.values())
        self._columns = _followed(self._rig, self.shapes, self._evaluator.names)
        columns = [column for shape in self._sources for column in shape.columns]
        morphs = [self.mesh.morphs[name] for name in self.morphs]
        self._offsets = stacked([*columns, *morphs], self.mesh.vertex_count)
        self._cuts: dict[tuple[SkinningMethod, int], list[_Piece]] = {}

    def part(self, vertices: Integers) -> Deformer:
        """The same of these vertices (n,) alone, in their order: it takes the same motions, and `positions` and
        `offsets` are (frames, n, 3), with the same bits as those of the whole."""
        result = copy(self)
        result.skinning, result._places = self.skinning.part(vertices), self._places[vertices]
        rows = (vertices[:, np.newaxis] * 3 + np.arange(3)).reshape(-1)
        result._offsets = self._offsets[rows]
        result._cuts = {}
        return result

    def motion(self, poses: Poses) -> Motion:
        """Strengths and skin matrices. Raises ValueError for joints and controls that the rig does not have."""
        table = self._evaluator.strengths(poses)
        strengths = np.zeros((poses.frames, len(self.shapes)))
        for shape, column in enumerate(self._columns):
            if column is not None:
                strengths[:, shape] = table[:, column]
        return Motion(strengths, self._kinematics.skins(self.mesh, poses), self._weights_in(poses))

    def _weights_in(self, poses: Poses) -> Floats | None:
        """The weights of the model's own morph targets, (frames, morphs); None where all are 0."""
        columns = {name: column for column, name in enumerate(poses.control_names)}
        result = np.empty((poses.frames, len(self._weights)))
        for row, control in enumerate(self._weights):
            result[:, row] = poses.controls[:, columns[control.name]] if control.name in columns else control.rest
        return result if result.any() else None

    def positions(
        self, moving: Poses | Motion, method: SkinningMethod | None = None, block_bytes: int = BLOCK_BYTES
    ) -> Iterator[PositionBlock]:
        """The positions, as many frames at a time as `block_bytes` hold, at least one; each block is the caller's.

        `method`: another way to skin than the character's own.
        Raises ValueError for joints and controls that the rig does not have and for arrays of the wrong shape.
        """
        frames = moving.frames if isinstance(moving, Poses) else _checked(moving, self).frames
        size = max(1, block_bytes // max(1, 24 * len(self._places)))
        if size > _FRAMES:
            size -= size % _FRAMES  # a few frames left over would take nearly as long as many
        for start, stop in cut(frames, size):
            result = np.empty((3, len(self._places), stop - start))
            for first, last in cut(stop - start, _FRAMES):
                part = slice(start + first, start + last)
                self._fill(self._part(moving, part), method or self.method, result[:, :, first:last])
            yield PositionBlock(start, result.transpose(2, 1, 0))

    def offsets(self, motion: Motion) -> Floats:
        """What shapes and the model's own morph targets add to the neutral mesh, (frames, v, 3) metres."""
        result = np.asarray(self._offsets @ self._amounts(motion))
        return np.ascontiguousarray(result.reshape(-1, 3, motion.frames).transpose(2, 0, 1))

    def added(self, motion: Motion) -> Floats | None:
        """The same in the first frame, (v, 3); None where there are no shapes and no morph target is on."""
        return self.offsets(motion)[0] if self.shapes or motion.weights is not None else None

    def _part(self, moving: Poses | Motion, part: slice) -> Motion:
        if isinstance(moving, Motion):
            return moving.part(part)
        return self.motion(moving[part])

    def _fill(self, motion: Motion, method: SkinningMethod, result: Floats) -> None:
        amounts = self._amounts(motion)
        blend = self.skinning.blend(motion.skins, method)
        for piece in self._pieces(method, result.shape[2]):
            places = self._places[piece.start : piece.stop]
            _deform(places, piece, amounts, blend, result[:, piece.start : piece.stop])

    def _amounts(self, motion: Motion) -> Floats:
        """How much of each column of the stacked offsets, (columns, frames)."""
        parts = [coefficients(shape.at, motion.strengths[:, index]) for index, shape in enumerate(self._sources)]
        weights = np.zeros((motion.frames, len(self.morphs))) if motion.weights is None else motion.weights
        return np.ascontiguousarray(np.concatenate([*parts, weights], axis=1).T)

    def _pieces(self, method: SkinningMethod, frames: int) -> list[_Piece]:
        """The vertices, cut so that a piece in so many frames stays in the cache; kept, as every block has the same."""
        size = 1 << max(0, (_CACHED // frames).bit_length() - 1)
        if (method, size) not in self._cuts:
            self._cuts = {(method, size): [self._piece(method, *ends) for ends in cut(len(self._places), size)]}
        return self._cuts[method, size]

    def _piece(self, method: SkinningMethod, start: int, stop: int) -> _Piece:
        offsets = rows_between(self._offsets, 3 * start, 3 * stop)
        return _Piece(start, stop, self.skinning.rows(method, start, stop), offsets if offsets.nnz else None)


class _Piece(NamedTuple):
    """Some vertices: their weights, and what shapes move there."""

    start: int
    stop: int
    rows: Rows
    offsets: SparseFloats | None


def stacked(columns: Sequence[Offsets], vertices: int) -> SparseFloats:
    """Offsets as the columns of one matrix, (3 x vertices, columns); a vertex's x, y and z are rows of their own."""
    indices = [column.indices for column in columns]
    rows = np.concatenate([np.zeros(0, dtype=np.int64), *indices])[:, np.newaxis] * 3 + np.arange(3)
    numbers = np.repeat(np.arange(len(columns)), [3 * len(result) for result in indices])
    values = np.concatenate([np.zeros((0, 3)), *(column.offsets for column in columns)])
    return sparse.csr_array((values.reshape(-1), (rows.reshape(-1), numbers)), shape=(3 * vertices, len(columns)))


def _deform(places: Floats, piece: _Piece, amounts: Floats, blend: Blend, result: Floats) -> None:
    """Writes some vertices' positions, (3, vertices, frames)."""
    if piece.offsets is None:
        x, y, z = places.T[:, :, np.newaxis]
    else:
        shaped = np.asarray(piece.offsets @ amounts).reshape(len(places), 3, -1)
        shaped += places[:, :, np.newaxis]
        x, y, z = np.ascontiguousarray(shaped.transpose(1, 0, 2))
    blended = blend.blended(piece.rows)
    for axis in range(3):
        a, b, c, moved = blended.row(axis)
        a *= x
        b *= y
        c *= z
        moved += a
        moved += b
        np.add(moved, c, out=result[axis])


def own_morphs(rig: Rig, mesh: Mesh) -> dict[str, Control]:
    """The morph targets of the mesh that move the skin by the weights that poses hold, by name, with those controls.

    Those that a shape is made of are left out, as their weight is the strength that the shape follows, and those that
    are on at rest, as the stored vertices are the skin at rest.
    """
    shaped = {shape.source.name for shape in rig.shapes if isinstance(shape.source, Morph)}
    held = {one.morph: one for one in rig.controls if one.morph is not None and one.rest == 0.0}
    return {morph: one for morph, one in held.items() if morph in mesh.morphs and morph not in shaped}


def _followed(rig: Rig, shapes: Sequence[str], strengths: Sequence[str]) -> list[int | None]:
    """For each shape the column of the strength that it follows."""
    columns = {name: column for column, name in enumerate(strengths)}
    followed = {shape.name: shape.follows for shape in rig.shapes}
    result: list[int | None] = []
    for name in shapes:
        if name not in followed:
            raise ValueError(f"the rig has no shape {name}")
        strength = followed[name]
        if strength is not None and strength not in columns:
            raise ValueError(f"the rig has no strength {strength}, which {name} follows")
        result.append(None if strength is None else columns[strength])
    return result


def _checked(motion: Motion, deformer: Deformer) -> Motion:
    frames = len(motion.strengths)
    for name, values, shape in (
        ("strengths", motion.strengths, (frames, len(deformer.shapes))),
        ("skins", motion.skins, (frames, deformer.skinning.binds, 3, 4)),
        ("weights", motion.weights, (frames, len(deformer.morphs))),
    ):
        if values is not None and values.shape != shape:
            raise ValueError(f"{name} must have the shape {shape}, not {values.shape}")
    return motion
