"""Shapes with inbetweens, after UsdSkel's rule.

A shape is the primary offsets at strength 1, nothing at strength 0, and an inbetween's offsets at the inbetween's
strength; in between, P' = P + lower (1 - u) + upper u with u = (w - w_lower) / (w_upper - w_lower). Beyond the first
and the last of these, the nearest two go on in a straight line: nothing is clamped.

Source: OpenUSD, UsdSkel schemas, "Blend Shapes" and "Inbetween Shapes".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plica.mesh.arrays import Floats, Offsets
from plica.quantities import number
from plica.values import Sided


@dataclass(frozen=True, eq=False)
class Inbetweens:
    """A shape's offsets: `primary` at strength 1, and others at the strengths `at` (neither 0 nor 1, no two alike).

    `sided`: whether it was made of a sculpt that shows one side or both; None for a shape without sides.
    Raises ValueError for other strengths and where `at` and `offsets` differ in number.
    """

    primary: Offsets
    at: tuple[float, ...] = ()
    offsets: tuple[Offsets, ...] = ()
    sided: Sided | None = None

    def __post_init__(self) -> None:
        if len(self.at) != len(self.offsets):
            raise ValueError("each inbetween needs a strength and offsets")
        _knots(self.at)

    @property
    def columns(self) -> tuple[Offsets, ...]:
        """The primary and the inbetweens: what the columns of `coefficients` multiply."""
        return (self.primary, *self.offsets)


def coefficients(at: Sequence[float], strengths: Floats) -> Floats:
    """How much the primary and each inbetween contribute, (frames, 1 + inbetweens), at strengths (frames,).

    Raises ValueError for an inbetween at 0 or 1 and for two at the same strength.
    """
    knots, columns = _knots(at)
    result = np.zeros((len(strengths), 1 + len(at)))
    upper = np.clip(np.searchsorted(knots, strengths, side="right"), 1, len(knots) - 1)
    lower = upper - 1
    share = (strengths - knots[lower]) / (knots[upper] - knots[lower])
    frames = np.arange(len(strengths))
    for ends, amounts in ((lower, 1.0 - share), (upper, share)):
        column = columns[ends]
        something = column >= 0
        result[frames[something], column[something]] = amounts[something]
    return result


def _knots(at: Sequence[float]) -> tuple[Floats, np.ndarray[tuple[int], np.dtype[np.intp]]]:
    """The strengths in rising order, 0 and 1 among them, and what stands at each: -1 for nothing, 0 the primary."""
    strengths = np.array([0.0, 1.0, *at], dtype=np.float64)
    if not np.isfinite(strengths).all():
        raise ValueError("inbetweens stand at finite strengths")
    order = np.argsort(strengths, kind="stable")
    knots = strengths[order]
    repeated = knots[1:][np.diff(knots) == 0]
    if len(repeated):
        raise ValueError(f"inbetweens must stand apart, and not at 0 or 1; two shapes stand at {number(repeated[0])}")
    columns: np.ndarray[tuple[int], np.dtype[np.intp]] = order - 1
    return knots, columns
