"""Fields over many frames: the strengths of a joint's sample poses."""

from __future__ import annotations

import numpy as np

from plica.evaluate.kernels import KERNELS
from plica.evaluate.poses import Array
from plica.kinds.kernels import KERNEL_KINDS
from plica.rig.ramps import HELD, angles_between
from plica.rig.strengths import Field
from plica.skeleton.quaternions import normalised, turn_since, turned

# Strengths this near to 0 or 1 are exactly 0 or 1.
_NEAR = 1e-9


class PreparedField:
    """A field ready to be evaluated, as `plica.rig.strengths.Field` defines it."""

    def __init__(self, field: Field) -> None:
        """Raises ValueError for an unknown kernel and for a kernel without the widths that it needs."""
        kind = KERNEL_KINDS.get(field.kernel)
        widths = [field.width if sample.width is None else sample.width for sample in field.samples]
        if kind is None or (kind.has_width and not all(widths[1:])):
            raise ValueError(f"the kernel of field {field.name} cannot be evaluated")
        self._widths = np.array([width or 1.0 for width in widths])[:, np.newaxis]
        self._samples = np.array([sample.rotation for sample in field.samples]).T[:, :, np.newaxis]
        self._axis = None if field.axis is None else np.array(field.axis)[:, np.newaxis, np.newaxis]
        self._kernel = KERNELS[kind.name]
        self._coefficients = np.array(field.coefficients, dtype=np.float64)[..., np.newaxis]
        self._constants = np.array(field.constants, dtype=np.float64)[:, np.newaxis]
        self._between = np.array(angles_between(field.samples, field.metric, field.axis))

    def strengths(self, turn: Array) -> Array:
        """(samples without rest, frames) of the turns since rest, (4, frames), of any length."""
        sines, cosines = self._half_angles(normalised(turn[:, np.newaxis]))
        if self._kernel is None:
            result = self._ramped(2.0 * np.arctan2(sines, cosines))
        else:
            result = self._interpolated(self._kernel(2.0 * sines, self._widths))
        np.clip(result, 0.0, 1.0, out=result)
        result[result <= _NEAR] = 0.0
        result[result >= 1.0 - _NEAR] = 1.0
        return result

    def _interpolated(self, kernels: Array) -> Array:
        result = np.repeat(self._constants, kernels.shape[1], axis=1)
        for coefficients, kernel in zip(self._coefficients, kernels, strict=True):
            result += coefficients * kernel
        return result

    def _ramped(self, angles: Array) -> Array:
        """`plica.rig.ramps` over the angles (samples, frames) to all samples."""
        squares = angles * angles
        result = ((self._widths - angles) / ((1.0 - HELD) * self._widths))[1:]
        for k, strength in enumerate(result, 1):
            for j, square in enumerate(squares):
                if j != k:
                    np.minimum(strength, 0.5 * (1.0 + (square - squares[k]) / self._between[k, j] ** 2), out=strength)
        return _lowered(np.clip(result, 0.0, 1.0))

    def _half_angles(self, turn: Array) -> tuple[Array, Array]:
        """Sine and cosine of half the angles to the samples, (samples, frames), of unit quaternions (4, 1, frames)."""
        if self._axis is None:
            x, y, z, w = turn_since(self._samples, turn)
            return np.sqrt((x * x + y * y) + z * z), np.abs(w)
        own, theirs = turned(turn, self._axis), turned(self._samples, self._axis)
        return 0.5 * _lengths(own - theirs), 0.5 * _lengths(own + theirs)


def _lengths(vectors: Array) -> Array:
    x, y, z = vectors
    return np.asarray(np.sqrt((x * x + y * y) + z * z))


def _lowered(strengths: Array) -> Array:
    """`plica.rig.ramps.lowered` over (samples, frames)."""
    lacking = np.sort(1.0 - strengths, axis=0)
    total = np.cumsum(lacking, axis=0)
    others = np.arange(len(strengths))[:, np.newaxis]
    counted = np.count_nonzero((others * lacking < total) | (total == 0.0), axis=0)[np.newaxis]
    sums = np.take_along_axis(total, counted - 1, axis=0)
    factor = np.divide(counted - 1, sums, out=np.full_like(sums, np.inf), where=sums > 0.0)
    with np.errstate(invalid="ignore"):
        result = np.where(strengths == 1.0, 1.0, np.maximum(0.0, 1.0 - factor * (1.0 - strengths)))
    return np.where(strengths.sum(axis=0) > 1.0, result, strengths)
