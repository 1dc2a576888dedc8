"""Numbers and quantities as people read them: the only place that puts a number and a unit together.

Values come in the inside unit: radians, metres, shares of 1, bytes.
"""

from __future__ import annotations

from typing import Final

from plica.units import UNITS

_DECIMALS: Final = {"deg": 1, "rad": 4, "turn": 4, "mm": 2, "cm": 3, "m": 5, "in": 3, "%": 2}
_NOTHING: Final = 1e-9
"""Figures below this are only rounding."""
_COUNTED: Final = 1e15
"""Whole numbers below this are counts, and written out."""
_IN_METRES: Final = 1.0
_IN_SQUARE_METRES: Final = 0.1


def number(value: float, digits: int = 6) -> str:
    """A number to so many digits, without needless zeros."""
    return f"{value:.{digits}g}" if value else "0"


def in_unit(value: float, unit: str) -> float:
    """A value in the inside unit, in a unit of the language; "" for plain numbers."""
    return value / UNITS[unit].size if unit else value


def quantity(value: float, unit: str, digits: int = 6) -> str:
    """A value with its unit, to so many digits: `12.5 deg`, `-3 mm`; only the number for the unit ""."""
    text = number(in_unit(value, unit), digits)
    return f"{text} {unit}" if unit else text


def changed(value: float, unit: str = "") -> str:
    """A value before or after a change: four digits are enough to see a change by."""
    if unit == "bytes":
        return memory(value)
    figure = in_unit(value, unit)
    text = number(figure if abs(figure) > _NOTHING else 0.0, 4)
    return f"{text} {unit}" if unit else text


def measured(value: float, unit: str) -> str:
    """A figure that was measured, to a fixed fraction of its unit: `12.5 deg`, `-3 mm`, `0.25`."""
    figure = in_unit(value, unit)
    if unit in _DECIMALS:
        text = f"{figure:.{_DECIMALS[unit]}f}"
    else:
        text = f"{figure:.0f}" if float(figure).is_integer() and abs(figure) < _COUNTED else f"{figure:.4g}"
    if "." in text and "e" not in text:
        text = text.rstrip("0").rstrip(".")
    text = "0" if text == "-0" else text
    return f"{text} {unit}" if unit else text


def whole(value: float, unit: str) -> str:
    """A value to a whole number of its unit: `35 deg`, `80 %`."""
    return f"{in_unit(value, unit):.0f} {unit}"


def length(metres: float) -> str:
    """A length to three digits, in metres where it has one: `0.25 mm`, `1.7 m`."""
    return quantity(metres, "mm" if metres < _IN_METRES else "m", 3)


def area(square_metres: float) -> str:
    """An area in a unit that leaves few zeros."""
    if square_metres >= _IN_SQUARE_METRES:
        return f"{changed(square_metres)} m²"
    return f"{changed(square_metres * 1e4)} cm²"


def percent(share: float, up: bool = False) -> str:
    """A share to two digits; `up`: rounded up to a tenth, so that the number, read back, suffices."""
    if up:
        return f"{-(-share * 1000 // 1) / 10:g} %"
    return quantity(share, "%", max(2, len(f"{abs(share) * 100:.0f}")))


def memory(size: float) -> str:
    """A number of bytes in the largest unit that it reaches, to four digits."""
    unit = next((unit for unit in ("MiB", "KiB") if size >= UNITS[unit].size), "")
    return quantity(size, unit, 4) if unit else f"{number(size, 4)} bytes"
