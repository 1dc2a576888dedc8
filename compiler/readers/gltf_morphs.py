"""The morph targets of a glTF 2.0 document: what they are called, and their weights where nothing animates them."""

from __future__ import annotations

from plica.named_tuples import NamedTuple
from plica.readers.json_fields import Fields, index, numbers, objects
from plica.readers.model_outline import UnreadableModel, distinct


class NodeMorphs(NamedTuple):
    """The morph targets of the mesh that a node shows, and their weights at rest."""

    mesh: int
    names: tuple[str, ...]
    weights: tuple[float, ...]


def morphs_of_nodes(document: Fields) -> dict[int, NodeMorphs]:
    """By node that shows a mesh with morph targets: a node's own weights come before the mesh's (section 3.7.2.2).

    Weights that are not one number for each target count as 0, as where there are none. Raises UnreadableModel.
    """
    meshes = objects(document, "meshes", "the file")
    result: dict[int, NodeMorphs] = {}
    of_meshes: dict[int, NodeMorphs] = {}
    for number, node in enumerate(objects(document, "nodes", "the file")):
        mesh = index(node, "mesh", len(meshes), f"nodes[{number}]")
        if mesh is None:
            continue
        if mesh not in of_meshes:
            names = target_names(meshes[mesh], most_targets(meshes[mesh], f"meshes[{mesh}]"))
            weights = _weights(meshes[mesh], len(names)) or (0.0,) * len(names)
            of_meshes[mesh] = NodeMorphs(mesh, names, weights)
        common = of_meshes[mesh]
        if common.names:
            result[number] = common._replace(weights=_weights(node, len(common.names)) or common.weights)
    return result


def _weights(holder: Fields, count: int) -> tuple[float, ...] | None:
    try:
        return numbers(holder, "weights", count, "")
    except UnreadableModel:
        return None


def most_targets(mesh: Fields, place: str) -> int:
    """How many morph targets a mesh has: as many as the primitive that has most. Raises UnreadableModel."""
    primitives = enumerate(objects(mesh, "primitives", place))
    counts = (len(objects(primitive, "targets", f"{place}.primitives[{number}]")) for number, primitive in primitives)
    return max(counts, default=0)


def target_names(mesh: Fields, count: int) -> tuple[str, ...]:
    """The morph targets' names: those in extras.targetNames (section 3.7.2.2), else `target_0` and so on."""
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
