"""The bind pose: the frames in which the skin was bound to its joints, and the joints' local transforms in it.

The inverse bind matrices of a skin (glTF 2.0 section 3.7.3.1) take its vertices, as they are stored, into the spaces of
its joints. Their inverses B are the joints' frames at binding, in the space of the stored vertices, which need not be
the model's: files measure there in other units, or have another axis up. One similarity A for each skin takes that
space into the model's, so that A B are frames in model space.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf
from typing import Final

from plica.named_tuples import NamedTuple
from plica.rounding import REST_DIGITS, rounded
from plica.skeleton.algebra import (
    Vector,
    determinant,
    quaternion_of,
    scaled,
    transpose,
)
from plica.skeleton.bind_space import SkinFrames, flattened, same_as_rest, space_of, without_places
from plica.skeleton.frames import body_size, composed, inverted, local_of, polar, same_frame
from plica.skeleton.skeleton import MODEL_FRAME, Frame, Joint, Skeleton

SHEARED: Final = 1e-3
"""Share of a bind frame's scale beyond which what stretches it across its own axes is no rounding."""


class BindPose(NamedTuple):
    """What a model says of its bind pose.

    `skeleton`: the same joints as at rest, with their local transforms in the bind pose; None where there is no bind
    pose, and `fault` says why, in a sentence; `absent`: because the file has none, so that rest is the only pose.
    `same`: it is the file's rest up to one similarity for each skin, and `skeleton` is that rest. `assumed`: joints
    without inverse bind matrices that carry joints with one, whose frames in the bind pose nothing states; they keep
    their local transforms, as do joints that carry none. `guess`: how the stored
    vertices are taken to stand where the rest does not tell.
    """

    skeleton: Skeleton | None
    same: bool = False
    assumed: frozenset[int] = frozenset()
    fault: str = ""
    absent: bool = False
    guess: str = ""


NO_BIND_POSE: Final = BindPose(None, fault="the file has no skin", absent=True)


def bind_pose(rest: Skeleton, skins: Sequence[SkinFrames], shown: Sequence[Sequence[Frame]] = ()) -> BindPose:
    """The bind pose that the skins state, in model space; shown: for each skin where the nodes stand that show it."""
    where = {id(skin): frames for skin, frames in zip(skins, shown, strict=bool(shown))}
    skins = [skin for skin in skins if skin]
    if not skins:
        return BindPose(None, fault="the file states no inverse bind matrices", absent=True)
    flat = next((flattened(rest, skin) for skin in skins if flattened(rest, skin)), None)
    if flat is not None:
        return BindPose(None, fault=f"an inverse bind matrix of `{flat}` cannot be inverted")
    if any(without_places(rest, skin) for skin in skins):
        return BindPose(None, fault="its inverse bind matrices put all joints at one place", absent=True)
    size = body_size(rest)
    carried = [same_as_rest(rest, skin, size) for skin in skins]
    if all(carried):
        return BindPose(rest, same=True)
    frames: dict[int, Frame] = {}
    guess = ""
    waiting = list(skins)
    while waiting:
        # Skins that share joints stand together; the others are placed by where the file's rest has them.
        chosen = next((skin for skin in waiting if skin.keys() & frames.keys()), waiting[0])
        waiting.remove(chosen)
        space = space_of(rest, chosen, frames, where.get(id(chosen), ()))
        if space is None:
            return BindPose(None, fault="the file's rest is turned so far from it that several places fit its vertices")
        guess = guess or space.guess
        for joint, stored in chosen.items():
            frame = composed(space.frame, stored)
            known = frames.setdefault(joint, frame)
            if not same_frame(known, frame, size):
                name = rest.joints[joint].name
                return BindPose(
                    None, fault=f"its skins do not agree on where joint `{name}` stood when they were bound"
                )
    return _locals(rest, frames)._replace(guess=guess)


# ---- local transforms ---------------------------------------------------------------------------------------


def _locals(rest: Skeleton, bound: Mapping[int, Frame]) -> BindPose:
    """The joints' transforms in their parents where the bound ones stand in these frames."""
    frames: list[Frame] = []
    joints: list[Joint] = []
    for index, joint in enumerate(rest.joints):
        parent = MODEL_FRAME if joint.parent is None else frames[joint.parent]
        if index in bound:
            back = inverted(parent)
            if back is None:
                return BindPose(None, fault=f"a joint above `{joint.name}` has a scale of 0")
            made = _joint(joint, composed(back, bound[index]))
            if made is None:
                return BindPose(None, fault=f"the inverse bind matrix of `{joint.name}` is sheared")
            joint = made
        joints.append(joint)
        frames.append(composed(parent, local_of(joint)))
    skeleton = Skeleton(tuple(joints))
    carrying = {above for index in bound for above in rest.ancestors(index)}
    return BindPose(skeleton, assumed=frozenset(carrying - bound.keys() - _agreeing(rest, skeleton)))


def _agreeing(rest: Skeleton, bind: Skeleton) -> set[int]:
    """Joints whose children all stand in them as they do at rest: what keeps its transform there is right."""
    size = body_size(rest)
    return {
        index
        for index in range(len(rest.joints))
        if all(
            same_frame(local_of(rest.joints[child]), local_of(bind.joints[child]), size)
            for child in rest.children(index)
        )
    }


def _joint(joint: Joint, local: Frame) -> Joint | None:
    """The joint with another local frame; None where that is sheared.

    The polar factor is the rotation; of mirroring frames the scale that is negative at rest stays so, else that of x.
    """
    turned, stretch = polar(local.linear)
    sizes = (stretch[0][0], stretch[1][1], stretch[2][2])
    across = max(abs(stretch[0][1]), abs(stretch[0][2]), abs(stretch[1][2]))
    if not across <= SHEARED * max(sizes) < inf:
        return None
    signs = _signs(joint.scale, determinant(turned) < 0)
    columns = transpose(turned)
    rotation = quaternion_of(
        transpose((scaled(columns[0], signs[0]), scaled(columns[1], signs[1]), scaled(columns[2], signs[2])))
    )
    scale = (sizes[0] * signs[0], sizes[1] * signs[1], sizes[2] * signs[2])
    return joint._replace(
        translation=rounded(local.origin, REST_DIGITS),
        rotation=rounded(rotation, REST_DIGITS),
        scale=_plain_scale(rounded(scale)),
    )


def _plain_scale(scale: Vector) -> Vector:
    """A scale without what float32 chains leave of 1."""
    x, y, z = (round(value) * 1.0 if abs(abs(value) - 1.0) < 1e-5 else value for value in scale)
    return (x, y, z)


def _signs(scale: Vector, mirrors: bool) -> Vector:
    negative = [value < 0.0 for value in scale]
    if (sum(negative) % 2 == 1) != mirrors:
        negative = [mirrors, False, False]
    x, y, z = (-1.0 if one else 1.0 for one in negative)
    return (x, y, z)
