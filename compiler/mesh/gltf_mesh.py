"""Meshes of a glTF 2.0 file with their skins and morph targets (sections 3.7.2 and 3.7.3).

A skinned mesh is taken as it is stored, in the space of the bind pose: the transform of the node that shows it has no
say (section 3.7.3.2). A mesh without a skin is bound rigidly to the joint that its node hangs on.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from plica.mesh.arrays import Floats, Integers, Mesh
from plica.mesh.assembly import Binding, MeshPiece, Morphed, put_right, put_together
from plica.readers.gltf_arrays import NUMBER_BYTES, Elements, GltfArrays
from plica.readers.gltf_document import parents_of_nodes
from plica.readers.gltf_skeleton import NodeSkeleton, mesh_names, skeleton_of_document, target_names
from plica.readers.json_fields import Fields, fields, index, indexes, items, numbers, objects, whole
from plica.readers.model_outline import UnreadableModel

TRIANGLES, STRIP, FAN = 4, 5, 6  # section 3.7.2.1
PRIMITIVE_BYTES = 16 * 1024  # what one primitive costs beside its arrays, each time that it is shown
TARGET_BYTES = 256  # what one of its morph targets does
LINES_AND_POINTS = ("points", "lines", "line loops", "line strips")


class Shown(NamedTuple):
    """A mesh and the node that shows it."""

    mesh: int
    node: int
    skin: int | None


class _GltfMeshes:
    """The document and what is looked up in it again and again."""

    def __init__(self, path: Path, chosen: Collection[str], joints: Mapping[str, int]) -> None:
        self.arrays = GltfArrays(path)
        document = self.arrays.document
        self.nodes = objects(document, "nodes", "the file")
        self.meshes = objects(document, "meshes", "the file")
        self.skins = objects(document, "skins", "the file")
        self.parents = parents_of_nodes(document)
        self.names = mesh_names(document, [])
        self.skeleton: NodeSkeleton = skeleton_of_document(document, chosen)
        self.row_of_node = {node: row for row, node in enumerate(self.skeleton.nodes)}
        self.joint_of_node = {
            node: joints[joint.name]
            for node, joint in zip(self.skeleton.nodes, self.skeleton.skeleton.joints, strict=True)
            if joint.name in joints
        }
        self.problems: list[str] = []


def read_gltf_mesh(path: Path, joints: Sequence[str], chosen: Collection[str] = ()) -> Mesh:
    """The chosen meshes of a file as one (none chosen: every skinned one; without any, every mesh).

    `joints` are the names of the rig's skeleton in its order; they are the names that `skeleton_of_document` gives.
    Raises UnreadableModel.
    """
    file = _GltfMeshes(path, chosen, {name: number for number, name in enumerate(joints)})
    pieces = [piece for number, shown in enumerate(_shown(file, chosen)) for piece in _pieces(file, shown, number)]
    _take_together(file.arrays, pieces)
    return put_together(pieces, file.problems)


def _take_together(arrays: GltfArrays, pieces: Sequence[MeshPiece]) -> None:
    """Counts what the pieces take as one mesh: what one of them has, all get a column for."""
    vertices = sum(len(piece.positions) for piece in pieces)
    uvs = {name for piece in pieces for name in piece.uvs}
    morphs = {name for piece in pieces for name in piece.morphs}
    influences = max((piece.binding.joints.shape[1] for piece in pieces), default=0)
    arrays.take(vertices * (16 * len(uvs) + 16 * influences + len(morphs)), "the meshes together")


def _shown(file: _GltfMeshes, chosen: Collection[str]) -> list[Shown]:
    every = []
    for number, node in enumerate(file.nodes):
        mesh = index(node, "mesh", len(file.meshes), f"nodes[{number}]")
        if mesh is not None:
            every.append(Shown(mesh, number, index(node, "skin", len(file.skins), f"nodes[{number}]")))
    every.sort(key=lambda shown: (shown.mesh, shown.node))
    if chosen:
        result = [shown for shown in every if file.names[shown.mesh] in chosen]
        seen = {file.names[shown.mesh] for shown in result}
        for name in sorted(set(chosen) - seen):
            raise UnreadableModel(f"no node of it shows a mesh `{name}`")
        return result
    return [shown for shown in every if shown.skin is not None] or every


def _pieces(file: _GltfMeshes, shown: Shown, number: int) -> list[MeshPiece]:
    """The primitives of a mesh; those that share all vertex data and differ in material become one."""
    mesh, name = file.meshes[shown.mesh], file.names[shown.mesh]
    place = f"meshes[{shown.mesh}]"
    primitives = objects(mesh, "primitives", place)
    weights = file.nodes[shown.node].get("weights", mesh.get("weights"))
    if isinstance(weights, list) and any(weight != 0 for weight in weights):
        file.problems.append(f"`{name}` is shown with morph targets on; its neutral is taken without them")
    shared: dict[Hashable, tuple[int, list[int]]] = {}
    for position, primitive in enumerate(primitives):
        file.arrays.take(PRIMITIVE_BYTES + TARGET_BYTES * len(items(primitive, "targets", place)), place)
        shared.setdefault(_vertex_data(file, primitive, f"{place}[{position}]"), (position, []))[1].append(position)
    counts = {len(objects(primitive, "targets", place)) for primitive in primitives}
    if len(counts) > 1:
        raise UnreadableModel(f"the primitives of {place} have different numbers of morph targets")
    names = target_names(mesh, max(counts, default=0))
    return [_piece(file, shown, number, primitives, first, members, names) for first, members in shared.values()]


def _vertex_data(file: _GltfMeshes, primitive: Fields, place: str) -> Hashable:
    """The accessors that a primitive's vertices and morph targets are made of."""
    attributes = fields(primitive.get("attributes"), f"{place}.attributes")
    return tuple(
        tuple((name, file.arrays.number_of(one[name], f"{place} {name}")) for name in sorted(one))
        for one in (attributes, *objects(primitive, "targets", place))
    )


def _piece(
    file: _GltfMeshes,
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
    positions = _floats(file.arrays, attributes.get("POSITION"), None, 3, f"{here} POSITION")
    count = len(positions)
    normals = None
    if attributes.get("NORMAL") is not None:
        normals = _floats(file.arrays, attributes["NORMAL"], count, 3, f"{here} NORMAL")
    uvs = {
        key: _floats(file.arrays, attributes[key], count, 2, f"{here} {key}")
        for key in sorted(attributes)
        if key.startswith("TEXCOORD_")
    }
    morphs = {}
    for name, target in zip(targets, objects(primitives[first], "targets", here), strict=True):
        morphs[name] = _morph(file.arrays, target, count, f"{here} morph target `{name}`", normals is not None)
    triangles = [_triangles(file.arrays, primitives[member], count, f"{place}[{member}]") for member in members]
    name = file.names[shown.mesh]
    piece = MeshPiece(name, first, number, positions, np.concatenate(triangles), normals, uvs, _nothing(count), morphs)
    if shown.skin is not None:
        return replace(piece, binding=_skinned(file, shown.skin, attributes, count, name, here))
    return _rigid(file, piece, shown.node)


def _nothing(count: int) -> Binding:
    """No joint carries any of so many vertices."""
    joints, weights = np.zeros((count, 0), np.int64), np.zeros((count, 0))
    return Binding(joints, weights, np.zeros(0, np.int64), np.zeros((0, 4, 4)))


# ---- attributes -------------------------------------------------------------------------------------


def _elements(arrays: GltfArrays, number: object, count: int | None, width: int, place: str) -> Elements:
    if number is None:
        raise UnreadableModel(f"{place} is missing")
    result = arrays.accessor(number)
    if result.ndim != 2 or result.shape[1] != width:
        raise UnreadableModel(f"{place} has not {width} numbers for each vertex")
    if count is not None and len(result) != count:
        raise UnreadableModel(f"{place} is for {len(result)} vertices, but there are {count}")
    return result


def _floats(arrays: GltfArrays, number: object, count: int | None, width: int, place: str) -> Floats:
    return _elements(arrays, number, count, width, place).astype(np.float64)


def _morph(arrays: GltfArrays, target: Fields, count: int, place: str, turns: bool) -> Morphed:
    if target.get("POSITION") is None:
        arrays.take(count * 3 * NUMBER_BYTES, place)
    offsets = np.zeros((count, 3))
    if target.get("POSITION") is not None:
        offsets = _floats(arrays, target["POSITION"], count, 3, f"{place} POSITION")
    normals = None
    if turns and target.get("NORMAL") is not None:
        normals = _floats(arrays, target["NORMAL"], count, 3, f"{place} NORMAL")
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


# ---- bindings ---------------------------------------------------------------------------------------


def _skinned(file: _GltfMeshes, skin: int, attributes: Fields, count: int, name: str, place: str) -> Binding:
    file.arrays.take(len(items(file.skins[skin], "joints", f"skins[{skin}]")) * 16 * NUMBER_BYTES, f"skins[{skin}]")
    own = indexes(file.skins[skin], "joints", len(file.nodes), f"skins[{skin}]")
    if not own:
        raise UnreadableModel(f"skins[{skin}] has no joints")
    joints, weights = _influences(file.arrays, attributes, count, place)
    wrong = (weights > 0.0) & (joints >= len(own))
    if wrong.any():
        raise UnreadableModel(
            f"{place} is bound to joint {joints[wrong].max()} of skins[{skin}], which has {len(own)}, counted from 0"
        )
    matrices = np.tile(np.eye(4), (len(own), 1, 1))
    stated = file.skins[skin].get("inverseBindMatrices")
    if stated is not None:
        matrices = file.arrays.accessor(stated)
        if matrices.shape[1:] != (4, 4) or len(matrices) < len(own):
            raise UnreadableModel(f"skins[{skin}] has not one inverse bind matrix for each of its joints")
        matrices = matrices[: len(own)].astype(np.float64)
    rows = [_rig_joint(file, node) for node in own]
    clean = put_right(joints, weights, _root(file, own), name, file.problems)
    return Binding(clean[0], clean[1], np.array(rows, np.int64), matrices)


def _rig_joint(file: _GltfMeshes, node: int) -> int:
    if node not in file.joint_of_node:
        raise UnreadableModel(f"its skin hangs on node {node}, which is no joint of the skeleton")
    return file.joint_of_node[node]


def _root(file: _GltfMeshes, own: Sequence[int]) -> int:
    """The place in the skin's list of its first joint that lies below no other of its joints."""
    inside = set(own)
    below: set[int] = set()  # nodes from which the way up is known to meet a joint of the skin
    for number, node in enumerate(own):
        way = []
        above = file.parents[node]
        while above is not None and above not in inside and above not in below:
            way.append(above)
            above = file.parents[above]
        if above is None:
            return number
        below.update(way)
    return 0


def _influences(arrays: GltfArrays, attributes: Fields, count: int, place: str) -> tuple[Integers, Floats]:
    """All sets of joints and weights side by side (v, 4 sets); without any, no columns."""
    joints: list[Integers] = [np.zeros((count, 0), np.int64)]
    weights: list[Floats] = [np.zeros((count, 0))]
    number = 0
    while attributes.get(f"JOINTS_{number}") is not None:
        result = _elements(arrays, attributes[f"JOINTS_{number}"], count, 4, f"{place} JOINTS_{number}")
        if result.dtype.kind != "u":
            raise UnreadableModel(f"{place} JOINTS_{number} are not whole numbers")
        joints.append(result.astype(np.int64))
        key = f"WEIGHTS_{number}"
        weights.append(_floats(arrays, attributes.get(key), count, 4, f"{place} {key}"))
        number += 1
    return np.hstack(joints), np.hstack(weights)


def _rigid(file: _GltfMeshes, piece: MeshPiece, node: int) -> MeshPiece:
    """A mesh without a skin where it stands at rest, carried by the nearest joint above it."""
    way: list[int] = []
    above: int | None = node
    while above is not None and above not in file.joint_of_node:
        way.append(above)
        above = file.parents[above]
    skeleton = file.skeleton
    carrier = above
    if carrier is None:
        carrier = next((number for number in skeleton.nodes if number in file.joint_of_node), None)
    binding, matrix = _nothing(len(piece.positions)), np.eye(4)
    if carrier is not None:
        row = file.row_of_node[carrier]
        frame, name = skeleton.skeleton.frames[row], skeleton.skeleton.joints[row].name
        rest = np.eye(4)
        rest[:3, :3], rest[:3, 3] = frame.linear, frame.origin
        if abs(np.linalg.det(rest)) < 1e-30:
            raise UnreadableModel(f"`{piece.mesh}` hangs on joint `{name}`, which has a scale of 0")
        inverse = np.asarray(np.linalg.inv(rest), dtype=np.float64)
        binding = replace(
            binding,
            joints=np.zeros((len(piece.positions), 1), np.int64),
            weights=np.ones((len(piece.positions), 1)),
            bind_joints=np.array([file.joint_of_node[carrier]], np.int64),
            inverse_binds=inverse[None],
        )
        if above is None:
            file.problems.append(f"`{piece.mesh}` has no skin and hangs on no joint; it is taken to go with `{name}`")
        else:
            matrix = rest
    for number in reversed(way):
        matrix = matrix @ local_matrix(file.nodes[number], f"nodes[{number}]")
    return replace(_moved(piece, matrix), binding=binding)


def local_matrix(node: Fields, place: str) -> Floats:
    """A node's transform (4, 4): its matrix, or T R S (section 3.5.3)."""
    stated = numbers(node, "matrix", 16, place)
    if stated is not None:
        return np.array(stated).reshape(4, 4).T
    rotation = np.array(numbers(node, "rotation", 4, place) or (0.0, 0.0, 0.0, 1.0))
    result = np.eye(4)
    if np.any(rotation):
        result[:3, :3] = Rotation.from_quat(rotation).as_matrix()
    result[:3, :3] *= np.array(numbers(node, "scale", 3, place) or (1.0, 1.0, 1.0))
    result[:3, 3] = numbers(node, "translation", 3, place) or (0.0, 0.0, 0.0)
    return result


def _moved(piece: MeshPiece, matrix: Floats) -> MeshPiece:
    """The piece carried into model space; normals go by the inverse transpose."""
    linear = matrix[:3, :3]
    if np.array_equal(matrix, np.eye(4)):
        return piece
    if abs(np.linalg.det(linear)) < 1e-30:
        raise UnreadableModel(f"`{piece.mesh}` is shown with a scale of 0")
    turned = np.linalg.inv(linear)
    normals, lengths = None, np.ones((len(piece.positions), 1))
    if piece.normals is not None:
        carried = piece.normals @ turned
        lengths = np.linalg.norm(carried, axis=1, keepdims=True)
        lengths = np.where(lengths > 0.0, lengths, 1.0)
        normals = carried / lengths
    return replace(
        piece,
        positions=piece.positions @ linear.T + matrix[:3, 3],
        # A mirroring transform turns the triangles over (section 3.7.4).
        triangles=piece.triangles[:, ::-1] if np.linalg.det(linear) < 0.0 else piece.triangles,
        normals=normals,
        morphs={
            name: Morphed(morph.offsets @ linear.T, None if morph.normals is None else morph.normals @ turned / lengths)
            for name, morph in piece.morphs.items()
        },
    )
