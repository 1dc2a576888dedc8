"""The kernels of fields over arrays."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import numpy as np

from plica.evaluate.poses import Array
from plica.kinds.complete import complete
from plica.kinds.kernels import KERNEL_KINDS


def _gaussian(distances: Array, widths: Array) -> Array:
    shares = distances / widths
    return np.asarray(np.exp(-(shares * shares)))


def _linear(distances: Array, _widths: Array) -> Array:
    return distances


KERNELS: Final[Mapping[str, Callable[[Array, Array], Array] | None]] = complete(
    {"ramp": None, "gaussian": _gaussian, "linear": _linear}, KERNEL_KINDS, "kernel over arrays"
)
"""For each kind that interpolates the values at distances (samples, frames), of widths (samples, 1) that are 1.0 where
it has none; None where strengths are shared out (`plica.evaluate.fields`)."""
