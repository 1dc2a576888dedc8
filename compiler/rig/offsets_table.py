"""The offsets of shapes as computed on a mesh: what each shape weighs, and the offsets of small ones."""

from __future__ import annotations

from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import Vector

Row4 = tuple[float, float, float, float]
Matrix4 = tuple[Row4, Row4, Row4, Row4]


class ListedOffsets(NamedTuple):
    """A small shape's offsets as lists: the vertices that move, and by how much each (metres, neutral space)."""

    indices: tuple[int, ...]
    offsets: tuple[Vector, ...]
    normals: tuple[Vector, ...] | None = None


class ListedInbetween(NamedTuple):
    """The offsets of an inbetween at strength `at`."""

    at: float
    listed: ListedOffsets


class ShapeOffsets(NamedTuple):
    """What a shape weighs: the vertices that move, bytes, the largest move (metres) and the joint it is nearest to.

    `listed` and `inbetweens` hold the offsets themselves where the shape is small enough to stand in the text.
    """

    shape: str
    vertices: int
    bytes: int
    largest: float
    joint: str | None
    listed: ListedOffsets | None = None
    inbetweens: tuple[ListedInbetween, ...] = ()


class OffsetsPart(NamedTuple):
    """Which vertices came from where: `first` and how many `vertices` are those of one mesh as one node shows it.

    `node` is None where it has no name, and in OpenUSD; `primitives` are those of the mesh that share these vertices.
    `points`: how many vertices the file has there; fewer than `vertices` where an importer splits them at seams.
    `to_model`: the rows of the matrix that takes the vertices as the file stores them, as columns, to model space.
    """

    mesh: str
    node: str | None
    primitives: tuple[int, ...]
    first: int
    vertices: int
    points: int
    to_model: Matrix4


class OffsetsTable(NamedTuple):
    """The computed offsets: the binary file beside the text, the mesh they are about, and what each shape weighs.

    `parts`: where the vertices are in the model's file, one part after the other.
    """

    file: str
    vertex_count: int
    fingerprint: str
    parts: tuple[OffsetsPart, ...]
    shapes: tuple[ShapeOffsets, ...]
