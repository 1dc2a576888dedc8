"""What a rig's entries say, in words: readings, spans and combinations as one would write them."""

from __future__ import annotations

from plica.quantities import number, quantity
from plica.rig.model import (
    Bend,
    Combination,
    ControlValue,
    Euler,
    Gap,
    JointPose,
    Offset,
    Reading,
    Rotation,
    StrengthOf,
    StrengthPose,
    Swing,
    Vector,
)
from plica.skeleton.algebra import matrix_of, times

_EXACT = 1e-9  # nearer than this, a component is shown as 0 or 1
_AXES: dict[str, Vector] = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}


def vector_text(vector: Vector) -> str:
    """An axis as one would write it: `x`, `-z`, or `(0.1234, 0.9877, 0)`."""
    for name, axis in _AXES.items():
        for sign in (1.0, -1.0):
            if all(abs(a - sign * b) <= _EXACT for a, b in zip(vector, axis, strict=True)):
                return name if sign > 0 else f"-{name}"
    return f"({', '.join(_component(component) for component in vector)})"


def _component(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".") if abs(value) > 0.00005 else "0"


def axis_text(reading: Reading) -> str | None:
    """The axis of a reading that has one, in the joint's own rest frame (an offset's: in the parent's)."""
    match reading:
        case Rotation():
            return vector_text(reading.axis)
        case Swing():
            return vector_text(reading.toward)
        case Euler():
            return vector_text(times(matrix_of(reading.frame), _AXES[reading.channel]))
        case Offset():
            return vector_text(reading.weights)
    return None


def reading_text(reading: Reading) -> str:
    """What a reading measures."""
    match reading:
        case Rotation():
            return f"rotation about {vector_text(reading.axis)} of {reading.joint}"
        case Bend():
            return f"bend of {reading.joint}"
        case Swing():
            toward, along = vector_text(reading.toward), vector_text(reading.along)
            return f"swing toward {toward} of {reading.joint} along {along}"
        case Euler():
            return f"euler {axis_text(reading)} order {reading.order} of {reading.joint}"
        case Offset():
            return f"offset {vector_text(reading.weights)} in parent of {reading.joint}"
        case Gap():
            return f"gap of {reading.joint} from {reading.other}"
        case ControlValue():
            return f"control {reading.control}"


def span_text(reading: Reading, span: tuple[float, float]) -> str:
    """A span in the unit that people use for it: degrees, millimetres, or none."""
    unit = ""
    if isinstance(reading, Rotation | Bend | Swing | Euler):
        unit = "deg"
    elif isinstance(reading, Offset | Gap):
        unit = "mm"
    return f"{quantity(span[0], unit)} .. {quantity(span[1], unit)}"


def combination_text(combination: Combination) -> str:
    """A combination as one would write it."""
    parts = [part.strength if isinstance(part, StrengthOf) else combination_text(part) for part in combination.parts]
    return f"{combination.how}({', '.join(parts)})"


def posed_text(item: StrengthPose | JointPose) -> str:
    """A part of a pose as one would write it; the axis is that of the joint's own rest frame."""
    if isinstance(item, StrengthPose):
        return f"{item.strength} {number(item.amount)}"
    return f"about {vector_text(item.axis)} of {item.joint} {quantity(item.angle, 'deg')}"
