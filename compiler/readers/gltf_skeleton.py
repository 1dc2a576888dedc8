"""The outline of a glTF 2.0 document: which nodes are the skeleton, at rest where, what the meshes hold."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from plica.readers.decompose import SHEAR_LIMIT, Placement, decompose
from plica.readers.gltf_document import parents_of_nodes
from plica.readers.json_fields import Fields, fields, index, index_of, indexes, numbers, objects, text, whole
from plica.readers.model_outline import MeshOutline, ModelOutline, distinct
from plica.readers.skeletons import check_joint_count, checked_skeleton
from plica.skeleton.algebra import IDENTITY_QUATERNION, Vector, normalised
from plica.skeleton.skeleton import ORIGIN, UNSCALED, Joint, Skeleton

UNIT_TOLERANCE = 1e-3  # how far the length of a rest rotation may be from 1 before it is worth a note


class NodeSkeleton(NamedTuple):
    """A skeleton and, for each of its joints, the node of the document that it is."""

    skeleton: Skeleton
    nodes: tuple[int, ...]
    problems: tuple[str, ...]


def outline_of_document(document: Fields, chosen: Collection[str] = ()) -> ModelOutline:
    """The outline of a document; `chosen` names the meshes whose skins matter (empty: every mesh)."""
    result = skeleton_of_document(document, chosen)
    problems = list(result.problems)
    names = mesh_names(document, problems)
    skins = _skins_of_meshes(document)
    accessors = objects(document, "accessors", "the file")
    meshes = tuple(
        _mesh_outline(mesh, number, names[number], bool(skins[number]), accessors)
        for number, mesh in enumerate(objects(document, "meshes", "the file"))
    )
    used = _chosen_skins(document, chosen)
    binds = [objects(document, "skins", "the file")[skin].get("inverseBindMatrices") for skin in used]
    return ModelOutline(
        skeleton=result.skeleton,
        meshes=meshes,
        animations=animation_names(document),
        inverse_binds=bool(binds) and all(bind is not None for bind in binds),
        problems=tuple(problems),
    )


def skeleton_of_document(document: Fields, chosen: Collection[str] = ()) -> NodeSkeleton:
    """The skeleton of the chosen meshes' skins.

    It holds the skins' joints, the nodes above them, named nodes below them, and animated nodes that carry
    no mesh (so that drivers can read helpers); without skins, every node that is no mesh, camera or light.
    """
    nodes = objects(document, "nodes", "the file")
    parents = parents_of_nodes(document)
    problems: list[str] = []
    skinned = _skin_joints(document, chosen)
    wanted = _nodes_of_skeleton(document, nodes, parents, skinned)
    check_joint_count(len(wanted))
    order = _parents_first(parents, wanted)
    names = distinct(
        [text(nodes[node], "name", f"nodes[{node}]") or f"joint_{node}" for node in order], problems, "joints"
    )
    position = {node: number for number, node in enumerate(order)}
    joints = []
    for node, name in zip(order, names, strict=True):
        parent = parents[node]
        place = _placement(nodes[node], f"nodes[{node}]", name, problems)
        above = None if parent is None else position[parent]
        joints.append(Joint(name, above, place.translation, place.rotation, place.scale, node in skinned))
    return NodeSkeleton(checked_skeleton(joints), tuple(order), tuple(problems))


def mesh_names(document: Fields, problems: list[str]) -> tuple[str, ...]:
    """What the meshes are called: by name, else as the first nodes that show them, else `mesh_3`."""
    meshes = objects(document, "meshes", "the file")
    shown: dict[int, str] = {}
    for number, node in enumerate(objects(document, "nodes", "the file")):
        mesh = index(node, "mesh", len(meshes), f"nodes[{number}]")
        name = text(node, "name", f"nodes[{number}]")
        if mesh is not None and name is not None:
            shown.setdefault(mesh, name)
    names = [
        text(mesh, "name", f"meshes[{number}]") or shown.get(number) or f"mesh_{number}"
        for number, mesh in enumerate(meshes)
    ]
    return distinct(names, problems, "meshes")


def animation_names(document: Fields) -> tuple[str, ...]:
    """What the animations are called; unnamed ones `animation_0` and so on."""
    names = [
        text(animation, "name", f"animations[{number}]") or f"animation_{number}"
        for number, animation in enumerate(objects(document, "animations", "the file"))
    ]
    return distinct(names, [], "animations")


# ---- which nodes ------------------------------------------------------------------------------------


def _skins_of_meshes(document: Fields) -> list[list[int]]:
    """The skins that each mesh is shown with."""
    nodes = objects(document, "nodes", "the file")
    meshes = len(objects(document, "meshes", "the file"))
    skins = len(objects(document, "skins", "the file"))
    result: list[list[int]] = [[] for _ in range(meshes)]
    for number, node in enumerate(nodes):
        mesh = index(node, "mesh", meshes, f"nodes[{number}]")
        skin = index(node, "skin", skins, f"nodes[{number}]")
        if mesh is not None and skin is not None:
            result[mesh].append(skin)
    return result


def _chosen_skins(document: Fields, chosen: Collection[str]) -> list[int]:
    """The skins of the chosen meshes; every skin where no mesh is chosen, or none of the chosen has one."""
    names = mesh_names(document, [])
    used = {
        skin for name, skins in zip(names, _skins_of_meshes(document), strict=True) for skin in skins if name in chosen
    }
    return sorted(used) or list(range(len(objects(document, "skins", "the file"))))


def _skin_joints(document: Fields, chosen: Collection[str]) -> set[int]:
    nodes = len(objects(document, "nodes", "the file"))
    skins = objects(document, "skins", "the file")
    return {
        node
        for skin in _chosen_skins(document, chosen)
        for node in indexes(skins[skin], "joints", nodes, f"skins[{skin}]")
    }


def _nodes_of_skeleton(document: Fields, nodes: list[Fields], parents: list[int | None], skinned: set[int]) -> set[int]:
    plain = {number for number, node in enumerate(nodes) if not _shows_something(node)}
    wanted = set(skinned)
    if skinned:
        wanted |= {node for node in _below(parents, skinned) & plain if nodes[node].get("name")}
        wanted |= _animated_nodes(document, len(nodes)) & plain
    else:
        wanted |= plain
    for node in tuple(wanted):
        parent = parents[node]
        while parent is not None and parent not in wanted:
            wanted.add(parent)
            parent = parents[parent]
    return wanted


def _shows_something(node: Fields) -> bool:
    extensions = node.get("extensions")
    light = isinstance(extensions, dict) and "KHR_lights_punctual" in extensions
    return "mesh" in node or "camera" in node or light


def _below(parents: list[int | None], roots: set[int]) -> set[int]:
    below: dict[int, bool] = {}
    for start in range(len(parents)):
        way: list[int] = []
        node: int | None = start
        while node is not None and node not in below and node not in roots:
            way.append(node)
            node = parents[node]
        answer = node is not None and (node in roots or below[node])
        below.update(dict.fromkeys(way, answer))
    return {node for node, answer in below.items() if answer}


def _animated_nodes(document: Fields, count: int) -> set[int]:
    result = set()
    for number, animation in enumerate(objects(document, "animations", "the file")):
        for position, channel in enumerate(objects(animation, "channels", f"animations[{number}]")):
            place = f"animations[{number}].channels[{position}].target"
            node = fields(channel.get("target"), place).get("node")
            if node is not None:
                result.add(index_of(node, count, f"{place}.node"))
    return result


def _parents_first(parents: list[int | None], wanted: set[int]) -> list[int]:
    """The wanted nodes, each after its parent, siblings in the order of the file, branches together."""
    children: dict[int | None, list[int]] = {}
    for node in sorted(wanted, reverse=True):
        children.setdefault(parents[node], []).append(node)
    order: list[int] = []
    waiting = children.get(None, [])
    while waiting:
        node = waiting.pop()
        order.append(node)
        waiting.extend(children.get(node, ()))
    return order


# ---- what a node and a mesh say ------------------------------------------------------------------------


def _placement(node: Fields, place: str, name: str, problems: list[str]) -> Placement:
    matrix = numbers(node, "matrix", 16, place)
    if matrix is not None:
        result = _matrix_placement(matrix, name, problems)
    else:
        translation = _vector(node, "translation", ORIGIN, place)
        scale = _vector(node, "scale", UNSCALED, place)
        stated = numbers(node, "rotation", 4, place) or IDENTITY_QUATERNION
        x, y, z, w = stated
        size = (x * x + y * y + z * z + w * w) ** 0.5
        if abs(size - 1.0) > UNIT_TOLERANCE:
            problems.append(f"the rest rotation of joint `{name}` has length {size:.3g}, not 1; it is normalised")
        result = Placement(translation, normalised((x, y, z, w)), scale, 0.0)
    if 0.0 in result.scale:
        problems.append(f"joint `{name}` has a scale of 0 at rest, so the direction of an axis is lost")
    return result


def _matrix_placement(matrix: tuple[float, ...], name: str, problems: list[str]) -> Placement:
    """A node's matrix, stored column by column (section 3.5.3)."""
    a, b, c, d = (matrix[start : start + 4] for start in (0, 4, 8, 12))
    result = decompose(((a[0], b[0], c[0]), (a[1], b[1], c[1]), (a[2], b[2], c[2])), (d[0], d[1], d[2]))
    if result.shear > SHEAR_LIMIT or (a[3], b[3], c[3], d[3]) != (0.0, 0.0, 0.0, 1.0):
        problems.append(
            f"the matrix of joint `{name}` is not made of translation, rotation and scale alone; "
            "what is beyond them is dropped"
        )
    return result


def _vector(node: Fields, key: str, default: Vector, place: str) -> Vector:
    values = numbers(node, key, 3, place)
    return default if values is None else (values[0], values[1], values[2])


def _mesh_outline(mesh: Fields, number: int, name: str, skinned: bool, accessors: list[Fields]) -> MeshOutline:
    place = f"meshes[{number}]"
    vertices = 0
    uv_sets: dict[str, None] = {}
    targets = 0
    seen: set[int] = set()
    for position, primitive in enumerate(objects(mesh, "primitives", place)):
        here = f"{place}.primitives[{position}]"
        attributes = fields(primitive.get("attributes"), f"{here}.attributes")
        accessor = index(attributes, "POSITION", len(accessors), f"{here}.attributes")
        if accessor is not None and accessor not in seen:
            seen.add(accessor)  # primitives may share their vertices and differ in material alone
            vertices += whole(accessors[accessor], "count", 0, f"accessors[{accessor}]")
        uv_sets |= dict.fromkeys(key for key in sorted(attributes) if key.startswith("TEXCOORD_"))
        targets = max(targets, len(objects(primitive, "targets", here)))
    return MeshOutline(name, vertices, tuple(uv_sets), target_names(mesh, targets), skinned)


def target_names(mesh: Fields, count: int) -> tuple[str, ...]:
    """The morph targets' names: those in extras.targetNames (section 3.7.2.1), else `target_0` and so on."""
    extras = mesh.get("extras")
    stated = extras.get("targetNames") if isinstance(extras, dict) else None
    given = stated if isinstance(stated, list) else []
    names = [
        given[number] if number < len(given) and _usable_name(given[number]) else f"target_{number}"
        for number in range(count)
    ]
    return distinct(names, [], "morph targets")


def _usable_name(value: object) -> bool:
    return isinstance(value, str) and value != "" and value.isprintable()
