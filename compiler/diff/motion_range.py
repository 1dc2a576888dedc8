"""How far a reading is followed when strengths are compared."""

from __future__ import annotations

from collections.abc import Sequence

from plica.kinds.reading_kind import Reach

_BEYOND = 1.25  # times the reading farthest from rest; a figure of our own


def motion_range(reach: Reach | None, exact: Sequence[float]) -> tuple[float, float]:
    """The whole reach of a reading; for lengths, shares and controls on both sides of rest beyond what is `exact`, by
    at least as much as lies between.
    """
    low, high = min(exact), max(exact)
    if reach is not None:
        return min(reach.least, low), max(reach.greatest, high)
    far = _BEYOND * max(abs(low), abs(high))
    return min(-far, low - (high - low)), max(far, high + (high - low))
