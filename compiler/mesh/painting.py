"""Weights from a painted image, sampled where a mesh's texture coordinates point.

A mask is data, so its values are taken as they are stored, without any transfer curve: 0 is outside, the
largest value inside. Colour counts by its luma, 0.2126 R + 0.7152 G + 0.0722 B (ITU-R BT.709). Where an image
has an alpha channel the value is multiplied by it, so what is transparent is outside, whatever colour hides
there.

A texel's value stands at its middle and is mixed linearly with its neighbours'. Beyond the outermost middles
the border texels go on, so nothing bleeds in from the opposite border. Coordinates outside 0..1 repeat the
image, as glTF 2.0's default sampler does (section 5.26); v runs down.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Integers
from plica.mesh.images import Banded, ImageError, Texels

LUMA: Final = (0.2126, 0.7152, 0.0722)
KEPT_BYTES: Final = 256 * 1024**2


@dataclass(frozen=True, eq=False)
class Painting:
    """Values (rows, columns) from 0 to 1, the first row on top; whether the image held colour, or transparent
    texels.
    """

    values: Floats | Banded
    in_colour: bool = False
    transparent: bool = False


@dataclass(eq=False)
class Paintings:
    """Paintings by file, each decoded once as long as those last used fit into `KEPT_BYTES`."""

    _known: dict[str, Painting] = field(default_factory=dict)

    def of(self, file: str, read: Callable[[], bytes]) -> Painting:
        """The painting of a file with the bytes that `read` gives. Raises ImageError, and what `read` does."""
        result = self._known.pop(file, None) or read_painting(read())
        others = sum(painting.values.nbytes for painting in self._known.values())
        for name in list(self._known):
            if others + result.values.nbytes > KEPT_BYTES:
                others -= self._known.pop(name).values.nbytes
        self._known[file] = result
        return result


def read_painting(data: bytes) -> Painting:
    """An image file of one of `plica.mesh.images.FORMATS`; what is in colour or has alpha counts as above.

    Raises ImageError.
    """
    texels = Texels.of(data)
    in_colour, transparent = False, False
    stored = Banded((*texels.size, 4) if texels.in_colour else texels.size, texels.nbytes, texels.rows)
    for band in stored.bands():
        if texels.in_colour:
            visible = band[..., 3] > 0
            grey = (band[..., 0] == band[..., 1]) & (band[..., 1] == band[..., 2])
            in_colour |= bool((visible & ~grey).any())
            transparent |= bool((band[..., 3] < texels.largest).any())
        elif texels.largest is None and not np.isfinite(band).all():
            raise ImageError("it holds values that are no numbers")

    def weights(first: int, last: int) -> Floats:
        return _weights(texels.rows(first, last), texels.largest)

    return Painting(Banded(texels.size, texels.nbytes, weights), in_colour, transparent)


def _weights(stored: NDArray[Any], largest: int | None) -> Floats:
    """Values (rows, columns) from 0 to 1 of stored ones: grey, or (rows, columns, 4)."""
    if largest is None:
        return np.clip(stored.astype(np.float64), 0.0, 1.0)
    values = stored.astype(np.float64) / largest
    if values.ndim == 2:
        return values
    colour, alpha = values[..., :3], values[..., 3]
    # Where all three are equal the luma is that value, without the rounding of a sum.
    grey = np.where(np.ptp(colour, axis=2) == 0.0, colour[..., 0], colour @ np.array(LUMA))
    return np.asarray(grey * alpha)


def outside(uv: Floats) -> int:
    """How many coordinates (n, 2) lie outside 0..1; those that are no numbers do not count."""
    return int(((uv < 0.0) | (uv > 1.0)).any(axis=1).sum())


def sampled(painting: Painting, uv: Floats) -> Floats:
    """The painting's values (n,) at texture coordinates (n, 2), which must be finite."""
    inside = (uv >= 0.0) & (uv <= 1.0)
    within = np.where(inside, uv, uv - np.floor(uv))
    rows, columns = painting.values.shape
    left, right, across = _neighbours(within[:, 0], columns)
    upper, lower, down = _neighbours(within[:, 1], rows)
    top = _mixed(painting.values[upper, left], painting.values[upper, right], across)
    bottom = _mixed(painting.values[lower, left], painting.values[lower, right], across)
    return _mixed(top, bottom, down)


def _neighbours(coordinates: Floats, size: int) -> tuple[Integers, Integers, Floats]:
    """The texels before and after each coordinate, and how far it is from one to the other."""
    place = np.clip(coordinates * size - 0.5, 0.0, size - 1.0)
    before = np.floor(place).astype(np.int64)
    return before, np.minimum(before + 1, size - 1), place - before


def _mixed(one: Floats, other: Floats, share: Floats) -> Floats:
    # Equal values stay what they are; the sum of two products would round.
    return np.where(one == other, one, one * (1.0 - share) + other * share)
