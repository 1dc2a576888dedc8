"""Small plots of an old and a new response: as SVG 1.1 (W3C), the old one dashed and grey, the new one solid; and as
bars of text, for readers that show no pictures."""

from __future__ import annotations

from base64 import b64encode
from typing import NamedTuple

from plica.diff.effects import readings_of, strengths_at
from plica.diff.value_text import amount
from plica.diff.verdicts import Plot

WIDTH, HEIGHT = 240, 120
_LEFT, _RIGHT, _TOP, _BOTTOM = 12, 228, 10, 92
_POINTS = 97  # of a line: more than its pixels need
_BARS = "▁▂▃▄▅▆▇█"
_COLUMNS = 14


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


def svg(plot: Plot) -> str:
    """The plot over the union of both spans; up is strength."""
    rows, low, high, floor, ceiling = _drawn(plot, _POINTS)

    def points(row: list[float]) -> str:
        across = [_LEFT + (_RIGHT - _LEFT) * step / (_POINTS - 1) for step in range(_POINTS)]
        up = [_BOTTOM - (_BOTTOM - _TOP) * (value - floor) / (ceiling - floor) for value in row]
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(across, up, strict=True))

    rest = _LEFT + (_RIGHT - _LEFT) * (0 - low) / (high - low)
    mark = f'<path d="M{rest:.1f} {_TOP}V{_BOTTOM}" stroke="#cfc8b8"/>' if low < 0 < high else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}">'
        f'<rect width="{WIDTH}" height="{HEIGHT}" rx="6" fill="#fbf9f4"/>'
        f'<path d="M{_LEFT} {_BOTTOM}H{_RIGHT}" stroke="#b8b0a0"/>{mark}'
        f'<polyline points="{points(rows[0])}" fill="none" stroke="#8c8578" stroke-width="2" stroke-dasharray="5 4"/>'
        f'<polyline points="{points(rows[1])}" fill="none" stroke="#0b6e63" stroke-width="2"/>'
        f'<g font-family="sans-serif" font-size="11" fill="#57503f"><text x="{_LEFT}" y="110">{amount(low, plot.unit)}'
        f'</text><text x="{_RIGHT}" y="110" text-anchor="end">{amount(high, plot.unit)}</text></g></svg>'
    )


def data_uri(plot: Plot) -> str:
    """The plot as a data URI (RFC 2397)."""
    return "data:image/svg+xml;base64," + b64encode(svg(plot).encode("utf-8")).decode("ascii")
