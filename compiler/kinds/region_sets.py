"""The ways to put regions together. How each is computed is registered in `plica.mesh.region_sets`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

REGION_SETS: Final = ("union", "intersection", "difference")

if TYPE_CHECKING:
    RegionSetName = str
else:
    RegionSetName = Literal[REGION_SETS]  # so that what is read, and the schema, know the names
