"""Worst poses in full, as text: declarations of the language, which make the pose again.

What a `pose` of the language cannot say, moves of joints and values of controls, stands beside it in comments.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from plica import foreign
from plica.prove.results import JointMove, Result, WorstFrame
from plica.prove.sweeps import SPREAD, pair_amounts
from plica.quantities import in_unit
from plica.syntax.builder import encode_text

_DIGITS: Final = 10
_AXES: Final = {(1.0, 0.0, 0.0): "x", (0.0, 1.0, 0.0): "y", (0.0, 0.0, 1.0): "z"}
_STRAIGHT: Final = 1e-12
"""An axis as near as this to one of the joint's own is that one."""


def worst_poses(results: Sequence[Result]) -> str:
    """A declaration for each pose that is the worst of some results; "" where none has a pose away from rest."""
    poses: list[tuple[WorstFrame, list[Result]]] = []
    for result in results:
        if result.frame is None or not (result.frame.pose.joints or result.frame.pose.controls):
            continue
        known = next((users for frame, users in poses if frame.pose == result.frame.pose), None)
        if known is None:
            poses.append((result.frame, [result]))
        else:
            known.append(result)
    return "\n\n".join(declaration(frame, users) for frame, users in poses)


def declaration(frame: WorstFrame, users: Sequence[Result]) -> str:
    """A pose as a declaration of the language, named after the first of those whose worst it is."""
    lines = [f"// the worst of {foreign.line(user.title)}" for user in users]
    lines.append(f"pose worst_{users[0].index + 1} {{  // {_place(frame)}")
    for move in frame.moves:
        if move.angle > 0.0:
            angle = _number(in_unit(move.angle, "deg"))
            lines.append(f"    at about {_axis(move)} of {encode_text(move.joint)} {angle} deg")
    for move in frame.moves:
        if any(move.offset):
            x, y, z = (_number(in_unit(value, "mm")) for value in move.offset)
            lines.append(f"    // {encode_text(move.joint)} moved in its parent by {x} mm, {y} mm, {z} mm")
        if move.scale is not None:
            x, y, z = map(_number, move.scale)
            lines.append(f"    // {encode_text(move.joint)} has the scale {x}, {y}, {z}")
    lines += [f"    // control {encode_text(name)} {_number(value)}" for name, value in frame.pose.controls.items()]
    return "\n".join([*lines, "}"])


def _place(frame: WorstFrame) -> str:
    unit = {"sweep": "", "clip": " s"}.get(frame.kind)
    return foreign.line(moment(frame) if unit is None else f"{frame.track} at {_number(frame.place)}{unit}")


def moment(frame: WorstFrame) -> str:
    """Which pose of its track a frame is: `left_elbow_bend at 0.97`, `walk.bvh at 2.100 s`, `left_elbow at 0.25 and
    left_wrist at 1`, `everything at once, 25th of 128 poses`.
    """
    match frame.kind:
        case "sweep":
            return f"{frame.track} at {frame.place:.3g}"
        case "clip":
            return f"{frame.track} at {frame.place:.3f} s"
        case "pair":
            names = frame.track.split(" and ")
            return " and ".join(
                f"{name} at {amount:g}" for name, amount in zip(names, pair_amounts(frame.number), strict=True)
            )
        case "spread":
            return f"{frame.track}, pose {frame.number + 1} of {SPREAD}"
        case _:
            return frame.track


def _axis(move: JointMove) -> str:
    for axis, name in _AXES.items():
        along = sum(one * other for one, other in zip(axis, move.axis, strict=True))
        if 1.0 - abs(along) <= _STRAIGHT:
            return name if along > 0.0 else f"-{name}"
    return f"({', '.join(_number(value) for value in move.axis)})"


def _number(value: float) -> str:
    return f"{value:.{_DIGITS}g}"
