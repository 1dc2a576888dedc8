"""Poses that a spec declares, as tracks."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.posing import PoseSolver
from plica.prove.sweeps import Track
from plica.rig.model import Rig
from plica.source import Span


def declared_poses(rig: Rig, found: Diagnostics, span_of: Mapping[tuple[str, str], Span]) -> dict[str, Track]:
    """A track of one frame for each declared pose, by its name; what stands in a pose's way is a diagnostic."""
    tracks: dict[str, Track] = {}
    solver = PoseSolver(rig) if rig.poses else None
    for pose in rig.poses:
        assert solver is not None
        posed = solver.pose(pose.items)
        for problem in posed.problems:
            found.add_filled(problem.rule, span_of.get(("pose", pose.name)), problem.values)
        tracks[pose.name] = Track(f"pose {pose.name}", "pose", np.zeros(1), posed.poses)
    return tracks
