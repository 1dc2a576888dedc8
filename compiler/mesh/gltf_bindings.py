"""How a glTF 2.0 primitive hangs on the skeleton: by its skin, or rigidly on a joint (section 3.7.3)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from plica.mesh.arrays import Floats, Integers
from plica.mesh.assembly import Binding, MeshPiece, put_right
from plica.mesh.gltf_source import GltfMeshes, bind_matrices, elements, floats, local_matrix
from plica.mesh.model_space import moved
from plica.readers.gltf_arrays import NUMBER_BYTES, GltfArrays
from plica.readers.json_fields import Fields, indexes, items
from plica.readers.model_outline import UnreadableModel


def skinned_binding(file: GltfMeshes, skin: int, attributes: Fields, count: int, name: str, place: str) -> Binding:
    """How a skin moves the vertices of a primitive. Raises UnreadableModel."""
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
    if file.skins[skin].get("inverseBindMatrices") is not None:
        matrices = bind_matrices(file, skin, len(own))
    rows = [_rig_joint(file, node) for node in own]
    clean = put_right(joints, weights, _root(file, own), name, file.problems)
    return Binding(clean[0], clean[1], np.array(rows, np.int64), matrices)


def _rig_joint(file: GltfMeshes, node: int) -> int:
    if node not in file.joint_of_node:
        raise UnreadableModel(f"its skin hangs on node {node}, which is no joint of the skeleton")
    return file.joint_of_node[node]


def _root(file: GltfMeshes, own: Sequence[int]) -> int:
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
        result = elements(arrays, attributes[f"JOINTS_{number}"], count, 4, f"{place} JOINTS_{number}")
        if result.dtype.kind != "u":
            raise UnreadableModel(f"{place} JOINTS_{number} are not whole numbers")
        joints.append(result.astype(np.int64))
        key = f"WEIGHTS_{number}"
        weights.append(floats(arrays, attributes.get(key), count, 4, f"{place} {key}"))
        number += 1
    return np.hstack(joints), np.hstack(weights)


def rigidly_bound(file: GltfMeshes, piece: MeshPiece, node: int) -> MeshPiece:
    """A mesh without a skin, carried by the nearest joint at or above the node that shows it.

    It stands where the bind pose puts it, in model space as the skins do, and posing moves it as its node's global
    transform does (section 3.7.3).
    """
    way: list[int] = []
    above: int | None = node
    while above is not None and above not in file.joint_of_node:
        way.append(above)
        above = file.parents[above]
    carrier = above
    if carrier is None:
        carrier = next((number for number in file.skeleton.nodes if number in file.joint_of_node), None)
    binding, matrix = unbound(len(piece.positions)), np.eye(4)
    if carrier is not None:
        name = file.skeleton.skeleton.joints[file.row_of_node[carrier]].name
        bound = file.bind_frames[file.joint_of_node[carrier]]
        inverse = _inverse(bound, f"joint `{name}`, on which `{piece.mesh}` hangs,")
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
            matrix = bound
    for number in reversed(way):
        matrix = matrix @ local_matrix(file.nodes[number], f"nodes[{number}]")
    return replace(moved(piece, matrix), binding=binding)


def _inverse(matrix: Floats, what: str) -> Floats:
    if abs(np.linalg.det(matrix[:3, :3])) < 1e-30:
        raise UnreadableModel(f"{what} has a scale of 0")
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def unbound(count: int) -> Binding:
    """No joint carries any of so many vertices."""
    joints, weights = np.zeros((count, 0), np.int64), np.zeros((count, 0))
    return Binding(joints, weights, np.zeros(0, np.int64), np.zeros((0, 4, 4)))
