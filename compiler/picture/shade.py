"""A mesh in plain light: shaded colours, with the triangles' edges faintly over them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, Integers, Singles, unit, unit_rows
from plica.picture.raster import Camera, Seen, Window, in_perspective, seen, spread

PAPER: Final = np.array([0.93, 0.93, 0.93], dtype=np.float32)
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

    def normals(self, triangles: Integers, shares: Singles, normals: Singles) -> Singles:
        """The normals (p, 3) at places of triangles (p,), given by the corners' shares (p, 3) and the skin's own
        unit normals there (p, 3).
        """


class Behind(Protocol):
    """What is seen where the mesh is not."""

    def light(self, eye: Floats, rays: Floats) -> Singles:
        """Linear light (h, w, 3) along rays (h, w, 3) from an eye (3,)."""


@dataclass(frozen=True, eq=False)
class Solid:
    """What is drawn: positions and normals (v, 3), triangles (t, 3), and in linear light the colours of their corners
    (t, 3, 3), or one for all (3,); relief: folds and wrinkles in its skin; edges: whether the triangles' are drawn.
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
    return result.renamed(kept), distances


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


def shaded(solid: Solid, camera: Camera, width: int, height: int, behind: Behind | None = None) -> Singles:
    """The solid as the camera sees it, linear light (height, width, 3); `behind`: what else there is.

    The light comes from above the viewer's left shoulder; what is seen from inside is darker.
    """
    if behind is None:
        picture = np.broadcast_to(PAPER, (height, width, 3)).copy()
    else:
        picture = behind.light(camera.eye, camera.rays(width, height))
    window = _window_of(solid, camera, width, height)
    if window.width > 0 and window.height > 0:
        part = picture[window.top : window.top + window.height, window.left : window.left + window.width]
        light, share = _shown(solid, camera, (width, height), window)
        part *= (np.float32(1.0) - share)[..., None]
        part += light
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


def _shown(solid: Solid, camera: Camera, size: tuple[int, int], window: Window) -> tuple[Singles, Singles]:
    """The solid's light (h, w, 3) in a part of the picture, and which share (h, w) of each pixel it covers."""
    width, height = (SAMPLES * each for each in size)
    inner = Window(*(SAMPLES * each for each in window))
    view, distances = seen_from(solid, camera, width, height, _worth_drawing(solid, camera, width, height), inner)
    alike = np.zeros((window.height, window.width), np.bool_) if solid.edges else _alike(view)
    samples = _chosen(view.covered, alike)
    triangle, weights = view.triangles(samples), view.weights(samples).astype(np.float32)
    corners = solid.triangles[triangle]
    shares = in_perspective(weights, distances.astype(np.float32)[corners])
    normals = unit_rows(spread(shares, solid.normals.astype(np.float32), corners))
    rows, columns = np.divmod(samples, inner.width)
    x, y = camera.slopes(rows + inner.top, columns + inner.left, width, height)
    to_camera = camera.axes.T.astype(np.float32)
    inside = _towards(normals @ to_camera, x, y) > 0.0
    if solid.relief is not None:
        normals = solid.relief.normals(triangle, shares, normals)
    light = _light(normals @ to_camera, inside)
    if solid.edges:
        light *= _edges(solid, camera, (width, height), triangle, weights).astype(np.float32)
    pixel = rows // SAMPLES * window.width + columns // SAMPLES
    light[~alike.reshape(-1)[pixel]] *= SAMPLES**-2
    if solid.colors.ndim == 1:
        picture = np.bincount(pixel, light, minlength=alike.size)[:, None] * solid.colors
    else:
        colors = np.einsum("pk,pkc->pc", shares, solid.colors.astype(np.float32)[triangle])
        parts = (colors * light[:, None]).T
        picture = np.stack([np.bincount(pixel, part, minlength=alike.size) for part in parts], axis=1)
    return picture.astype(np.float32).reshape(*alike.shape, 3), _reduced(view.covered)


def _chosen(covered: NDArray[np.bool_], alike: NDArray[np.bool_]) -> Integers:
    """The samples for which light is computed, by their numbers row by row: all that are covered, and of pixels (h, w)
    whose samples see one smooth piece of skin the first, which stands for all.
    """
    chosen = covered.copy()
    for row in range(SAMPLES):
        for column in range(SAMPLES):
            if row or column:
                chosen[row::SAMPLES, column::SAMPLES] &= ~alike
    return np.flatnonzero(chosen)


def _towards(local: Singles, x: Floats, y: Floats) -> Floats:
    """How much vectors (p, 3) in a camera's axes go along its rays, which look so far to the right and up (p,)."""
    return np.asarray(local[:, 0] * x + local[:, 1] * y - local[:, 2])


def _alike(view: Seen) -> NDArray[np.bool_]:
    """Pixels (h, w) whose samples all see the solid at about one distance."""
    parts = [view.depth[row::SAMPLES, column::SAMPLES] for row in range(SAMPLES) for column in range(SAMPLES)]
    near, far = np.minimum.reduce(parts), np.maximum.reduce(parts)
    # Depths are negative, and infinite where nothing is.
    return np.asarray(np.isfinite(far) & (near > np.float32(1.0 + _STEP) * far))


def _reduced(covered: NDArray[np.bool_]) -> Singles:
    """The share of each pixel's samples that are covered."""
    parts = [covered[row::SAMPLES, column::SAMPLES] for row in range(SAMPLES) for column in range(SAMPLES)]
    return np.asarray(sum(part.astype(np.float32) for part in parts) / np.float32(SAMPLES**2))


def _light(local: Singles, inside: NDArray[np.bool_]) -> Singles:
    """How much light reaches normals (p, 3) in the camera's axes: a soft half from all round the viewer, the rest from
    the key light. Skin that is seen from inside is lit as if it faced the viewer, and is darker.
    """
    local = np.where(inside[:, None], -local, local)
    ahead, key = np.clip(local[:, 2], 0.0, 1.0), np.clip(local @ _KEY.astype(np.float32), 0.0, 1.0)
    return (0.25 + 0.33 * ahead + 0.55 * key) * np.where(inside, np.float32(_INSIDE), np.float32(1.0))


def _edges(solid: Solid, camera: Camera, size: tuple[int, int], triangle: Integers, weights: Singles) -> Floats:
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
