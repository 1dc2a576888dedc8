"""Clips as tracks of a rig's poses."""

from __future__ import annotations

from collections.abc import Sequence

from plica.diagnostics import Diagnostics
from plica.evaluate.retarget import poses_from_clip
from plica.prove.sweeps import Track
from plica.readers.clip import Clip
from plica.rig.model import Rig
from plica.source import Span


def tracks_of(
    rig: Rig, clips: Sequence[Clip], shown: str, found: Diagnostics, span: Span | None = None
) -> tuple[Track, ...]:
    """A track for each clip of a file, at its own rate; `shown` is what the user calls the file."""
    made = []
    for clip in clips:
        if len(clip.times):
            name = f"clip {shown}" if len(clips) == 1 else f"clip {shown}: {clip.name}"
            made.append(Track(name, "clip", clip.times, poses_from_clip(rig, clip, found, span)))
    return tuple(made)
