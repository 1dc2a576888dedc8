"""Whether a whole mesh that a spec names as a sculpt is what the spec says of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from plica.mesh.arrays import Floats, Mesh
from plica.mesh.recognition.pose_path import PosePath
from plica.mesh.recognition.recognise import CERTAIN, ENOUGH, FEWEST, TELLING, Marks, Recognised, recognise_ordered
from plica.mesh.recognition.similarity import TIGHT
from plica.mesh.recognition.wording import form_of, pose_of
from plica.mesh.sculpt_reader import Sculpted, sculpted_positions
from plica.quantities import length
from plica.rig.rig import Rig

FARTHEST = 0.5  # of the body's size: nothing that is sculpted goes so far


class SculptDoubt(NamedTuple):
    """A rule of the catalogue about a sculpt, what its texts leave open, and whether the sculpt cannot be used."""

    rule: str
    values: Mapping[str, str]
    refused: bool = True


def doubt_of(
    sculpt: Sculpted, shown: str, mesh: Mesh, rig: Rig, path: PosePath, stated: float, size: float
) -> SculptDoubt | None:
    """What speaks against a sculpt that is a whole mesh of the character; None where nothing does.

    path: from rest to the stated pose (`stated` is 1), or, for a sculpt that is said to stand at rest (0), to the pose
    in which its shape is fully on. size: of the body, metres. Sculpts of other meshes are left to others.
    """
    if sculpt.positions is None or sculpt.vertex_count not in (mesh.vertex_count, mesh.point_count):
        return None
    ends = path.positions(np.array([0.0, 1.0]))
    expected = ends[1] if stated == 1.0 else ends[0]
    moves = np.linalg.norm(sculpted_positions(sculpt, mesh, expected) - expected, axis=1)
    moved = moves > TIGHT * size
    if not moved.any():
        return SculptDoubt("sculpt-without-change", {"file": shown})
    telling = np.linalg.norm(ends[1] - ends[0], axis=1) > TELLING * size
    if moved.mean() < CERTAIN and (not telling.any() or _confirmed(telling, moved)):
        return too_far(moves, shown, size)
    return _recognised(sculpt, shown, mesh, rig, path, stated, size) or too_far(moves, shown, size)


def _confirmed(telling: Marks, moved: Marks) -> bool:
    return int((telling & ~moved).sum()) >= max(FEWEST, ENOUGH * int(telling.sum()))


def _recognised(
    sculpt: Sculpted, shown: str, mesh: Mesh, rig: Rig, path: PosePath, stated: float, size: float
) -> SculptDoubt | None:
    points = sculpted_positions(sculpt, mesh, mesh.positions)
    result = recognise_ordered(points, size, path.positions, stated)
    if not isinstance(result, Recognised):
        return SculptDoubt(
            "sculpt-unverified", {"file": shown, "what": "hardly a vertex stands where the mesh has it"}, False
        )
    form = ", ".join(form_of(result.similarity, size))
    if form:
        return SculptDoubt("sculpt-in-other-form", {"file": shown, "form": form})
    pose = pose_of(result, stated, rig, path.poses(np.array([1.0])))
    if pose is not None:
        return SculptDoubt("sculpt-in-other-pose", {"file": shown, "pose": pose})
    return unverified(result, shown)


def unverified(result: Recognised, shown: str) -> SculptDoubt | None:
    """That nothing shows the pose of a file that was recognised, if so."""
    if result.verified:
        return None
    what = f"of {result.telling} vertices that its pose moves, {result.confirming} stand where it puts them"
    return SculptDoubt("sculpt-unverified", {"file": shown, "what": what}, False)


def too_far(moves: Floats, shown: str, size: float) -> SculptDoubt | None:
    """That vertices move by (v,) more than anything that is sculpted, if so."""
    farthest = float(moves.max(initial=0.0))
    if farthest <= FARTHEST * size:
        return None
    return SculptDoubt("sculpt-too-far", {"file": shown, "largest": length(farthest), "size": length(size)})
