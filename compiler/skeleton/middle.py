"""The median of a few numbers."""

from __future__ import annotations

from collections.abc import Iterable


def median(values: Iterable[float]) -> float:
    """As `statistics.median`, whose module takes long to load. Raises IndexError for no values."""
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2
