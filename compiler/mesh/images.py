"""Image files, decoded once and handed out in bands of rows: an image in colour takes four bytes a texel, no more.

Film textures have 8192 x 8192 texels and more. As numbers of double precision one of them would take gigabytes, so
whatever is made of its texels is made for a band of rows, or for the texels that are asked for.
"""

from __future__ import annotations

import io
import re
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from plica import limits
from plica.mesh.arrays import Integers
from plica.readers.allowance import OverLimit

FORMATS: Final = ("PNG", "TIFF", "JPEG", "TGA", "BMP", "WEBP")  # Pillow knows more, and runs programs for some
TEXELS_AT_ONCE: Final = 1 << 18


class ImageError(ValueError):
    """The file is no image that can be used; the text says why."""


class LargeImageError(OverLimit, ImageError):
    """An image with more texels than the limit."""


class _Form(NamedTuple):
    """How texels are stored: whether in colour, the value that means 1 (None: numbers as they are), and for 16 bits of
    colour how Pillow is made to give the low bytes."""

    colour: bool
    largest: int | None
    low: str | None = None


_FORMS: Final[Mapping[str, _Form]] = {
    **dict.fromkeys(("1", "L"), _Form(False, 255)),
    **dict.fromkeys(("LA", "P", "PA", "RGB", "RGBA", "RGBX"), _Form(True, 255)),
    **dict.fromkeys(("I", "I;16", "I;16B", "I;16L", "I;16N"), _Form(False, 65535)),
    "F": _Form(False, None),
}
_COPIES: Final[Mapping[str | None, int]] = {"WEBP": 4}  # how often Pillow holds a picture while it is decoded
_INKS: Final = {"CMYK": "inks (CMYK)", "YCbCr": "YCbCr", "LAB": "L*a*b*", "HSV": "HSV"}
_SIXTEEN_GREY: Final = ("I;16", "I;16B", "I;16L", "I;16N", "I;16R")
_NATIVE_LOW: Final = "B" if sys.byteorder == "little" else "L"
# Of a channel's two bytes Pillow keeps the high one, and the low one where it is told that their order is the other.
_LOW_BYTES: Final = {
    f"{channels};16{order}": f"{channels};16{low}"
    for channels in ("RGB", "RGBA")
    for order, low in (("B", "L"), ("L", "B"), ("N", _NATIVE_LOW))
}
_BITS, _PHOTOMETRIC, _PLANAR = 258, 262, 284  # TIFF 6.0, section 8: BitsPerSample and so on
_WHITE_IS_ZERO: Final = 0
_SEPARATE: Final = 2


@dataclass(frozen=True, eq=False)
class Banded:
    """An array (rows, columns) or (rows, columns, channels) whose rows are made when they are asked for.

    It is indexed as an array is: by a slice of rows, by row numbers (n,), or by row and column numbers (n,) each.
    `band` gives the rows from one number to before another; `nbytes` is what stands behind them in memory.
    """

    shape: tuple[int, ...]
    nbytes: int
    band: Callable[[int, int], NDArray[Any]]

    @property
    def ndim(self) -> int:
        """The number of dimensions."""
        return len(self.shape)

    @property
    def _step(self) -> int:
        return max(1, TEXELS_AT_ONCE // max(self.shape[1], 1))

    def bands(self) -> Iterator[NDArray[Any]]:
        """All rows from top to bottom, so many at a time that little memory is needed."""
        for first in range(0, self.shape[0], self._step):
            yield self.band(first, min(first + self._step, self.shape[0]))

    def __getitem__(self, where: slice | Integers | tuple[Integers, Integers]) -> NDArray[Any]:
        """The values at the places asked for."""
        if isinstance(where, slice):
            first, last, _ = where.indices(self.shape[0])
            return self.band(first, max(first, last))
        rows, columns = where if isinstance(where, tuple) else (where, None)
        sample = self.band(0, 1)
        result = np.empty((len(rows), *(sample.shape[1:] if columns is None else sample.shape[2:])), sample.dtype)
        numbers = rows // self._step
        order = np.argsort(numbers, kind="stable")
        starts = np.flatnonzero(np.diff(numbers[order], prepend=-1))
        for start, end in zip(starts, np.append(starts, len(rows))[1:], strict=True):
            which = order[start:end]
            first = int(numbers[which[0]]) * self._step
            band = self.band(first, min(first + self._step, self.shape[0]))
            inside = rows[which] - first
            result[which] = band[inside] if columns is None else band[inside, columns[which]]
        return result

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> NDArray[Any]:
        """All of it, which takes as much memory as an array of this shape does."""
        return np.asarray(np.concatenate([*self.bands()]), dtype=dtype)


@dataclass(frozen=True, eq=False)
class Texels:
    """The texels of an image file as they are stored.

    `largest` is the stored value that means 1; None: single-precision numbers as they are.
    """

    high: Image.Image
    low: Image.Image | None
    in_colour: bool
    largest: int | None

    @classmethod
    def of(cls, data: bytes) -> Self:
        """The image in a file's bytes: one of `FORMATS`, one picture, in grey, in colour or with a palette.

        Raises ImageError; for one that is too large before anything is decoded.
        """
        try:
            with _opened(data) as image:
                form = _form(image)
                image.load()
            low = None
            if form.low is not None:
                with _opened(data) as low:
                    tiles = [part._replace(args=_with_raw_mode(part.args, form.low)) for part in getattr(low, "tile")]  # noqa: B009
                    setattr(low, "tile", tiles)  # noqa: B010 - every image read from a file has it, its type does not
                    low.load()
        except ImageError:
            raise
        except MemoryError:
            raise ImageError("its texels do not fit into this machine's memory") from None
        except Exception as error:  # Pillow's decoders answer damaged files with errors of any kind
            raise ImageError(f"it is no image, or a damaged one ({type(error).__name__})") from None
        return cls(image, low, form.colour, form.largest if low is None else 65535)

    @property
    def size(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.high.height, self.high.width

    @property
    def nbytes(self) -> int:
        """What it takes in memory."""
        each = {"1": 1, "L": 1, "P": 1}.get(self.high.mode, 2 if self.high.mode.startswith("I;16") else 4)
        return self.high.height * self.high.width * each * (1 if self.low is None else 2)

    def rows(self, first: int, last: int) -> NDArray[Any]:
        """Stored values of some rows: (rows, columns) of grey, or (rows, columns, 4) of red, green, blue and alpha."""
        high = self._cut(self.high, first, last)
        if self.low is None:
            return high
        both: NDArray[Any] = high.astype(np.uint16) * np.uint16(256) + self._cut(self.low, first, last)
        return both

    def _cut(self, image: Image.Image, first: int, last: int) -> NDArray[Any]:
        part = image.crop((0, first, image.width, last))
        if self.in_colour or image.mode == "1":
            part = part.convert("RGBA" if self.in_colour else "L")
        return np.asarray(part)


_PILLOW_LIMIT: Final = threading.Lock()


@contextmanager
def _opened(data: bytes) -> Iterator[Image.Image]:
    """The image, its size checked. Pillow's limit gives way to Plica's while it is opened."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about what an image says beside its texels
        with _PILLOW_LIMIT:
            theirs, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
            try:
                image = Image.open(io.BytesIO(data), formats=FORMATS)
            finally:
                Image.MAX_IMAGE_PIXELS = theirs
        with image:
            most = limits.in_force().image_texels
            if image.width * image.height * _COPIES.get(image.format, 1) > most:
                size = f"{image.width} x {image.height} texels"
                most //= _COPIES.get(image.format, 1)
                raise LargeImageError("the image", size, f"{most} texels", limits.shown("image_texels"))
            yield image


def _form(image: Image.Image) -> _Form:
    """How an image's texels are to be taken. Raises ImageError where that is not certain."""
    if getattr(image, "n_frames", 1) > 1:
        raise ImageError("it holds several pictures, and one is needed")
    if image.mode in _INKS:
        raise ImageError(f"its colours are {_INKS[image.mode]}: save it in grey or in red, green and blue")
    form = _FORMS.get(image.mode)
    if form is None:
        raise ImageError(f"its texels are of a form that is not read ({image.mode})")
    raw = _raw_mode(image)
    if image.mode.startswith("I") and raw not in _SIXTEEN_GREY:
        raise ImageError("its texels are whole numbers of neither 8 nor 16 bits, which are not read")
    tags = getattr(image, "tag_v2", {})
    if tags.get(_PLANAR) == _SEPARATE and set(tags.get(_BITS, ())) != {8}:
        raise ImageError("its channels are stored one after the other, which is read with 8 bits only")
    if form.colour and re.match("(RGB|LA).*;16", raw):
        if raw not in _LOW_BYTES:
            raise ImageError("it has 16 bits to a channel in a form that is not read: save it without transparency")
        form = form._replace(low=_LOW_BYTES[raw])
    if form.largest == 255 and form.low is None:
        return _Form(form.colour or "transparency" in image.info, 255)
    if "transparency" in image.info:
        raise ImageError("one of its values means transparent, which is read with 8 bits only: use an alpha channel")
    if not form.colour and tags.get(_PHOTOMETRIC) == _WHITE_IS_ZERO:
        raise ImageError("0 means white in it, which is read with 8 bits only")
    return form


def _with_raw_mode(arguments: Any, raw_mode: str) -> Any:
    """A decoder's arguments with another way to take the bytes."""
    return (raw_mode, *arguments[1:]) if isinstance(arguments, tuple) else raw_mode


def _raw_mode(image: Image.Image) -> str:
    """How the file stores a texel, in Pillow's words (`RGB;16B`)."""
    tiles = getattr(image, "tile", ())
    arguments = tiles[0].args if tiles else ""
    first = arguments[0] if isinstance(arguments, tuple) and arguments else arguments
    return first if isinstance(first, str) else ""
