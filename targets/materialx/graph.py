"""The node graph of one detail: masks and strengths to a factor, two normal maps to one normal.

Only nodes of the MaterialX standard library are used. The arithmetic is that of `plica.texture.detail_maps`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import pi
from typing import Final, NamedTuple

from plica.rig.surfaces import Detail, Fold, MaskPlace
from plica.targets.materialx.document import Element, Names, element
from plica.texture.channels import CHANNELS, Channel

Link = str
"""The name of a node of the graph whose output is meant."""
_FLAT: Final = "0, 0, 1"
_OF_DIRECTIONS: Final = ("directions", "wrinkle_angle")


class TextureSpace(NamedTuple):
    """Which texture coordinates an image is read by: the number of the set, or its name as a geometric property."""

    number: int = 0
    name: str | None = None


class PlacedFold(NamedTuple):
    """A fold, where its mask is, the mask's texture coordinates, and the file of its map of directions."""

    fold: Fold
    place: MaskPlace
    space: TextureSpace
    directions: str | None = None


class GraphPlan(NamedTuple):
    """What a graph is made of: files are relative to the document."""

    name: str
    detail: Detail
    relaxed: str
    contracted: str
    space: TextureSpace
    folds: tuple[PlacedFold, ...]


def graph(plan: GraphPlan) -> Element:
    """The graph, with one input for each fold and the outputs `factor`, `tangent_normal` and `normal`; where the skin
    found the area of a fold also `directions` and `wrinkle_angle`."""
    return _Graph(plan).element()


class _Graph:
    """Nodes are added one after the other; each method gives the name of the node whose output it made."""

    def __init__(self, plan: GraphPlan) -> None:
        self.plan = plan
        self.names = Names()
        self.inputs: list[Element] = []
        self.nodes: list[Element] = []
        # Angles are counted in the tangent space of one set of texture coordinates, and only there can they be added.
        self.directed = [item for item in plan.folds if item.directions is not None and item.space == plan.space]
        outputs = ("factor", "tangent_normal", "normal", *(_OF_DIRECTIONS if self.directed else ()))
        self.outputs = {name: self.names.new(name) for name in outputs}
        self.strengths = {item.fold.name: self.names.new(item.fold.name) for item in plan.folds}
        self.places: dict[TextureSpace, Link] = {}

    def element(self) -> Element:
        """The whole graph."""
        for fold, name in self.strengths.items():
            shown = {} if name == fold else {"uiname": fold}
            self.inputs.append(element("input", name, "float", value="0", uimin="0", uimax="1", **shown))
        shares = self._shares()
        factor = self._factor(list(shares.values()))
        relaxed, contracted = (
            self._vector("relaxed", self.plan.relaxed),
            self._vector("contracted", self.plan.contracted),
        )
        mix = self._plain if self.plan.detail.mixing == "plain" else self._reoriented
        tangent_normal = mix(relaxed, contracted, factor)
        normal = self._in_world(tangent_normal)
        made = [
            ("factor", "float", factor),
            ("tangent_normal", "vector3", tangent_normal),
            ("normal", "vector3", normal),
        ]
        if self.directed:
            directions = self._directions(shares)
            made += [("directions", "vector3", directions), ("wrinkle_angle", "float", self._wrinkle_angle(directions))]
        outputs = [element("output", self.outputs[name], kind, nodename=node) for name, kind, node in made]
        return element("nodegraph", self.plan.name, "", *self.inputs, *self.nodes, *outputs)

    # ---- nodes

    def _node(self, category: str, name: str, kind: str, *inputs: Element) -> Link:
        given = self.names.new(name)
        self.nodes.append(element(category, given, kind, *inputs))
        return given

    def _image(self, name: str, kind: str, file: str, space: TextureSpace) -> Link:
        if space not in self.places:
            self.places[space] = self._texture_coordinates(space)
        place = linked("texcoord", "vector2", self.places[space])
        return self._node("image", name, kind, valued("file", "filename", file), place)

    def _texture_coordinates(self, space: TextureSpace) -> Link:
        if space.name is not None:
            return self._node("geompropvalue", "place", "vector2", valued("geomprop", "string", space.name))
        return self._node("texcoord", "place", "vector2", valued("index", "integer", str(space.number)))

    def _vector(self, name: str, file: str) -> Link:
        """A map's stored values as vectors: 0..1 means -1..1."""
        stored = self._image(f"{name}_map", "vector3", file, self.plan.space)
        doubled = self._node(
            "multiply", f"{name}_doubled", "vector3", linked("in1", "vector3", stored), valued("in2", "float", "2")
        )
        return self._node("subtract", name, "vector3", linked("in1", "vector3", doubled), valued("in2", "float", "1"))

    # ---- factor

    def _shares(self) -> dict[str, Link]:
        """Of each fold its mask times its strength."""
        return {
            fold: self._node(
                "multiply",
                f"{fold}_share",
                "float",
                linked("in1", "float", mask),
                element("input", "in2", "float", interfacename=self.strengths[fold]),
            )
            for fold, mask in self._masks().items()
        }

    def _factor(self, shares: Sequence[Link]) -> Link:
        total = self._sum("sum", "float", shares) if shares else self._zero("no_folds")
        return self._node(
            "clamp",
            "factor_of_folds",
            "float",
            linked("in", "float", total),
            valued("low", "float", "0"),
            valued("high", "float", "1"),
        )

    def _masks(self) -> dict[str, Link]:
        """Each fold's mask, out of its channel; a texture that several folds share is read once."""
        files: dict[tuple[str, TextureSpace], list[PlacedFold]] = {}
        for item in self.plan.folds:
            files.setdefault((item.place.file, item.space), []).append(item)
        result: dict[str, Link] = {}
        for number, ((file, space), items) in enumerate(files.items(), 1):
            single = all(item.place.channel == CHANNELS[0] for item in items)
            image = self._image(f"masks_{number}", "float" if single else "vector4", file, space)
            for item in items:
                name = item.fold.name
                result[name] = image if single else self._channel(f"{name}_mask", image, item.place.channel)
        return result

    def _channel(self, name: str, image: Link, channel: Channel) -> Link:
        return self._node(
            "extract",
            name,
            "float",
            linked("in", "vector4", image),
            valued("index", "integer", str(CHANNELS.index(channel))),
        )

    def _zero(self, name: str) -> Link:
        return self._node("constant", name, "float", valued("value", "float", "0"))

    def _sum(self, name: str, kind: str, parts: Sequence[Link]) -> Link:
        """The sum of one or more."""
        total = parts[0]
        for number, part in enumerate(parts[1:], 2):
            total = self._node("add", f"{name}_{number}", kind, linked("in1", kind, total), linked("in2", kind, part))
        return total

    # ---- directions

    def _directions(self, shares: Mapping[str, Link]) -> Link:
        """The double angles (cos 2a, sin 2a, 0) in which the skin changes, times each fold's share."""
        parts = []
        for item in self.directed:
            name = f"{item.fold.name}_directions"
            assert item.directions is not None
            stored = self._vector(name, item.directions)
            parts.append(self._scaled(f"{name}_share", stored, shares[item.fold.name]))
        total = self._sum("directions_sum", "vector3", parts)
        flat = valued("in2", "vector3", "1, 1, 0")
        return self._node("multiply", "directions_of_folds", "vector3", linked("in1", "vector3", total), flat)

    def _wrinkle_angle(self, directions: Link) -> Link:
        """Across the direction: half of the double angle, and a quarter turn more."""
        parts = [
            self._node(
                "extract", name, "float", linked("in", "vector3", directions), valued("index", "integer", str(number))
            )
            for number, name in enumerate(("cosine", "sine"))
        ]
        both = linked("iny", "float", parts[1]), linked("inx", "float", parts[0])
        double = self._node("atan2", "double_angle", "float", *both)
        half = self._node("multiply", "half", "float", linked("in1", "float", double), valued("in2", "float", "0.5"))
        quarter = valued("in2", "float", repr(pi / 2.0))
        return self._node("add", "across", "float", linked("in1", "float", half), quarter)

    # ---- mixing

    def _plain(self, relaxed: Link, contracted: Link, factor: Link) -> Link:
        between = self._mix("between", contracted, relaxed, factor)
        return self._unit("mixed", between)

    def _reoriented(self, relaxed: Link, contracted: Link, factor: Link) -> Link:
        """With t and u as in `plica.texture.detail_maps`: the direction of t (t . u) - u t.z."""
        flat = self._node("constant", "flat", "vector3", valued("value", "vector3", _FLAT))
        faded = self._mix("faded", contracted, flat, factor)
        base = self._unit("base", relaxed)
        t = self._node("add", "t", "vector3", linked("in1", "vector3", base), linked("in2", "vector3", flat))
        u = self._node(
            "multiply", "u", "vector3", linked("in1", "vector3", faded), valued("in2", "vector3", "-1, -1, 1")
        )
        along = self._node("dotproduct", "along", "float", linked("in1", "vector3", t), linked("in2", "vector3", u))
        rise = self._node("extract", "rise", "float", linked("in", "vector3", t), valued("index", "integer", "2"))
        first, second = self._scaled("first", t, along), self._scaled("second", u, rise)
        turned = self._node(
            "subtract", "turned", "vector3", linked("in1", "vector3", first), linked("in2", "vector3", second)
        )
        return self._unit("mixed", turned)

    def _mix(self, name: str, over: Link, under: Link, factor: Link) -> Link:
        return self._node(
            "mix",
            name,
            "vector3",
            linked("fg", "vector3", over),
            linked("bg", "vector3", under),
            linked("mix", "float", factor),
        )

    def _scaled(self, name: str, vector: Link, amount: Link) -> Link:
        return self._node("multiply", name, "vector3", linked("in1", "vector3", vector), linked("in2", "float", amount))

    def _unit(self, name: str, vector: Link) -> Link:
        return self._node("normalize", name, "vector3", linked("in", "vector3", vector))

    def _in_world(self, tangent_normal: Link) -> Link:
        """The normal in world space. The node `normalmap` takes stored values, so the vector is stored again."""
        half = self._node(
            "multiply", "halved", "vector3", linked("in1", "vector3", tangent_normal), valued("in2", "float", "0.5")
        )
        stored = self._node("add", "stored", "vector3", linked("in1", "vector3", half), valued("in2", "float", "0.5"))
        frame = []
        number = self.plan.space.number
        if number:
            for axis in ("tangent", "bitangent"):
                node = self._node(
                    axis, axis, "vector3", valued("space", "string", "world"), valued("index", "integer", str(number))
                )
                frame.append(linked(axis, "vector3", node))
        return self._node("normalmap", "in_world", "vector3", linked("in", "vector3", stored), *frame)


def linked(name: str, kind: str, node: Link) -> Element:
    """An input that takes a node's output."""
    return element("input", name, kind, nodename=node)


def valued(name: str, kind: str, value: str) -> Element:
    """An input of a fixed value."""
    return element("input", name, kind, value=value)
