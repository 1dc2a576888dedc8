"""How much of each kind a character has, for people."""

from __future__ import annotations

from typing import TYPE_CHECKING

from plica.diagnostics.place import counted
from plica.quantities import quantity

if TYPE_CHECKING:
    from plica.api.character import Character
    from plica.rig.rig import Rig


def contents(rig: Rig | None) -> str:
    """What was checked: how much of each kind; kinds that there are none of are left out."""
    if rig is None:
        return "checked"
    counts = {
        "joint": len(rig.skeleton),
        "strength": len(rig.strengths),
        "region": len(rig.regions),
        "shape": len(rig.shapes),
        "detail": len(rig.details),
        "fold": len(rig.folds),
        "pose": len(rig.poses),
        "expectation": len(rig.expectations),
    }
    listed = [counted(number, noun) for noun, number in counts.items() if number]
    if len(listed) > 1:
        listed[-2:] = [f"{listed[-2]} and {listed[-1]}"]
    method, geometry = rig.character.skinning, rig.character.geometry
    said = [f"checked {', '.join(listed)}" if listed else "checked"]
    if method != "linear":
        said.append(f"{method} skin")
    if geometry is not None and geometry.unit not in (None, 1.0):
        said.append(f"one length of {geometry.file} is {quantity(geometry.unit, 'm')}")
    return "; ".join(said)


def checked(character: Character) -> str:
    """What a check says of a character without errors: its contents, and how its joints pair."""
    told = "checked as a library of other specs" if character.is_library else contents(character.rig)
    pairing = character.pairing
    return f"{told}; {pairing}" if pairing is not None and pairing.sided else told
