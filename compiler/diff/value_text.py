"""Values of a rig in the words and units of the language: millimetres, degrees, per cent."""

from __future__ import annotations

from math import degrees
from typing import Any

from plica.kinds.expectations import expectation_kind
from plica.kinds.readings import Reading, kind_of
from plica.rig.entry_text import combination_text, curve_text, quantity_text
from plica.rig.rig import Expectation
from plica.rig.strengths import Combination, Driver, StrengthOf
from plica.rig.surfaces import JointPose, RegionSet, Sculpt, SkinOf, StrengthPose
from plica.values import Bezier, Hermite, Linear, Points

ARROW = "→"
_FIELDS = {
    ("regions", "feather"): "mm",
    ("shapes", "threshold"): "mm",
    ("character", "tolerance"): "mm",
    ("character", "band"): "mm",
    ("folds", "tolerance"): "%",
    ("fields", "width"): "deg",
    ("details", "budget"): "bytes",
    ("symmetry", "offset"): "mm",
    ("offsets", "largest"): "mm",
    ("offsets", "bytes"): "bytes",
}
_NOTHING = 1e-9  # only rounding
_LONGEST = 60  # letters of a value that has no words of its own


def number(value: float) -> str:
    """Four digits are enough to see a change by; the exact values are in the JSON output."""
    text = f"{value if abs(value) > _NOTHING else 0:.4g}"
    return text if "e" in text else (text.rstrip("0").rstrip(".") if "." in text else text)


def amount(value: Any, unit: str) -> str:
    """A number inside (metres, radians, shares) with its unit outside; `none` where there is no number."""
    if value is None:
        return "none"
    if not isinstance(value, float | int):
        return text_of(value)
    if unit == "mm":
        return f"{number(value * 1000)} mm"
    if unit == "deg":
        return f"{number(degrees(value))} deg"
    if unit == "%":
        return f"{number(value * 100)} %"
    if unit == "bytes":
        for size, name in ((2**20, "MiB"), (2**10, "KiB")):
            if value >= size:
                return f"{number(value / size)} {name}"
        return f"{number(value)} bytes"
    return number(value)


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
        case Linear() | Points() | Hermite() | Bezier():
            return curve_text(value)
        case Combination():
            return combination_text(value)
        case StrengthOf():
            return value.strength
        case Sculpt():
            return _sculpt(value)
        case StrengthPose():
            return f"{value.strength} {number(value.amount)}"
        case JointPose():
            return f"{amount(value.angle, 'deg')} of {value.joint}"
        case SkinOf():
            return f"skin of {', '.join(value.joints)}"
        case RegionSet():
            return f"{value.how} of {', '.join(value.regions)}"
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
