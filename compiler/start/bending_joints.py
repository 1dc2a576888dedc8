"""The joints of a model that bend skin: what reads each of them, and how far it goes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from plica.skeleton.algebra import Vector
from plica.skeleton.body import Body
from plica.start.anatomy import BodyPart, body_part
from plica.start.families import Family, families_of
from plica.start.hinges import axis_text
from plica.start.name_words import plain_name, unique_name
from plica.start.spec_text import joint_text
from plica.start.subjects import Subject
from plica.start.verdicts import JointVerdict, Source, Witnesses, verdict_on


class Evidence(NamedTuple):
    """What tells the reading and the span of a joint, in words for the spec.

    `source`: the clips, the bones of the stance, anatomy, or nothing. `share`: how much of its motion in the clips is
    about one axis, None without motion.
    """

    reading: str
    span: str
    source: Source
    share: float | None

    @property
    def weak(self) -> bool:
        """Whether the axis is a guess, or there is none."""
        return self.source != "clips"


class BendingJoint(NamedTuple):
    """A joint, or a pair of joints, that bends skin.

    `joint`: the left or only one, as an index into the skeleton of the neutral stance; `partner`: the right one, None
    for a joint without side. `base`: the name that both share; `name`: what its declarations are called after.
    `part`: a key of `PARTS`. `axis`: unit rotation axis in the joint's own axes in the stance, that it turns about
    positively as it flexes; None where the whole angle is read. `span`: the reading's values in degrees that mean 0 and
    1. `seen_from`: the base name of the joint that it is read relative to, None where that is its parent. `family`: its
    place among the families that are declared in one `each`, None where it is declared alone.
    """

    joint: int
    partner: int | None
    base: str
    name: str
    part: str
    axis: Vector | None
    span: tuple[float, float]
    evidence: Evidence
    body_part: BodyPart
    seen_from: str | None = None
    family: int | None = None

    @property
    def paired(self) -> bool:
        """Whether it is one of two sides."""
        return self.partner is not None

    @property
    def side(self) -> str:
        """What is written after the names of its declarations."""
        return " both" if self.paired else ""

    @property
    def driver(self) -> str:
        """The name of its driver."""
        return f"{self.name}_bend"

    @property
    def reads(self) -> str:
        """What the driver reads."""
        relative = "" if self.seen_from is None else f" from {joint_text(self.seen_from)}"
        return f"{self.measures} {joint_text(self.base)}{relative}"

    @property
    def measures(self) -> str:
        """What the driver reads, up to the joint's name."""
        return "bend of" if self.axis is None else f"rotation about {axis_text(self.axis)} of"


class FoundJoints(NamedTuple):
    """The joints to read, in the order of the skeleton, and the families among them."""

    joints: tuple[BendingJoint, ...]
    families: tuple[Family, ...]

    def alone(self) -> tuple[BendingJoint, ...]:
        """Those that no family declares."""
        return tuple(one for one in self.joints if one.family is None)

    def of(self, subject: Subject) -> BendingJoint:
        """The record of a joint of a family."""
        return next(one for one in self.joints if one.joint == subject.joint)


def found_joints(subjects: Sequence[Subject], bases: Sequence[str], witnesses: Witnesses) -> FoundJoints:
    """How every joint is read, families together. `bases`: the names of all joints without side."""

    def together(joints: Sequence[Subject]) -> JointVerdict | None:
        return None if any(one.seen_from is not None for one in joints) else verdict_on(joints, witnesses)

    families = _told_apart(subjects, families_of(witnesses.body, subjects, together))
    told = {
        member.joint: (number, row.verdict)
        for number, family in enumerate(families)
        for row in family.rows
        for member in row.members
    }
    taken: set[str] = set()
    joints = []
    for subject in subjects:
        number, verdict = told.get(subject.joint, (None, None))
        verdict = verdict or verdict_on([subject], witnesses)
        if verdict is None:
            raise RuntimeError(f"no verdict on the joint {subject.base} alone")
        name = unique_name(plain_name(subject.base, "joint"), taken, paired=subject.partner is not None)
        joints.append(_bending_joint(witnesses.body, subject, bases, name, verdict)._replace(family=number))
    return FoundJoints(tuple(joints), families)


def _told_apart(subjects: Sequence[Subject], families: Sequence[Family]) -> tuple[Family, ...]:
    """The families whose joints keep their names as declarations: none of them is called as another joint is."""
    taken: set[str] = set()
    renamed = set()
    for subject in subjects:
        wanted = plain_name(subject.base, "joint")
        if unique_name(wanted, taken, paired=subject.partner is not None) != wanted:
            renamed.add(subject.joint)
    return tuple(one for one in families if not renamed & {member.joint for member in one.members})


def _bending_joint(
    body: Body, subject: Subject, bases: Sequence[str], name: str, verdict: JointVerdict
) -> BendingJoint:
    return BendingJoint(
        subject.joint,
        subject.partner,
        subject.base,
        name,
        subject.part,
        verdict.axis,
        verdict.span,
        Evidence(verdict.reading, verdict.told, verdict.source, verdict.share),
        body_part(body, subject.part),
        None if subject.seen_from is None else bases[subject.seen_from],
    )
