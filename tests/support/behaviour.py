"""An interpreter of behaviour graphs, written from the specification's text alone, in either precision.

Source: Khronos, glTF 2.0 Interactivity Extension Specification (KHR_interactivity): "Operations", "JSON Syntax" and
"Validation". Only operations of the text that a graph of drivers may use are here; another one is a failure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

Number = Any  # an array of any shape in the interpreter's precision, or a truth value
WIDTHS = {"bool": 1, "float": 1, "float2": 2, "float3": 3, "float4": 4, "float4x4": 16, "ref": 1}


def _dot(a: Number, b: Number) -> Number:
    total = a[0] * b[0]
    for left, right in zip(a[1:], b[1:], strict=True):
        total = total + left * right
    return total


def _length(a: Number) -> Number:
    return np.sqrt(_dot(a, a))


def _normalize(a: Number) -> Number:
    size = _length(a)
    return a / size if np.isfinite(size) and size > 0 else np.zeros_like(a)


def _rotate(a: Number, rotation: Number) -> Number:
    axis, w = rotation[:3], rotation[3]
    once = _cross(axis, a)
    return a + 2 * (_cross(axis, once) + w * once)


def _cross(a: Number, b: Number) -> Number:
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def _quaternion_product(a: Number, b: Number) -> Number:
    ax, ay, az, aw = a
    bx, by, bz, bw = b
    return np.array(
        [
            aw * bx + ax * bw + ay * bz - az * by,
            aw * by + ay * bw + az * bx - ax * bz,
            aw * bz + az * bw + ax * by - ay * bx,
            aw * bw - ax * bx - ay * by - az * bz,
        ]
    )


def _transform(a: Number, b: Number) -> Number:
    """Matrices are stored column by column."""
    columns = b.reshape(4, 4)
    return columns[0] * a[0] + columns[1] * a[1] + columns[2] * a[2] + columns[3] * a[3]


ALIKE: dict[str, Callable[..., Number]] = {
    "math/add": lambda a, b: a + b,
    "math/sub": lambda a, b: a - b,
    "math/mul": lambda a, b: a * b,
    "math/div": lambda a, b: a / b,
    "math/min": np.minimum,
    "math/max": np.maximum,
    "math/atan2": np.arctan2,
    "math/abs": np.abs,
    "math/saturate": lambda a: np.minimum(np.maximum(a, 0), 1),
    "math/sqrt": np.sqrt,
    "math/cbrt": np.cbrt,
    "math/exp": np.exp,
    "math/sin": np.sin,
    "math/cos": np.cos,
    "math/asin": np.arcsin,
    "math/acos": np.arccos,
    "math/atan": np.arctan,
    "math/sinh": np.sinh,
    "math/cosh": np.cosh,
    "math/asinh": np.arcsinh,
    "math/acosh": np.arccosh,
}
"""Component by component, of arguments of one type."""
OTHERS: dict[str, Callable[..., Number]] = {
    "math/lt": lambda a, b: bool(a < b),
    "math/le": lambda a, b: bool(a <= b),
    "math/gt": lambda a, b: bool(a > b),
    "math/ge": lambda a, b: bool(a >= b),
    "math/select": lambda condition, a, b: a if condition else b,
    "math/dot": _dot,
    "math/length": _length,
    "math/normalize": _normalize,
    "math/rotate3D": _rotate,
    "math/quatMul": _quaternion_product,
    "math/quatConjugate": lambda a: np.array([-a[0], -a[1], -a[2], a[3]]),
    "math/transform": _transform,
    "math/combine2": lambda a, b: np.array([a, b]),
    "math/combine3": lambda a, b, c: np.array([a, b, c]),
    "math/combine4": lambda a, b, c, d: np.array([a, b, c, d]),
    "math/Inf": lambda: np.inf,
}
FLOWS = {"event/onTick", "event/onStart", "flow/sequence", "variable/set", "pointer/set", "animation/start"}
READS = {"pointer/get", "variable/get"}


class Behaviour:
    """The selected graph of a document, checked by the rules of the text; runs it frame by frame."""

    def __init__(self, document: Mapping[str, Any], precision: type = np.float64) -> None:
        extension = document["extensions"]["KHR_interactivity"]
        graph = extension["graphs"][extension.get("graph", 0)]
        self.nodes: list[dict[str, Any]] = graph["nodes"]
        self._types: list[str] = [entry["signature"] for entry in graph["types"]]
        self._operations: list[str] = [entry["op"] for entry in graph["declarations"]]
        self._precision = precision
        self.names: list[str] = [entry["name"] for entry in graph.get("variables", [])]
        self.variables = [precision(entry["value"][0]) for entry in graph.get("variables", [])]
        assert len(set(self._types)) == len(self._types), "a signature stands twice among the types"
        assert len(set(self._operations)) == len(self._operations), "an operation is declared twice"
        for number, node in enumerate(self.nodes):
            self._check(number, node)

    def _check(self, number: int, node: dict[str, Any]) -> None:
        operation = self.operation(number)
        assert operation in {*ALIKE, *OTHERS, *FLOWS, *READS}, operation
        for source in node.get("values", {}).values():
            if "node" in source:
                assert "value" not in source
                assert 0 <= source["node"] < number, "a value comes from a node further back"
                assert self.operation(source["node"]) not in FLOWS
            else:
                assert len(source["value"]) == WIDTHS[self._types[source["type"]]]
        for target in node.get("flows", {}).values():
            assert number < target["node"] < len(self.nodes), "a flow leads to a node further on"
        for name in ("values", "flows", "configuration"):
            assert node.get(name) != {}, f"{name} is empty"

    def operation(self, number: int) -> str:
        """A node's operation."""
        return self._operations[self.nodes[number]["declaration"]]

    def events(self, name: str) -> list[int]:
        """The nodes of an event."""
        return [number for number in range(len(self.nodes)) if self.operation(number) == name]

    def tick(self, read: Callable[[str], Any]) -> dict[str, Number]:
        """What one frame sets, by pointer. `read`: the value of a pointer."""
        self._read = read
        self._set: dict[str, Number] = {}
        with np.errstate(all="ignore"):
            for event in self.events("event/onTick"):
                self._activate(self.nodes[event]["flows"]["out"]["node"])
        return self._set

    def _activate(self, number: int) -> None:
        node, self._known = self.nodes[number], dict[int, Number]()
        match self.operation(number):
            case "flow/sequence":
                for socket in sorted(node["flows"]):
                    self._activate(node["flows"][socket]["node"])
            case "variable/set":
                places = node["configuration"]["variables"]["value"]
                values = [self._argument(node["values"][str(place)]) for place in places]
                for place, value in zip(places, values, strict=True):
                    self.variables[place] = value
            case "pointer/set":
                (pointer,) = node["configuration"]["pointer"]["value"]
                self._set[pointer] = self._argument(node["values"]["value"])
            case other:
                raise AssertionError(f"{other} is not activated")

    def _argument(self, source: Mapping[str, Any]) -> Number:
        if "node" in source:
            return self._value(source["node"])
        value, kind = source["value"], self._types[source["type"]]
        if kind == "bool":
            return value[0]
        return self._precision(value[0]) if len(value) == 1 else np.array(value, dtype=self._precision)

    def _value(self, number: int) -> Number:
        if number not in self._known:
            self._known[number] = self._computed(number)
        return self._known[number]

    def _computed(self, number: int) -> Number:
        node, operation = self.nodes[number], self.operation(number)
        configuration = node.get("configuration", {})
        if operation == "variable/get":
            return self.variables[configuration["variable"]["value"][0]]
        if operation == "pointer/get":
            (pointer,) = configuration["pointer"]["value"]
            value = np.array(self._read(pointer), dtype=self._precision)
            assert value.size == WIDTHS[self._types[configuration["type"]["value"][0]]]
            return value if value.size > 1 else value[()]
        arguments = {name: self._argument(source) for name, source in node.get("values", {}).items()}
        if operation in ALIKE:
            assert len({np.shape(value) for value in arguments.values()}) == 1, f"{operation} of different types"
            return ALIKE[operation](*arguments.values())
        if operation in ("math/dot", "math/select"):
            assert np.shape(arguments["a"]) == np.shape(arguments["b"])
        return OTHERS[operation](**arguments)
