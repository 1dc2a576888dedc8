"""Which meshes of a glTF 2.0 document are the skin: by name, or because a skin or a joint moves them.

Section 3.7.3: a node shows a mesh, with a skin or without one; without, it carries the mesh as it carries its children.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from plica.named_tuples import NamedTuple
from plica.readers.gltf_document import parents_of_nodes
from plica.readers.json_fields import Fields, fields, index, index_of, indexes, objects, text, whole
from plica.readers.model_outline import distinct, listed

TRIANGLES = 4  # the first mode that makes triangles (section 3.7.2.1)
MOVING = ("translation", "rotation", "scale")  # the paths of channels that move a node (section 3.11)


class Shown(NamedTuple):
    """A mesh as one node shows it; `skin` None: the node carries it."""

    mesh: int
    node: int
    skin: int | None


class ShownMeshes(NamedTuple):
    """The showings that are the skin, by mesh and node.

    meshes, skinned: which meshes are taken, and which are shown with a skin anywhere; names: what the meshes are
    called; nodes: for each mesh the names of the nodes that show it; unknown: names that were asked for and nothing
    shown has; problems: sentences about how it was taken.
    """

    taken: tuple[Shown, ...]
    meshes: frozenset[int]
    skinned: frozenset[int]
    names: tuple[str, ...]
    nodes: tuple[tuple[str, ...], ...]
    unknown: tuple[str, ...]
    problems: tuple[str, ...]


def shown_meshes(document: Fields, chosen: Collection[str] = ()) -> ShownMeshes:
    """The showings that are the skin.

    `chosen` names meshes, or nodes that show one. Without any: whatever a skin moves, and each mesh without one that
    hangs on a joint; in a file without skins every mesh. What several nodes show with the same skin stands in the same
    place, and is taken once.
    """
    every, names, problems = _every(document), mesh_names(document, []), list[str]()
    called = _called(document)
    unknown: tuple[str, ...] = ()
    skinned = {shown for shown in every if shown.skin is not None}
    if chosen:
        own = [{names[shown.mesh], called.get(shown.node, names[shown.mesh])} for shown in every]
        taken = [shown for shown, each in zip(every, own, strict=True) if not each.isdisjoint(chosen)]
        unknown = tuple(sorted(set(chosen).difference(*own)))
    elif skinned:
        taken = _moved_by_joints(document, every, skinned)
        left = list(dict.fromkeys(names[shown.mesh] for shown in every if shown not in set(taken)))
        if left:
            problems.append(f"no skin and no joint moves {listed(left)}, so it is left out; `mesh` can take it in")
    else:
        taken = every
    once = _once(taken)
    for mesh in dict.fromkeys(shown.mesh for shown in taken if shown not in set(once)):
        problems.append(f"several nodes show `{names[mesh]}` with the same skin; its vertices are taken once")
    showing: list[dict[str, None]] = [{} for _ in names]
    for shown in every:
        if shown.node in called:
            showing[shown.mesh][called[shown.node]] = None
    return ShownMeshes(
        taken=once,
        meshes=frozenset(shown.mesh for shown in once),
        skinned=frozenset(shown.mesh for shown in skinned),
        names=names,
        nodes=tuple(map(tuple, showing)),
        unknown=unknown,
        problems=tuple(problems),
    )


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


def used_skins(document: Fields, chosen: Collection[str]) -> list[int]:
    """The skins of the meshes that are the skin; every skin where none of them has one."""
    used = {shown.skin for shown in shown_meshes(document, chosen).taken if shown.skin is not None}
    return sorted(used) or list(range(len(objects(document, "skins", "the file"))))


def moved_nodes(document: Fields) -> set[int]:
    """The nodes that an animation moves; changing a mesh's morph weights moves no node."""
    nodes = len(objects(document, "nodes", "the file"))
    result = set()
    for number, animation in enumerate(objects(document, "animations", "the file")):
        for position, channel in enumerate(objects(animation, "channels", f"animations[{number}]")):
            place = f"animations[{number}].channels[{position}].target"
            target = fields(channel.get("target"), place)
            if target.get("node") is not None:
                node = index_of(target["node"], nodes, f"{place}.node")
                if target.get("path") in MOVING:
                    result.add(node)
    return result


def _every(document: Fields) -> list[Shown]:
    meshes = len(objects(document, "meshes", "the file"))
    skins = len(objects(document, "skins", "the file"))
    every = []
    for number, node in enumerate(objects(document, "nodes", "the file")):
        mesh = index(node, "mesh", meshes, f"nodes[{number}]")
        if mesh is not None:
            every.append(Shown(mesh, number, index(node, "skin", skins, f"nodes[{number}]")))
    return sorted(every, key=lambda shown: (shown.mesh, shown.node))


def _called(document: Fields) -> dict[int, str]:
    """The names of the nodes that show a mesh and have a name."""
    nodes = objects(document, "nodes", "the file")
    names = ((number, text(node, "name", f"nodes[{number}]")) for number, node in enumerate(nodes) if "mesh" in node)
    return {number: name for number, name in names if name is not None}


def _moved_by_joints(document: Fields, every: Sequence[Shown], skinned: Collection[Shown]) -> list[Shown]:
    """What a skin moves, and what hangs on a joint and has faces: lines and points show a joint, and are no skin."""
    carrying, meshes = _carrying(document, skinned), objects(document, "meshes", "the file")
    faces: dict[int, bool] = {}
    taken = []
    for shown in every:
        if shown.skin is None and carrying[shown.node] and shown.mesh not in faces:
            faces[shown.mesh] = _has_faces(meshes[shown.mesh], f"meshes[{shown.mesh}]")
        if shown.skin is not None or (carrying[shown.node] and faces[shown.mesh]):
            taken.append(shown)
    return taken


def _carrying(document: Fields, skinned: Collection[Shown]) -> list[bool]:
    """For each node whether it moves with a joint: one of the skins, or one beside them that an animation moves.

    What lies above all joints carries the whole scene, so that nothing is skin because it hangs there.
    """
    nodes = len(objects(document, "nodes", "the file"))
    skins = objects(document, "skins", "the file")
    joints: set[int] = set()
    for skin in {shown.skin for shown in skinned if shown.skin is not None}:
        joints.update(indexes(skins[skin], "joints", nodes, f"skins[{skin}]"))
    parents = parents_of_nodes(document)
    above: set[int] = set()
    for joint in joints:
        parent = parents[joint]
        while parent is not None and parent not in above:
            above.add(parent)
            parent = parents[parent]
    return below_or_among(parents, joints | (moved_nodes(document) - above))


def below_or_among(parents: Sequence[int | None], roots: Collection[int]) -> list[bool]:
    """For each node whether it is one of the roots or lies below one."""
    known: dict[int, bool] = dict.fromkeys(roots, True)
    for start in range(len(parents)):
        way: list[int] = []
        node: int | None = start
        while node is not None and node not in known:
            way.append(node)
            node = parents[node]
        known.update(dict.fromkeys(way, node is not None and known[node]))
    return [known[node] for node in range(len(parents))]


def _has_faces(mesh: Fields, place: str) -> bool:
    """Whether any primitive is made of triangles."""
    return any(
        whole(primitive, "mode", TRIANGLES, place) >= TRIANGLES for primitive in objects(mesh, "primitives", place)
    )


def _once(shown: Sequence[Shown]) -> tuple[Shown, ...]:
    """Each mesh once for each skin, and once for each node that carries it."""
    first: dict[tuple[int, int | None, int | None], Shown] = {}
    for one in shown:
        first.setdefault((one.mesh, one.skin, one.node if one.skin is None else None), one)
    return tuple(first.values())
