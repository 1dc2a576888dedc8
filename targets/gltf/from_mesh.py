"""A glTF 2.0 document made of a mesh as Plica reads it, for characters that come from OpenUSD.

Joints are nodes at their rest, each part of the mesh is a mesh with a skin of its own, all in metres and model space.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np

from plica import __version__
from plica.mesh.arrays import Floats, Integers, Mesh, MeshPart, Offsets
from plica.readers.gltf_shown import Shown
from plica.readers.model_outline import UnreadableModel
from plica.rig.rig import Rig
from plica.targets.gltf.additions import INDICES, VERTICES, Additions, Document
from plica.targets.gltf.container import SourceModel
from plica.targets.gltf.turning import Turned, Turning

_SET: Final = 4  # influences of one set of joints and weights (section 3.7.3.3)


class MadeModel(NamedTuple):
    """A document without shapes, what its data are added to, and the mesh, its parts where the document has them."""

    model: SourceModel
    additions: Additions
    mesh: Mesh


def model_of_mesh(rig: Rig, mesh: Mesh, folder: Path) -> MadeModel:
    """A document with a rig's joints and a mesh that hangs on them, with its own morph targets and without materials.

    Raises UnreadableModel where there are no faces.
    """
    document: Document = {"asset": {"version": "2.0", "generator": f"Plica {__version__}"}}
    additions = Additions(document, 0)
    document["nodes"] = _joints(rig)
    roots = [number for number, joint in enumerate(rig.skeleton) if joint.parent is None]
    skins: dict[tuple[bytes, bytes], int] = {}
    parts = []
    document["meshes"] = []
    for part in mesh.parts:
        corners = mesh.triangles_in(part).ravel()
        if not len(corners):
            parts.append(part)  # nothing of it is shown
            continue
        node: Document = {"name": part.mesh, "mesh": len(document["meshes"])}
        primitive, used = _primitive(mesh, part, corners, additions)
        if len(used):
            node["skin"] = _skin(document, mesh, used, skins, additions)
        held: Document = {"name": part.mesh, "primitives": [primitive]}
        _add_morphs(held, mesh, part, additions)
        document["meshes"].append(held)
        document["nodes"].append(node)
        roots.append(len(document["nodes"]) - 1)
        shown = Shown(node["mesh"], len(document["nodes"]) - 1, node.get("skin"))
        parts.append(replace(part, primitives=(0,), points=None, to_model=np.eye(4), in_gltf=shown))
    if not document["meshes"]:
        raise UnreadableModel("its meshes have no faces")
    document["scenes"] = [{"nodes": roots}]
    document["scene"] = 0
    return MadeModel(SourceModel(document, folder), additions, replace(mesh, parts=tuple(parts)))


def turning_of_mesh(mesh: Mesh) -> Turning:
    """The normals of a mesh that was made into a document."""

    def turned(primitive: Mapping[str, Any], part: MeshPart) -> Turned | None:
        return None if mesh.normals is None else Turned(_normals(mesh.normals, part), None, np.eye(3))

    return turned


def _joints(rig: Rig) -> list[Document]:
    """The joints as nodes, in the rig's order, as the file rests."""
    numbers = {joint.name: number for number, joint in enumerate(rig.skeleton)}
    nodes: list[Document] = [
        {
            "name": joint.name,
            "translation": list(joint.rest.translation),
            "rotation": list(joint.rest.rotation),
            "scale": list(joint.rest.scale),
        }
        for joint in rig.skeleton
    ]
    for number, joint in enumerate(rig.skeleton):
        if joint.parent is not None:
            nodes[numbers[joint.parent]].setdefault("children", []).append(number)
    return nodes


def _primitive(mesh: Mesh, part: MeshPart, corners: Integers, additions: Additions) -> tuple[Document, Integers]:
    """A part as a primitive, and the binds that its skin needs, in order."""
    rows = part.rows
    positions = mesh.positions[rows].astype(np.dtype("<f4"))
    attributes = {"POSITION": additions.dense(positions, bounds=True, target=VERTICES)}
    if mesh.normals is not None:
        normals = _normals(mesh.normals, part).astype(np.dtype("<f4"))
        attributes["NORMAL"] = additions.dense(normals, target=VERTICES)
    layouts = [values[rows] for values in mesh.uvs.values() if np.all(np.isfinite(values[rows]))]
    for number, values in enumerate(layouts):
        attributes[f"TEXCOORD_{number}"] = additions.dense(values.astype(np.dtype("<f4")), target=VERTICES)
    used = np.unique(mesh.joints[rows][mesh.weights[rows] > 0.0])
    for number, (joints, weights) in enumerate(_influences(mesh, part, used)):
        attributes[f"JOINTS_{number}"] = additions.dense(joints.astype(np.dtype("<u2")), target=VERTICES)
        attributes[f"WEIGHTS_{number}"] = additions.dense(weights, target=VERTICES)
    kind = np.dtype("<u2") if part.count < 2**16 else np.dtype("<u4")
    return {"attributes": attributes, "indices": additions.dense(corners.astype(kind), target=INDICES)}, used


def _influences(mesh: Mesh, part: MeshPart, used: Integers) -> Iterator[tuple[Integers, np.ndarray[Any, Any]]]:
    """Joints and weights four by four, counted among those used; weights in single precision add up to 1."""
    rows = part.rows
    if not len(used):
        return
    weights = mesh.weights[rows].astype(np.float32)
    weights[:, 0] = 1.0 - weights[:, 1:].sum(axis=1, dtype=np.float64)
    joints = np.where(weights > 0.0, np.searchsorted(used, mesh.joints[rows]), 0)
    wide = ((0, 0), (0, -weights.shape[1] % _SET))
    joints, weights = np.pad(joints, wide), np.pad(weights, wide)
    for start in range(0, weights.shape[1], _SET):
        part_of = slice(start, start + _SET)
        yield np.ascontiguousarray(joints[:, part_of]), np.ascontiguousarray(weights[:, part_of], np.dtype("<f4"))


def _skin(
    document: Document, mesh: Mesh, used: Integers, skins: dict[tuple[bytes, bytes], int], additions: Additions
) -> int:
    """The number of a skin of these binds; the same for the same ones."""
    joints = mesh.bind_joints[used]
    matrices = np.ascontiguousarray(mesh.inverse_binds[used].transpose(0, 2, 1), np.dtype("<f4"))
    key = joints.tobytes(), matrices.tobytes()
    if key not in skins:
        held = document.setdefault("skins", [])
        held.append({"joints": joints.tolist(), "inverseBindMatrices": additions.dense(matrices.reshape(-1, 16))})
        skins[key] = len(held) - 1
    return skins[key]


def _add_morphs(held: Document, mesh: Mesh, part: MeshPart, additions: Additions) -> None:
    """The mesh's own morph targets, where they move this part."""
    names, targets = [], []
    for name, moves in mesh.morphs.items():
        rows = moves.rows_in(part)
        if rows.start < rows.stop:
            names.append(name)
            targets.append(_morph(moves, rows, part, additions))
    if names:
        held["primitives"][0]["targets"] = targets
        held |= {"weights": [0.0] * len(names), "extras": {"targetNames": names}}


def _morph(moves: Offsets, rows: slice, part: MeshPart, additions: Additions) -> dict[str, int]:
    where = moves.indices[rows] - part.start
    return {"POSITION": additions.vectors(part.count, where, moves.offsets[rows].astype(np.float32), bounds=True)}


def _normals(normals: Floats, part: MeshPart) -> Floats:
    """A part's normals at length 1; where there is none, up, as a normal has to be something."""
    own = normals[part.rows]
    lengths = np.linalg.norm(own, axis=1, keepdims=True)
    return np.where(lengths > 0.0, own / np.where(lengths > 0.0, lengths, 1.0), (0.0, 1.0, 0.0))
