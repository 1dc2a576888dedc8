"""Poses that a spec declares, as tracks."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from plica.diagnostics import Diagnostics
from plica.mesh.pose_solver import PoseSolver
from plica.prove.sweeps import PoseTrack
from plica.rig.rig import Rig
from plica.source import Span


def declared_poses(rig: Rig, diagnostics: Diagnostics, span_of: Mapping[tuple[str, str], Span]) -> dict[str, PoseTrack]:
    """A track of one frame for each declared pose, by its name; what stands in a pose's way is a diagnostic."""
    tracks: dict[str, PoseTrack] = {}
    solver = PoseSolver(rig) if rig.poses else None
    for pose in rig.poses:
        assert solver is not None
        posed = solver.pose(pose.items)
        for problem in posed.problems:
            diagnostics.add_filled(problem.rule, span_of.get(("pose", pose.name)), problem.values)
        tracks[pose.name] = PoseTrack(f"pose {pose.name}", "pose", np.zeros(1), posed.poses)
    return tracks
