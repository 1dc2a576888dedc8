"""The layers of a drafted shape: what was computed, what was sculpted over it by hand, and both in files.

Each layer is piecewise linear in the shape's strength (UsdSkel's rule for inbetweens) and has inbetweens of its own, so
the hand's layer stands over any new draft, whatever inbetweens that has.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.evaluate.poses import Poses, poses_from, sparse_pose
from plica.mesh.arrays import Offsets
from plica.mesh.attach import Attached
from plica.mesh.draft_layer import DraftLayer, by_hand
from plica.mesh.fingerprint import compare_fingerprints, read_fingerprint
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.npz import ArchiveError, arrays_of
from plica.mesh.npz_offsets import parse_npz_offsets
from plica.plain_data import UnreadableDataError, json_of
from plica.readers.gltf_document import content
from plica.readers.model_outline import UnreadableModel
from plica.rig.rig import Rig
from plica.sculpting.adoption import Ground, off_pose

APART: Final = 0.02
"""Inbetweens stand at least so far apart, and from 0 and 1: nearer ones say the same."""


class StoredDraft(NamedTuple):
    """A sculpt that was computed, as its file has it: all of it and its computed layer, in a pose (one frame)."""

    vertex_count: int
    fingerprint: str
    offsets: Offsets
    layer: DraftLayer
    pose: Poses

    @property
    def by_hand(self) -> Offsets:
        """What was sculpted over the computed layer, in the pose."""
        return by_hand(self.offsets, self.layer.offsets, self.vertex_count)


def read_stored(path: Path, rig: Rig) -> StoredDraft | None:
    """A computed sculpt; None for one of any other kind. Raises UnreadableModel."""
    if path.suffix.lower() != ".npz":
        return None
    data = content(path)
    stored = parse_npz_offsets(data)
    if stored.draft is None or stored.fingerprint is None:
        return None
    try:
        posed = json_of(str(arrays_of(data)["posed"]))
        pose = poses_from(rig, [sparse_pose(posed["joints"], posed["controls"])])
    except (ArchiveError, UnreadableDataError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise UnreadableModel("its `posed` is no pose of this character") from error
    return StoredDraft(stored.vertex_count, stored.fingerprint, stored.offsets, stored.draft, pose)


def strengths_of_both(draft: Inbetweens, hand: Inbetweens | None) -> tuple[float, ...]:
    """The strengths at which a drafted shape has inbetweens, rising: those of its draft and those of the hand's layer;
    of two that are near each other the hand's."""
    worked = () if hand is None else hand.at
    kept = [at for at in draft.at if all(abs(at - other) >= APART for other in worked)]
    return tuple(sorted((*kept, *worked)))


def hand_of(
    stored: Mapping[float, StoredDraft], rig: Rig, attached: Attached, shape: str, diagnostics: Diagnostics
) -> Inbetweens | None:
    """What was made by hand over a shape's earlier drafts, on the undeformed mesh; None for nothing.

    stored: by the strength that each stands for. A diagnostic where the mesh has other vertices now than it had then;
    where they only stand elsewhere, what was added to each is kept.
    """
    worked = {at: one.by_hand for at, one in stored.items()}
    if not any(offsets.count for offsets in worked.values()):
        return None
    ours = read_fingerprint(attached.fingerprint)
    assert ours is not None
    neutral: dict[float, Offsets] = {}
    for at, one in stored.items():
        theirs = read_fingerprint(one.fingerprint)
        if theirs is None or compare_fingerprints(ours, theirs) not in ("none", "moved"):
            diagnostics.add("draft-of-other-mesh", None, shape=shape)
            return None
        neutral[at] = off_pose(worked[at], Ground(rig, attached, one.pose, {}))
    between = tuple(sorted(one for one, offsets in neutral.items() if one != 1.0 and offsets.count))
    nothing = Offsets(np.zeros(0, np.int64), np.zeros((0, 3)))
    return Inbetweens(neutral.get(1.0, nothing), between, tuple(neutral[one] for one in between))
