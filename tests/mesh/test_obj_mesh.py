"""Sculpts as Wavefront OBJ."""

from __future__ import annotations

import numpy as np
import pytest

from plica.mesh.obj_mesh import parse_obj
from plica.readers.model_outline import UnreadableModel

TEXT = b"""\xef\xbb\xbf# a square and a triangle
o sculpt
v 0 0 0 1.0
v 1 0 0
v 1 1 0 0.5 0.5 0.5
v 0 1 0
vt 0 0
vn 0 0 1
f 1/1/1 2/1/1 3//1 4
v 0.5 2 -1e-3
f -3 -2 \\
  -1 # the last three so far
"""


def test_positions_faces_and_edges() -> None:
    result = parse_obj(TEXT)
    np.testing.assert_array_equal(result.positions[[2, 4]], [(1, 1, 0), (0.5, 2, -1e-3)])
    assert result.triangles.tolist() == [[0, 1, 2], [0, 2, 3], [2, 3, 4]]
    assert result.edges.tolist() == [[0, 1], [1, 2], [2, 3], [3, 0], [2, 3], [3, 4], [4, 2]]


def test_windows_line_ends_and_faces_before_their_vertices() -> None:
    result = parse_obj(b"f 1 2 3\r\nv 0 0 0\r\nv 1 0 0\r\nv 0 1 0\r\n")
    assert result.triangles.tolist() == [[0, 1, 2]]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"v 0 0\n", "line 1: a vertex needs three numbers"),
        (b"\n\nv 0 zero 0\n", "line 3: a vertex needs three numbers"),
        (b"v nan 0 0\n", "line 1: a vertex lies where"),
        (b"v 1e400 0 0\n", "line 1: a vertex lies where"),
        (b"v 0 0 0\nf 1 1\n", "line 2: a face needs three corners, this one has 2"),
        (b"v 0 0 0\nf 1 1 x\n", "line 2: `x` is no corner"),
        (b"v 0 0 0\nf 1 1 0\n", "line 2: there is no vertex 0"),
        (b"v 0 0 0\nf 1 1 -2\n", "line 2: there is no vertex -2"),
        (b"v 0 0 0\nf 1 1 2\n", "vertex 2, but there are 1"),
        (b"v 0 0 0\nf 1 1 99999999999999999999\n", "line 2: `99999999999999999999` is no corner"),
        (b"f 1 2 3\n", "holds no vertices"),
        (b"v 0 0 0\n\0\0\n", "line 2: it holds null characters"),
        (b"", "holds no vertices"),
    ],
)
def test_mistakes_are_told_with_their_line(text: bytes, told: str) -> None:
    with pytest.raises(UnreadableModel, match=told.replace("(", r"\(")):
        parse_obj(text)
