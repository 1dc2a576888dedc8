"""What a rig's entries say, in words: readings, spans, curves and combinations as one would write them."""

from __future__ import annotations

from math import degrees

from plica.kinds.readings import Bend, ControlValue, Euler, Gap, Offset, Reading, Rotation, Swing
from plica.rig.strengths import Combination, StrengthOf
from plica.rig.surfaces import JointPose, StrengthPose
from plica.skeleton.algebra import Vector, matrix_of, times
from plica.values import Bezier, Curve, Hermite, Linear, Points

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
    if isinstance(reading, Rotation | Bend | Swing | Euler):
        first, last, unit = degrees(span[0]), degrees(span[1]), " deg"
    elif isinstance(reading, Offset | Gap):
        first, last, unit = span[0] * 1000.0, span[1] * 1000.0, " mm"
    else:
        first, last, unit = span[0], span[1], ""
    return f"{number(first)}{unit} .. {number(last)}{unit}"


def curve_text(curve: Curve) -> str:
    """A curve in words."""
    match curve:
        case Linear():
            return "linear"
        case Points():
            return "linear " + ", ".join(f"{number(x)} {number(y)}" for x, y in curve.points)
        case Hermite():
            points = ", ".join(f"{number(x)} {number(y)}" for x, y, _ in curve.knots)
            return curve.method if curve.method == "smooth" else f"{curve.method} {points}"
        case Bezier():
            return "bezier " + " ".join(number(value) for value in curve.controls)


def combination_text(combination: Combination) -> str:
    """A combination as one would write it."""
    parts = [part.strength if isinstance(part, StrengthOf) else combination_text(part) for part in combination.parts]
    return f"{combination.how}({', '.join(parts)})"


def posed_text(item: StrengthPose | JointPose) -> str:
    """A part of a pose as one would write it; the axis is that of the joint's own rest frame."""
    if isinstance(item, StrengthPose):
        return f"{item.strength} {number(item.amount)}"
    return f"about {vector_text(item.axis)} of {item.joint} {number(degrees(item.angle))} deg"


def number(value: float) -> str:
    """A number to six digits, without needless zeros."""
    return f"{value:.6g}" if value else "0"
