"""Whether the pose that a sculpt was made in gives its shape the strength that the sculpt stands for."""

from __future__ import annotations

from plica.diagnostics import Diagnostics
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import Poses
from plica.quantities import number
from plica.rig.surfaces import Sculpt, Shape, StrengthPose
from plica.source import Span

NEAR = 0.005
"""A strength so near counts as meant: angles have few digits, and half a percent of a sculpt is not seen."""


def share_of_sculpt(
    shape: Shape,
    sculpt: Sculpt,
    strength: float,
    pose: Poses,
    evaluator: Evaluator,
    span: Span | None,
    diagnostics: Diagnostics,
) -> float | None:
    """By what the sculpt's offsets are multiplied so that the skin lands on the sculpt in its pose; None, after a
    diagnostic, where the pose contradicts what the sculpt is for.

    strength: what the sculpt stands for, 1 or that of an inbetween; pose: one frame. A pose that names the shape's own
    strength with another amount, as `posed at elbow 0.7`, means it: the sculpt is 0.7 of the whole shape.
    """
    if shape.follows is None or not sculpt.pose:
        return 1.0  # made at rest, where no shape is on: offsets as they are
    result = float(evaluator.strengths(pose)[0, evaluator.names.index(shape.follows)])
    if abs(result - strength) <= NEAR:
        return 1.0
    meant = any(isinstance(item, StrengthPose) and item.strength == shape.follows for item in sculpt.pose)
    values = {"shape": shape.declared, "strength": number(strength, 3), "reached": number(result, 3)}
    if meant and strength == 1.0 and not shape.inbetweens and result > NEAR:
        diagnostics.add_filled("sculpt-of-part-strength", span, {**values, "percent": number(100 / result, 3)})
        return 1.0 / result
    diagnostics.add_filled("sculpt-at-other-strength", span, {**values, "file": sculpt.file})
    return None
