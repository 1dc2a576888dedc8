"""A mesh in plain light: shaded colours, with the triangles' edges faintly over them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, Integers, unit
from plica.picture.raster import Camera, Seen, Window, in_perspective, seen

PAPER: Final = np.array([0.93, 0.93, 0.93])
"""What is behind the mesh, in linear light."""
SAMPLES: Final = 2
"""Each pixel is the mean of this many samples across and down."""
NEAREST: Final = 0.15
"""Triangles nearer to the eye than this share of the way to the target are left out: they would hide everything."""
_KEY: Final = unit((-0.45, 0.75, 0.65))
_EDGE_PIXELS: Final = 0.9
_EDGE_SHADE: Final = 0.80
_INSIDE: Final = 0.45
_COARSE: Final = 4
_STEP: Final = 0.002
"""Samples of a pixel whose distances differ by a larger share than this see different pieces of skin."""


class Relief(Protocol):
    """What is finer than the mesh."""

    def normals(self, triangles: Integers, shares: Floats, normals: Floats) -> Floats:
        """The normals (p, 3) at places of triangles (p,), given by the corners' shares (p, 3) and the skin's own
        unit normals there (p, 3).
        """


class Behind(Protocol):
    """What is seen where the mesh is not."""

    def light(self, eye: Floats, rays: Floats) -> Floats:
        """Linear light (h, w, 3) along rays (h, w, 3) from an eye (3,)."""


@dataclass(frozen=True, eq=False)
class Solid:
    """What is drawn: positions and normals (v, 3), triangles (t, 3), their corners' colours (t, 3, 3), linear light;
    relief: folds and wrinkles in its skin; edges: whether the triangles' edges are drawn.
    """

    positions: Floats
    normals: Floats
    triangles: Integers
    colors: Floats
    relief: Relief | None = None
    edges: bool = True


def seen_from(
    solid: Solid,
    camera: Camera,
    width: int,
    height: int,
    only: NDArray[np.bool_] | None = None,
    window: Window | None = None,
) -> tuple[Seen, Floats]:
    """Which triangle each pixel sees, by its number in the solid, and the vertices' distances (v,).

    `only` (t,): the triangles that may be seen; None for all. `window`: the part of the picture that is looked at.
    """
    points, distances = camera.projected(solid.positions, width, height)
    window = window or Window(0, 0, width, height)
    points[:, :2] -= (window.left, window.top)
    near = NEAREST * float(np.linalg.norm(camera.eye - camera.target))
    beyond = distances > near
    kept = None if only is None else np.flatnonzero(only)
    if not beyond.all():
        a, b, c = (solid.triangles if kept is None else solid.triangles[kept]).T
        far_enough = np.flatnonzero(beyond[a] & beyond[b] & beyond[c])
        kept = far_enough if kept is None else kept[far_enough]
    if kept is None:
        return seen(points, solid.triangles, window.width, window.height), distances
    result = seen(points, solid.triangles[kept], window.width, window.height)
    if not len(kept):
        return result, distances
    numbers = np.where(result.triangle >= 0, kept[result.triangle], -1)
    return Seen(numbers, result.depth, result.weights), distances


class FaceTurns:
    """Which way a solid's triangles turn, worked out once for many cameras."""

    def __init__(self, solid: Solid) -> None:
        a, b, c = (solid.positions[solid.triangles[:, corner]] for corner in range(3))
        self.areas = np.cross(b - a, c - a)
        """For each triangle (t, 3) twice its area, along its outside."""
        self._heights = np.einsum("tc,tc->t", self.areas, a)

    def towards(self, camera: Camera) -> NDArray[np.bool_]:
        """The triangles (t,) that turn their outside to the camera."""
        return np.asarray(self.areas @ camera.eye > self._heights)


def _worth_drawing(solid: Solid, camera: Camera, width: int, height: int) -> NDArray[np.bool_]:
    """Triangles seen from outside, and of the others those that a small picture shows: most are hidden."""
    result = FaceTurns(solid).towards(camera)
    small = seen_from(solid, camera, -(-width // _COARSE), -(-height // _COARSE))[0]
    result[small.triangle[small.covered]] = True
    return result


def shaded(solid: Solid, camera: Camera, width: int, height: int, behind: Behind | None = None) -> Floats:
    """The solid as the camera sees it, linear light (height, width, 3); `behind`: what else there is.

    The light comes from above the viewer's left shoulder; what is seen from inside is darker.
    """
    if behind is None:
        picture = np.broadcast_to(PAPER, (height, width, 3)).copy()
    else:
        picture = behind.light(camera.eye, camera.rays(width, height))
    window = _window_of(solid, camera, width, height)
    if window.width > 0 and window.height > 0:
        rows, columns = slice(window.top, window.top + window.height), slice(window.left, window.left + window.width)
        shown, share = _shown(solid, camera, (width, height), window)
        picture[rows, columns] = picture[rows, columns] * (1.0 - share[..., None]) + shown
    return picture


def _window_of(solid: Solid, camera: Camera, width: int, height: int) -> Window:
    """The part of the picture that holds the solid; all of it where some of the solid is behind the camera."""
    points, distances = camera.projected(solid.positions, width, height)
    if not len(points) or (distances <= 0.0).any():
        return Window(0, 0, width, height)
    low, high = np.floor(points[:, :2].min(axis=0)), np.ceil(points[:, :2].max(axis=0))
    left, top = np.clip(low, 0.0, (width, height)).astype(np.int64).tolist()
    right, bottom = np.clip(high, 0.0, (width, height)).astype(np.int64).tolist()
    return Window(left, top, right - left, bottom - top)


def _shown(solid: Solid, camera: Camera, size: tuple[int, int], window: Window) -> tuple[Floats, Floats]:
    """The solid's light (h, w, 3) in a part of the picture, and which share (h, w) of each pixel it covers."""
    width, height = (SAMPLES * each for each in size)
    window = Window(*(SAMPLES * each for each in window))
    view, distances = seen_from(solid, camera, width, height, _worth_drawing(solid, camera, width, height), window)
    covered = view.covered
    alike = np.zeros_like(covered) if solid.edges else _alike(view)
    # Where all samples of a pixel see one smooth piece of skin, one of them stands for all.
    chosen = covered & ~alike
    chosen[::SAMPLES, ::SAMPLES] |= covered[::SAMPLES, ::SAMPLES]
    triangle, weights = view.triangle[chosen], view.weights[chosen[covered]]
    corners = solid.triangles[triangle]
    shares = in_perspective(weights, distances[corners])
    normals = unit(_spread(shares, solid.normals[corners]))
    rays = camera.rays(width, height, window)[chosen]
    inside = np.einsum("pc,pc->p", normals, rays) > 0.0
    if solid.relief is not None:
        normals = solid.relief.normals(triangle, shares, normals)
    light = _light(np.where(inside[:, None], -normals, normals), camera) * np.where(inside, _INSIDE, 1.0)
    if solid.edges:
        light *= _edges(solid, camera, (width, height), triangle, weights)
    picture = np.zeros((window.height, window.width, 3))
    picture[chosen] = _spread(shares, solid.colors[triangle]) * light[:, None]
    once = alike[::SAMPLES, ::SAMPLES, None]
    return np.where(once, picture[::SAMPLES, ::SAMPLES], _reduced(picture)), _reduced(covered.astype(np.float64))


def _alike(view: Seen) -> NDArray[np.bool_]:
    """Samples (h, w) of pixels whose samples all see the solid at about one distance."""
    parts = [view.depth[row::SAMPLES, column::SAMPLES] for row in range(SAMPLES) for column in range(SAMPLES)]
    near, far = np.minimum.reduce(parts), np.maximum.reduce(parts)
    pixels = np.isfinite(far) & (near > (1.0 + _STEP) * far)  # depths are negative, and infinite where nothing is
    return np.asarray(pixels.repeat(SAMPLES, axis=0).repeat(SAMPLES, axis=1), dtype=np.bool_)


def _reduced(samples: Floats) -> Floats:
    """The means of the samples of each pixel."""
    parts = [samples[row::SAMPLES, column::SAMPLES] for row in range(SAMPLES) for column in range(SAMPLES)]
    return np.asarray(sum(parts[1:], parts[0]) / len(parts))


def _spread(shares: Floats, values: Floats) -> Floats:
    """Corners' values (p, 3, 3) at places with these weights (p, 3)."""
    return np.asarray(np.einsum("pk,pkc->pc", shares, values))


def _light(normals: Floats, camera: Camera) -> Floats:
    """How much light reaches normals (p, 3): a soft half from all round the viewer, the rest from the key light."""
    ahead = np.clip(normals @ camera.axes[2], 0.0, 1.0)
    key = np.clip(normals @ (_KEY @ camera.axes), 0.0, 1.0)
    return np.asarray(0.25 + 0.33 * ahead + 0.55 * key)


def _edges(solid: Solid, camera: Camera, size: tuple[int, int], triangle: Integers, weights: Floats) -> Floats:
    """What is left of the light near an edge: a corner's weight times the height of the triangle over the edge that
    faces the corner, in the picture, is the distance from that edge."""
    drawn = np.zeros(len(solid.triangles), dtype=np.bool_)
    drawn[triangle] = True
    numbers, row = np.flatnonzero(drawn), (np.cumsum(drawn) - 1)[triangle]
    flat = camera.projected(solid.positions[solid.triangles[numbers].reshape(-1)], *size)[0]
    corners = flat[:, :2].reshape(-1, 3, 2)
    ways = np.roll(corners, -2, axis=1) - np.roll(corners, -1, axis=1)
    lengths = np.linalg.norm(ways, axis=2)
    area = np.abs(ways[:, 0, 0] * ways[:, 1, 1] - ways[:, 0, 1] * ways[:, 1, 0])
    heights = area[:, None] / np.maximum(lengths, 1e-12)
    away = (weights * heights[row]).min(axis=1)
    # Edges that stand closer than a few pixels would only darken the skin.
    room = np.clip((heights.min(axis=1)[row] - 4.0) / 8.0, 0.0, 1.0)
    return np.where(away < _EDGE_PIXELS, 1.0 - (1.0 - _EDGE_SHADE) * room, 1.0)
