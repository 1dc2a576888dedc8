"""Which joint of a clip moves which joint of a character: by alias, by equal names, then by what they are in a body."""

from __future__ import annotations

from typing import NamedTuple

from plica.readers.clip import Clip
from plica.rig.rig import Rig
from plica.skeleton.body import Body, body_of
from plica.skeleton.joint_words import parts_of_name
from plica.skeleton.limbs import LIMB_NAMES, LimbName, has_chains
from plica.skeleton.skeleton import Skeleton


class Matches(NamedTuple):
    """`joints`: for the rig's joints, in the rig's order, the index of the clip's joint.

    `by_themselves`: those of them that neither an alias nor an equal name told. `left_out`: limbs of the clip that the
    character has, in this or in another form, and that are not matched. `own`, `theirs`: the bodies, with the limbs
    that are matched alone.
    """

    joints: dict[str, int]
    by_themselves: dict[str, int]
    left_out: tuple[LimbName, ...]
    own: Body
    theirs: Body


def match_joints(rig: Rig, skeleton: Skeleton, clip: Clip) -> Matches:
    """The matches of a clip. Where both are bodies with limbs, joints of the trunk and the limbs find each other."""
    stated = matched_joints(rig, clip)
    own, theirs = body_of(skeleton), body_of(clip.rest)
    found = _by_kind(skeleton, clip, own, theirs) if own.limbs and theirs.limbs else {}
    names = [joint.name for joint in skeleton.joints]
    taken = set(stated.values())
    added = {names[mine]: other for mine, other in found.items() if names[mine] not in stated and other not in taken}
    every = stated | added
    joints = {name: every[name] for name in names if name in every}
    matched: list[LimbName] = []
    left_out: list[LimbName] = []
    for limb in LIMB_NAMES:
        if limb in own.limbs and limb in theirs.limbs:
            pairs = zip(own.limbs[limb][:2], theirs.limbs[limb][:2], strict=True)
            fits = all(joints.get(names[mine]) == other for mine, other in pairs)
            (matched if fits else left_out).append(limb)
    if not joints:
        left_out = []
    elif theirs.limbs and not own.limbs.keys() & theirs.limbs.keys() and has_chains(skeleton):
        # A body of another build: some joints have the same names, but no limb of the clip is one of it.
        left_out = [limb for limb, one in theirs.limbs.items() if not set(one) & set(joints.values())]
    return Matches(
        joints,
        {name: joints[name] for name in joints if name in added},
        tuple(left_out),
        own._replace(limbs={limb: own.limbs[limb] for limb in matched}),
        theirs._replace(limbs={limb: theirs.limbs[limb] for limb in matched}),
    )


def matched_joints(rig: Rig, clip: Clip) -> dict[str, int]:
    """For the rig's joints that the clip has by alias or name, in the rig's order, the index of the clip's joint."""
    aliases = {alias.joint: alias.clip_name for alias in rig.aliases if alias.clip_name in clip.rest.index}
    taken = set(aliases.values())
    matches = {}
    for joint in rig.skeleton:
        name = aliases.get(joint.name, joint.name)
        if name in clip.rest.index and (joint.name in aliases or name not in taken):
            matches[joint.name] = clip.rest.index[name]
    return matches


def _by_kind(skeleton: Skeleton, clip: Clip, own: Body, theirs: Body) -> dict[int, int]:
    """Joints that are the same thing of both bodies: limbs, single joints, the spine, and names that say the same."""
    result: dict[int, int] = {}
    for limb, mine in own.limbs.items():
        if limb in theirs.limbs:
            result.update(zip(mine, theirs.limbs[limb], strict=True))
    result |= {joint: theirs.others[what] for what, joint in own.others.items() if what in theirs.others}
    _add_spine(result, skeleton, clip.rest, own, theirs)
    by_name: dict[tuple[str, str], int] = {}
    for index, joint in enumerate(clip.rest.joints):
        by_name.setdefault(parts_of_name(joint.name), index)
    taken = set(result.values())
    for index, joint in enumerate(skeleton.joints):
        other = by_name.get(parts_of_name(joint.name))
        if index not in result and other is not None and other not in taken and parts_of_name(joint.name)[1]:
            result[index] = other
            taken.add(other)
    return result


def _add_spine(result: dict[int, int], own: Skeleton, theirs: Skeleton, body: Body, other: Body) -> None:
    """The joints between the hips and where the arms part, spread evenly over the clip's; the last to the last."""
    mine, yours = _spine(own, body), _spine(theirs, other)
    for place, joint in enumerate(mine):
        if yours:
            share = (place + 1) / len(mine)
            result.setdefault(joint, yours[round(share * len(yours)) - 1 if round(share * len(yours)) else 0])


def _spine(skeleton: Skeleton, body: Body) -> list[int]:
    sides = ("left arm", "right arm") if "left arm" in body.limbs else ("left foreleg", "right foreleg")
    arms = [body.limbs[name].upper for name in sides if name in body.limbs]
    hips = body.others.get("hips")
    if len(arms) < 2 or hips is None:
        return []
    above = [set(skeleton.ancestors(arm)) for arm in arms]
    return sorted(joint for joint in above[0] & above[1] if hips in skeleton.ancestors(joint))
