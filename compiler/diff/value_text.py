"""Values of a rig in the words and units of the language: millimetres, degrees, per cent."""

from __future__ import annotations

from typing import Any

from plica.curves import READY_CURVES
from plica.kinds.curves import CURVE_KINDS, curve_text
from plica.kinds.expectations import expectation_kind
from plica.kinds.readings import Reading, kind_of
from plica.quantities import changed
from plica.rig.entry_text import combination_text, quantity_text
from plica.rig.region_sources import REGION_SOURCES, source_text
from plica.rig.rig import Expectation
from plica.rig.strengths import Combination, Driver, StrengthOf
from plica.rig.surfaces import JointPose, Sculpt, StrengthPose

ARROW = "→"
_FIELDS = {
    ("regions", "feather"): "mm",
    ("shapes", "threshold"): "mm",
    ("character", "tolerance"): "mm",
    ("character", "band"): "mm",
    ("character", "geometry"): "m",  # of its numbers, which is its unit
    ("folds", "tolerance"): "%",
    ("expectations", "border"): "%",
    ("expectations", "share"): "%",
    ("fields", "width"): "deg",
    ("details", "budget"): "bytes",
    ("symmetry", "offset"): "mm",
    ("offsets", "largest"): "mm",
    ("offsets", "bytes"): "bytes",
}
_LONGEST = 60  # letters of a value that has no words of its own


def amount(value: Any, unit: str) -> str:
    """A number inside (metres, radians, shares) with its unit outside; `none` where there is no number."""
    if value is None:
        return "none"
    return changed(value, unit) if isinstance(value, float | int) else text_of(value)


def unit_of_reading(reading: Reading) -> str:
    """`deg`, `mm`, or nothing for a control."""
    return kind_of(reading).unit


def unit_of(table: str, field: str, entry: Any) -> str:
    """The unit of an entry's field."""
    if isinstance(entry, Driver) and field == "span":
        return unit_of_reading(entry.reading)
    if isinstance(entry, Expectation) and field == "limit":
        return expectation_kind(entry.kind).limit.unit
    return _FIELDS.get((table, field), "")


def text_of(value: Any, unit: str = "") -> str:
    """Any value of a rig, in short."""
    if type(value) in CURVE_KINDS:
        return next((name for name, curve in READY_CURVES.items() if curve == value), curve_text(value))
    if type(value) in REGION_SOURCES:
        return source_text(value)
    if isinstance(value, Reading):
        return quantity_text(value)
    match value:
        case None:
            return "none"
        case bool():
            return "yes" if value else "no"
        case float() | int():
            return amount(value, unit)
        case str():
            return value or "nothing"
        case Combination():
            return combination_text(value)
        case StrengthOf():
            return value.strength
        case Sculpt():
            return _sculpt(value)
        case StrengthPose():
            return f"{value.strength} {changed(value.amount)}"
        case JointPose():
            return f"{amount(value.angle, 'deg')} of {value.joint}"
    return _short(_plain(value, unit))


def _sculpt(sculpt: Sculpt) -> str:
    posed = f" posed at {', '.join(map(text_of, sculpt.pose))}" if sculpt.pose else ""
    after = f" after {', '.join(sculpt.after)}" if sculpt.after else ""
    return f"{sculpt.file}{posed}{after}"


def _plain(value: Any, unit: str) -> str:
    if hasattr(value, "_fields"):
        items = zip(value._fields, value, strict=True)
        return " ".join(f"{name} {text_of(item)}" for name, item in items if item not in (None, ()))
    if isinstance(value, tuple):
        return ", ".join(text_of(item, unit) for item in value) or "none"
    return str(value)


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"
