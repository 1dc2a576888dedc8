"""Clips as tracks of a rig's poses."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from plica.diagnostics import Diagnostics
from plica.evaluate.poses import Array, Poses
from plica.evaluate.retarget import poses_from_clip
from plica.prove.sweeps import PoseTrack
from plica.readers.clip import Clip
from plica.rig.rig import Rig
from plica.source import Span


def tracks_of(
    rig: Rig, clips: Sequence[Clip], shown: str, diagnostics: Diagnostics, span: Span | None = None
) -> tuple[PoseTrack, ...]:
    """A track for each clip of a file, at its own rate; `shown` is what the user calls the file.

    A clip can be looked at between its frames where its format says what happens there: glTF 2.0 does (Appendix C), BVH
    does not.
    """
    made = []
    for clip in clips:
        if len(clip.times):
            name = f"clip {shown}" if len(clips) == 1 else f"clip {shown}: {clip.name}"
            poses = poses_from_clip(rig, clip, diagnostics, span)
            made.append(PoseTrack(name, "clip", clip.times, poses, _between(rig, clip)))
    return tuple(made)


def _between(rig: Rig, clip: Clip) -> Callable[[Array], Poses] | None:
    between = clip.between
    if between is None:
        return None
    # What does not fit was told of once, for the whole clip.
    return lambda places: poses_from_clip(rig, between(places), Diagnostics())
