"""Archives of arrays, and images."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import numpy as np
from hypothesis import strategies as st
from PIL import Image

from tests.fuzz.mutate import zipped


@st.composite
def _archive(draw: st.DrawFn) -> bytes:
    kinds = (
        "<i4",
        "<i8",
        "<u2",
        "<f4",
        "<f8",
        "<f2",
        "<c8",
        "|b1",
        "<U5",
        "|S3",
        "<M8[s]",
        [("a", "<i4"), ("b", "<f4")],
    )
    shapes = ((), (0,), (1,), (3,), (3, 3), (2, 3), (1, 1, 1), (0, 3))
    names = (
        "indices",
        "offsets",
        "vertex_count",
        "fingerprint",
        "format",
        "version",
        "shapes",
        "a/indices",
        "a/offsets",
        "a/inbetweens",
    )
    members = []
    for name in draw(st.lists(st.sampled_from(names), min_size=1, max_size=6)):
        array = np.zeros(draw(st.sampled_from(shapes)), np.dtype(draw(st.sampled_from(kinds))))
        if array.dtype.kind in "iuf" and array.size:
            with np.errstate(all="ignore"):
                array += np.arange(array.size).reshape(array.shape).astype(array.dtype)
                array *= np.array(draw(st.sampled_from((0, 1, -1, 1000)))).astype(array.dtype)
        if name in ("format", "shapes"):
            array = np.array("plica-offsets") if name == "format" else np.array(["a"])
        if name == "version":
            array = np.array(1, "<i4")
        held = io.BytesIO()
        np.lib.format.write_array(held, array, allow_pickle=False)
        members.append((f"{name}.npy", held.getvalue()))
    return zipped(members, draw(st.sampled_from((0, 8))))


def archives() -> st.SearchStrategy[bytes]:
    """NPZ files."""
    return _archive()


def images() -> st.SearchStrategy[bytes]:
    """Pictures of every form and mode that Pillow writes."""
    forms: dict[str, Callable[[], st.SearchStrategy[dict[str, Any]]]] = {
        "PNG": lambda: st.fixed_dictionaries(
            {"compress_level": st.integers(0, 9)}, optional={"transparency": st.integers(0, 300)}
        ),
        "TIFF": lambda: st.fixed_dictionaries(
            {"compression": st.sampled_from(("raw", "tiff_lzw", "tiff_deflate", "packbits", "jpeg"))}
        ),
        "JPEG": lambda: st.fixed_dictionaries({"quality": st.integers(1, 95), "progressive": st.booleans()}),
        "TGA": lambda: st.fixed_dictionaries({"compression": st.sampled_from((None, "tga_rle"))}),
        "BMP": lambda: st.just({}),
        "WEBP": lambda: st.fixed_dictionaries({"lossless": st.booleans()}),
    }

    def made(all_of_it: tuple[str, str, tuple[int, int], int, dict[str, Any]]) -> bytes:
        form, mode, size, value, how = all_of_it
        held = io.BytesIO()
        try:
            Image.new(mode, size, value).save(held, form, **how)
        except Exception:  # Pillow does not write every mode in every form
            return b""
        return held.getvalue()

    modes = st.sampled_from(
        ("1", "L", "LA", "P", "PA", "RGB", "RGBA", "CMYK", "YCbCr", "LAB", "HSV", "I", "F", "I;16", "I;16B")
    )
    sizes = st.sampled_from(((1, 1), (4, 4), (3, 1), (1, 7), (64, 64)))
    return st.one_of(
        *(st.tuples(st.just(form), modes, sizes, st.integers(0, 255), how()).map(made) for form, how in forms.items())
    )
