"""What happens in every frame: strengths into variables, then the weights of morph targets from those."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple, TypeVar

from plica.targets.gltf.live.graph import Argument, GraphBuilder, Inline, Output

MOST_SOCKETS: Final = 64
"""How many values one node sets, and how many nodes one sequence activates: engines may have limits."""


class Step(NamedTuple):
    """A node that is activated: its operation, what it takes and how it is configured."""

    operation: str
    values: Mapping[str, Argument]
    configuration: Mapping[str, tuple[str | int, ...]]


def kept_in_variables(
    builder: GraphBuilder, values: Mapping[str, Output]
) -> tuple[list[Step], Callable[[str], Output]]:
    """Steps that keep numbers in variables of their names, and what gives the output that reads one of them."""
    places = {name: builder.variable(name) for name in values}
    steps = []
    for some in _batches(list(values)):
        sockets = {str(places[name]): values[name] for name in some}
        steps.append(Step("variable/set", sockets, {"variables": tuple(places[name] for name in some)}))
    return steps, lambda name: builder.value("variable/get", "float", {}, {"variable": (places[name],)})


def weight_step(node: int, index: int, value: Output) -> Step:
    """Sets the weight of a morph target of the mesh that a node shows."""
    return Step("pointer/set", {"value": value}, {"pointer": (f"/nodes/{node}/weights/{index}",)})


def run_every_frame(builder: GraphBuilder, steps: Sequence[Step]) -> None:
    """`event/onTick`, and the steps in their order, each frame. Flows lead to nodes that stand further back."""
    if not steps:
        return
    builder.flow("event/onTick", flows={"out": len(builder) + 1})
    _sequence(builder, [_placed(step) for step in steps])


def start_animation(builder: GraphBuilder, animation: int) -> None:
    """`event/onStart`, and the animation from its start to its end over and over."""
    endless = builder.value("math/Inf", "float", {})
    builder.flow("event/onStart", flows={"out": len(builder) + 1})
    builder.flow(
        "animation/start",
        {
            "animation": Inline("ref", (f"/animations/{animation}",)),
            "startTime": Inline("float", (0.0,)),
            "endTime": endless,
            "speed": Inline("float", (1.0,)),
        },
    )


_Place = Callable[[GraphBuilder], None]
_Item = TypeVar("_Item")


def _batches(items: Sequence[_Item]) -> Iterator[Sequence[_Item]]:
    return (items[start : start + MOST_SOCKETS] for start in range(0, len(items), MOST_SOCKETS))


def _placed(step: Step) -> _Place:
    def place(builder: GraphBuilder) -> None:
        builder.flow(step.operation, step.values, step.configuration, result="float")

    return place


def _sequence(builder: GraphBuilder, places: Sequence[_Place]) -> None:
    """A `flow/sequence` and what it activates; of sequences where that would be too many.

    Sockets are activated in the order of their names as texts, so that all have as many digits.
    """
    parts = list(places)
    while len(parts) > MOST_SOCKETS:
        parts = [_nested(some) for some in _batches(parts)]
    digits = len(str(len(parts) - 1))
    own = len(builder)
    builder.flow("flow/sequence")
    targets: dict[str, int] = {}
    for number, place in enumerate(parts):
        targets[str(number).zfill(digits)] = len(builder)
        place(builder)
    builder.connect(own, targets)


def _nested(places: Sequence[_Place]) -> _Place:
    return lambda builder: _sequence(builder, places)
