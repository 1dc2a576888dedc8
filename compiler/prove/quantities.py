"""The units that people write: what a limit or a reading is measured in."""

from __future__ import annotations

import re
from typing import Final

from plica.kinds.expectations import expectation_kind
from plica.kinds.readings import kind_of
from plica.rig.rig import Expectation
from plica.rig.strengths import Driver
from plica.source import Span
from plica.units import UNITS, Dimension

_WRITTEN_SPAN = re.compile(r"\bspan\s+[-+]?[\d.]+\s*([a-z%]+)")
_USUAL: Final = {Dimension.ANGLE: "deg", Dimension.LENGTH: "mm", Dimension.SHARE: "%"}


def unit_of_driver(driver: Driver, declared: Span | None) -> str:
    """The unit that a driver's span is written in (degrees or millimetres where that cannot be seen); "" for none."""
    kind = kind_of(driver.reading)
    if not kind.unit:
        return ""
    match = _WRITTEN_SPAN.search(_block(declared)) if declared else None
    unit = match.group(1) if match else ""
    return unit if unit in UNITS and UNITS[unit].dimension is kind.dimension else kind.unit


def _block(declared: Span) -> str:
    """The text of a declaration from its name to the brace that ends it."""
    text, depth = declared.source.text, 0
    for place in range(declared.start, len(text)):
        depth += {"{": 1, "}": -1}.get(text[place], 0)
        if text[place] == "}" and depth <= 0:
            return text[declared.start : place]
    return text[declared.start :]


def unit_of_expectation(expectation: Expectation) -> str:
    """The unit in which an expectation's figures are told."""
    return expectation_kind(expectation.kind).limit.unit
