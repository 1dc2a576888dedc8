"""The parts of a first spec that tell what moves: regions, drivers, families of them, a fist."""

from __future__ import annotations

from typing import Final

from plica.quantities import number
from plica.start.anatomy import SOURCES
from plica.start.bending_joints import BendingJoint
from plica.start.families import Family, FamilyRow
from plica.start.first_look import FirstLook
from plica.start.name_words import unique_name, writable
from plica.start.spec_text import FactLine, block, joint_text
from plica.syntax.builder import encode_text

FLAT_NOTE: Final = (
    "the joints of this finger do not hang below each other in the model, so each also counts the turns before it"
)
HUNG_NOTE: Final = "this joint hangs under a control and not on its limb: it is read as the limb sees it"
FINGERS_OF_A_FIST: Final = 2
"""How many fingers, besides the thumb, make a fist at least."""


def region_sections(look: FirstLook) -> list[list[str]]:
    """A region for each joint of a limb and of the neck: the skin of the bones on either side of it."""
    lines = []
    for one in look.found.joints:
        if one.body_part.region:
            joints = ", ".join(map(joint_text, _two_bones(look, one)))
            lines.append(f"region {one.name}{one.side} {{ skin of {joints} }}")
    if not lines:
        return []
    return [["// Regions: the skin of the bones on either side of a joint.", *lines]]


def _two_bones(look: FirstLook, one: BendingJoint) -> list[str]:
    """The names of the joint before, where the skin follows it, and of the joint itself."""
    before = look.body.bones.before[one.joint]
    names = look.stance.skeleton.joints
    if before is None or not look.followed[before] or not writable(look.bases[before]):
        return [one.base]
    if not one.paired and look.bases[before] != names[before].name:
        return [one.base]  # a joint of one side, which a declaration without side would have to choose
    return [look.bases[before], one.base]


def driver_sections(look: FirstLook) -> list[list[str]]:
    """A driver for each joint, in the order of the skeleton; those of families together, and a fist for a hand."""
    found = look.found
    if not found.joints:
        return []
    blocks = [(one.joint, _driver(look, one)) for one in found.alone()]
    blocks += [(family.rows[0].members[0].joint, _family(look, family)) for family in found.families]
    return [_head(look), *(lines for _, lines in sorted(blocks, key=lambda one: one[0])), *_fists(look)]


def _head(look: FirstLook) -> list[str]:
    count = look.motion.clips
    head = ["// Drivers: strengths from 0 to 1, read off joints and counted from the neutral stance."]
    if count:
        clips = f"{count} clips" if count > 1 else "clip"
        head += [
            f"// Axes and spans are those of the model's {clips}, both sides together. Beside an axis stands how much",
            "// of the motion is about it, beside a span the degrees of all frames but 2 %. The rest is guessed.",
        ]
    elif look.motion.fault and look.motion.fault.isprintable():
        head.append(f"// Axes and spans are guesses: the model's clips cannot be read: {look.motion.fault}.")
    else:
        head.append("// The model has no clips: axes and spans are guesses. `plica measure` finds the spans of yours.")
    guessed = {one.body_part.source for one in look.found.joints if one.evidence.weak}
    sources = [SOURCES[key] for key in SOURCES if key in guessed]
    if sources:
        head += ["// Published travels are those of:", *(f"//     {source}" for source in sources)]
    return head


def _driver(look: FirstLook, one: BendingJoint) -> list[str]:
    return block(f"driver {one.driver}{one.side}", _facts(look, one, one.reads), _title(one))


def _facts(look: FirstLook, one: BendingJoint, reads: str) -> list[FactLine]:
    start, end = one.span
    facts = [
        FactLine("reads", reads, one.evidence.reading),
        FactLine("span", f"{number(start)} deg .. {number(end)} deg", one.evidence.span),
    ]
    if one.joint in look.body.flat:
        facts.append(FactLine("note", encode_text(FLAT_NOTE)))
    if one.seen_from is not None:
        facts.append(FactLine("note", encode_text(HUNG_NOTE)))
    return facts


def _title(one: BendingJoint) -> str:
    return one.body_part.title if one.part != "unknown" else ""


def _family(look: FirstLook, family: Family) -> list[str]:
    lines = [f"each {family.variable} in {family.rows[0].template.listed} {{"]
    for row in family.rows:
        lines += _row(look, family, row)
    return [*lines, "}"]


def _row(look: FirstLook, family: Family, row: FamilyRow) -> list[str]:
    one = look.found.of(row.members[0])
    joint = row.template.joint(family.variable)
    head = f"driver {row.template.name(family.variable)}_bend{one.side}"
    return block(head, _facts(look, one, f"{one.measures} {joint}"), _title(one))


def _fists(look: FirstLook) -> list[list[str]]:
    """What is on where all fingers of a hand are bent: the product of their base joints' drivers."""
    taken: set[str] = set()
    for one in look.found.joints:
        unique_name(one.driver, taken, paired=one.paired)
    bases = [one for one in look.found.joints if one.part == "finger base"]
    bases = [one for one in bases if one.paired == bases[0].paired]
    sides = {look.body.side[one.joint] for one in bases}
    if len(bases) < FINGERS_OF_A_FIST or len(sides) > 1:
        return []
    name = unique_name("fist", taken, paired=bases[0].paired)
    drivers = ", ".join(one.driver for one in bases)
    return [
        [
            "// A fist: every finger is bent at its base.",
            f"combine {name}{bases[0].side} = product({drivers}) {{",
            'accept unused-strength because "no shape follows it yet"',
            "}",
        ]
    ]
