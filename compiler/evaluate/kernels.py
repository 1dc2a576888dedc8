"""The kernels of fields over arrays."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import numpy as np

from plica.evaluate.poses import Array
from plica.kinds.complete import complete
from plica.kinds.kernels import KERNEL_KINDS


def _gaussian(distances: Array, width: float) -> Array:
    shares = distances / width
    return np.asarray(np.exp(-(shares * shares)))


def _linear(distances: Array, _width: float) -> Array:
    return distances


KERNELS: Final[Mapping[str, Callable[[Array, float], Array]]] = complete(
    {"gaussian": _gaussian, "linear": _linear}, KERNEL_KINDS, "kernel over arrays"
)
"""For each kind the values at distances of any shape, of the width (1.0 where the kind has none)."""
