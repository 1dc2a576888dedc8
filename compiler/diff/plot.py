"""Small plots of an old and a new response: as a chart in text that code hosts draw, and as bars of text for readers
that draw nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from plica.diff.effects import readings_of, strengths_at
from plica.diff.value_text import amount
from plica.diff.verdicts import Plot
from plica.quantities import in_unit

_BARS = "▁▂▃▄▅▆▇█"
_COLUMNS = 14
_POINTS = 25  # of a line of a chart
_OLD, _NEW = "#8c8578", "#0b6e63"


class _Drawn(NamedTuple):
    """Old and new strengths at evenly spaced readings from `low` to `high`, and the range they are drawn in."""

    rows: list[list[float]]
    low: float
    high: float
    floor: float
    ceiling: float


def _drawn(plot: Plot, count: int) -> _Drawn:
    import numpy as np

    exact = readings_of(plot.old, plot.new)
    low, high = float(exact[0]), float(exact[-1])
    readings = np.linspace(low, high, count)
    rows = [strengths_at(response, readings).tolist() for response in (plot.old, plot.new)]
    return _Drawn(rows, low, high, min(0.0, *map(min, rows)), max(1.0, *map(max, rows)))


def bars(plot: Plot) -> tuple[str, str, str]:
    """The old and the new response as bars of text over the union of both spans, and that union in words."""
    rows, low, high, floor, ceiling = _drawn(plot, _COLUMNS)
    steps = [[round((value - floor) / (ceiling - floor) * (len(_BARS) - 1)) for value in row] for row in rows]
    old, new = ("".join(_BARS[step] for step in row) for row in steps)
    return old, new, f"{amount(low, plot.unit)} .. {amount(high, plot.unit)}"


def chart(plot: Plot) -> Iterator[str]:
    """The lines of a fenced block with a chart over the union of both spans; up is strength, the old response is grey.

    The language is that of Mermaid's `xychart-beta` (mermaid.js.org/syntax/xyChart.html), checked with its own parser.
    """
    rows, low, high, floor, ceiling = _drawn(plot, _POINTS)
    yield "```mermaid"
    yield f"%%{{init: {{'themeVariables': {{'xyChart': {{'plotColorPalette': '{_OLD}, {_NEW}'}}}}}}}}%%"
    yield "xychart-beta"
    start, stop = (_number(in_unit(end, plot.unit)) for end in (low, high))
    yield f'    x-axis "{plot.unit or "control"}" {start} --> {stop}'
    yield f'    y-axis "strength" {_number(floor)} --> {_number(ceiling)}'
    for row in rows:
        yield f"    line [{', '.join(map(_number, row))}]"
    yield "```"


def _number(value: float) -> str:
    """A plain decimal number: the chart's language knows no exponents."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("", "-0") else text
