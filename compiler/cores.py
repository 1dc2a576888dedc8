"""How many processor cores there are to use."""

from __future__ import annotations

import os


def own_cores() -> int:
    """The processor cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
