"""Positions and faces of a Wavefront OBJ file, as sculpts are handed on.

Only `v` and `f` count (Wavefront Technologies, "Object Files (.obj)", appendix B1 of the Advanced Visualizer manual):
indices start at 1, negative ones count back from the last vertex so far, and of `v/vt/vn` only `v` is read. The format
has no unit; metres are assumed, and y up.
"""

from __future__ import annotations

import io
from array import array
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from plica.mesh.arrays import Floats, Integers
from plica.readers.gltf_document import content
from plica.readers.json_fields import LARGEST_NUMBER
from plica.readers.model_outline import UnreadableModel

LONGEST_INDEX = 12  # characters; more digits than any vertex has


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
    positions, triangles, edges = array("d"), array("q"), array("q")
    for number, words in _lines(data):
        if words[0] == b"v":
            positions.extend(_position(words, number))
        elif words[0] == b"f":
            known = len(positions) // 3
            face = array("q", (_corner(words[at], known, number) for at in range(1, len(words))))
            if len(face) < 3:
                raise UnreadableModel(f"line {number}: a face needs three corners, this one has {len(face)}")
            for second, third in pairwise(face[1:]):
                triangles.extend((face[0], second, third))
            for one, other in zip(face, face[1:] + face[:1], strict=True):
                edges.extend((one, other))
    if not positions:
        raise UnreadableModel("it holds no vertices (lines that begin with `v`)")
    places = np.frombuffer(positions).reshape(-1, 3)
    return ObjMesh(places, _checked(triangles, 3, len(places)), _checked(edges, 2, len(places)))


def _lines(data: bytes) -> Iterator[tuple[int, list[bytes]]]:
    """Numbers and words of the lines that say something; a backslash at a line's end continues it."""
    before: list[bytes] = []
    content = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    for number, line in enumerate(io.BytesIO(content), start=1):
        text = line.split(b"#", 1)[0].strip()
        if text.endswith(b"\\"):
            before.append(text[:-1])
            continue
        if before:
            text, before = b" ".join([*before, text]), []
        words = _words(text, number)
        if words:
            yield number, words
    if before:
        raise UnreadableModel(f"line {number}: it ends within a line that is said to go on")


def _words(text: bytes, line: int) -> list[bytes]:
    if b"\0" in text:
        raise UnreadableModel(f"line {line}: it holds null characters, so it is not a text")
    return text.split(None, -1 if text[:2] in (b"f ", b"f\t") else 8)


def _position(words: list[bytes], line: int) -> tuple[float, float, float]:
    """The first three numbers; a fourth is a weight, and colours may follow."""
    try:
        if b"_" in b"".join(words[1:4]):  # which Python takes for a part of a number
            raise ValueError
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


def _checked(rows: array[int], width: int, count: int) -> Integers:
    result: Integers = np.frombuffer(rows, dtype=np.int64).reshape(-1, width)
    if len(result) and result.max() >= count:
        raise UnreadableModel(f"a face refers to vertex {int(result.max()) + 1}, but there are {count}")
    return result
