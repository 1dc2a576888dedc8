"""What to draft where an expectation fails for want of a sculpt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from shlex import quote
from typing import Final

from plica.prove.results import Result
from plica.rig.rig import Rig
from plica.rig.strengths import Strength

HELPED: Final = frozenset({"volume", "girth", "area", "stretch", "squeeze", "shear", "crossing", "clearance"})
"""The kinds of expectation that a draft works on."""


def draft_hints(rig: Rig, spec: str, results: Sequence[Result]) -> Mapping[int, str]:
    """By the number of the expectation, of those that fail in a sweep of a strength which no sculpt follows.

    spec: the file, as a command names it.
    """
    hints = {result.index: _hint(rig, spec, result) for result in results if result.status == "fails"}
    return {index: hint for index, hint in hints.items() if hint}


def _hint(rig: Rig, spec: str, result: Result) -> str:
    frame = result.frame
    if frame is None or frame.kind != "sweep" or result.expectation.kind not in HELPED:
        return ""
    strength = next((one for one in rig.strengths if one.name == frame.track), None)
    if strength is None:
        return ""
    following = [shape for shape in rig.shapes if shape.follows == strength.name]
    if any(shape.source is not None for shape in following):
        return ""
    if following:
        return f"no sculpt is there yet; a first one is computed by: plica draft {quote(spec)} {following[0].declared}"
    name = _free_name(rig, strength)
    declared = f"shape {name}{_side(rig, strength)} {{ follows {strength.declared} }}"
    return f"no shape follows `{strength.name}`; declare `{declared}`, then: plica draft {quote(spec)} {name}"


def _free_name(rig: Rig, strength: Strength) -> str:
    taken = {shape.declared for shape in rig.shapes}
    name = f"{strength.declared.replace('.', '_')}_hold"
    while name in taken:
        name += "_"
    return name


def _side(rig: Rig, strength: Strength) -> str:
    sides = {one.side for one in rig.strengths if one.declared == strength.declared}
    if sides == {"left", "right"}:
        return " both"
    return "" if sides == {"none"} else f" {strength.side}"
