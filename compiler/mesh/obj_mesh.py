"""Positions and faces of a Wavefront OBJ file, as sculpts are handed on.

Only `v` and `f` count (Wavefront Technologies, "Object Files (.obj)", appendix B1 of the Advanced Visualizer manual):
indices start at 1, negative ones count back from the last vertex so far, and of `v/vt/vn` only `v` is read. The format
has no unit; metres are assumed, and y up.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from plica.mesh.arrays import Floats, Integers
from plica.readers.gltf_document import content
from plica.readers.json_fields import LARGEST_NUMBER
from plica.readers.model_outline import UnreadableModel

LONGEST_INDEX = 12  # characters; more digits than any vertex has
IGNORED_LENGTH = 1 << 16  # characters; a longer line is no line of this format


@dataclass(frozen=True, eq=False)
class ObjMesh:
    """positions (v, 3) metres; triangles (t, 3), polygons cut into fans; edges (e, 2) of the polygons as written."""

    positions: Floats
    triangles: Integers
    edges: Integers


def read_obj(path: Path) -> ObjMesh:
    """The file's positions and faces. Raises UnreadableModel, with the line where one is to blame."""
    return parse_obj(content(path))


def parse_obj(data: bytes) -> ObjMesh:
    """The positions and faces in a file's bytes. Raises UnreadableModel."""
    positions: list[tuple[float, float, float]] = []
    triangles: list[tuple[int, int, int]] = []
    edges: list[tuple[int, int]] = []
    for number, words in _lines(data):
        if words[0] == b"v":
            positions.append(_position(words, number))
        elif words[0] == b"f":
            face = [_corner(word, len(positions), number) for word in words[1:]]
            if len(face) < 3:
                raise UnreadableModel(f"line {number}: a face needs three corners, this one has {len(face)}")
            triangles += [(face[0], face[at], face[at + 1]) for at in range(1, len(face) - 1)]
            edges += zip(face, face[1:] + face[:1], strict=True)
    if not positions:
        raise UnreadableModel("it holds no vertices (lines that begin with `v`)")
    return ObjMesh(
        np.array(positions),
        _checked(triangles, 3, len(positions)),
        _checked(edges, 2, len(positions)),
    )


def _lines(data: bytes) -> Iterator[tuple[int, list[bytes]]]:
    """Numbers and words of the lines that say something; a backslash at a line's end continues it."""
    before: list[bytes] = []
    for number, line in enumerate(data.removeprefix(b"\xef\xbb\xbf").splitlines(), start=1):
        text = line.split(b"#", 1)[0].strip()
        if text.endswith(b"\\"):
            before.append(text[:-1])
            continue
        if before:
            text, before = b" ".join([*before, text]), []
        if b"\0" in text:
            raise UnreadableModel(f"line {number}: it holds null characters, so it is not a text")
        words = text.split(None, -1 if text[:2] in (b"f ", b"f\t") else 8)
        if words:
            yield number, words


def _position(words: list[bytes], line: int) -> tuple[float, float, float]:
    """The first three numbers; a fourth is a weight, and colours may follow."""
    try:
        x, y, z = (float(word) for word in words[1:4])
    except ValueError as error:
        raise UnreadableModel(f"line {line}: a vertex needs three numbers") from error
    if not all(abs(value) <= LARGEST_NUMBER for value in (x, y, z)):  # also false for what is no number
        raise UnreadableModel(f"line {line}: a vertex lies where no usable number reaches")
    return x, y, z


def _corner(word: bytes, known: int, line: int) -> int:
    text = word.split(b"/", 1)[0]
    digits = text[1:] if text.startswith((b"-", b"+")) else text
    if not digits.isdigit() or len(digits) > LONGEST_INDEX:
        shown = word[:20].decode("ascii", "replace")
        raise UnreadableModel(f"line {line}: `{shown}` is no corner of a face")
    value = int(text)
    if value == 0 or known + value < 0:
        raise UnreadableModel(f"line {line}: there is no vertex {value}")
    return known + value if value < 0 else value - 1


def _checked(rows: Sequence[tuple[int, ...]], width: int, count: int) -> Integers:
    result: Integers = np.array(rows, dtype=np.int64).reshape(-1, width)
    if len(result) and result.max() >= count:
        raise UnreadableModel(f"a face refers to vertex {int(result.max()) + 1}, but there are {count}")
    return result
