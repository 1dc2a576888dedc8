"""Which pose of a clip's skeleton corresponds to the character's neutral stance.

Transforms of a clip are whole local transforms; what they mean for the character is how far they are from the clip's
own neutral stance. Files rest in any pose, and a file with a skin states the pose in which that was bound as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from statistics import median
from typing import Final, NamedTuple

from plica.diagnostics import Diagnostics
from plica.evaluate.pose_components import skeleton_of
from plica.readers.clip import Clip, clip_in_unit
from plica.rig.rig import Rig
from plica.skeleton.algebra import length, subtract
from plica.skeleton.evenness import clearly_evener, evenness
from plica.skeleton.frames import SAME_AXES, body_size
from plica.skeleton.side_patterns import named_sides
from plica.skeleton.skeleton import Joint, LocalTransform, Skeleton
from plica.source import Span
from plica.units import nearest_factor

_SAME_PLACE: Final = 1e-3
"""Share of the body's size by which a joint may stand elsewhere in its parent in two files of one skeleton."""


class ClipStance(NamedTuple):
    """A clip's skeleton in its neutral stance; `is_assumed`: it is the file's rest because nothing says otherwise."""

    skeleton: Skeleton
    is_assumed: bool = False


def clip_neutral(rig: Rig, clip: Clip, diagnostics: Diagnostics, span: Span | None) -> ClipStance:
    """The clip's skeleton in the pose that corresponds to the character's neutral stance.

    Where the clip rests, or was bound, as the character is neutral,
    that pose; where it rests as the character's own file does, the character's neutral stance, so that transforms are
    taken as they are. Of other skeletons the clearly more even pose; where none is, the rest, with a warning. A file
    without a skin says of no pose that it is the stance, so that its rest is assumed. What is stated is taken as it is.
    """
    if clip.is_stance_stated:
        return ClipStance(clip.rest)
    matches = _named(rig, clip)
    neutral = {joint.name: joint.neutral for joint in rig.skeleton}
    rest = {joint.name: joint.rest for joint in rig.skeleton}
    if _stands_as(clip.rest, neutral, matches):
        return ClipStance(clip.rest)
    if _stands_as(clip.rest, rest, matches):
        return ClipStance(_standing(clip.rest, neutral, matches))
    if clip.bind is None:
        return ClipStance(clip.rest, not clip.is_rest_bound)
    if _stands_as(clip.bind, neutral, matches):
        return ClipStance(clip.bind)
    pairs = list(named_sides(clip.bind).sides.pairs.values())
    bound, resting = evenness(clip.bind, pairs, other=clip.rest), evenness(clip.rest, pairs, other=clip.bind)
    if bound is not None and resting is not None:
        if clearly_evener(bound, resting):
            return ClipStance(clip.bind)
        if clearly_evener(resting, bound):
            return ClipStance(clip.rest)
    diagnostics.add("clip-stance-unknown", span, clip=clip.name)
    return ClipStance(clip.rest)


def in_unit_of(rig: Rig, clip: Clip) -> Clip:
    """The clip in metres: its file's lengths are those of the model's file, or what they were taken for.

    It is whichever makes its bones as long as the character's (the median over joints of one name), else its body as
    large.
    """
    geometry = rig.character.geometry
    unit = None if geometry is None else geometry.unit
    if unit is None or unit == clip.unit or not clip.in_metres:
        return clip
    own = skeleton_of(rig)
    named = ((own.index[name], theirs) for name, theirs in _named(rig, clip).items())
    bones = [(_bone(own, mine), _bone(clip.rest, theirs)) for mine, theirs in named]
    ratios = [mine / other for mine, other in bones if mine > 0.0 and other > 0.0]
    wanted = median(ratios) if ratios else body_size(own) / body_size(clip.rest)
    return clip_in_unit(clip, clip.unit * nearest_factor(wanted, (1.0, unit / clip.unit)))


def _bone(skeleton: Skeleton, joint: int) -> float:
    """How far a joint is from its parent in model space; 0 for a root."""
    if skeleton.joints[joint].parent is None:
        return 0.0
    return length(subtract(skeleton.frames[joint].origin, skeleton.parent_frame(joint).origin))


def _named(rig: Rig, clip: Clip) -> dict[str, int]:
    """The clip's joints that aliases or equal names tell, by the name of the rig's joint."""
    called = {alias.joint: alias.clip_name for alias in rig.aliases}
    names = ((joint.name, called.get(joint.name, joint.name)) for joint in rig.skeleton)
    return {own: clip.rest.index[theirs] for own, theirs in names if theirs in clip.rest.index}


def _stands_as(skeleton: Skeleton, other: Mapping[str, LocalTransform], matches: Mapping[str, int]) -> bool:
    """Whether the matched joints stand in their parents as the character's do; roots may stand elsewhere."""
    if not matches:
        return False
    reach = _SAME_PLACE * body_size(skeleton)
    return all(
        _same_local(skeleton.joints[theirs], other[own], reach)
        for own, theirs in matches.items()
        if skeleton.joints[theirs].parent is not None
    )


def _same_local(joint: Joint, other: LocalTransform, reach: float) -> bool:
    apart = max(abs(a - b) for a, b in zip(joint.translation, other.translation, strict=True))
    cosine = abs(sum(a * b for a, b in zip(joint.rotation, other.rotation, strict=True)))
    return apart <= reach and cosine >= 1.0 - SAME_AXES * SAME_AXES


def _standing(skeleton: Skeleton, places: Mapping[str, LocalTransform], matches: Mapping[str, int]) -> Skeleton:
    """The skeleton with the matched joints standing in their parents as these say."""
    joints = list(skeleton.joints)
    for own, theirs in matches.items():
        translation, rotation, scale = places[own]
        joints[theirs] = joints[theirs]._replace(translation=translation, rotation=rotation, scale=scale)
    return Skeleton(tuple(joints))
