"""What strengths are made of, and the part of a rig that is needed for some of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from plica.kinds.readings import joints_of
from plica.rig.combinations import parts_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combine, Driver, Field, Sample, Strength


def made_of(strengths: Mapping[str, Strength], names: Iterable[str]) -> set[str]:
    """These strengths and all that they are made of, however deep; names that are no strength's are left out."""
    found: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        strength = strengths.get(name)
        if strength is not None and name not in found:
            found.add(name)
            waiting += parts_of(strength.combination) if isinstance(strength, Combine) else ()
    return found


def joints_named(strength: Strength, fields: Mapping[str, Field]) -> tuple[str, ...]:
    """The joints that a strength names itself; none for a combination."""
    if isinstance(strength, Driver):
        return joints_of(strength.reading)
    if isinstance(strength, Sample) and strength.field in fields:
        field = fields[strength.field]
        return (field.joint,) if field.relative_to is None else (field.joint, field.relative_to)
    return ()


def part_of_rig(rig: Rig, names: Iterable[str]) -> Rig:
    """A rig with these of its strengths, what they are made of, and nothing that follows them."""
    strengths = {one.name: one for one in rig.strengths}
    wanted = made_of(strengths, names)
    kept = tuple(one for one in rig.strengths if one.name in wanted)
    return Rig(rig.character, rig.skeleton, rig.symmetry, rig.controls, _fields_of(rig, kept), kept)


def least_part_of_rig(rig: Rig, strengths: Iterable[Strength]) -> Rig:
    """A rig with these strengths, in their order, and no joints but those that they name and all above them.

    strengths: with all that they are made of, parts before what is made of them.
    """
    kept = tuple(strengths)
    fields = _fields_of(rig, kept)
    by_name = {field.name: field for field in fields}
    parents = {joint.name: joint.parent for joint in rig.skeleton}
    joints: set[str] = set()
    for named in (joint for one in kept for joint in joints_named(one, by_name)):
        above: str | None = named
        while above is not None and above not in joints:
            joints.add(above)
            above = parents.get(above)
    skeleton = tuple(joint for joint in rig.skeleton if joint.name in joints)
    return Rig(rig.character, skeleton, rig.symmetry, rig.controls, fields, kept)


def _fields_of(rig: Rig, strengths: Iterable[Strength]) -> tuple[Field, ...]:
    used = {one.field for one in strengths if isinstance(one, Sample)}
    return tuple(field for field in rig.fields if field.name in used)
