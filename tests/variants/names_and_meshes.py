"""Variants of the names, and of how the mesh is stored."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy

import numpy as np

from tests.variants.characters import Character, weights_of
from tests.variants.model_file import Floats, MeshOf, Node, Primitive
from tests.variants.variation import Variation, unchanged

# ---- names --------------------------------------------------------------------------------------------


def prefixed(character: Character) -> Variation:
    result = unchanged(character)
    for node in result.model.nodes:
        node.name = f"rig:{node.name}"
    result.left, result.right = (f"rig:{pattern}" for pattern in (character.left, character.right))
    return result


def serial_names(character: Character) -> Variation:
    """Serial numbers that count on from side to side, so that no two joints of a pair share theirs."""
    result = unchanged(character)
    for number, node in enumerate(result.model.nodes):
        node.name = f"{node.name}_{17 + number:03}"
    result.stated = True
    return result


def meaningless_names(character: Character) -> Variation:
    result = unchanged(character)
    for number, node in enumerate(result.model.nodes):
        node.name = f"n{(7919 * (number + 1)) % 9973}"
    result.stated = True
    return result


def placed(result: Variation, *facts: str) -> Variation:
    """Pairs by position instead of those that names give or that are stated."""
    result.placed, result.facts = True, facts
    return result


def nameless(character: Character, changed: Variation | None = None) -> Variation:
    result = changed or unchanged(character)
    for node in result.model.nodes:
        node.name = None
    result.stated = True
    return result


# ---- the mesh -----------------------------------------------------------------------------------------


def cut(character: Character) -> Variation:
    """The skin cut into two primitives of one mesh and one of another, which lists the joints the other way round."""
    result = unchanged(character)
    model = result.model
    skin = deepcopy(model.skins[0])
    skin.joints.reverse()
    skin.inverse_binds = skin.inverse_binds[::-1].copy()
    model.skins.append(skin)
    for number in [number for number, node in enumerate(model.nodes) if node.mesh is not None]:
        node = model.nodes[number]
        assert node.mesh is not None
        (whole,) = model.meshes[node.mesh].primitives
        first, second, third = (whole.chosen(part) for part in np.array_split(whole.triangles, 3))
        third.joints = len(skin.joints) - 1 - third.joints
        model.meshes[node.mesh].primitives = [first, second]
        model.meshes.append(MeshOf(f"cut_{number}", [third]))
        model.nodes.append(Node(f"cut_{number}", node.parent, node.local, mesh=len(model.meshes) - 1, skin=1))
    return result


def rigid_parts(character: Character) -> Variation:
    """What one joint alone carries as meshes of their own, hung on the joint without a skin."""
    result = unchanged(character)
    model = result.model
    joint = model.node(character.rigid)
    inverse = np.linalg.inv(model.worlds()[joint])
    hung: list[int] = []
    for mesh in list(model.meshes):
        (whole,) = mesh.primitives
        rigid = (weights_of(model, whole, character.rigid) > 0.9999)[whole.triangles].all(axis=1)
        if not rigid.any():
            continue
        part = loose(whole.chosen(whole.triangles[rigid]), inverse)
        number = model.meshes.index(mesh)
        if rigid.all():
            mesh.primitives = [part]
            hung += [node for node, shown in enumerate(model.nodes) if shown.mesh == number]
            continue
        mesh.primitives = [whole.chosen(whole.triangles[~rigid])]
        model.meshes.append(MeshOf(f"rigid_{number}", [part]))
        model.nodes.append(Node(f"rigid_{number}", joint, np.eye(4), mesh=len(model.meshes) - 1))
    for number in hung:
        model.nodes[number] = Node(model.nodes[number].name, joint, np.eye(4), mesh=model.nodes[number].mesh)
        del result.follows[number]
    return result


def loose(part: Primitive, inverse: Floats) -> Primitive:
    """A part in the axes of the joint that it hangs on, without weights."""
    part.positions = part.positions @ inverse[:3, :3].T + inverse[:3, 3]
    part.normals = None
    part.morphs = {}
    part.joints, part.weights = np.zeros((len(part.joints), 0), np.int64), np.zeros((len(part.joints), 0))
    return part


def shown_twice(character: Character) -> Variation:
    """Two nodes that show the same mesh with the same skin."""
    result = unchanged(character)
    for node in [node for node in result.model.nodes if node.mesh is not None]:
        result.model.nodes.append(Node(f"{node.name}_again", None, np.eye(4), mesh=node.mesh, skin=node.skin))
    return result


def each_primitive(character: Character, columns: Sequence[int], factor: float) -> Variation:
    result = unchanged(character)
    for primitive in result.model.primitives:
        joints = np.hstack([primitive.joints, np.zeros_like(primitive.joints)])
        weights = np.hstack([primitive.weights, np.zeros_like(primitive.weights)])
        primitive.joints, primitive.weights = joints[:, columns], weights[:, columns] * factor
    return result


def two_sets(character: Character) -> Variation:
    """Weights in two sets, the light ones first."""
    return each_primitive(character, (4, 3, 5, 2, 1, 6, 7, 0), 1.0)


def unnormalised(character: Character) -> Variation:
    return each_primitive(character, (0, 1, 2, 3), 0.2)


def unused_vertices(character: Character) -> Variation:
    """Vertices that no triangle uses, at the origin and far off."""
    result = unchanged(character)
    for primitive in result.model.primitives:
        more = np.array([[0.0, 0.0, 0.0], [3.0, 4.0, 5.0], [0.1, 0.2, 0.3]])
        primitive.positions = np.vstack([primitive.positions, more])
        primitive.normals = None
        primitive.uvs = None
        primitive.joints = np.vstack([primitive.joints, primitive.joints[:3]])
        primitive.weights = np.vstack([primitive.weights, primitive.weights[:3]])
        primitive.morphs = {name: np.vstack([offsets, np.zeros((3, 3))]) for name, offsets in primitive.morphs.items()}
        primitive.source = np.concatenate([primitive.source, np.full(3, -1)])
    return result
