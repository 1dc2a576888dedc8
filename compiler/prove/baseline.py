"""Figures that were accepted: a later run tells what got worse.

The file is JSON: `{"format": "plica-baseline", "version": 1, "accepted": {expectation: figure}}`, figures in the inside
unit of the measure, sorted by expectation.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping
from math import isfinite
from typing import Final

from plica.kinds.expectations import expectation_kind
from plica.plain_data import UnreadableDataError, json_of, usable
from plica.prove.results import Result

FORMAT: Final = "plica-baseline"
VERSION: Final = 1
# Figures that differ by less than this share are the same: machines round differently.
SAME: Final = 1e-6
_SMALL: Final = 1e-12


class UnreadableBaselineError(Exception):
    """Why a text is no baseline."""


def written(results: Iterable[Result]) -> bytes:
    """The baseline of these results, as bytes of JSON; a figure beyond all bounds is none that can be accepted."""
    accepted = {one.title: one.worst for one in results if one.worst is not None and isfinite(one.worst)}
    document = {"format": FORMAT, "version": VERSION, "accepted": dict(sorted(accepted.items()))}
    return (json.dumps(document, indent=2) + "\n").encode("ascii")


def read(text: bytes) -> Mapping[str, float]:
    """The accepted figures. Raises UnreadableBaselineError."""
    try:
        document = usable(json_of(text))
    except UnreadableDataError as error:
        raise UnreadableBaselineError(str(error)) from None
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise UnreadableBaselineError(f"its format is not `{FORMAT}`")
    version = document.get("version")
    if type(version) is not int or version != VERSION:
        raise UnreadableBaselineError(f"its version is not {VERSION}")
    accepted = document.get("accepted")
    if not isinstance(accepted, dict):
        raise UnreadableBaselineError("it holds no accepted figures")
    for name, figure in accepted.items():
        if not isinstance(figure, int | float) or isinstance(figure, bool):
            raise UnreadableBaselineError(f"the figure of `{name}` is no number")
        if isinstance(figure, int) and abs(figure) > sys.float_info.max:
            raise UnreadableBaselineError(f"the figure of `{name}` is larger than any figure can be")
    return {name: float(figure) for name, figure in accepted.items()}


def is_worse(result: Result, accepted: float) -> bool:
    """Whether a figure is worse than the accepted one by more than rounding."""
    return _worsening(result, accepted) > 0.0


def is_better(result: Result, accepted: float) -> bool:
    """Whether a figure is better than the accepted one by more than rounding."""
    return _worsening(result, accepted) < 0.0


def _worsening(result: Result, accepted: float) -> float:
    """By how much a figure is worse than the accepted one, less than 0 where it is better; 0 for rounding."""
    if result.worst is None:
        return 0.0
    worse = expectation_kind(result.expectation.kind).worse
    apart = worse.badness(result.worst) - worse.badness(accepted)
    return 0.0 if abs(apart) <= SAME * abs(accepted) + _SMALL else apart
