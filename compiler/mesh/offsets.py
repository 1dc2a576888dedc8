"""Offsets weighted, trimmed and measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.inbetweens import Inbetweens, coefficients
from plica.mesh.vertex_places import heaviest_joints
from plica.quantities import length
from plica.source import Span
from plica.values import Sided

INDEX_BYTES = 4
FAINT = 0.01  # share of a sculpt's largest move: what moves less is its fading edge
VECTOR_BYTES = 12  # three numbers in single precision


@dataclass(frozen=True)
class Loss:
    """What dropping short offsets lost: how many, and the largest and the root mean square of their lengths
    (metres).
    """

    count: int
    largest: float
    rms: float


@dataclass(frozen=True)
class Size:
    """What a shape weighs: vertices that move at any strength; bytes as an offsets file in single precision
    holds it before compression; the largest move (metres), at which vertex (None: nothing moves), and the
    joint that holds most of its skin there (None: it has no skin weights). `sided`: whether its sculpt shows one side
    or both; None for a shape without sides.
    """

    vertices: int
    bytes: int
    largest: float
    vertex: int | None
    joint: str | None
    sided: Sided | None = None


def lengths(vectors: Floats) -> Floats:
    """The lengths (n,) of vectors (n, 3)."""
    return np.asarray(np.linalg.norm(vectors, axis=1))


def largest_of(vectors: Floats) -> float:
    """The length of the longest of vectors (n, 3); 0 for none."""
    return float(lengths(vectors).max(initial=0.0))


def chosen(offsets: Offsets, keep: NDArray[np.bool_]) -> Offsets:
    """The offsets that `keep` (n,) marks."""
    normals = None if offsets.normals is None else offsets.normals[keep]
    return Offsets(offsets.indices[keep], offsets.offsets[keep], normals)


def weighted(offsets: Offsets, weights: Floats) -> Offsets:
    """Offsets and their normals times the weights (v,) of all vertices; a weight of 0 takes a vertex out."""
    own = weights[offsets.indices]
    kept, factor = chosen(offsets, own != 0.0), own[own != 0.0, None]
    normals = None if kept.normals is None else kept.normals * factor
    return Offsets(kept.indices, kept.offsets * factor, normals)


def summed(parts: Sequence[tuple[Offsets, float]], vertex_count: int) -> Offsets:
    """Offsets added up, each so many times; without normals."""
    total = np.zeros((vertex_count, 3))
    moving = np.zeros(vertex_count, dtype=np.bool_)
    for offsets, times in parts:
        total[offsets.indices] += times * offsets.offsets
        moving[offsets.indices] = True
    indices = np.flatnonzero(moving)
    return Offsets(indices, total[indices])


def at_strength(shape: Inbetweens, strength: float, vertex_count: int) -> Offsets:
    """What a shape with its inbetweens adds at a strength."""
    amounts = coefficients(shape.at, np.array([strength]))[0].tolist()
    parts = zip(shape.columns, amounts, strict=True)
    return summed([(column, amount) for column, amount in parts if amount], vertex_count)


def trimmed(offsets: Offsets, threshold: float) -> tuple[Offsets, Loss]:
    """Without the offsets shorter than `threshold` (metres) and those of length 0, and what that lost.

    A vertex of length 0 stays if its normal changes and the threshold is 0. Dropping a length of 0 is no
    loss.
    """
    sizes = lengths(offsets.offsets)
    moves = sizes > 0.0
    if offsets.normals is not None and threshold == 0.0:
        moves |= (offsets.normals != 0.0).any(axis=1)
    keep = moves & (sizes >= threshold)
    lost = sizes[~keep & (sizes > 0.0)]
    rms = float(np.sqrt(np.mean(lost * lost))) if len(lost) else 0.0
    return chosen(offsets, keep), Loss(len(lost), float(lost.max(initial=0.0)), rms)


def report_loss(diagnostics: Diagnostics, span: Span | None, shape: str, loss: Loss) -> None:
    """Says what dropping short offsets of a shape lost, if anything."""
    if loss.count:
        largest, rms = length(loss.largest), length(loss.rms)
        diagnostics.add("offsets-dropped", span, shape=shape, count=loss.count, largest=largest, rms=rms)


def report_unpaired(
    diagnostics: Diagnostics, span: Span | None, shape: str, count: int, largest: float, of: float
) -> None:
    """Says how many moved vertices of a mirrored sculpt have no partner, if any.

    largest: metres that one of them moves at most; of: that any of the sculpt's does. More than `FAINT` of that is part
    of the shape, and an error.
    """
    if count:
        name = "mirrored-shape-lost" if largest > FAINT * of else "mirrored-without-partner"
        diagnostics.add(name, span, shape=shape, count=count, largest=length(largest), of=length(of))


def size_of(shape: Inbetweens, mesh: Mesh, joints: Sequence[str]) -> Size:
    """What a shape with its inbetweens weighs. `joints` are the names of the rig's joints, in its order."""
    parts = shape.columns
    moving = np.unique(np.concatenate([part.indices for part in parts]))
    stored = sum(part.count * (INDEX_BYTES + VECTOR_BYTES * (1 if part.normals is None else 2)) for part in parts)
    largest, vertex = 0.0, None
    for part in parts:
        sizes = lengths(part.offsets)
        if len(sizes) and sizes.max() > largest:
            largest, vertex = float(sizes.max()), int(part.indices[sizes.argmax()])
    carrier = -1 if vertex is None else int(heaviest_joints(mesh)[vertex])
    return Size(len(moving), stored, largest, vertex, None if carrier < 0 else joints[carrier], shape.sided)
