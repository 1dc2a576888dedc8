"""A character before a camera that stands upright: on its ground, in one light, the same for all pictures of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from plica.mesh.arrays import Floats, Mesh
from plica.mesh.normals import Normals
from plica.picture.colors import linear
from plica.picture.files import image_of
from plica.picture.ground import GroundPlane, square_for
from plica.picture.page import Color
from plica.picture.raster import Camera
from plica.picture.shade import Relief, Solid, shaded
from plica.picture.standpoints import STANDPOINTS, Standpoint, camera_around
from plica.quantities import length
from plica.skeleton.algebra import Vector

SKIN: Final[Color] = (166, 160, 152)
TINT: Final[Color] = (0, 114, 178)
"""Okabe and Ito's blue, which people with any kind of colour vision tell from the skin (M. Okabe, K. Ito, "Color
Universal Design", 2008)."""
MOVED: Final = 0.02
"""Skin that is moved by more than this share of the body's size is what a view is about."""
_ASIDE, _BEHIND = 0.02, 0.12
"""What a view is about lies on a side, or at the back, from these shares of the body's size on."""


@dataclass(frozen=True, eq=False)
class Figure:
    """The skin at positions (v, 3), metres; tint (v,): how strongly it is coloured, 0 to 1; reliefs: its details, one
    over the other.
    """

    positions: Floats
    tint: Floats | None = None
    relief: Relief | None = None


class Studio:
    """Pictures of one mesh, whose neutral skin is at positions (v, 3), and which looks in a direction `front`."""

    def __init__(self, mesh: Mesh, neutral: Floats, front: Vector) -> None:
        self._mesh, self._neutral, self._front = mesh, neutral, front
        self._normals = Normals(mesh)
        low, high = neutral.min(axis=0), neutral.max(axis=0)
        self.size = float(np.linalg.norm(high - low))
        """The diagonal of the box around the neutral skin, metres."""
        self._level = float(low[1])

    def view(self, figure: Figure, camera: Camera, size: tuple[int, int]) -> Image.Image:
        """What the camera sees, of a size in pixels."""
        return self.drawn(self._solid(figure), camera, size)

    def whole_view(self, figure: Figure, size: tuple[int, int]) -> Image.Image:
        """All of a figure, from the quarter that shows most of a body: from its front, a little to its left."""
        return self.view(figure, self.camera(figure.positions, Standpoint(*STANDPOINTS["front-left"]), size), size)

    def drawn(self, solid: Solid, camera: Camera, size: tuple[int, int], casting: Solid | None = None) -> Image.Image:
        """What the camera sees of a solid that is made elsewhere; casting: what casts the shadow, if not that alone."""
        ground = GroundPlane(self._level, self.size, casting or solid)
        return image_of(shaded(solid, camera, *size, behind=ground))

    @property
    def square(self) -> float:
        """The side of the squares on the ground, metres."""
        return square_for(self.size)

    def moved(self, figures: Sequence[Figure]) -> Floats:
        """Where the skin is (n, 3) that any of the figures moves off its neutral place; all of it where none does, or
        where it is moved as a whole.
        """
        ways = np.stack([np.linalg.norm(one.positions - self._neutral, axis=1) for one in figures])
        about = np.asarray((ways > MOVED * self.size).any(axis=0))
        return self.places(figures, about if about.any() else np.ones(len(about), dtype=np.bool_))

    @staticmethod
    def places(figures: Sequence[Figure], about: NDArray[np.bool_]) -> Floats:
        """Where chosen vertices (v,) are in all of the figures, (n, 3)."""
        return np.concatenate([one.positions[about] for one in figures])

    def standpoint(self, places: Floats) -> Standpoint:
        """The quarter from which places (n, 3) are seen: from before or behind them, on their side."""
        ahead, left = (Standpoint(turn, 0.0).direction(self._front) for turn in (0.0, 90.0))
        off = places.mean(axis=0) - (self._neutral.min(axis=0) + self._neutral.max(axis=0)) / 2.0
        end = "back" if float(off @ ahead) < -_BEHIND * self.size else "front"
        side = "right" if float(off @ left) < -_ASIDE * self.size else "left"
        return Standpoint(*STANDPOINTS[f"{end}-{side}"])

    def camera(self, places: Floats, standpoint: Standpoint, size: tuple[int, int], least: float = 0.0) -> Camera:
        """The camera at a standpoint whose view holds places (n, 3), and at least a share of the body's size."""
        return camera_around(places, standpoint.direction(self._front), *size, least * self.size)

    def _solid(self, figure: Figure) -> Solid:
        plain, tint = (linear(np.array(color) / 255.0) for color in (SKIN, TINT))
        triangles = self._mesh.triangles
        if figure.tint is None:
            colors = plain
        else:
            colors = (plain + (tint - plain) * np.clip(figure.tint, 0.0, 1.0)[:, None])[triangles]
        normals = self._normals.of(figure.positions)
        return Solid(figure.positions, normals, triangles, colors, figure.relief, edges=False)


def tint_scale(full: float, words: str) -> list[tuple[Color, str]]:
    """What the tint means: nothing, half and the whole of a length in metres."""
    result = []
    for share in (0.0, 0.5, 1.0):
        red, green, blue = (round(a + (b - a) * share) for a, b in zip(SKIN, TINT, strict=True))
        result.append(((red, green, blue), f"{words} {length(full * share)}" if not share else length(full * share)))
    return result
