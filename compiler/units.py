"""Units of the language and what they measure. Inside, lengths are metres, angles radians, memory bytes."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from math import log, pi

from plica.named_tuples import NamedTuple


class Dimension(StrEnum):
    """What a quantity measures."""

    NUMBER = "plain number"
    ANGLE = "angle"
    LENGTH = "length"
    AREA = "area"
    SHARE = "percentage"
    MEMORY = "memory size"


class Unit(NamedTuple):
    """A unit: its dimension and its size in the inside unit of that dimension."""

    dimension: Dimension
    size: float


# 1 in = 0.0254 m exactly (international yard and pound agreement, 1959).
UNITS: dict[str, Unit] = {
    "deg": Unit(Dimension.ANGLE, pi / 180),
    "rad": Unit(Dimension.ANGLE, 1.0),
    "turn": Unit(Dimension.ANGLE, 2 * pi),
    "mm": Unit(Dimension.LENGTH, 0.001),
    "cm": Unit(Dimension.LENGTH, 0.01),
    "m": Unit(Dimension.LENGTH, 1.0),
    "in": Unit(Dimension.LENGTH, 0.0254),
    "mm2": Unit(Dimension.AREA, 1e-6),
    "cm2": Unit(Dimension.AREA, 1e-4),
    "m2": Unit(Dimension.AREA, 1.0),
    "%": Unit(Dimension.SHARE, 0.01),
    "KiB": Unit(Dimension.MEMORY, 1024.0),
    "MiB": Unit(Dimension.MEMORY, 1024.0 * 1024.0),
}
PLAIN = Unit(Dimension.NUMBER, 1.0)


def nearest_factor(wanted: float, factors: Sequence[float]) -> float:
    """Of positive factors the one that is nearest to a positive number, by their ratio; the first of equal ones."""
    return min(factors, key=lambda factor: abs(log(factor / wanted)))


def units_of(dimension: Dimension) -> list[str]:
    """The units that measure a dimension, in the order of the table."""
    return [name for name, unit in UNITS.items() if unit.dimension is dimension]
