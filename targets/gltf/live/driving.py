"""A finished glTF 2.0 document that drives its own shapes."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.evaluate.pose_components import skeleton_of
from plica.kinds.readings import controls_of, morphs_of
from plica.readers.json_fields import fields, items, objects, text
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.targets.gltf.additions import Document
from plica.targets.gltf.live.arithmetic import Arithmetic
from plica.targets.gltf.live.channels import without_weights
from plica.targets.gltf.live.document import EXTENSION, extension_of
from plica.targets.gltf.live.flow import kept_in_variables, run_every_frame, start_animation, weight_step
from plica.targets.gltf.live.graph import Graph, GraphBuilder, Output
from plica.targets.gltf.live.joints import FilePlaces, Joints
from plica.targets.gltf.live.readings import ReadingSource
from plica.targets.gltf.live.resting import neutral_in_file, with_parts
from plica.targets.gltf.live.strengths import strength_nodes
from plica.targets.gltf.live.weights import Following, weights_of
from plica.targets.gltf.placing import PlacedShapes

MANY_NODES: Final = 1000
"""A graph of more nodes than this is warned of: it costs an engine some milliseconds in each frame."""


class DrivenWeight(NamedTuple):
    """A weight that the graph sets: the shape's offsets at strength `at`, a node and the index of a morph target."""

    shape: str
    at: float
    node: int
    target: int


def drive(
    document: Document,
    build: Build,
    placed: PlacedShapes,
    joints: Mapping[str, int],
    metres: float,
    starts: str,
    diagnostics: Diagnostics,
) -> Document | None:
    """The document with a behaviour graph that sets the weights of all placed shapes in every frame.

    `joints`: the node of each joint of the rig. `metres`: in one length of the document. `starts`: the name of the
    animation that the graph starts; "" for none.
    None, after diagnostics, where the document cannot have one. Raises UnreadableModel.
    """
    extensions = fields(document.get("extensions", {}), "extensions")
    if EXTENSION in extensions:
        diagnostics.add("gltf-has-behaviour", None, extension=EXTENSION)
        return None
    rig = build.rig
    follows = {shape.name: shape.follows for shape in rig.shapes}
    written = [DrivenWeight(*target) for target in placed.targets if follows[target.shape] is not None]
    morphs = _morphs_read(build, placed, written, diagnostics)
    stripped = without_weights(document, {entry.node for entry in written}, diagnostics)
    animation = _animation(stripped, starts, diagnostics)
    if morphs is None or animation is None:
        return None
    held, controls = _with_controls(stripped, rig)
    places = FilePlaces(joints, controls, morphs, neutral_in_file(held, rig, joints, metres), metres)
    graph, read = graph_of(rig, places, written, *animation)
    _tell_size(build, graph, diagnostics)
    held = with_parts(held, rig, joints, metres, read)
    used = [*(name for name in items(held, "extensionsUsed", "the file") if name != EXTENSION), EXTENSION]
    return {**held, "extensionsUsed": used, "extensions": {**extensions, EXTENSION: extension_of(graph)}}


def graph_of(
    rig: Rig, places: FilePlaces, written: Sequence[DrivenWeight], *animations: int
) -> tuple[Graph, frozenset[str]]:
    """The graph of a rig that sets these weights and starts these animations; and the joints that it reads."""
    builder = GraphBuilder()
    arithmetic = Arithmetic(builder)
    joints = Joints(arithmetic, skeleton_of(rig), places)
    source = ReadingSource(arithmetic, joints, {control.name: control.rest for control in rig.controls})
    steps, kept = kept_in_variables(builder, strength_nodes(rig, source))
    weights = _weights(rig, arithmetic, kept, {entry.shape for entry in written})
    steps += [weight_step(entry.node, entry.target, weights[entry.shape][entry.at]) for entry in written]
    for animation in animations:
        start_animation(builder, animation)
    run_every_frame(builder, steps)
    return builder.graph(), frozenset(joints.read)


def _weights(
    rig: Rig, build: Arithmetic, kept: Callable[[str], Output], written: Collection[str]
) -> dict[str, dict[float, Output]]:
    """The weights of the shapes that are written, by their names."""
    shapes = {
        shape.name: Following(kept(shape.follows), tuple(entry.at for entry in shape.inbetweens))
        for shape in rig.shapes
        if shape.name in written and shape.follows is not None
    }
    return weights_of(build, shapes)


def _morphs_read(
    build: Build, placed: PlacedShapes, written: Sequence[DrivenWeight], diagnostics: Diagnostics
) -> dict[str, tuple[int, int]] | None:
    """Where the weight of each morph target stands that a driver reads; None, told, where the graph itself sets it."""
    own = {(entry.node, entry.target) for entry in written}
    result: dict[str, tuple[int, int]] = {}
    failed = False
    for driver in build.rig.strengths:
        for morph in morphs_of(driver.reading) if isinstance(driver, Driver) else ():
            free = [
                (target.node, target.target)
                for target in placed.own
                if target.name == morph and (target.node, target.target) not in own
            ]
            if free:
                result[morph] = free[0]
            else:
                diagnostics.add(
                    "gltf-weight-read-and-set", build.span_of("driver", driver.name), driver=driver.name, morph=morph
                )
                failed = True
    return None if failed else result


def _animation(document: Document, starts: str, diagnostics: Diagnostics) -> tuple[int, ...] | None:
    """The animation of a name, if one is asked for; None, told, where there is none."""
    if not starts:
        return ()
    names = [text(entry, "name", "animations") for entry in objects(document, "animations", "the file")]
    if starts in names:
        return (names.index(starts),)
    listed = ", ".join(f"`{name}`" for name in names if name)
    problem = f"the file has no animation of this name; it has {listed or 'none that is named'}"
    diagnostics.add("bad-target-option", None, target="gltf", option="starts", problem=problem)
    return None


def _with_controls(document: Document, rig: Rig) -> tuple[Document, dict[str, int]]:
    """The document with an empty node for each declared control that a driver reads, its x the value; and the nodes."""
    needed = dict.fromkeys(_controls_read(rig))
    nodes, places = list(document["nodes"]), {}
    for control in rig.controls:
        if control.name in needed and control.morph is None:
            places[control.name] = len(nodes)
            nodes.append({"name": f"control {control.name}", "translation": [control.rest, 0.0, 0.0]})
    if not places:
        return document, places
    scenes = [
        {**scene, "nodes": [*items(scene, "nodes", "scenes"), *places.values()]}
        for scene in objects(document, "scenes", "the file")
    ] or [{"nodes": list(places.values())}]
    return {**document, "nodes": nodes, "scenes": scenes}, places


def _controls_read(rig: Rig) -> Iterator[str]:
    for driver in rig.strengths:
        if isinstance(driver, Driver):
            yield from controls_of(driver.reading)


def _tell_size(build: Build, graph: Graph, diagnostics: Diagnostics) -> None:
    character = build.rig.character.name
    rule = "gltf-many-nodes" if len(graph.nodes) > MANY_NODES else "gltf-behaviour-nodes"
    diagnostics.add(rule, build.span_of("character", character), nodes=len(graph.nodes))
