"""The weights of shapes and their inbetweens at their strengths, as nodes: `plica.mesh.inbetweens` has the rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from plica.mesh.arrays import Floats
from plica.targets.gltf.live.arithmetic import Arithmetic, Operand
from plica.targets.gltf.live.graph import VECTORS, Output

_AT_ONCE: Final = max(VECTORS)


class Following(NamedTuple):
    """The strength that a shape follows, and the strengths of its inbetweens, rising."""

    strength: Output
    inbetweens: tuple[float, ...]


class _Weight(NamedTuple):
    """A weight, or a vector of one for each shape, still to be multiplied with a factor (k,)."""

    output: Output
    factor: Floats


def weights_of(build: Arithmetic, shapes: Mapping[str, Following]) -> dict[str, dict[float, Output]]:
    """The weights of shapes by their names: of each by strength those of its inbetweens, and at 1 its own.

    Shapes with as many inbetweens are computed at once, as many as a vector holds.
    """
    alike: dict[object, list[str]] = {}
    for name, followed in shapes.items():
        at = followed.inbetweens
        # Knots outside of 0..1 stand in another order with 0 and 1: only the same ones are computed together.
        alike.setdefault(len(at) if all(0.0 < one < 1.0 for one in at) else at, []).append(name)
    result: dict[str, dict[float, Output]] = {}
    for names in alike.values():
        at_once = _AT_ONCE if shapes[names[0]].inbetweens else 1
        for start in range(0, len(names), at_once):
            some = names[start : start + at_once]
            result |= zip(some, _together(build, [shapes[name] for name in some]), strict=True)
    return {name: result[name] for name in shapes}


def _together(build: Arithmetic, shapes: Sequence[Following]) -> list[dict[float, Output]]:
    knots = np.sort([(0.0, 1.0, *shape.inbetweens) for shape in shapes], axis=1)
    strengths = [shape.strength for shape in shapes]
    if len(shapes) == 1:
        weights = _weights(build, strengths[0], knots)
        return [{float(knots[0, place]): build.multiply(one.output, float(one.factor[0])) for place, one in weights}]
    weights = _weights(build, build.combined(*strengths), knots)
    separated = [(place, build.separated(one.output, one.factor.tolist())) for place, one in weights]
    return [{float(own[place]): outputs[row] for place, outputs in separated} for row, own in enumerate(knots)]


def _weights(build: Arithmetic, strength: Output, knots: Floats) -> list[tuple[int, _Weight]]:
    """The weight of each knot (k, n) but 0, by its place.

    Each is a piecewise linear function, 1 at its own strength and 0 at all others. Each times its strength they add up
    to the strength itself, also beyond both ends, which gives one of them for two nodes.
    """
    shapes, count = knots.shape
    ones = np.ones(shapes)
    places = [place for place in range(count) if knots[0, place] != 0.0]
    if count == 2:
        return [(places[0], _Weight(strength, ones))]
    # The largest, so that the others' roundings count least; of the inner ones, which take the most nodes.
    inner = [place for place in places if 0 < place < count - 1] or places
    rest = max(inner, key=lambda place: float(np.abs(knots[:, place]).min()))
    result = [(place, _Weight(_hat(build, strength, knots, place), ones)) for place in places if place != rest]
    left = strength
    for place, weight in result:
        left = build.subtract(left, build.multiply(weight.output, _operand(knots[:, place])))
    return [*result, (rest, _Weight(left, 1.0 / knots[:, rest]))]


def _hat(build: Arithmetic, strength: Output, knots: Floats, place: int) -> Output:
    """The weight of one of the knots; between the first two and the last two of them it goes on in a straight line."""
    last = knots.shape[1] - 1
    rising = falling = None
    if place > 0:
        rising = _share(build, strength, knots[:, place - 1], knots[:, place])
        if place != 1:
            rising = build.greatest(rising, 0.0)
    if place < last:
        falling = _share(build, strength, knots[:, place + 1], knots[:, place])
        if place != last - 1:
            falling = build.greatest(falling, 0.0)
    if rising is not None and falling is not None:
        return build.least(rising, falling)
    only = rising if rising is not None else falling
    assert only is not None, "there are at least two knots"
    return only


def _share(build: Arithmetic, strength: Output, start: Floats, end: Floats) -> Output:
    """0 at `start` (k,) and 1 at `end` (k,), in a straight line."""
    return build.multiply(build.subtract(strength, _operand(start)), _operand(1.0 / (end - start)))


def _operand(values: Floats) -> Operand:
    """A constant for each shape; one number where it is the same for all."""
    first = float(values[0])
    return first if (values == first).all() else values.tolist()
