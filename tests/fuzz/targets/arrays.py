"""Sculpts and images: OBJ, NPZ, and every form of picture that is read."""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from plica.mesh.images import ImageError
from plica.mesh.npz import ArchiveError, arrays_of
from plica.mesh.npz_offsets import parse_npz_offsets
from plica.mesh.obj_mesh import parse_obj
from plica.mesh.offsets_file import read_offsets_file
from plica.mesh.painting import read_painting, sampled
from plica.readers.model_outline import UnreadableModel
from plica.texture.normal_maps import read_normal_map
from tests.fuzz.grammars import archives, lines
from tests.fuzz.mutate import of_bytes, of_png, of_words, of_zip, one_of
from tests.fuzz.target import Target


def _obj(data: bytes) -> None:
    with suppress(UnreadableModel):
        result = parse_obj(data)
        assert np.isfinite(result.positions).all()
        for faces in (result.triangles, result.edges):
            assert faces.min(initial=0) >= 0 and faces.max(initial=0) < len(result.positions)


def _npz(data: bytes) -> None:
    with suppress(ArchiveError):
        assert all(array.dtype.kind in "biufU" for array in arrays_of(data).values())
    with suppress(UnreadableModel):
        stored = parse_npz_offsets(data)
        assert stored.offsets.indices.max(initial=0) < max(stored.vertex_count, 1)
        assert np.isfinite(stored.offsets.offsets).all()
    with suppress(ArchiveError):
        for shape in read_offsets_file(data).shapes.values():
            for offsets in (shape.offsets, *(one for _, one in shape.inbetweens)):
                assert np.isfinite(offsets.offsets).all()


_PLACES = np.array([[0.0, 0.0], [1.0, 1.0], [0.5, 0.25], [-3.2, 7.9]])


def _image(data: bytes) -> None:
    with suppress(ImageError):
        painting = read_painting(data)
        values = np.asarray(painting.values)
        assert values.ndim == 2 and values.size and 0.0 <= values.min() <= values.max() <= 1.0
        assert np.isfinite(sampled(painting, _PLACES)).all()
    with suppress(ImageError):
        result = read_normal_map(data)
        assert result.stored.ndim == 3 and result.stored.shape[2] == 3
        assert np.asarray(result.stored).max(initial=0) <= result.largest


OBJ_WORDS = (
    "v", "f", "vn", "vt", "o", "g", "l", "0", "1", "-1", "3", "1/1", "//", "1//2", "nan", "inf", "1e400", "1e308",
    "\\", "#",
    "\0", "\ufffd", "9" * 30, "-9999", "_1", "1_0", "\u0664", "\n", "\r", "\v", "\t", "+1",
)  # fmt: skip
_NPY = of_bytes(
    (
        b"'descr': '|O'", b"'descr': '<f8'", b"'<U9'", b"'<M8[s]'", b"'fortran_order': True", b"(3,)", b"()",
        b"(0,)", b"(-1,)",
        b"(1000000000,)", b"(3, 3)", b"[('a', '<f8')]", b"\x93NUMPY\x02\x00", b"\x93NUMPY\x03\x00", b"\n", b"'" * 3,
    )
)  # fmt: skip

TARGETS = (
    Target("obj", _obj, of_words(OBJ_WORDS), lines.wavefront, short=200),
    Target("npz", _npz, one_of(of_zip(lambda name: _NPY), of_zip(lambda name: _NPY, 8)), archives.archives, short=200),
    Target(
        "image",
        _image,
        of_png(
            (
                b"IHDR",
                b"PLTE",
                b"tRNS",
                b"IDAT",
                b"iCCP",
                b"zTXt",
                b"eXIf",
                b"RIFF",
                b"WEBP",
                b"VP8 ",
                b"II*\0",
                b"MM\0*",
            )
        ),
        archives.images,
        short=200,
    ),
)
