"""A posed mesh as a file to sculpt on: OBJ, glTF 2.0 binary, OpenUSD text, NPZ.

Vertices keep their order in every form; welded, they are the mesh's points in the order of their first vertices.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plica.foreign import line
from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.npz import written
from plica.mesh.recognition.pose_record import KEY, PoseRecord, UpAxis
from plica.mesh.weld import first_vertices

_FLOAT, _UNSIGNED_INT = 5126, 5125
_VERTEX_DATA, _INDEX_DATA = 34962, 34963


@dataclass(frozen=True, eq=False)
class FileMesh:
    """A mesh as a file is to hold it, in the file's unit and axes.

    positions (n, 3), corners (t, 3) of triangles; uv (m, 2), v down as in glTF, with its own corners (t, 3); parts: by
    name, the first triangle and the number of triangles.
    """

    positions: Floats
    corners: Integers
    uv: Floats | None
    uv_corners: Integers
    parts: tuple[tuple[str, int, int], ...]


def file_mesh(mesh: Mesh, positions: Floats, record: PoseRecord) -> FileMesh:
    """The mesh with its vertices at positions (v, 3), metres, y up, turned to what the record says of the file."""
    placed, corners = positions, mesh.triangles
    if record.welded:
        placed, corners = positions[first_vertices(mesh.points)], mesh.points[mesh.triangles]
    uv = next(iter(mesh.uvs.values()), None)
    usable = None if uv is None else np.nan_to_num(uv)
    return FileMesh(_in_axes(placed, record.up) / record.metres, corners, usable, mesh.triangles, _parts(mesh))


def _in_axes(positions: Floats, up: UpAxis) -> Floats:
    """Turned about x so that y points along `up`."""
    if up == "y":
        return positions
    x, y, z = positions.T
    return np.stack([x, -z, y], axis=1)


def _parts(mesh: Mesh) -> tuple[tuple[str, int, int], ...]:
    """The stretches of triangles that belong to one part each, in their order."""
    starts = np.array([part.start for part in mesh.parts], dtype=np.int64)
    if not len(starts) or not len(mesh.triangles):
        return ()
    owner = np.searchsorted(starts, mesh.triangles[:, 0], side="right") - 1
    cuts = np.flatnonzero(np.diff(owner, prepend=-1))
    ends = np.append(cuts[1:], len(owner))
    names = [part.node or part.mesh for part in mesh.parts]
    return tuple((names[owner[cut]], int(cut), int(end - cut)) for cut, end in zip(cuts, ends, strict=True))


def obj_bytes(mesh: FileMesh, record: PoseRecord) -> bytes:
    """Wavefront OBJ; the record as a comment."""
    lines = [f"# {record.text()}", f"o {_word(record.character)}"]
    lines += ["v %.9g %.9g %.9g" % (x, y, z) for x, y, z in mesh.positions.tolist()]  # noqa: UP031, quicker
    if mesh.uv is not None:
        lines += ["vt %.9g %.9g" % (u, 1.0 - v) for u, v in mesh.uv.tolist()]  # noqa: UP031
    faces = list(_faces(mesh))
    for name, first, count in mesh.parts or (("skin", 0, len(faces)),):
        lines.append(f"g {_word(name)}")
        lines += faces[first : first + count]
    return ("\n".join(lines) + "\n").encode()


def _faces(mesh: FileMesh) -> Iterable[str]:
    corners = (mesh.corners + 1).tolist()
    if mesh.uv is None:
        return (f"f {a} {b} {c}" for a, b, c in corners)
    both = zip(corners, (mesh.uv_corners + 1).tolist(), strict=True)
    return (f"f {a}/{d} {b}/{e} {c}/{f}" for (a, b, c), (d, e, f) in both)


def _word(name: str) -> str:
    """A name as OBJ can hold it: without blanks."""
    return "_".join(line(name).split()) or "skin"


def glb_bytes(mesh: FileMesh, record: PoseRecord) -> bytes:
    """glTF 2.0 binary, section 4.4: one mesh, one primitive; the record in `asset.extras`."""
    views: list[dict[str, Any]] = []
    accessors: list[dict[str, Any]] = []
    binary = bytearray()

    def stored(values: NDArray[Any], kind: str, component: int, target: int, **more: object) -> int:
        views.append({"buffer": 0, "byteOffset": len(binary), "byteLength": values.nbytes, "target": target})
        binary.extend(values.tobytes())
        accessors.append(
            {"bufferView": len(views) - 1, "componentType": component, "count": len(values), "type": kind, **more}
        )
        return len(accessors) - 1

    places = mesh.positions.astype("<f4")
    low, high = places.min(axis=0).tolist(), places.max(axis=0).tolist()
    attributes = {"POSITION": stored(places, "VEC3", _FLOAT, _VERTEX_DATA, min=low, max=high)}
    if mesh.uv is not None and not record.welded:
        attributes["TEXCOORD_0"] = stored(mesh.uv.astype("<f4"), "VEC2", _FLOAT, _VERTEX_DATA)
    indices = stored(mesh.corners.astype("<u4").reshape(-1), "SCALAR", _UNSIGNED_INT, _INDEX_DATA)
    name = record.character
    document = {
        "asset": {"version": "2.0", "generator": f"plica {record.tool}".strip(), "extras": record.plain()},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"name": name, "mesh": 0}],
        "meshes": [{"name": name, "primitives": [{"attributes": attributes, "indices": indices}]}],
        "buffers": [{"byteLength": len(binary)}],
        "bufferViews": views,
        "accessors": accessors,
    }
    text = json.dumps(document, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    chunks += struct.pack("<II", len(binary), 0x004E4942) + bytes(binary)
    return struct.pack("<III", 0x46546C67, 2, 12 + len(chunks)) + chunks


def usda_bytes(mesh: FileMesh, record: PoseRecord) -> bytes:
    """OpenUSD as text: one Mesh; the record in the layer's custom data."""
    points = ", ".join("(%.9g, %.9g, %.9g)" % (x, y, z) for x, y, z in mesh.positions.tolist())  # noqa: UP031
    corners = ", ".join(map(str, mesh.corners.reshape(-1).tolist()))
    lines = [
        "#usda 1.0",
        "(",
        "    customLayerData = {",
        f"        string {KEY} = {json.dumps(record.text())}",
        "    }",
        '    defaultPrim = "Skin"',
        f"    metersPerUnit = {record.metres:g}",
        f'    upAxis = "{record.up.upper()}"',
        ")",
        "",
        'def Mesh "Skin"',
        "{",
        f"    int[] faceVertexCounts = [{', '.join(['3'] * len(mesh.corners))}]",
        f"    int[] faceVertexIndices = [{corners}]",
        f"    point3f[] points = [{points}]",
        '    uniform token subdivisionScheme = "none"',
    ]
    if mesh.uv is not None:
        at_corners = mesh.uv[mesh.uv_corners.reshape(-1)]
        uv = ", ".join("(%.9g, %.9g)" % (u, 1.0 - v) for u, v in at_corners.tolist())  # noqa: UP031
        lines.append(f'    texCoord2f[] primvars:st = [{uv}] (interpolation = "faceVarying")')
    return ("\n".join([*lines, "}"]) + "\n").encode()


def npz_bytes(mesh: FileMesh, record: PoseRecord) -> bytes:
    """An NPZ archive: `positions`, `triangles`, `uv` where there is one, and the record's text."""
    arrays: dict[str, NDArray[Any]] = {
        "positions": mesh.positions.astype("<f8"),
        "triangles": mesh.corners.astype("<i4"),
        KEY: np.array(record.text(), np.str_),
    }
    if mesh.uv is not None:
        arrays |= {"uv": mesh.uv.astype("<f4"), "uv_triangles": mesh.uv_corners.astype("<i4")}
    return written(arrays)


WRITERS: Final[Mapping[str, Callable[[FileMesh, PoseRecord], bytes]]] = MappingProxyType(
    {".obj": obj_bytes, ".glb": glb_bytes, ".usda": usda_bytes, ".npz": npz_bytes}
)
"""By the ending of the file's name."""
FIXED: Final = frozenset({".glb", ".npz"})
"""Endings of forms whose unit is the metre and whose y points up, by their standard or by our page."""
