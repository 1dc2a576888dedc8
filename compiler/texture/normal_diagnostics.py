"""Whether images are normal maps, and what is wrong with those that are not, as diagnostics.

A tangent-space normal map holds vectors of length 1 that point out of the skin. As they are the slopes of a height
field, going around any place leads back to the same height. All this is measured over all texels; those that are black
in all channels hold nothing and do not count.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats
from plica.mesh.images import TEXELS_AT_ONCE, ImageError
from plica.readers.model_reader import tell
from plica.rig.surfaces import Detail
from plica.source import Span
from plica.texture.normal_maps import NormalMap, alike, decoded, read_normal_map
from plica.workspace import Refused

Read = Callable[[str], bytes | Refused]
"""The content of a file that the spec names."""

OFF_UNIT: Final = (
    0.1  # a length further from 1 is off: rounding to 8 bits costs at most 0.007, filtering a few per cent
)
MOST_OFF: Final = 0.02  # share of texels off unit length from which it is told
NO_MAP: Final = 0.5  # share of them from which an image is no normal map
MOST_INWARD: Final = 0.02  # share of texels pointing into the skin from which it is none of tangent space
_INWARD: Final = -0.05  # beyond the rounding of a vector that lies in the skin
LEAST_SQUARES: Final = 0.001  # share of squares that must speak before green counts as reversed
_PLAINLY: Final = 4.0  # how many times better one explanation must be than another
_TURN_SEEN: Final = 0.05  # sums of slopes that rounding to 8 bits does not reach: eight standard deviations
_FITS: Final = 0.03  # mean distance of lengths from 1 in maps that are right
_STEEPEST: Final = 0.1  # z below which a vector tells no slope


@dataclass(frozen=True)
class MeasuredNormals:
    """What a map's texels are like: means over the `painted` ones, which are those that are not black.

    length; off: share off unit length; inward: share pointing into the skin; error: distance of the lengths from 1,
    error_without_curve and error_with_curve: the same after the sRGB transfer curve is taken off the values, or
    applied; curl: of the slopes, squared, curl_reversed: with green turned around.
    """

    painted: int
    length: float
    off: float
    inward: float
    error: float
    error_without_curve: float
    error_with_curve: float
    upright: float
    reversed: float


def measured(image: NormalMap) -> MeasuredNormals:
    """The texels of a normal map, measured."""
    texels, squares = np.zeros(7), np.zeros(3)
    # What the stored values mean, for each of them once: millions of texels hold the same few.
    values = np.arange(image.largest + 1.0) / image.largest
    meanings = [decoded(values), decoded(without_curve(values)), decoded(with_curve(values))]
    for stored, count in _bands(image):
        texels += _of_texels(stored[:count].reshape(-1, 3), meanings)
        squares += _of_slopes(meanings[0][stored])
    means, shares = texels[1:] / max(texels[0], 1.0), squares[1:] / max(squares[0], 1.0)
    return MeasuredNormals(int(texels[0]), *(float(value) for value in (*means, *shares)))


def _bands(image: NormalMap) -> Iterator[tuple[NDArray[Any], int]]:
    """Stored values (rows, columns, 3) from top to bottom with the row after them, and how many rows without it."""
    columns, rows = image.size
    step = max(1, TEXELS_AT_ONCE // columns)
    for first in range(0, rows, step):
        yield image.stored[first : first + step + 1], min(step, rows - first)


def _of_texels(stored: NDArray[Any], meanings: Sequence[Floats]) -> Floats:
    """How many texels (n, 3) are painted, and sums over them in the order of `MeasuredNormals`.

    meanings: by stored value, the component as it is, without the transfer curve and with it.
    """
    stored = stored[(stored > 0).any(axis=1)]
    length, *others = (_lengths(meaning[stored]) for meaning in meanings)
    error = np.abs(length - 1.0)
    inward = (meanings[0][stored[:, 2]] < _INWARD).sum()
    return np.array(
        [
            len(stored),
            length.sum(),
            (error > OFF_UNIT).sum(),
            inward,
            error.sum(),
            *(np.abs(other - 1.0).sum() for other in others),
        ]
    )


def _lengths(vectors: Floats) -> Floats:
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))


def _of_slopes(vectors: Floats) -> Floats:
    """How many squares of four texels there are, how many speak for the map as it is, and how many for green reversed.

    A height h has its normal along (-dh/dx, -dh/dy, 1), y up and rows down, so around each square the change of x / z
    downward and of y / z to the right cancel out. A square speaks where one sum is large and the other much smaller;
    elsewhere it is flat, or crosses the border of an island.
    """
    usable = vectors[..., 2] > _STEEPEST
    whole = usable[:-1, :-1] & usable[1:, :-1] & usable[:-1, 1:] & usable[1:, 1:]
    slopes = vectors[..., :2] / np.where(usable, vectors[..., 2], 1.0)[..., None]
    down = np.diff(slopes[..., 0], axis=0)
    right = np.diff(slopes[..., 1], axis=1)
    first = (down[:, 1:] + down[:, :-1])[whole]
    second = (right[1:] + right[:-1])[whole]
    as_is, turned = np.abs(first + second), np.abs(first - second)
    upright = ((turned > _TURN_SEEN) & (as_is < turned / 2.0)).sum()
    reverse = ((as_is > _TURN_SEEN) & (turned < as_is / 2.0)).sum()
    return np.array([whole.sum(), upright, reverse], dtype=np.float64)


def without_curve(values: Floats) -> Floats:
    """Values from 0 to 1 with the sRGB transfer curve taken off (IEC 61966-2-1)."""
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def with_curve(values: Floats) -> Floats:
    """Values from 0 to 1 with the sRGB transfer curve applied (IEC 61966-2-1)."""
    return np.where(values <= 0.0031308, values * 12.92, 1.055 * values ** (1.0 / 2.4) - 0.055)


# ---- diagnostics --------------------------------------------------------------------------------------


def find_maps(
    detail: Detail, read: Read, span: Span | None, diagnostics: Diagnostics
) -> tuple[NormalMap, NormalMap] | None:
    """A detail's relaxed and contracted map, read and checked; None, after diagnostics, where one cannot be read."""
    maps = [find_normal_map(file, read, span, diagnostics) for file in (detail.relaxed, detail.contracted)]
    relaxed, contracted = maps
    if relaxed is None or contracted is None:
        return None
    if relaxed.size != contracted.size:
        sizes = {
            name: " x ".join(str(length) for length in image.size)
            for name, image in (("relaxed_size", relaxed), ("contracted_size", contracted))
        }
        diagnostics.add_filled("normal-maps-of-two-sizes", span, {"detail": detail.name, **sizes})
    elif alike(relaxed, contracted):
        diagnostics.add("normal-maps-alike", span, detail=detail.name)
    return relaxed, contracted


def find_normal_map(file: str, read: Read, span: Span | None, diagnostics: Diagnostics) -> NormalMap | None:
    """The normal map of a file, checked; None, after a diagnostic, where it cannot be read."""
    image = readable_normal_map(file, read, span, diagnostics)
    if image is not None:
        check_normal_map(image, file, span, diagnostics)
    return image


def readable_normal_map(file: str, read: Read, span: Span | None, diagnostics: Diagnostics) -> NormalMap | None:
    """The image of a file, whatever it shows; None, after a diagnostic, where it cannot be read."""
    data = read(file)
    if isinstance(data, Refused):
        diagnostics.add_filled(data.name, span, data.values)
        return None
    try:
        return read_normal_map(data)
    except ImageError as error:
        tell(error, "unreadable-normal-map", file, span, diagnostics)
        return None


def check_normal_map(image: NormalMap, file: str, span: Span | None, diagnostics: Diagnostics) -> None:
    """Adds what is wrong with an image as a tangent-space normal map; `file` is what the user calls it."""
    facts = measured(image)
    curve = _curve_of(facts)
    if not facts.painted:
        diagnostics.add("not-a-normal-map", span, file=file, reason="it is black throughout")
    elif curve is not None:
        diagnostics.add("normal-map-as-colour", span, file=file, curve=curve, length=f"{facts.length:.2f}")
    elif facts.off > NO_MAP:
        reason = f"{facts.off:.0%} of its vectors do not have length 1, the mean is {facts.length:.2f}"
        diagnostics.add("not-a-normal-map", span, file=file, reason=reason)
    elif facts.inward > MOST_INWARD:
        reason = f"{facts.inward:.0%} of its vectors point into the skin"
        diagnostics.add("not-a-normal-map", span, file=file, reason=reason)
    else:
        if facts.off > MOST_OFF:
            diagnostics.add("normals-off-unit", span, file=file, share=f"{facts.off:.0%}", length=f"{facts.length:.2f}")
        if facts.reversed > max(_PLAINLY * facts.upright, LEAST_SQUARES):
            share = facts.reversed / (facts.reversed + facts.upright)
            diagnostics.add("normals-reversed", span, file=file, share=f"{share:.0%}")


def _curve_of(facts: MeasuredNormals) -> str | None:
    """What was done to the values if they were taken for colour; None where they were not."""
    best = min(facts.error_without_curve, facts.error_with_curve)
    if best > _FITS or facts.error < _PLAINLY * best or facts.error < OFF_UNIT / 2.0:
        return None
    return "applied to" if facts.error_without_curve == best else "taken off"
