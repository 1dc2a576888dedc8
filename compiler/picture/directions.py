"""Small helpers of pictures: directions, soft transitions, and round lengths."""

from __future__ import annotations

from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats: TypeAlias = NDArray[np.float64]
Singles: TypeAlias = NDArray[np.float32]
"""Of single precision: what is computed for each pixel, in half the time."""
Precision = TypeVar("Precision", Floats, Singles)
Integers: TypeAlias = NDArray[np.int64]


def unit(vector: ArrayLike) -> Floats:
    """Vectors of shape (..., 3) scaled to length 1; a zero vector stays zero."""
    values = np.asarray(vector, dtype=np.float64)
    length = np.linalg.norm(values, axis=-1, keepdims=True)
    return values / np.where(length > 0.0, length, 1.0)


def unit_rows(vectors: Singles) -> Singles:
    """Vectors (n, 3) scaled to length 1; null vectors stay null."""
    lengths = np.sqrt(np.einsum("nc,nc->n", vectors, vectors))
    lengths[lengths == 0.0] = 1.0
    return np.asarray(vectors / lengths[:, None])


def across(vector: ArrayLike, axis: ArrayLike) -> Floats:
    """The unit part of `vector` that is perpendicular to the unit vector `axis`; both of shape (3,)."""
    values = np.asarray(vector, dtype=np.float64)
    along = np.asarray(axis, dtype=np.float64)
    return unit(values - along * np.dot(values, along))


def smooth_step(values: ArrayLike) -> Floats:
    """The cubic 3 t^2 - 2 t^3 of values clamped to 0..1, for soft transitions."""
    clamped = np.clip(np.asarray(values, dtype=np.float64), 0.0, 1.0)
    return clamped * clamped * (3.0 - 2.0 * clamped)


def round_length(metres: float) -> float:
    """The length from this one on that is 1, 2 or 5 times a power of ten; 0 for less than a micrometre."""
    if metres < 1e-6:
        return 0.0
    power = 10.0 ** np.floor(np.log10(metres))
    return float(power * next(step for step in (1.0, 2.0, 5.0, 10.0) if step * power >= metres * (1.0 - 1e-9)))
