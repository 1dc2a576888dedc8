"""How often motion is looked at between two keys, where its format says what happens there.

A clip that is keyed by hand may have seconds between two keys. What skin and strengths do in between is seen as well,
so a figure over a clip must not rest on its keys alone.
"""

from __future__ import annotations

from math import ceil
from typing import Final

LOOKS_A_SECOND: Final = 24.0
"""Clips with a key for each frame of film or faster are looked at as they are. Common practice, no source."""
MOST_PARTS: Final = 180
"""A rotation takes the shorter way from key to key (glTF 2.0, Appendix C.4), at most 180 degrees: one for each part."""
_SLACK: Final = 0.01  # of a part: key times are in single precision, and 23.976 frames a second are as good as 24


def parts_between(seconds: float) -> int:
    """Into how many parts the time between two keys is cut to look at what happens there; 1: it is short enough.

    `seconds` may be any number: times of damaged files are judged by whoever reads these.
    """
    looks = seconds * LOOKS_A_SECOND
    if looks >= MOST_PARTS:
        return MOST_PARTS
    return max(1, ceil(looks - _SLACK)) if looks > 0.0 else 1
