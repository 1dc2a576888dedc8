"""Where a camera has to stand to show a place on a mesh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, Singles, unit
from plica.picture.raster import Camera
from plica.picture.shade import FaceTurns, Solid, seen_from

FIELD: Final = float(np.radians(20.0))
DIRECTIONS: Final = 56
STEEPEST: Final = 0.75
"""How much of a direction may point up or down: a camera that looks straight down knows no upright."""
_PIXELS: Final = 64
_GOLDEN_ANGLE: Final = np.pi * (3.0 - np.sqrt(5.0))


@dataclass(frozen=True, eq=False)
class ViewRequest:
    """What a picture should show.

    target (3,) and extent: the middle of the view and half its height, metres; spot (3,): the place that matters, or
    None; parts (t,): triangles to see as much of as possible; along (3,): a direction to look along, as seen from the
    target, or against, if `either_way`; level (3,): a direction to see at full length; null vectors for none.
    """

    target: Floats
    extent: float
    spot: Floats | None
    parts: NDArray[np.bool_]
    along: Floats
    level: Floats
    either_way: bool = False


def camera_for(solid: Solid, wanted: ViewRequest) -> Camera:
    """The camera, of many around the target, that sees most of what is wanted; the first of equals."""
    faces = FaceTurns(solid)
    ways = directions(wanted)
    most = _most(faces, wanted, ways)
    values = np.full(len(ways), -np.inf)
    for number in np.argsort(-most, kind="stable").tolist():
        if most[number] < values.max():
            break
        values[number] = _worth(solid, faces, wanted, camera_at(wanted, ways[number]), ways[number])
    return camera_at(wanted, ways[int(np.argmax(values))])


def _most(faces: FaceTurns, wanted: ViewRequest, ways: Floats) -> Floats:
    """What each direction (k, 3) can be worth at most (k,), without a look at what hides what.

    The parts that turn towards the camera cover no more of the view than their areas seen from there do; those that
    are nearer to it than the target, by no more than the whole height of the view, look larger.
    """
    side = 2.0 * wanted.extent
    nearer = (1.0 - 2.0 * np.tan(FIELD / 2.0)) ** -2
    areas = np.maximum(faces.areas[wanted.parts] @ ways.T, 0.0).sum(axis=0) / 2.0
    return np.asarray(_liking(wanted, ways) + (wanted.spot is not None) + np.minimum(areas * nearer / side**2, 1.0))


def closer(camera: Camera, spot: Floats, times: float) -> Camera:
    """The camera moved so that it looks at a spot (3,) from the same side, that many times nearer."""
    return Camera(spot + (camera.eye - camera.target) / times, spot, camera.field)


def is_hidden(solid: Solid, wanted: ViewRequest, camera: Camera) -> bool:
    """Whether something stands before the spot."""
    return _sight(wanted, camera, seen_from(solid, camera, _PIXELS, _PIXELS)[0].depth) < 1.0


def camera_at(wanted: ViewRequest, direction: Floats) -> Camera:
    """The camera that looks at the target from a direction (3,) and sees `extent` up and down."""
    return Camera(wanted.target + direction * (wanted.extent / np.tan(FIELD / 2.0)), wanted.target, FIELD)


def directions(wanted: ViewRequest) -> Floats:
    """Unit directions (k, 3) from the target to cameras: that which is wanted, and many spread evenly."""
    number = np.arange(DIRECTIONS) + 0.5
    height, turn = 1.0 - 2.0 * number / DIRECTIONS, number * _GOLDEN_ANGLE
    flat = np.sqrt(1.0 - height * height)
    result = np.concatenate(
        [[wanted.along, -wanted.along], np.stack([flat * np.cos(turn), height, flat * np.sin(turn)], axis=1)]
    )
    result = result[np.linalg.norm(result, axis=1) > 0.5]
    result[:, 1] = np.clip(result[:, 1], -STEEPEST, STEEPEST)
    level = np.linalg.norm(result[:, [0, 2]], axis=1) > 0.1
    return unit(result[level])


def _worth(solid: Solid, faces: FaceTurns, wanted: ViewRequest, camera: Camera, direction: Floats) -> float:
    view = seen_from(solid, camera, _PIXELS, _PIXELS)[0]
    outside = faces.towards(camera)
    shown = view.triangle[view.covered]
    parts = float((wanted.parts & outside)[shown].sum()) / view.triangle.size
    # From within the body most of what is seen is its inside.
    within = float((~outside)[shown].sum()) / view.triangle.size
    return _sight(wanted, camera, view.depth) + parts - 3.0 * within + float(_liking(wanted, direction[None])[0])


def _liking(wanted: ViewRequest, ways: Floats) -> Floats:
    """What directions (k, 3) are worth by themselves (k,)."""
    agree = ways @ wanted.along
    aligned = np.abs(agree) if wanted.either_way else agree
    # A little from above looks natural (common practice, no source).
    upright = -0.10 * np.abs(ways[:, 1] - 0.2)
    return np.asarray(0.6 * aligned - 0.5 * np.abs(ways @ wanted.level) + upright)


def _sight(wanted: ViewRequest, camera: Camera, depth: Singles) -> float:
    """1 where the spot is seen; less the further it is behind what hides it, as a share of the view."""
    if wanted.spot is None:
        return 0.0
    point, distance = camera.projected(wanted.spot[None], _PIXELS, _PIXELS)
    column, row = np.clip(point[0, :2].astype(np.int64), 0, _PIXELS - 1).tolist()
    around = depth[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2]
    front = -1.0 / around[np.isfinite(around)]
    hidden = float(distance[0] - np.median(front)) if len(front) else 0.0
    return 1.0 - min(max(hidden / wanted.extent - 0.05, 0.0) * 3.0, 1.0)
