"""The colours of Wren's fur: dark brown above, cream below, black nose and eyes; a colour for each vertex."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, smooth_step
from plica.specs.wren import otter

# Linear light, as glTF's COLOR_0 is.
_BACK: Final = np.array([0.135, 0.066, 0.032])
_BELLY: Final = np.array([0.50, 0.36, 0.22])
_DARK: Final = np.array([0.012, 0.009, 0.008])


def _mixed(base: Floats, other: Floats, share: Floats) -> Floats:
    return base + (other - base) * share[:, None]


def colors(positions: Floats) -> NDArray[np.uint8]:
    """RGBA bytes (n, 4) in linear light for positions (n, 3) at rest."""
    x, y, z = np.abs(positions[:, 0]), positions[:, 1], positions[:, 2]
    # The pale bib runs from the throat down the front of neck and belly.
    front = np.interp(y, *otter.BIB_DEPTH)
    width = np.interp(y, *otter.BIB_WIDTH)
    bib = (
        smooth_step((z - front) / 0.05 + 0.5) * smooth_step((width - x) / 0.04 + 0.5) * smooth_step((0.875 - y) / 0.02)
    )
    upper = np.interp(z, *otter.MUZZLE_PALE)
    pale = smooth_step((upper - y) / 0.028 + 0.5) * smooth_step((z - 0.075) / 0.04)
    result = _mixed(np.broadcast_to(_BACK, positions.shape), _BELLY, np.maximum(bib, pale * (y > 0.7)))
    nose = np.linalg.norm((positions - np.asarray(otter.NOSE)) / np.asarray(otter.NOSE_SIZE), axis=1)
    result = _mixed(result, _DARK, smooth_step((1.0 - nose) / 0.25 + 0.5))
    eye = np.linalg.norm(np.stack([x, y, z], axis=1) - np.asarray(otter.EYE_CENTER), axis=1)
    result = _mixed(result, _DARK, smooth_step((otter.EYE_COLOR_RADIUS - eye) / 0.0015 + 0.5))
    opaque = np.column_stack([result, np.ones(len(result))])
    return np.rint(opaque * 255.0).astype(np.uint8)
