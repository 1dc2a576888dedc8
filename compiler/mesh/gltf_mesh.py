"""Meshes of a glTF 2.0 file with their skins and morph targets (sections 3.7.2 and 3.7.3).

A skinned mesh stands as its skin was bound: the transform of the node that shows it has no say (section 3.7.3.2). Where
the file stores it in another space than the model's, `plica.mesh.model_space` takes it there. A mesh without a skin is
bound rigidly to the joint that its node hangs on, and stands where the bind pose puts that joint.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from plica.mesh.arrays import Integers, Mesh
from plica.mesh.assembly import MeshPiece, Morphed, put_together
from plica.mesh.gltf_bindings import rigidly_bound, skinned_binding, unbound
from plica.mesh.gltf_source import GltfMeshes, floats
from plica.mesh.model_space import in_model_space
from plica.readers.gltf_arrays import NUMBER_BYTES, GltfArrays
from plica.readers.gltf_morphs import target_names
from plica.readers.gltf_shown import TRIANGLES, Shown
from plica.readers.json_fields import Fields, fields, items, objects, text, whole
from plica.readers.model_outline import UnreadableModel

STRIP, FAN = 5, 6  # section 3.7.2.1
PRIMITIVE_BYTES = 16 * 1024  # what one primitive costs beside its arrays, each time that it is shown
TARGET_BYTES = 256  # what one of its morph targets does
LINES_AND_POINTS = ("points", "lines", "line loops", "line strips")


def read_gltf_mesh(path: Path, joints: Sequence[str], chosen: Collection[str] = ()) -> Mesh:
    """The chosen meshes of a file as one (`plica.readers.gltf_shown` says which; `chosen` names meshes or nodes).

    `joints` are the names of the rig's skeleton in its order; they are the names that `skeleton_of_document` gives.
    Raises UnreadableModel.
    """
    file = GltfMeshes(path, chosen, {name: number for number, name in enumerate(joints)})
    for name in file.shown.unknown:
        raise UnreadableModel(f"no node of it shows a mesh `{name}`, and none that shows one is called that")
    pieces = [piece for number, shown in enumerate(file.shown.taken) for piece in _pieces(file, shown, number)]
    _take_together(file.arrays, pieces)
    return put_together(pieces, file.problems)


def _take_together(arrays: GltfArrays, pieces: Sequence[MeshPiece]) -> None:
    """Counts what the pieces take as one mesh: what one of them has, all get a column for."""
    vertices = sum(len(piece.positions) for piece in pieces)
    uvs = {name for piece in pieces for name in piece.uvs}
    morphs = {name for piece in pieces for name in piece.morphs}
    influences = max((piece.binding.joints.shape[1] for piece in pieces), default=0)
    arrays.take(vertices * (16 * len(uvs) + 16 * influences + len(morphs)), "the meshes together")


def _pieces(file: GltfMeshes, shown: Shown, number: int) -> list[MeshPiece]:
    """The primitives of a mesh; those that share all vertex data and differ in material become one.

    Points and lines beside triangles are left out. Primitives with fewer morph targets than others, which section
    3.7.2.1 does not allow, stay where the targets that they lack move the others.
    """
    mesh, name = file.meshes[shown.mesh], file.names[shown.mesh]
    place = f"meshes[{shown.mesh}]"
    primitives = objects(mesh, "primitives", place)
    weights = file.nodes[shown.node].get("weights", mesh.get("weights"))
    if isinstance(weights, list) and any(weight != 0 for weight in weights):
        file.problems.append(f"`{name}` is shown with morph targets on; its neutral is taken without them")
    shared: dict[Hashable, tuple[int, list[int]]] = {}
    surfaces = [one for one in enumerate(primitives) if whole(one[1], "mode", TRIANGLES, place) >= TRIANGLES]
    if 0 < len(surfaces) < len(primitives):
        file.problems.append(f"`{name}` has points or lines beside its triangles; they are left out")
    for position, primitive in surfaces or enumerate(primitives):
        file.arrays.take(PRIMITIVE_BYTES + TARGET_BYTES * len(items(primitive, "targets", place)), place)
        shared.setdefault(_vertex_data(file, primitive, f"{place}[{position}]"), (position, []))[1].append(position)
    counts = {len(objects(primitive, "targets", place)) for primitive in primitives}
    if len(counts) > 1:
        file.problems.append(
            f"not all primitives of `{name}` have all its morph targets; those without one stay as they are"
        )
    names = target_names(mesh, max(counts, default=0))
    return [_piece(file, shown, number, primitives, first, members, names) for first, members in shared.values()]


def _vertex_data(file: GltfMeshes, primitive: Fields, place: str) -> Hashable:
    """The accessors that a primitive's vertices and morph targets are made of."""
    attributes = fields(primitive.get("attributes"), f"{place}.attributes")
    return tuple(
        tuple((name, file.arrays.number_of(one[name], f"{place} {name}")) for name in sorted(one))
        for one in (attributes, *objects(primitive, "targets", place))
    )


def _piece(
    file: GltfMeshes,
    shown: Shown,
    number: int,
    primitives: Sequence[Fields],
    first: int,
    members: Sequence[int],
    targets: Sequence[str],
) -> MeshPiece:
    place = f"meshes[{shown.mesh}].primitives"
    here = f"{place}[{first}]"
    attributes = fields(primitives[first].get("attributes"), f"{here}.attributes")
    positions = floats(file.arrays, attributes.get("POSITION"), None, 3, f"{here} POSITION")
    count = len(positions)
    normals = None
    if attributes.get("NORMAL") is not None:
        normals = floats(file.arrays, attributes["NORMAL"], count, 3, f"{here} NORMAL")
    uvs = {
        key: floats(file.arrays, attributes[key], count, 2, f"{here} {key}")
        for key in sorted(attributes)
        if key.startswith("TEXCOORD_")
    }
    morphs = {}
    for name, target in zip(targets, objects(primitives[first], "targets", here), strict=False):
        morphs[name] = _morph(file.arrays, target, count, f"{here} morph target `{name}`", normals is not None)
    triangles = [_triangles(file.arrays, primitives[member], count, f"{place}[{member}]") for member in members]
    name = file.names[shown.mesh]
    piece = MeshPiece(
        mesh=name,
        node=text(file.nodes[shown.node], "name", f"nodes[{shown.node}]"),
        primitives=tuple(members),
        shown=number,
        positions=positions,
        triangles=np.concatenate(triangles),
        normals=normals,
        uvs=uvs,
        binding=unbound(count),
        morphs=morphs,
        in_gltf=shown,
    )
    if shown.skin is not None:
        binding = skinned_binding(file, shown.skin, attributes, count, name, here)
        binds = dict(zip(binding.bind_joints.tolist(), binding.inverse_binds, strict=True))
        return in_model_space(replace(piece, binding=binding), binds, file.bind_frames)
    return rigidly_bound(file, piece, shown.node)


# ---- attributes -------------------------------------------------------------------------------------


def _morph(arrays: GltfArrays, target: Fields, count: int, place: str, turns: bool) -> Morphed:
    if target.get("POSITION") is None:
        arrays.take(count * 3 * NUMBER_BYTES, place)
    offsets = np.zeros((count, 3))
    if target.get("POSITION") is not None:
        offsets = floats(arrays, target["POSITION"], count, 3, f"{place} POSITION")
    normals = None
    if turns and target.get("NORMAL") is not None:
        normals = floats(arrays, target["NORMAL"], count, 3, f"{place} NORMAL")
    return Morphed(offsets, normals)


def _triangles(arrays: GltfArrays, primitive: Fields, count: int, place: str) -> Integers:
    """The triangles (t, 3) of a primitive by its mode (section 3.7.2.1)."""
    mode = whole(primitive, "mode", TRIANGLES, place)
    if mode < TRIANGLES:
        raise UnreadableModel(f"{place} is made of {LINES_AND_POINTS[mode]}; skin is made of triangles")
    if mode > FAN:
        raise UnreadableModel(f"{place} has mode {mode}, which glTF 2.0 does not know")
    corners: Integers = np.arange(count)
    if primitive.get("indices") is not None:
        result = arrays.accessor(primitive["indices"])
        if result.ndim != 1 or result.dtype.kind != "u":
            raise UnreadableModel(f"{place}.indices are not whole numbers, one for each corner")
        corners = result.astype(np.int64)
        if len(corners) and corners.max() >= count:
            raise UnreadableModel(f"{place}.indices refer to vertex {corners.max()}, but there are {count}")
    if mode == TRIANGLES:
        if len(corners) % 3:
            raise UnreadableModel(f"{place} has {len(corners)} corners, which do not make whole triangles")
        return corners.reshape(-1, 3)
    if len(corners) < 3:
        return np.zeros((0, 3), np.int64)
    if mode == FAN:
        rest = corners[1:]
        triangles = np.stack([rest[:-1], rest[1:], np.full(len(rest) - 1, corners[0])], axis=1)
    else:
        odd = np.arange(len(corners) - 2) % 2 == 1
        first, second, third = corners[:-2], corners[1:-1], corners[2:]
        triangles = np.stack([first, np.where(odd, third, second), np.where(odd, second, third)], axis=1)
    # Strips repeat corners to go from one stretch to the next; the triangles there are none.
    a, b, c = triangles.T
    return np.asarray(triangles[(a != b) & (b != c) & (c != a)])
