"""The outline of a glTF 2.0 document: which nodes are the skeleton, at rest where, what the meshes hold."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from pathlib import Path

from plica.named_tuples import NamedTuple
from plica.readers.decompose import SHEAR_LIMIT, Placement, decompose
from plica.readers.gltf_binds import GltfFile, bind_pose_of
from plica.readers.gltf_document import parents_of_nodes
from plica.readers.gltf_morphs import NodeMorphs, morphs_of_nodes, most_targets, target_names
from plica.readers.gltf_shown import ShownMeshes, below_or_among, mesh_names, moved_nodes, shown_meshes, used_skins
from plica.readers.json_fields import Fields, fields, index, indexes, numbers, objects, text, whole
from plica.readers.model_outline import MeshOutline, ModelOutline, distinct
from plica.readers.skeletons import check_joint_count, checked_skeleton
from plica.skeleton.algebra import IDENTITY_QUATERNION, Vector, normalised
from plica.skeleton.bind_pose import NO_BIND_POSE, BindPose
from plica.skeleton.frames import composed
from plica.skeleton.skeleton import MODEL_FRAME, ORIGIN, UNSCALED, Frame, Joint, Skeleton, local_frame

UNIT_TOLERANCE = 1e-3  # how far the length of a rest rotation may be from 1 before it is worth a note


class NodeSkeleton(NamedTuple):
    """A skeleton and, for each of its joints, the node of the document that it is."""

    skeleton: Skeleton
    nodes: tuple[int, ...]
    problems: tuple[str, ...]


def outline_of_document(document: Fields, chosen: Collection[str] = (), path: Path | None = None) -> ModelOutline:
    """The outline of a document; `chosen` names the meshes whose skins matter (empty: every mesh).

    `path`: the document's file; without it nothing is known of its bind pose. Raises UnreadableModel.
    """
    result = skeleton_of_document(document, chosen)
    problems = list(result.problems)
    mesh_names(document, problems)
    shown = shown_meshes(document, chosen)
    problems += shown.problems
    accessors = objects(document, "accessors", "the file")
    morphs = list(morphs_of_nodes(document).values())
    meshes = tuple(
        _mesh_outline(mesh, number, shown, accessors)._replace(morph_weights=_rest_weights(morphs, number))
        for number, mesh in enumerate(objects(document, "meshes", "the file"))
    )
    used = used_skins(document, chosen)
    binds = [objects(document, "skins", "the file")[skin].get("inverseBindMatrices") for skin in used]
    return ModelOutline(
        skeleton=result.skeleton,
        bind=_bind_pose(document, path, used, result),
        meshes=meshes,
        animations=animation_names(document),
        inverse_binds=bool(binds) and all(bind is not None for bind in binds),
        problems=tuple(problems),
    )


def chosen_bind_pose(document: Fields, path: Path, chosen: Collection[str], found: NodeSkeleton) -> BindPose:
    """The bind pose of a skeleton that `skeleton_of_document` gave. Raises UnreadableModel."""
    return _bind_pose(document, path, used_skins(document, chosen), found)


def _bind_pose(document: Fields, path: Path | None, skins: list[int], found: NodeSkeleton) -> BindPose:
    if path is None or not skins:
        return NO_BIND_POSE
    shown = [_where_shown(document, skin, found) for skin in skins]
    return bind_pose_of(GltfFile(document, path), skins, found.skeleton, found.nodes, shown)


def _where_shown(document: Fields, skin: int, found: NodeSkeleton) -> list[Frame]:
    """Where the nodes stand at rest that show a mesh with a skin, without those that a joint moves."""
    nodes, parents = objects(document, "nodes", "the file"), parents_of_nodes(document)
    joints = dict(zip(found.nodes, zip(found.skeleton.joints, found.skeleton.frames, strict=True), strict=True))
    moving = below_or_among(parents, [node for node, (joint, _) in joints.items() if joint.skinned])
    result = []
    for number, node in enumerate(nodes):
        if node.get("skin") != skin or "mesh" not in node or moving[number]:
            continue
        frame = MODEL_FRAME
        above: int | None = number
        while above is not None and above not in joints:
            place = _placement(nodes[above], f"nodes[{above}]", f"node {above}", [])
            frame = composed(local_frame(place.translation, place.rotation, place.scale), frame)
            above = parents[above]
        result.append(frame if above is None else composed(joints[above][1], frame))
    return result


def skeleton_of_document(document: Fields, chosen: Collection[str] = ()) -> NodeSkeleton:
    """The skeleton of the chosen meshes' skins.

    It holds the skins' joints, the nodes above them, named nodes below them, and animated nodes, also those that carry
    a mesh without a skin (so that drivers can read helpers, and a moving mesh has a joint); without skins, every
    other node that is no mesh, camera or light as well.
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


def animation_names(document: Fields) -> tuple[str, ...]:
    """What the animations are called; unnamed ones `animation_0` and so on."""
    names = [
        text(animation, "name", f"animations[{number}]") or f"animation_{number}"
        for number, animation in enumerate(objects(document, "animations", "the file"))
    ]
    return distinct(names, [], "animations")


# ---- which nodes ------------------------------------------------------------------------------------


def _skin_joints(document: Fields, chosen: Collection[str]) -> set[int]:
    nodes = len(objects(document, "nodes", "the file"))
    skins = objects(document, "skins", "the file")
    return {
        node
        for skin in used_skins(document, chosen)
        for node in indexes(skins[skin], "joints", nodes, f"skins[{skin}]")
    }


def _nodes_of_skeleton(document: Fields, nodes: list[Fields], parents: list[int | None], skinned: set[int]) -> set[int]:
    plain = {number for number, node in enumerate(nodes) if not _shows_something(node)}
    wanted = set(skinned)
    if skinned:
        inside = below_or_among(parents, skinned)
        wanted |= {node for node in plain if inside[node] and nodes[node].get("name")}
    else:
        wanted |= plain
    wanted |= {node for node in moved_nodes(document) if node in plain or _carries_a_mesh(nodes[node])}
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


def _carries_a_mesh(node: Fields) -> bool:
    """Whether a node shows a mesh without a skin; a skin's vertices do not follow the node that shows them."""
    return "mesh" in node and "skin" not in node


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


def _rest_weights(morphs: Iterable[NodeMorphs], mesh: int) -> tuple[tuple[float, ...], ...]:
    """The different weights that nodes show a mesh with."""
    return tuple(dict.fromkeys(shown.weights for shown in morphs if shown.mesh == mesh))


def _mesh_outline(mesh: Fields, number: int, shown: ShownMeshes, accessors: list[Fields]) -> MeshOutline:
    place = f"meshes[{number}]"
    vertices = 0
    uv_sets: dict[str, None] = {}
    seen: set[int] = set()
    for position, primitive in enumerate(objects(mesh, "primitives", place)):
        here = f"{place}.primitives[{position}]"
        attributes = fields(primitive.get("attributes"), f"{here}.attributes")
        accessor = index(attributes, "POSITION", len(accessors), f"{here}.attributes")
        if accessor is not None and accessor not in seen:
            seen.add(accessor)  # primitives may share their vertices and differ in material alone
            vertices += whole(accessors[accessor], "count", 0, f"accessors[{accessor}]")
        uv_sets |= dict.fromkeys(key for key in sorted(attributes) if key.startswith("TEXCOORD_"))
    skinned = number in shown.skinned
    return MeshOutline(
        name=shown.names[number],
        vertices=vertices,
        uv_sets=tuple(uv_sets),
        morph_targets=target_names(mesh, most_targets(mesh, place)),
        skinned=skinned,
        taken=number in shown.meshes,
        nodes=shown.nodes[number],
        skinning="linear" if skinned else None,
    )
