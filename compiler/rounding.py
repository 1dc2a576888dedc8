"""The one place where numbers that Plica computes for a rig lose their last digits, which differ between processors.

What is computed (axes and turns in a joint's frame, weights, slopes of curves, widths and coefficients of fields, a
mirror plane found, scales taken out of matrices, distances at rest, largest moves) carries an error of a few units in
the last of some 16 digits, and which one depends on the processor, the compiler and the library of elementary
functions. It is rounded to `DIGITS` significant digits of the largest number that it belongs with, so that equal texts
give equal files. Rounding cannot help where a number lies within its own error of the middle between two rounded ones:
with an error of 1e-15 about one number in five thousand, fewer with less. Evaluation starts from the rounded numbers,
everywhere. What a text or a model states is not rounded.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, TypeVar

DIGITS: Final = 11
REST_DIGITS: Final = 14
"""Of a rest rotation that a text states as turns: what hangs from a joint moves with it, and may be read in
millimetres."""

Numbers = TypeVar("Numbers", bound=tuple[float, ...])


def rounded(values: Numbers, digits: int = DIGITS) -> Numbers:
    """Numbers that belong together, such as a vector's, to so many digits of the largest; none is -0."""
    places = places_of(values, digits)
    return type(values)(round(value, places) + 0.0 for value in values)


def rounded_number(value: float) -> float:
    """A number by itself."""
    return rounded((value,))[0]


def places_of(values: Sequence[float], digits: int = DIGITS) -> int:
    """The decimal places to which numbers have `digits` significant digits, counted from the largest.

    The largest is looked at in three digits: one that is 1 but for its error is 1, on every processor.
    """
    largest = max(map(abs, values), default=0.0)
    return digits - 1 - int(f"{largest:.2e}".partition("e")[2])
