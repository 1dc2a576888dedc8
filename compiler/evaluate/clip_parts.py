"""The part of a clip that is looked at, and the moment at which its skeleton stands as the character does."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from plica.readers.clip import Clip
from plica.skeleton.skeleton import Skeleton


class ClipPart(NamedTuple):
    """Seconds of a clip. `start`, `stop`: both included, None for its ends; what is looked at may hold no frames.

    `stance_at`: the moment whose pose counts as the stance of the clip's skeleton; None for the file's rest.
    """

    start: float | None = None
    stop: float | None = None
    stance_at: float | None = None

    def of(self, clip: Clip) -> Clip:
        """The part of a clip."""
        standing = clip if self.stance_at is None else with_stance_at(clip, self.stance_at)
        return cut_clip(standing, self.start, self.stop)


WHOLE_CLIP = ClipPart()


def cut_clip(clip: Clip, start: float | None, stop: float | None) -> Clip:
    """The part of a clip between two times in seconds, both included; it may hold no frames."""
    keep = np.ones(len(clip.times), dtype=bool)
    if start is not None:
        keep &= clip.times >= start
    if stop is not None:
        keep &= clip.times <= stop
    return replace(
        clip,
        times=clip.times[keep],
        rotations=clip.rotations[keep],
        translations=clip.translations[keep],
        scales=None if clip.scales is None else clip.scales[keep],
        weights={name: values[keep] for name, values in clip.weights.items()},
    )


def with_stance_at(clip: Clip, seconds: float) -> Clip:
    """The clip with the frame nearest to a time as its stance; one without frames as it is."""
    if not len(clip.times):
        return clip
    frame = int(np.argmin(np.abs(clip.times - seconds)))
    joints = tuple(
        joint._replace(translation=tuple(translation), rotation=tuple(rotation))
        for joint, translation, rotation in zip(
            clip.rest.joints, clip.translations[frame].tolist(), clip.rotations[frame].tolist(), strict=True
        )
    )
    stance = Skeleton(joints)
    between = clip.between
    again = None if between is None else lambda times: replace(between(times), rest=stance, is_stance_stated=True)
    return replace(clip, rest=stance, between=again, is_stance_stated=True)
