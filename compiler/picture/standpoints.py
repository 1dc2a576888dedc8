"""From where a figure is looked at: standpoints with names, and how far away the camera has to be."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np

from plica.evaluate.pose_components import skeleton_of
from plica.picture.camera_placement import FIELD
from plica.picture.directions import Floats, unit
from plica.picture.raster import Camera
from plica.rig.rig import Rig
from plica.skeleton.algebra import Vector
from plica.skeleton.body import body_of
from plica.skeleton.limbs import UP

STANDPOINTS: Final = MappingProxyType(
    {
        "front": (0.0, 8.0),
        "left": (90.0, 8.0),
        "right": (-90.0, 8.0),
        "back": (180.0, 8.0),
        "front-left": (35.0, 10.0),
        "front-right": (-35.0, 10.0),
        "back-left": (145.0, 10.0),
        "back-right": (-145.0, 10.0),
        "above": (0.0, 65.0),
    }
)
"""By name: degrees from the front towards the character's own left, and degrees above the horizon."""
STEEPEST: Final = 85.0
"""Degrees above or below the horizon: a camera that looks straight down knows no upright."""
ROOM: Final = 1.08
"""How much larger the view is than what it has to show."""


class Standpoint(NamedTuple):
    """Degrees from the front towards the character's own left, and degrees above the horizon."""

    turn: float
    height: float

    def direction(self, front: Vector) -> Floats:
        """The unit vector (3,) from the character to the camera; `front`: where the character looks, level."""
        ahead = unit(np.array([front[0], 0.0, front[2]]))
        if not ahead.any():
            ahead = np.array([0.0, 0.0, 1.0])
        left = np.cross((0.0, 1.0, 0.0), ahead)
        turn, height = np.radians(self.turn), np.radians(self.height)
        level = np.cos(turn) * ahead + np.sin(turn) * left
        return np.asarray(np.cos(height) * level + np.sin(height) * np.array([0.0, 1.0, 0.0]))


def front_of(rig: Rig) -> Vector:
    """Where a character looks: square to the way to its left, else where its limbs tell, else +z."""
    skeleton = skeleton_of(rig)
    at = {
        side: [frame.origin for joint, frame in zip(rig.skeleton, skeleton.frames, strict=True) if joint.side == side]
        for side in ("left", "right")
    }
    if at["left"] and at["right"]:
        ahead = np.cross(np.mean(at["left"], axis=0) - np.mean(at["right"], axis=0), UP)
        if np.linalg.norm(ahead) > 0.0:
            x, y, z = ahead.tolist()
            return x, y, z
    return body_of(skeleton).front


def standpoint_of(text: str) -> Standpoint | None:
    """What `front-left`, `35` or `35,10` says, degrees; None for anything else."""
    if text in STANDPOINTS:
        return Standpoint(*STANDPOINTS[text])
    try:
        turn, _, height = text.partition(",")
        result = Standpoint(float(turn), float(height or STANDPOINTS["front"][1]))
    except ValueError:
        return None
    return result if np.isfinite(result).all() and abs(result.height) <= STEEPEST else None


def camera_around(places: Floats, direction: Floats, width: int, height: int, least: float = 0.0) -> Camera:
    """The camera in a direction (3,) whose picture just holds places (n, 3) in metres; `least`: how many metres its
    height shows at least.
    """
    axes = Camera(direction, np.zeros(3), FIELD).axes
    local = places @ axes.T
    middle = (local.min(axis=0) + local.max(axis=0)) / 2.0
    slope = np.tan(FIELD / 2.0)
    away = np.abs(local - middle)
    needed = np.maximum(away[:, 0] * height / width, away[:, 1]) * ROOM / slope + local[:, 2] - middle[2]
    distance = max(float(needed.max()), least / 2.0 / slope, 1e-6)
    target = middle @ axes
    return Camera(target + axes[2] * distance, target, FIELD)
