"""A mesh in plain light: shaded colours, with the triangles' edges faintly over them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, Integers, unit
from plica.picture.raster import Camera, Seen, in_perspective, seen

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


@dataclass(frozen=True, eq=False)
class Solid:
    """What is drawn: positions and normals (v, 3), triangles (t, 3), their corners' colours (t, 3, 3), linear light."""

    positions: Floats
    normals: Floats
    triangles: Integers
    colors: Floats


def seen_from(
    solid: Solid, camera: Camera, width: int, height: int, only: NDArray[np.bool_] | None = None
) -> tuple[Seen, Floats]:
    """Which triangle each pixel sees, by its number in the solid, and the vertices' distances (v,).

    `only` (t,): the triangles that may be seen; None for all.
    """
    points, distances = camera.projected(solid.positions, width, height)
    near = NEAREST * float(np.linalg.norm(camera.eye - camera.target))
    a, b, c = solid.triangles.T
    beyond = distances > near
    far_enough = beyond[a] & beyond[b] & beyond[c]
    kept = np.flatnonzero(far_enough if only is None else far_enough & only)
    result = seen(points, solid.triangles[kept], width, height)
    if not len(kept):
        return result, distances
    numbers = np.where(result.triangle >= 0, kept[result.triangle], -1)
    return Seen(numbers, result.weights, result.depth), distances


def faces_camera(solid: Solid, camera: Camera) -> NDArray[np.bool_]:
    """The triangles (t,) that turn their outside to the camera."""
    a, b, c = (solid.positions[solid.triangles[:, corner]] for corner in range(3))
    return np.asarray(np.einsum("tc,tc->t", np.cross(b - a, c - a), camera.eye - a) > 0.0)


def _worth_drawing(solid: Solid, camera: Camera, width: int, height: int) -> NDArray[np.bool_]:
    """Triangles seen from outside, and of the others those that a small picture shows: most are hidden."""
    result = faces_camera(solid, camera)
    small = seen_from(solid, camera, -(-width // _COARSE), -(-height // _COARSE))[0]
    result[small.triangle[small.covered]] = True
    return result


def shaded(solid: Solid, camera: Camera, width: int, height: int) -> Floats:
    """The solid as the camera sees it, linear light (height, width, 3).

    The light comes from above the viewer's left shoulder; what is seen from inside is darker.
    """
    columns, rows = width * SAMPLES, height * SAMPLES
    view, distances = seen_from(solid, camera, columns, rows, _worth_drawing(solid, camera, columns, rows))
    picture = np.broadcast_to(PAPER, (rows, columns, 3)).copy()
    covered = view.covered
    triangle = view.triangle[covered]
    corners = solid.triangles[triangle]
    shares = in_perspective(view.weights[covered], distances[corners])
    normals = unit(_spread(shares, solid.normals[corners]))
    places = _spread(shares, solid.positions[corners])
    facing = np.einsum("pc,pc->p", normals, unit(camera.eye - places))
    light = _light(np.where((facing < 0.0)[:, None], -normals, normals), camera) * np.where(facing < 0.0, _INSIDE, 1.0)
    colors = _spread(shares, solid.colors[triangle])
    edges = _edges(solid, camera, columns, rows, triangle, view.weights[covered])
    picture[covered] = colors * (light * edges)[:, None]
    parts = [picture[row::SAMPLES, column::SAMPLES] for row in range(SAMPLES) for column in range(SAMPLES)]
    return np.asarray(sum(parts[1:], parts[0]) / len(parts))


def _spread(shares: Floats, values: Floats) -> Floats:
    """Corners' values (p, 3, 3) at places with these weights (p, 3)."""
    return np.asarray(np.einsum("pk,pkc->pc", shares, values))


def _light(normals: Floats, camera: Camera) -> Floats:
    """How much light reaches normals (p, 3): a soft half from all round the viewer, the rest from the key light."""
    ahead = np.clip(normals @ camera.axes[2], 0.0, 1.0)
    key = np.clip(normals @ (_KEY @ camera.axes), 0.0, 1.0)
    return np.asarray(0.25 + 0.33 * ahead + 0.55 * key)


def _edges(solid: Solid, camera: Camera, width: int, height: int, triangle: Integers, weights: Floats) -> Floats:
    """What is left of the light near an edge: a corner's weight times the height of the triangle over the edge that
    faces the corner, in the picture, is the distance from that edge."""
    numbers, row = np.unique(triangle, return_inverse=True)
    flat = camera.projected(solid.positions[solid.triangles[numbers].reshape(-1)], width, height)[0]
    corners = flat[:, :2].reshape(-1, 3, 2)
    ways = np.roll(corners, -2, axis=1) - np.roll(corners, -1, axis=1)
    lengths = np.linalg.norm(ways, axis=2)
    area = np.abs(ways[:, 0, 0] * ways[:, 1, 1] - ways[:, 0, 1] * ways[:, 1, 0])
    heights = area[:, None] / np.maximum(lengths, 1e-12)
    away = (weights * heights[row]).min(axis=1)
    # Edges that stand closer than a few pixels would only darken the skin.
    room = np.clip((heights.min(axis=1)[row] - 4.0) / 8.0, 0.0, 1.0)
    return np.where(away < _EDGE_PIXELS, 1.0 - (1.0 - _EDGE_SHADE) * room, 1.0)
