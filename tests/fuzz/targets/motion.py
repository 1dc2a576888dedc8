"""Motion capture as text."""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from plica.diagnostics import Diagnostics
from plica.evaluate.retarget import poses_from_clip
from plica.readers.clip_reader import read_clips
from plica.readers.model_outline import UnreadableModel
from tests.fuzz.grammars import lines
from tests.fuzz.mutate import of_words
from tests.fuzz.target import Target
from tests.fuzz.targets.scratch import written
from tests.support.texts import rig_of

_RIG = rig_of("driver elbow both { reads rotation about z of lowerarm   span 0 deg .. 100 deg }")


def _bvh(data: bytes) -> None:
    with suppress(UnreadableModel):
        (clip,) = read_clips(written("rounds.bvh", data))
        assert np.isfinite(clip.rotations).all() and np.isfinite(clip.translations).all()
        assert (np.diff(clip.times) > 0).all()
        poses = poses_from_clip(_RIG, clip, Diagnostics())
        assert np.isfinite(poses.rotations).all()


WORDS = (
    "HIERARCHY", "ROOT", "JOINT", "End", "Site", "OFFSET", "CHANNELS", "MOTION", "Frames:", "Frame", "Time:",
    "Xposition",
    "Yposition", "Zposition", "Xrotation", "Yrotation", "Zrotation", "{", "}", "0", "1", "3", "6", "7", "-1", "nan",
    "inf",
    "1e999", "1e50", "1e-320", "999999999", "80000000", "9" * 30, "\u00b2", "\u0664", "\x1f", "\x85", "\u2028", "\0",
    "\n", "\r",
    "spine", "upperarm_lf", "lowerarm_rt",
)  # fmt: skip

TARGETS = (Target("bvh", _bvh, of_words(WORDS), lines.motion_capture, short=180),)
