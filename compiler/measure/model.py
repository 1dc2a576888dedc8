"""What a measure returns."""

from __future__ import annotations

from dataclasses import dataclass

from plica.mesh.model import Floats, Integers


@dataclass(frozen=True, eq=False)
class Measured:
    """One figure for each frame: values (frames,), and vertices (frames,) where on the mesh it was found, -1 for none.

    What the figure means and its unit stand with the measure.
    """

    values: Floats
    vertices: Integers
