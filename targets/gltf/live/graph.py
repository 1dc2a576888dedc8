"""A behaviour graph of the glTF 2.0 extension KHR_interactivity as frozen records, and what builds one.

A node stands after all whose values it takes, as the specification asks ("Output Socket References"). Two nodes that
compute the same from the same are one: the builder finds what it has built before.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

Type = Literal["bool", "float", "float2", "float3", "float4", "float4x4", "ref"]
VECTORS: Mapping[int, Type] = {1: "float", 2: "float2", 3: "float3", 4: "float4"}


class Output(NamedTuple):
    """An output value socket: which node's, and the type of its value."""

    node: int
    type: Type
    socket: str = "value"


class Inline(NamedTuple):
    """A constant at an input value socket: one number, or those of a vector or a matrix column by column."""

    type: Type
    value: tuple[float | bool | str, ...]


Argument = Output | Inline


class GraphNode(NamedTuple):
    """An interactivity node. `flows`: output flow sockets and the node, after this one, that each activates."""

    operation: str
    values: tuple[tuple[str, Argument], ...] = ()
    configuration: tuple[tuple[str, tuple[str | int, ...]], ...] = ()
    flows: tuple[tuple[str, int], ...] = ()
    type: Type | None = None


class Variable(NamedTuple):
    """A custom variable that holds a number."""

    name: str
    initial: float


class Graph(NamedTuple):
    """A behaviour graph."""

    nodes: tuple[GraphNode, ...]
    variables: tuple[Variable, ...] = ()


class GraphBuilder:
    """Collects nodes. `value` nodes are shared where they are alike; `flow` nodes never are."""

    def __init__(self) -> None:
        self._nodes: list[GraphNode] = []
        self._variables: list[Variable] = []
        self._known: dict[GraphNode, int] = {}

    def __len__(self) -> int:
        return len(self._nodes)

    def value(
        self,
        operation: str,
        result: Type,
        values: Mapping[str, Argument],
        configuration: Mapping[str, tuple[str | int, ...]] | None = None,
    ) -> Output:
        """The output of a node that computes something."""
        node = GraphNode(operation, tuple(values.items()), tuple((configuration or {}).items()), (), result)
        if node not in self._known:
            self._known[node] = len(self._nodes)
            self._nodes.append(node)
        return Output(self._known[node], result)

    def flow(
        self,
        operation: str,
        values: Mapping[str, Argument] | None = None,
        configuration: Mapping[str, tuple[str | int, ...]] | None = None,
        flows: Mapping[str, int] | None = None,
        result: Type | None = None,
    ) -> int:
        """The place of a node that does something when it is activated."""
        taken, configured = tuple((values or {}).items()), tuple((configuration or {}).items())
        self._nodes.append(GraphNode(operation, taken, configured, tuple((flows or {}).items()), result))
        return len(self._nodes) - 1

    def connect(self, node: int, flows: Mapping[str, int]) -> None:
        """Lets the output flow sockets of a node activate nodes that were built after it."""
        self._nodes[node] = self._nodes[node]._replace(flows=tuple(flows.items()))

    def variable(self, name: str, initial: float = 0.0) -> int:
        """The place of a new variable."""
        self._variables.append(Variable(name, initial))
        return len(self._variables) - 1

    def graph(self) -> Graph:
        """Everything built so far."""
        return Graph(tuple(self._nodes), tuple(self._variables))
