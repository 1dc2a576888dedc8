"""The binary offsets file: every shape's offsets in one NPZ. Its page is targets/json/offsets.md."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Integers, Offsets
from plica.mesh.npz import ArchiveError, arrays_of, rising_indices, stated_vertex_count, written_one_by_one
from plica.readers.json_fields import LARGEST_NUMBER

FORMAT: Final = "plica-offsets"
VERSION: Final = 1
POINTS: Final = "points_of_part_"

PlainOffsets = dict[str, list[int] | list[list[float]]]


@dataclass(frozen=True, eq=False)
class StoredShape:
    """A shape's offsets at strength 1, and its inbetweens: (strength, offsets), strengths rising."""

    offsets: Offsets
    inbetweens: tuple[tuple[float, Offsets], ...] = ()


@dataclass(frozen=True, eq=False)
class OffsetsFile:
    """What an offsets file holds: the number of vertices of the mesh it is about, and the shapes by name.

    `build` is the id of the build that it belongs to, empty where it belongs to none. `points`: by the number of a part
    of the mesh, for parts whose vertices are copies of the file's points (`MeshPart.points`), of which each is one.
    """

    vertex_count: int
    shapes: Mapping[str, StoredShape]
    build: str = ""
    points: Mapping[int, Integers] = field(default_factory=dict)


def offsets_file(content: OffsetsFile) -> bytes:
    """The NPZ file, the same bytes for the same content; offsets are rounded to single precision, as glTF
    stores them.

    Raises ValueError for a shape whose name holds a slash, or an inbetween out of order.
    """
    return written_one_by_one(_arrays(content))


_Named = tuple[str, NDArray[Any]]


def _arrays(content: OffsetsFile) -> Iterator[_Named]:
    """The members, each made when the one before it is written."""
    yield "format", np.array(FORMAT)
    yield "version", np.array(VERSION, "<i4")
    yield "build", np.array(content.build, np.str_)
    yield "vertex_count", np.array(content.vertex_count, "<i4")
    yield "shapes", np.array(sorted(content.shapes), np.str_)
    for part, points in sorted(content.points.items()):
        yield f"{POINTS}{part}", points.astype("<i4")
    for name in sorted(content.shapes):
        shape = content.shapes[name]
        if "/" in name:
            raise ValueError(f"the name {name!r} holds a slash")
        yield from _members(name, shape.offsets)
        if shape.inbetweens:
            strengths = np.array([at for at, _ in shape.inbetweens], "<f8")
            if not (np.diff(strengths) > 0.0).all():
                raise ValueError(f"the inbetweens of {name!r} do not rise")
            yield f"{name}/inbetweens", strengths
        for number, (_, offsets) in enumerate(shape.inbetweens):
            yield from _members(f"{name}/{number}", offsets)


def _members(prefix: str, offsets: Offsets) -> Iterator[_Named]:
    yield f"{prefix}/indices", offsets.indices.astype("<i4")
    yield f"{prefix}/offsets", offsets.offsets.astype("<f4")
    if offsets.normals is not None:
        yield f"{prefix}/normals", offsets.normals.astype("<f4")


def read_offsets_file(data: bytes, build: str | None = None) -> OffsetsFile:
    """Reads an offsets file back. Raises ArchiveError where it is damaged, of another form or a newer
    version, or, where `build` is given, does not belong to the build of that id.
    """
    arrays = arrays_of(data)
    if _texts(arrays.get("format", np.array(0))) != [FORMAT]:
        raise ArchiveError(f"its `format` is not `{FORMAT}`")
    version = arrays.get("version", np.array(0))
    if version.shape != () or version.dtype.kind not in "iu" or int(version) != VERSION:
        raise ArchiveError(f"its `version` is not {VERSION}")
    of_build = str(arrays.get("build", ""))
    if build is not None and of_build != build:
        raise ArchiveError(f"it belongs to the build {of_build or 'without an id'}, not to {build or 'one without'}")
    count = stated_vertex_count(arrays)
    names = arrays.get("shapes")
    if count is None or count < 0 or names is None or names.ndim != 1:
        raise ArchiveError("it lacks `vertex_count` or `shapes`")
    listed = _texts(names)
    if len(set(listed)) != len(listed):
        raise ArchiveError("`shapes` names a shape twice")
    shapes = {name: _shape(arrays, name, count) for name in listed}
    return OffsetsFile(count, shapes, of_build, dict(_points(arrays)))


def _points(arrays: Mapping[str, NDArray[Any]]) -> Iterator[tuple[int, Integers]]:
    for name, values in arrays.items():
        number = name.removeprefix(POINTS)
        if number != name and number.isascii() and number.isdigit():
            if values.ndim != 1 or values.dtype.kind not in "iu" or np.any(values < 0):
                raise ArchiveError(f"`{name}` is not a list of whole numbers")
            yield int(number), values.astype(np.int64)


def _texts(values: NDArray[Any]) -> list[str]:
    """An array of texts as a list, empty for an array of anything else."""
    return list(map(str, values.reshape(-1).tolist())) if values.dtype.kind == "U" else []


def _shape(arrays: Mapping[str, NDArray[Any]], name: str, count: int) -> StoredShape:
    strengths = arrays.get(f"{name}/inbetweens", np.zeros(0))
    if strengths.ndim != 1 or strengths.dtype.kind != "f" or not np.isfinite(strengths).all():
        raise ArchiveError(f"`{name}/inbetweens` is not a list of numbers")
    if not (np.diff(strengths) > 0.0).all():
        raise ArchiveError(f"`{name}/inbetweens` does not rise")
    between = [(float(at), _offsets(arrays, f"{name}/{number}", count)) for number, at in enumerate(strengths)]
    return StoredShape(_offsets(arrays, name, count), tuple(between))


def _offsets(arrays: Mapping[str, NDArray[Any]], prefix: str, count: int) -> Offsets:
    if f"{prefix}/indices" not in arrays:
        raise ArchiveError(f"it lacks `{prefix}/indices`")
    indices = rising_indices(arrays[f"{prefix}/indices"], count, f"{prefix}/indices")
    normals = f"{prefix}/normals"
    return Offsets(
        indices,
        _vectors(arrays, f"{prefix}/offsets", indices),
        _vectors(arrays, normals, indices) if normals in arrays else None,
    )


def _vectors(arrays: Mapping[str, NDArray[Any]], name: str, indices: Integers) -> Floats:
    values = arrays.get(name)
    if values is None or values.shape != (len(indices), 3) or values.dtype.kind != "f":
        raise ArchiveError(f"`{name}` is not one vector for each index")
    if not np.all(np.abs(values) <= LARGEST_NUMBER):  # also false for what is no number
        raise ArchiveError(f"`{name}` holds values that are no usable numbers")
    return values.astype(np.float64)


def plain(offsets: Offsets) -> PlainOffsets:
    """Offsets as plain lists for JSON: `indices`, `offsets` and, if there, `normals`.

    Numbers are in single precision like the file's, written with the fewest digits that read back to them.
    """
    result: PlainOffsets = {"indices": offsets.indices.tolist(), "offsets": decimals(offsets.offsets)}
    if offsets.normals is not None:
        result["normals"] = decimals(offsets.normals)
    return result


def decimals(vectors: Floats) -> list[list[float]]:
    """Vectors (n, 3) in single precision, as the numbers with the fewest digits that read back to them."""
    return [[float(str(value)) for value in row] for row in vectors.astype(np.float32)]
