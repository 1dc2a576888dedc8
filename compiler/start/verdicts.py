"""How joints are read: about which axis, over which span, and what tells it; one answer for all that share it."""

from __future__ import annotations

from collections.abc import Sequence
from math import acos, cos, degrees, radians
from typing import Final, Literal, NamedTuple

from plica.kinds.readings import SeenFrom
from plica.rig.mirror import FrameMirror, mirror_between
from plica.skeleton.algebra import Vector, add, dot, length, scaled, times, unit
from plica.skeleton.body import Body
from plica.skeleton.planes import Plane
from plica.skeleton.quaternions import Array
from plica.start import clip_motion
from plica.start.anatomy import BodyPart, body_part
from plica.start.clip_motion import ClipMotion, TurnEvidence, evidence_of, mirrored_turns
from plica.start.hinges import Hinge, hinge_of, travel_left
from plica.start.subjects import Subject

STEP: Final = 5
"""Spans from clips are whole multiples of this, degrees."""
ALIKE: Final = 0.5
"""Joints of a family that share a span: the one that goes least goes at least this share of the one that goes most."""
TOGETHER: Final = cos(radians(25.0))
"""How far axes that bones tell may be from their mean to be taken for one: fingers are spread by as much."""

Source = Literal["clips", "bones", "anatomy", "nothing"]


class JointVerdict(NamedTuple):
    """How a joint is read.

    `axis`: in its own axes, None where the whole angle is read; `span`: degrees; `source`: what tells it; `reading` and
    `told`: that in words, for the reading and for the span. `share`: of the motion in clips that is about one axis.
    """

    axis: Vector | None
    span: tuple[float, float]
    source: Source
    reading: str
    told: str
    share: float | None = None


class Witnesses(NamedTuple):
    """What verdicts rest on: the body, its mirror plane, the turns in its clips."""

    body: Body
    plane: Plane | None
    motion: ClipMotion

    def turns(self, subject: Subject) -> list[Array]:
        """The turns of a joint, and those of its partner as the left one sees them."""
        own = self._turns(subject.joint, subject.seen_from)
        result = [] if own is None else [own]
        mirror = self.mirror(subject)
        if subject.partner is not None and mirror is not None:
            other = self._turns(subject.partner, self.body.hung.get(subject.partner))
            result += [] if other is None else [mirrored_turns(other, mirror)]
        return result

    def _turns(self, joint: int, seen_from: int | None) -> Array | None:
        return self.motion.turns.get(seen_from_of(self.body, joint, seen_from))

    def mirror(self, subject: Subject) -> FrameMirror | None:
        """From a left joint to its partner; None where there is none, or no mirror plane."""
        if self.plane is None or subject.partner is None:
            return None
        return mirror_between(self.body.skeleton, self.plane, subject.joint, subject.partner)


def seen_from_of(body: Body, joint: int, seen_from: int | None) -> SeenFrom:
    """What clips are asked for."""
    names = body.skeleton.joints
    return SeenFrom(names[joint].name, None if seen_from is None else names[seen_from].name)


def wanted_turns(body: Body, subjects: Sequence[Subject]) -> list[SeenFrom]:
    """The turns that verdicts on joints ask clips for."""
    result = []
    for subject in subjects:
        result.append(seen_from_of(body, subject.joint, subject.seen_from))
        if subject.partner is not None:
            result.append(seen_from_of(body, subject.partner, body.hung.get(subject.partner)))
    return result


def verdict_on(subjects: Sequence[Subject], witnesses: Witnesses) -> JointVerdict | None:
    """How joints are read that are to share one reading and span; None where they do not agree. One always does."""
    evidence = [evidence_of(witnesses.turns(subject)) for subject in subjects]
    moving = [one for one in evidence if one is not None and one.moves]
    if len(moving) == len(subjects):
        return _by_clips(subjects, moving, witnesses)
    if moving:
        return None
    return _by_bones(subjects, witnesses)


# ---- clips -----------------------------------------------------------------------------------------------------


def _by_clips(subjects: Sequence[Subject], each: Sequence[TurnEvidence], witnesses: Witnesses) -> JointVerdict | None:
    together = evidence_of([turns for subject in subjects for turns in witnesses.turns(subject)])
    if together is None or len({one.is_hinge for one in (*each, together)}) != 1:
        return None
    whole = [one.angle for one in each] if not together.is_hinge else [max(map(abs, one.ends)) for one in each]
    if min(whole) < ALIKE * max(whole):
        return None
    low, high = (round(degrees(value)) for value in together.ends)
    if not together.is_hinge:
        said = f"the whole angle: {_percent(together.share)} of its motion is about one axis"
        if together.has_axis and together.apart > clip_motion.TOGETHER:
            off = round(degrees(together.apart))
            said = f"the whole angle: one axis for both sides is {off} degrees off what one of them turns about"
        end = stepped(together.angle)
        return JointVerdict(None, (0.0, end), "clips", said, f"0 to {round(degrees(together.angle))}", together.share)
    said = f"{_percent(together.share)} of its motion"
    return JointVerdict(
        together.axis, (0.0, stepped(together.ends[1])), "clips", said, f"{low} to {high}", together.share
    )


def stepped(angle: float) -> float:
    """The end of a span: an angle (radians) in whole steps of degrees, at least one of them."""
    return float(max(STEP, STEP * round(degrees(angle) / STEP)))


def _percent(share: float) -> str:
    return f"{int(100.0 * share)} %"


# ---- bones and anatomy -------------------------------------------------------------------------------------------


def _by_bones(subjects: Sequence[Subject], witnesses: Witnesses) -> JointVerdict | None:
    body = witnesses.body
    parts = {body_part(body, subject.part) for subject in subjects}
    hinges = [_hinge_of_both(subject, witnesses) for subject in subjects]
    if len(parts) != 1:
        return None
    part = parts.pop()
    still = "still in the clips; " if witnesses.motion.clips else ""
    found = [hinge for hinge in hinges if hinge is not None]
    if not found:
        travel = part.travel
        return JointVerdict(None, (0.0, float(travel)), "nothing", still + _whole_angle(part), _source(part, travel, 0))
    axis = _mean_axis(found)
    if len(found) < len(hinges) or axis is None:
        return None
    travel = min(travel_left(part, hinge) for hinge in found)
    told_by = sorted({hinge.told_by for hinge in found})
    said = f"{still}guessed from {' and '.join(told_by)}{_spread(found, axis)}"
    source: Source = "anatomy" if told_by == ["anatomy"] else "bones"
    return JointVerdict(axis, (0.0, float(travel)), source, said, _source(part, travel, part.travel - travel))


def _hinge_of_both(subject: Subject, witnesses: Witnesses) -> Hinge | None:
    """The hinge of a joint; of a pair the mean of the left one and of the right one as the mirror shows it."""
    own = hinge_of(witnesses.body, subject.joint)
    mirror = witnesses.mirror(subject)
    if own is None or subject.partner is None or mirror is None:
        return own
    other = hinge_of(witnesses.body, subject.partner)
    if other is None or other.told_by != own.told_by:
        return own
    seen = scaled(times(mirror.matrix, other.axis), mirror.sign)
    axis = _mean_axis([own, other._replace(axis=seen)])
    return own if axis is None else own._replace(axis=axis)


def _mean_axis(hinges: Sequence[Hinge]) -> Vector | None:
    """The mean of axes; None where one is far from it. A single one is its own mean, to the last bit."""
    if len(hinges) == 1:
        return hinges[0].axis
    total: Vector = (0.0, 0.0, 0.0)
    for hinge in hinges:
        total = add(total, scaled(hinge.axis, 1.0 / len(hinges)))
    if length(total) < 0.5:
        return None
    mean = unit(total)
    return mean if all(dot(hinge.axis, mean) >= TOGETHER for hinge in hinges) else None


def _spread(hinges: Sequence[Hinge], axis: Vector) -> str:
    apart = max(degrees(acos(max(-1.0, min(1.0, dot(hinge.axis, axis))))) for hinge in hinges)
    return f", up to {round(apart)} degrees off" if len(hinges) > 1 and apart >= 0.5 else ""


def _whole_angle(part: BodyPart) -> str:
    return "the whole angle" if part.flexion == "any" else "the whole angle; for one way only: rotation about an axis"


def _source(part: BodyPart, travel: int, less: int) -> str:
    if part.source is None:
        return "a default, not measured"
    said = f"{part.movement} ({part.source})"
    return f"{said}, {less} of it at rest already" if less else said
