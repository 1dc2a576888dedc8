"""How skin may have changed where a region is found from it, and what its amounts are shares of.

What each computes is registered in `plica.mesh.found_areas`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

DEFORMATIONS: Final = ("shortened", "lengthened")
MEASURES: Final = ("peak", "length")
"""Amounts are shares of the area's own peak, or of a line's length at rest."""
DIRECTIONS: Final = ("along", "across")

DEFAULT_SPAN: Final = (0.25, 0.75)
"""Of the peak. These and the sizes below were tried on an open face model (tests/outside/test_found_areas.py)."""
DEFAULT_PEAK: Final = 0.5e-4
"""Square metres of skin that reach the peak, so that no single point decides."""
DEFAULT_SMOOTHING: Final = 0.003
"""Metres."""
DEFAULT_ISLAND: Final = 1e-4
"""Square metres; smaller islands are dropped."""
DEFAULT_FEATHER: Final = 0.002
"""Metres."""

if TYPE_CHECKING:
    DeformationName = str
    MeasureName = str
    DirectionName = str
else:
    DeformationName = Literal[DEFORMATIONS]  # so that what is read, and the schema, know the names
    MeasureName = Literal[MEASURES]
    DirectionName = Literal[DIRECTIONS]
