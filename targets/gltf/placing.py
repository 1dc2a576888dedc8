"""Shapes as morph targets of the meshes that they move (glTF 2.0, section 3.7.2.2).

Every primitive of a mesh has the same targets in the same order, the file's own first. A mesh that is shown in several
ways, by several skins or carried by several nodes, is copied for each of them, because a shape moves only what it was
computed on.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from plica.mesh.arrays import Floats, Mesh, MeshPart, Offsets
from plica.mesh.attach import Attached
from plica.mesh.inbetweens import Inbetweens
from plica.readers.gltf_morphs import morphs_of_nodes, most_targets, target_names
from plica.readers.json_fields import Fields, fields, index_of, objects, whole
from plica.rig.rig import Rig
from plica.rig.surfaces import Morph, Shape
from plica.targets.gltf.additions import Additions, Document, Singles
from plica.targets.gltf.turning import Turning


class PlacedTarget(NamedTuple):
    """Where a shape's offsets at strength `at` stand: at 1 those of the shape itself, else those of an inbetween.

    `target`: which morph target of the mesh that `node` shows. A shape stands at every node that shows what it moves.
    """

    shape: str
    at: float
    node: int
    target: int


class OwnTarget(NamedTuple):
    """A morph target that the file had before, at a node that shows it; `shaped`: a shape of the rig replaces it."""

    name: str
    node: int
    target: int
    shaped: bool


class PlacedShapes(NamedTuple):
    """The morph targets of a document: those of the rig's shapes, and the file's own.

    grown: by node, how many morph targets its mesh had and has, where these are different numbers. `unnamed`: meshes
    whose extras have no place for names.
    """

    targets: tuple[PlacedTarget, ...]
    own: tuple[OwnTarget, ...]
    grown: Mapping[int, tuple[int, int]]
    unnamed: tuple[int, ...] = ()


class _Column(NamedTuple):
    """The offsets of a shape at one strength, or which target of the file they are already."""

    shape: str
    at: float
    offsets: Offsets
    own: str | None


@dataclass
class _Showing:
    """A mesh as one skin or one node shows it: all nodes that do, and the parts of the skin that are there."""

    mesh: int
    nodes: list[int]
    parts: list[MeshPart]


def place_shapes(
    document: Document, rig: Rig, attached: Attached | None, additions: Additions, turning: Turning
) -> PlacedShapes:
    """Adds a target for each shape and each inbetween to the meshes of a document that they move.

    Raises UnreadableModel where the document is none.
    """
    morphs_of_nodes(document)
    columns = [] if attached is None else list(_columns(rig, attached))
    shaped = {shape.source.name for shape in rig.shapes if isinstance(shape.source, Morph)}
    showings = _showings(document, () if attached is None else attached.mesh.parts)
    targets: list[PlacedTarget] = []
    own: list[OwnTarget] = []
    grown: dict[int, tuple[int, int]] = {}
    unnamed: list[int] = []
    for showing in _apart(document, showings, columns):
        mesh = document["meshes"][showing.mesh]
        before = target_names(mesh, most_targets(mesh, f"meshes[{showing.mesh}]"))
        names, places = _place(mesh, before, columns, showing.parts, _Writing(document, additions, turning))
        targets += [PlacedTarget(*place, node, index) for place, index in places for node in showing.nodes]
        own += [
            OwnTarget(name, node, index, name in shaped and bool(showing.parts))
            for index, name in enumerate(before)
            for node in showing.nodes
        ]
        if len(names) > len(before):
            _name_targets(mesh, names, showing.mesh, unnamed)
            _widen_weights([mesh, *(document["nodes"][node] for node in showing.nodes)], len(before), len(names))
            grown |= dict.fromkeys(showing.nodes, (len(before), len(names)))
    return PlacedShapes(tuple(targets), tuple(own), grown, tuple(unnamed))


# ---- which offsets, and where


def _columns(rig: Rig, attached: Attached) -> Iterator[_Column]:
    for shape in rig.shapes:
        computed = attached.shapes.get(shape.name)
        if computed is None:
            continue
        yield _Column(shape.name, 1.0, computed.primary, _as_own(shape, computed, attached.mesh))
        for at, offsets in zip(computed.at, computed.offsets, strict=True):
            yield _Column(shape.name, at, offsets, None)


def _as_own(shape: Shape, computed: Inbetweens, mesh: Mesh) -> str | None:
    """The target of the file that a shape is made of, where nothing of it was changed."""
    if not isinstance(shape.source, Morph) or shape.source.name not in mesh.morphs:
        return None
    held, taken = mesh.morphs[shape.source.name], computed.primary
    same = np.array_equal(held.indices, taken.indices) and np.array_equal(held.offsets, taken.offsets)
    return shape.source.name if same else None


def _showings(document: Document, parts: Iterable[MeshPart]) -> list[_Showing]:
    """All meshes as they are shown, with the parts of the skin that they are."""
    result: dict[tuple[int, int | None, int | None], _Showing] = {}
    for number, node in enumerate(document.get("nodes", [])):
        if "mesh" in node:
            key = _key(node["mesh"], node.get("skin"), number)
            result.setdefault(key, _Showing(node["mesh"], [], [])).nodes.append(number)
    for part in parts:
        if part.in_gltf is not None:
            result[_key(part.in_gltf.mesh, part.in_gltf.skin, part.in_gltf.node)].parts.append(part)
    return list(result.values())


def _key(mesh: int, skin: int | None, node: int) -> tuple[int, int | None, int | None]:
    return mesh, skin, node if skin is None else None


def _apart(document: Document, showings: Sequence[_Showing], columns: Sequence[_Column]) -> Iterator[_Showing]:
    """The showings, each with a mesh of its own where shapes are about to change it; one keeps the mesh itself."""
    still: set[int] = {one.mesh for one in showings if not _moved(one.parts, columns)}
    kept: set[int] = set(still)
    for showing in showings:
        if _moved(showing.parts, columns):
            if showing.mesh in kept:
                document["meshes"].append(copy.deepcopy(document["meshes"][showing.mesh]))
                showing.mesh = len(document["meshes"]) - 1
                for node in showing.nodes:
                    document["nodes"][node]["mesh"] = showing.mesh
            kept.add(showing.mesh)
        yield showing


def _moved(parts: Iterable[MeshPart], columns: Iterable[_Column]) -> bool:
    return any(_moves(column, part) for column in columns for part in parts)


def _moves(column: _Column, part: MeshPart) -> bool:
    rows = column.offsets.rows_in(part)
    return bool(rows.stop > rows.start)


# ---- one mesh


class _Writing(NamedTuple):
    """What the numbers of a mesh's targets are written with."""

    document: Document
    additions: Additions
    turning: Turning

    def count(self, primitive: Fields) -> int:
        """How many vertices a primitive has. Raises UnreadableModel where it does not say."""
        accessors = objects(self.document, "accessors", "the file")
        attributes = fields(primitive.get("attributes"), "attributes")
        return whole(
            accessors[index_of(attributes.get("POSITION"), len(accessors), "POSITION")], "count", 0, "POSITION"
        )


def _place(
    mesh: Document, before: Sequence[str], columns: Sequence[_Column], parts: Sequence[MeshPart], writing: _Writing
) -> tuple[list[str], list[tuple[tuple[str, float], int]]]:
    """The names of a mesh's targets after those of shapes were added to it, and which of them a shape's are."""
    names, places = list(before), []
    added: list[_Column] = []
    for column in columns:
        if not any(_moves(column, part) for part in parts):
            continue
        if column.own in before:
            places.append(((column.shape, column.at), before.index(column.own)))
            continue
        names.append(_free(column.shape if column.at == 1.0 else f"{column.shape} at {column.at:g}", names))
        places.append(((column.shape, column.at), len(names) - 1))
        added.append(column)
    if added:
        holders = {number: part for part in parts for number in part.primitives}
        written: dict[int, list[dict[str, int]]] = {}
        for number, primitive in enumerate(mesh["primitives"]):
            part = holders.get(number)
            first = number if part is None else part.primitives[0]
            if first not in written:
                written[first] = _targets(primitive, part, added, writing)
            held = list(primitive.get("targets", []))
            count = writing.count(primitive)
            lacking = [{"POSITION": writing.additions.zeros(count)} for _ in before[len(held) :]]
            primitive["targets"] = _alike([*held, *lacking, *written[first]], writing, count)
    return names, places


def _targets(
    primitive: Fields, part: MeshPart | None, columns: Iterable[_Column], writing: _Writing
) -> list[dict[str, int]]:
    """A primitive's targets; those that do not move it are 0 throughout."""
    count = writing.count(primitive)
    if part is None:
        return [{"POSITION": writing.additions.zeros(count)} for _ in columns]
    back = np.asarray(np.linalg.inv(part.to_model[:3, :3]).T, dtype=np.float64)
    turned = writing.turning(primitive, part)
    result = []
    for column in columns:
        rows = column.offsets.rows_in(part)
        where = column.offsets.indices[rows] - part.start
        moves = _singles(column.offsets.offsets[rows], back)
        target = {"POSITION": writing.additions.vectors(count, where, moves, bounds=True)}
        if turned is not None and column.offsets.normals is not None:
            for name, changes in turned.changes(where, column.offsets.normals[rows]).items():
                target[name] = writing.additions.vectors(count, where, changes, bounds=False)
        result.append(target)
    return result


def _alike(targets: Sequence[Document], writing: _Writing, count: int) -> list[Document]:
    """The targets of a primitive, each with the attributes that any has: engines look for them in the first one."""
    turned = [name for name in ("NORMAL", "TANGENT") if any(name in target for target in targets)]
    return [
        target | {name: writing.additions.zeros(count) for name in turned if name not in target} for target in targets
    ]


def _singles(offsets: Floats, back: Floats) -> Singles:
    """Offsets in model space as the file stores them, in single precision."""
    stored = offsets if np.array_equal(back, np.eye(3)) else offsets @ back
    return stored.astype(np.float32)


def _free(name: str, taken: Sequence[str]) -> str:
    """A name that none of the mesh's targets has."""
    number, result = 2, name
    while result in taken:
        number, result = number + 1, f"{name} {number}"
    return result


# ---- names and weights


def _name_targets(mesh: Document, names: Sequence[str], number: int, unnamed: list[int]) -> None:
    extras = mesh.setdefault("extras", {})
    if isinstance(extras, dict):
        extras["targetNames"] = list(names)
    else:
        unnamed.append(number)


def _widen_weights(holders: Sequence[Document], before: int, after: int) -> None:
    """Weights of 0 for new targets: of the mesh, and of the nodes that state their own."""
    for number, holder in enumerate(holders):
        stated = holder.get("weights")
        if stated is None and number > 0:
            continue
        held = stated if isinstance(stated, list) and len(stated) == before else [0.0] * before
        holder["weights"] = [*held, *[0.0] * (after - before)]
