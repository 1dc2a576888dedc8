"""A behaviour graph as the JSON of the glTF 2.0 extension KHR_interactivity ("JSON Syntax")."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from plica.targets.gltf.live.graph import Argument, Graph, GraphNode, Output, Type

EXTENSION = "KHR_interactivity"


def extension_of(graph: Graph) -> dict[str, Any]:
    """The object that stands under `extensions` of the document, with this one graph."""
    types, declarations = _Numbers(), _Numbers()
    nodes = [_node(node, types, declarations) for node in graph.nodes]
    number = types.of("float")
    variables = [{"type": number, "name": variable.name, "value": [variable.initial]} for variable in graph.variables]
    written: dict[str, Any] = {"types": [{"signature": name} for name in types.names]}
    if variables:
        written["variables"] = variables
    written["declarations"] = [{"op": name} for name in declarations.names]
    written["nodes"] = nodes
    return {"graphs": [written], "graph": 0}


class _Numbers:
    """Names in the order in which they are first used."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    @property
    def names(self) -> list[str]:
        return list(self._numbers)

    def of(self, name: str) -> int:
        return self._numbers.setdefault(name, len(self._numbers))


def _node(node: GraphNode, types: _Numbers, declarations: _Numbers) -> dict[str, Any]:
    result: dict[str, Any] = {"declaration": declarations.of(node.operation)}
    configuration: dict[str, Any] = {name: {"value": list(value)} for name, value in node.configuration}
    if node.operation.startswith("pointer/"):
        configuration["type"] = {"value": [types.of(_type(node))]}
    if configuration:
        result["configuration"] = configuration
    if node.values:
        result["values"] = {socket: _source(argument, types) for socket, argument in node.values}
    if node.flows:
        result["flows"] = {socket: {"node": target} for socket, target in node.flows}
    return result


def _type(node: GraphNode) -> Type:
    if node.type is None:
        raise ValueError(f"a node of {node.operation} does not say the type of its property")
    return node.type


def _source(argument: Argument, types: _Numbers) -> Mapping[str, Any]:
    if isinstance(argument, Output):
        return {"node": argument.node} | ({"socket": argument.socket} if argument.socket != "value" else {})
    return {"type": types.of(argument.type), "value": list(argument.value)}
