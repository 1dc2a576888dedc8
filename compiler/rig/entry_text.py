"""What a rig's entries say, in words: readings, spans and combinations as one would write them."""

from __future__ import annotations

import re

from plica.kinds.readings import AXES, Reading, kind_of
from plica.quantities import number, quantity
from plica.rig.strengths import Combination, StrengthOf
from plica.rig.surfaces import JointPose, StrengthPose
from plica.skeleton.algebra import Vector

_EXACT = 1e-9  # nearer than this, a component is shown as 0 or 1
_FIELD = re.compile(r"\{(\w+)\}")
_OPTIONAL = re.compile(r"\[([^\[\]]*)\]")


def vector_text(vector: Vector) -> str:
    """An axis as one would write it: `x`, `-z`, or `(0.1234, 0.9877, 0)`."""
    for name, axis in AXES.items():
        for sign in (1.0, -1.0):
            if all(abs(a - sign * b) <= _EXACT for a, b in zip(vector, axis, strict=True)):
                return name if sign > 0 else f"-{name}"
    return f"({', '.join(_component(component) for component in vector)})"


def _component(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".") if abs(value) > 0.00005 else "0"


def axis_text(reading: Reading) -> str | None:
    """The axis of a reading that has one, in the joint's own rest frame (an offset's: in the parent's)."""
    axis = kind_of(reading).axis
    return None if axis is None else vector_text(axis.vector(reading))


def reading_text(reading: Reading) -> str:
    """What a reading measures, exactly."""
    return filled(kind_of(reading).text, reading)


def quantity_text(reading: Reading) -> str:
    """What is read of what, without the axis."""
    return filled(kind_of(reading).short, reading)


def filled(text: str, reading: Reading) -> str:
    """A text of a reading's kind with the reading's axis and fields in it."""
    kept = _OPTIONAL.sub(lambda part: _kept(reading, part[1]), text)
    return _FIELD.sub(lambda name: _field_text(reading, name[1]), kept)


def _kept(reading: Reading, part: str) -> str:
    """A part of a text that is there only where its fields are."""
    return "" if any(getattr(reading, name) is None for name in _FIELD.findall(part)) else part


def _field_text(reading: Reading, name: str) -> str:
    axis = kind_of(reading).axis
    value = axis.vector(reading) if axis is not None and name == "axis" else getattr(reading, name)
    return value if isinstance(value, str) else vector_text(value)


def span_text(reading: Reading, span: tuple[float, float]) -> str:
    """A span in the unit that people use for it: degrees, millimetres, or none."""
    unit = kind_of(reading).unit
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
