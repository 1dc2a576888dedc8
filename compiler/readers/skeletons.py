"""Skeletons of files of any format, checked."""

from __future__ import annotations

from plica import limits
from plica.readers.allowance import OverLimit
from plica.readers.model_outline import UnreadableModel
from plica.skeleton.skeleton import Joint, Skeleton


def check_joint_count(count: int) -> None:
    """Raises OverLimit where a skeleton has more joints than the limit."""
    most = limits.in_force().joints
    if count > most:
        raise OverLimit("its skeleton", f"{count} joints", str(most), "joints")


def checked_skeleton(joints: list[Joint]) -> Skeleton:
    """The skeleton.

    Raises OverLimit where it has too many joints, UnreadableModel where scales pile up beyond what numbers can hold.
    """
    check_joint_count(len(joints))
    skeleton = Skeleton(tuple(joints))
    for joint, frame in zip(joints, skeleton.frames, strict=True):
        values = (*frame.origin, *frame.linear[0], *frame.linear[1], *frame.linear[2])
        if not all(-1e150 < value < 1e150 for value in values):
            raise UnreadableModel(f"the rest frame of joint `{joint.name}` is not a usable number")
    return skeleton
