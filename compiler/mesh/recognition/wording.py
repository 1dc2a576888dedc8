"""What a recognised file is, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import degrees
from types import MappingProxyType
from typing import Final

import numpy as np

from plica.evaluate.poses import Poses
from plica.mesh.recognition.recognise import Recognised
from plica.mesh.recognition.similarity import LOOSE, Similarity, signed_axes
from plica.quantities import length, number
from plica.rig.rig import Rig

UNITS: Final[Mapping[float, str]] = MappingProxyType(
    {0.1: "decimetres", 0.01: "centimetres", 0.001: "millimetres", 0.0254: "inches", 0.3048: "feet"}
)
"""By metres in one length of a file."""
_SHARE: Final = 1e-4  # of the way to a pose: as good as there


def form_of(similarity: Similarity, size: float) -> Iterator[str]:
    """How a file's lengths, axes and place differ from the character's; nothing where they do not. size: metres."""
    if abs(similarity.scale - 1.0) > LOOSE:
        unit = next((name for metres, name in UNITS.items() if abs(similarity.scale / metres - 1.0) <= LOOSE), None)
        times = f"{number(1.0 / similarity.scale, 4)} times as large"
        yield f"{times} (its lengths are {unit})" if unit else times
    turn = similarity.turn
    if np.linalg.det(turn) < 0.0:
        yield "mirrored (its axes are left-handed)"
        turn = turn @ np.diag([-1.0, 1.0, 1.0])
    if np.abs(turn - np.eye(3)).max() > LOOSE:
        named = any(np.abs(turn - one).max() <= LOOSE for one in signed_axes())
        up = next((axis for axis, column in zip("xyz", turn.T, strict=True) if column[1] > 1.0 - LOOSE), None)
        angle = degrees(np.arccos(np.clip((np.trace(turn) - 1.0) / 2.0, -1.0, 1.0)))
        yield f"turned ({up} points up)" if named and up and up != "y" else f"turned by {number(angle, 4)} deg"
    moved = float(np.linalg.norm(similarity.move))
    if moved > LOOSE * size:
        yield f"moved by {length(moved)} as a whole"


def pose_of(recognised: Recognised, stated: float, rig: Rig, pose: Poses) -> str | None:
    """The pose that a file stands in, if it is not the stated one. pose: one frame, that at share 1."""
    if abs(recognised.share - stated) <= _SHARE:
        return None
    if abs(recognised.share) <= _SHARE:
        return "at rest"
    joint, angle = _most_turned(rig, pose)
    return (
        f"with `{joint}` turned by {number(degrees(angle) * recognised.share, 4)} deg" if joint else "in another pose"
    )


def _most_turned(rig: Rig, pose: Poses) -> tuple[str, float]:
    """The joint that a pose turns most, and by how much (radians)."""
    rests = {joint.name: joint.neutral.rotation for joint in rig.skeleton}
    best = ("", 0.0)
    for name, rotation in zip(pose.joints, pose.rotations[0], strict=True):
        cosine = abs(float(rotation @ np.array(rests[name]))) / max(float(np.linalg.norm(rotation)), 1e-300)
        angle = 2.0 * float(np.arccos(min(cosine, 1.0)))
        if angle > best[1] + 1e-9:
            best = (name, angle)
    return best
