"""The weights of a shape and its inbetweens at a strength, as nodes: `plica.mesh.inbetweens` has the rule."""

from __future__ import annotations

from collections.abc import Sequence

from plica.targets.gltf.live.arithmetic import Arithmetic
from plica.targets.gltf.live.graph import Output


def weights_at(build: Arithmetic, strength: Output, inbetweens: Sequence[float]) -> dict[float, Output]:
    """The weight of the offsets at strength 1 and of each inbetween, by the strength that they stand at.

    Each is a piecewise linear function, 1 at its own strength and 0 at all others. Each times its strength they add up
    to the strength itself, also beyond both ends, which gives one of them for two nodes.
    """
    knots = sorted((0.0, 1.0, *inbetweens))
    if not inbetweens:
        return {1.0: strength}
    # The largest, so that the others' roundings count least; of the inner ones, which take the most nodes.
    inner = [knot for knot in knots[1:-1] if knot != 0.0] or [knot for knot in knots if knot != 0.0]
    rest = max(inner, key=abs)
    result = {knot: _hat(build, strength, knots, place) for place, knot in enumerate(knots) if knot not in (0.0, rest)}
    left = strength
    for knot, weight in result.items():
        left = build.subtract(left, build.multiply(weight, knot))
    result[rest] = build.multiply(left, 1.0 / rest)
    return result


def _hat(build: Arithmetic, strength: Output, knots: Sequence[float], place: int) -> Output:
    """The weight of one of the knots; between the first two and the last two of them it goes on in a straight line."""
    last = len(knots) - 1
    rising = falling = None
    if place > 0:
        rising = _share(build, strength, knots[place - 1], knots[place])
        if place != 1:
            rising = build.greatest(rising, 0.0)
    if place < last:
        falling = _share(build, strength, knots[place + 1], knots[place])
        if place != last - 1:
            falling = build.greatest(falling, 0.0)
    if rising is not None and falling is not None:
        return build.least(rising, falling)
    only = rising if rising is not None else falling
    assert only is not None, "there are at least two knots"
    return only


def _share(build: Arithmetic, strength: Output, start: float, end: float) -> Output:
    """0 at `start` and 1 at `end`, in a straight line."""
    return build.multiply(build.subtract(strength, start), 1.0 / (end - start))
