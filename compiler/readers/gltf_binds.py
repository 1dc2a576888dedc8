"""The bind pose of a glTF 2.0 file, read without its other binary data and without numpy, for a check must be fast.

Inverse bind matrices are 4 x 4 float32, column by column (section 3.7.3.1). Those in sparse accessors are read as all
other arrays are.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from plica.named_tuples import NamedTuple
from plica.readers.gltf_document import (
    BINARY_CHUNK,
    bytes_of_data_uri,
    chunk_place,
    is_data,
    open_regular,
    place_of_uri,
)
from plica.readers.json_fields import LARGEST_NUMBER, Fields, fields, index, index_of, indexes, objects, text, whole
from plica.readers.model_outline import UnreadableModel
from plica.skeleton.bind_pose import BindPose, bind_pose
from plica.skeleton.frames import inverted
from plica.skeleton.skeleton import Frame, Skeleton

FLOAT: Final = 5126  # component type, section 3.6.2.2
MATRIX: Final = struct.Struct("<16f")


class GltfFile(NamedTuple):
    """A document and the file that it is from."""

    document: Fields
    path: Path


def bind_pose_of(
    file: GltfFile, skins: Sequence[int], rest: Skeleton, nodes: Sequence[int], shown: Sequence[Sequence[Frame]]
) -> BindPose:
    """The bind pose of some skins' joints; `nodes` are the document's nodes that the skeleton's joints are.

    shown: for each of the skins where the nodes stand at rest that show a mesh with it, in model space.
    Raises UnreadableModel where the file is damaged.
    """
    every = objects(file.document, "skins", "the file")
    count = len(objects(file.document, "nodes", "the file"))
    place_of_node = {node: place for place, node in enumerate(nodes)}
    result = []
    for skin in skins:
        number = every[skin].get("inverseBindMatrices")
        if number is None:
            return BindPose(None, fault="a skin of it states no inverse bind matrices", absent=True)
        joints = indexes(every[skin], "joints", count, f"skins[{skin}]")
        matrices = _matrices(file, number)
        if len(matrices) < len(joints):
            raise UnreadableModel(f"skins[{skin}] has {len(joints)} joints, but {len(matrices)} inverse bind matrices")
        frames: dict[int, Frame] = {}
        for node, matrix in zip(joints, matrices, strict=False):
            joint = place_of_node[node]
            frame = _bind_frame(matrix)
            if frame is None:
                name = rest.joints[joint].name
                return BindPose(None, fault=f"the inverse bind matrix of joint `{name}` cannot be inverted")
            frames[joint] = frame
        result.append(frames)
    return bind_pose(rest, result, shown)


def _bind_frame(matrix: Sequence[float]) -> Frame | None:
    """The frame whose inverse a matrix is; None where it has none, or is no affine map."""
    a, b, c, d = (matrix[start : start + 4] for start in (0, 4, 8, 12))
    if (a[3], b[3], c[3]) != (0.0, 0.0, 0.0) or d[3] != 1.0:
        return None
    return inverted(Frame(((a[0], b[0], c[0]), (a[1], b[1], c[1]), (a[2], b[2], c[2])), (d[0], d[1], d[2])))


def _matrices(file: GltfFile, number: object) -> list[tuple[float, ...]]:
    accessors = objects(file.document, "accessors", "the file")
    position = index_of(number, len(accessors), "an accessor reference")
    accessor, place = accessors[position], f"accessors[{position}]"
    views = objects(file.document, "bufferViews", "the file")
    view = index(accessor, "bufferView", len(views), place)
    if (accessor.get("type"), accessor.get("componentType")) != ("MAT4", FLOAT):
        raise UnreadableModel(f"{place} holds inverse bind matrices that are not 4 x 4 floats")
    if view is None or accessor.get("sparse") is not None:
        return _as_other_arrays(file, number)
    count, start = whole(accessor, "count", 0, place), whole(accessor, "byteOffset", 0, place)
    here = f"bufferViews[{view}]"
    stride = whole(views[view], "byteStride", 0, here) or MATRIX.size
    if stride < MATRIX.size:
        raise UnreadableModel(f"{here}.byteStride is smaller than the elements of {place}")
    size = stride * (count - 1) + MATRIX.size if count else 0
    if start + size > whole(views[view], "byteLength", 0, here):
        raise UnreadableModel(f"{place} reaches beyond {here}")
    data = _bytes(file, views[view], here, start, size)
    result = [MATRIX.unpack_from(data, stride * row) for row in range(count)]
    if not all(abs(value) <= LARGEST_NUMBER for matrix in result for value in matrix):
        raise UnreadableModel(f"{place} holds values that are no usable numbers")
    return result


def _as_other_arrays(file: GltfFile, number: object) -> list[tuple[float, ...]]:
    from plica.readers.gltf_arrays import GltfArrays

    matrices = GltfArrays(file.path).accessor(number)
    return [tuple(matrix.T.ravel().tolist()) for matrix in matrices]


def _bytes(file: GltfFile, view: Fields, place: str, start: int, size: int) -> bytes:
    """`size` bytes of a buffer view from `start` on."""
    buffers = objects(file.document, "buffers", "the file")
    number = index(view, "buffer", len(buffers), place)
    if number is None:
        raise UnreadableModel(f"{place} has no buffer")
    if view.get("extensions"):
        raise UnreadableModel(f"{place} is compressed; write it without compression")
    start += whole(view, "byteOffset", 0, place)
    here = f"buffers[{number}]"
    if start + size > whole(fields(buffers[number], here), "byteLength", 0, here):
        raise UnreadableModel(f"{place} reaches beyond {here}")
    uri = text(buffers[number], "uri", here)
    if uri is not None and is_data(uri):
        data = bytes_of_data_uri(uri, here)[start : start + size]
    elif uri is not None:
        try:
            data = _part(place_of_uri(uri, file.path.parent), start, size)
        except UnreadableModel as error:
            raise UnreadableModel(f"{here}, `{uri[:80]}`: {error}") from error
    elif number == 0:
        data = _part_of_chunk(file.path, start, size)
    else:
        raise UnreadableModel(f"{here} has no data")
    if len(data) < size:
        raise UnreadableModel(f"{here} is shorter than it says")
    return data


def _part(path: Path, start: int, size: int) -> bytes:
    with open_regular(path) as stream:
        stream.seek(start)
        return stream.read(size)


def _part_of_chunk(path: Path, start: int, size: int) -> bytes:
    with open_regular(path) as stream:
        place = chunk_place(stream, BINARY_CHUNK)
        if place is None:
            raise UnreadableModel("buffers[0] has neither a uri nor a binary chunk")
        if start + size > place[1]:
            raise UnreadableModel("buffers[0] is shorter than it says")
        stream.seek(place[0] + start)
        return stream.read(size)
