"""Whether images are normal maps, and what is wrong with those that are not, as diagnostics.

A tangent-space normal map holds vectors of length 1 that point out of the skin, and the slopes of a height field: its
normals are free of curl. Each is measured over all texels; texels that are black in all channels hold nothing and do
not count.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.diagnostics import Diagnostics
from plica.mesh.model import Floats
from plica.source import Span
from plica.texture.normal_maps import NormalMap, NormalMapError, decoded, read_normal_map
from plica.workspace import Refused

OFF_UNIT: Final = 0.1
"""Lengths that differ from 1 by more are off: rounding to 8 bits costs at most 0.007, filtering a few per cent."""
MOST_OFF: Final = 0.02  # share of texels off unit length that is told
NO_MAP: Final = 0.5  # share of them from which an image is no normal map
MOST_INWARD: Final = 0.02  # share of texels pointing into the skin from which an image is no tangent-space map
_INWARD: Final = -0.05  # beyond the rounding of a normal that lies in the surface
_PLAINLY: Final = 4.0  # how many times smaller an error must become for its cause to count as found
_SLOPE_SEEN: Final = 1e-3  # differences of slopes below this are rounding
_TEXELS_AT_ONCE: Final = 1 << 18


@dataclass(frozen=True)
class Measured:
    """What a normal map's texels are like.

    painted: texels that are not black; length: their mean; off: the share of them off unit length; inward: the share
    pointing into the skin. error: the mean distance of the lengths from 1; error_decoded and error_encoded: the same
    after taking the values for colour and removing the sRGB transfer curve, or applying it. curl: mean squares of the
    curl of the slopes as they are and with green reversed, where they differ by more than rounding.
    """

    painted: int
    length: float
    off: float
    inward: float
    error: float
    error_decoded: float
    error_encoded: float
    curl: float
    curl_reversed: float


def measured(image: NormalMap) -> Measured:
    """The texels of a normal map measured; all 0 where it is black throughout."""
    sums = np.zeros(9)
    for values in _bands(image):
        sums += _sums(values)
    painted, curled = max(sums[0], 1.0), max(sums[7], 1.0)
    return Measured(
        int(sums[0]), *(float(value) for value in sums[1:7] / painted), float(sums[8] / curled), float(_reversed)
    )
