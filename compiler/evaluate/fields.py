"""Fields over many frames: the strengths of a joint's sample poses."""

from __future__ import annotations

import numpy as np

from plica.evaluate.kernels import KERNELS
from plica.evaluate.poses import Array
from plica.kinds.kernels import KERNEL_KINDS
from plica.rig.strengths import Field
from plica.skeleton.quaternions import normalised, turn_since, turned

# Strengths this near to 0 or 1 are exactly 0 or 1.
_NEAR = 1e-9


class PreparedField:
    """A field ready to be evaluated, as `plica.rig.strengths.Field` defines it."""

    def __init__(self, field: Field) -> None:
        """Raises ValueError for an unknown kernel and for a kernel without the width that it needs."""
        kind = KERNEL_KINDS.get(field.kernel)
        if kind is None or (kind.has_width and not field.width):
            raise ValueError(f"the kernel of field {field.name} cannot be evaluated")
        self._kernel = KERNELS[kind.name]
        self._width = field.width or 1.0
        self._samples = np.array([sample.rotation for sample in field.samples]).T[:, :, np.newaxis]
        self._coefficients = np.array(field.coefficients, dtype=np.float64)[:, :, np.newaxis]
        self._constants = np.array(field.constants, dtype=np.float64)[:, np.newaxis]
        self._axis = None if field.axis is None else np.array(field.axis)[:, np.newaxis, np.newaxis]

    def strengths(self, turn: Array) -> Array:
        """(samples without rest, frames) of the turns since rest, (4, frames), of any length."""
        kernels = self._kernel(self._distances(normalised(turn[:, np.newaxis])), self._width)
        result = np.repeat(self._constants, turn.shape[1], axis=1)
        for coefficients, kernel in zip(self._coefficients, kernels, strict=True):
            result += coefficients * kernel
        np.clip(result, 0.0, 1.0, out=result)
        result[result <= _NEAR] = 0.0
        result[result >= 1.0 - _NEAR] = 1.0
        return result

    def _distances(self, turn: Array) -> Array:
        """(samples, frames) of unit quaternions, (4, 1, frames)."""
        if self._axis is None:
            x, y, z, _ = turn_since(self._samples, turn)
            return np.asarray(2.0 * np.sqrt((x * x + y * y) + z * z))
        x, y, z = turned(turn, self._axis) - turned(self._samples, self._axis)
        return np.asarray(np.sqrt((x * x + y * y) + z * z))
