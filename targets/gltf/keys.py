"""Few keys for values that change over time, with straight lines between them (glTF 2.0, Appendix C), within an error.

Places are looked for where straight lines between samples are not good enough, then samples that straight lines make
up for are left out, and the outcome is compared with the values again, at times of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats

Singles = NDArray[np.float32]
Values = Callable[[Floats], Floats]
"""The values (n, w) at times (n,)."""

_SAMPLED: Final = 0.2
_REDUCED: Final = 0.7
"""Shares of the error that samples between keys, and samples left out, may take; what is left is for rounding."""
_ROUNDS: Final = 8
_MOST_SAMPLES: Final = 200_000
_FIRST_PARTS: Final = 4  # between two keys, so that a wave is not taken for a line because its middle lies on one
_CHECKED_AT: Final = (0.09, 0.31, 0.5, 0.77, 0.93)  # places between two samples, where no samples are


class Keys(NamedTuple):
    """times (k,) rising strictly, values (k, w), both as they are stored.

    largest_error: between the values and the straight lines, over `checked` times.
    """

    times: Singles
    values: Singles
    largest_error: float
    checked: int


def reduced_keys(values: Values, times: Floats, error: float) -> Keys:
    """Keys for values over times (n,), which rise, that are off by at most `error`, as far as samples can tell.

    Where they are off by more, `largest_error` says so.
    """
    places = _samples(values, times, _SAMPLED * error)
    stored = places.astype(np.float64)
    held = values(stored)
    chosen = _kept(stored, held, _REDUCED * error)
    keys, lines = places[chosen], held[chosen].astype(np.float32)
    return Keys(keys, lines, *_off_by(values, stored, keys, lines))


def _samples(values: Values, times: Floats, error: float) -> Singles:
    """Times, in single precision, between which straight lines are nearly as good as the values themselves.

    Each time has the one right before it beside it, so that jumps there stay jumps.
    """
    keys = np.unique(times.astype(np.float32))
    parts = keys[:-1, None] + np.diff(keys)[:, None] * np.arange(_FIRST_PARTS, dtype=np.float32) / _FIRST_PARTS
    before = np.nextafter(keys[1:], np.float32(-np.inf))
    places = np.unique(np.concatenate([parts.reshape(-1), before, keys]))
    starts, ends = places[:-1], places[1:]
    for _ in range(_ROUNDS):
        middles = (starts + (ends - starts) / 2).astype(np.float32)
        inside = (middles > starts) & (middles < ends)
        starts, middles, ends = starts[inside], middles[inside], ends[inside]
        if not len(middles) or len(places) + len(middles) > _MOST_SAMPLES:
            break
        first, there, last = (values(part.astype(np.float64)) for part in (starts, middles, ends))
        share = ((middles - starts) / (ends - starts)).astype(np.float64)[:, None]
        bent = np.abs(first + (last - first) * share - there).max(axis=1, initial=0.0) > error
        places = np.unique(np.concatenate([places, middles[bent]]))
        starts, ends = (
            np.concatenate([starts[bent], middles[bent]]),
            np.concatenate([middles[bent], ends[bent]]),
        )
    return places


def _kept(times: Floats, values: Floats, error: float) -> NDArray[np.intp]:
    """The rows that are kept: from each a long straight line that is off by at most `error` at the rows left out."""
    kept, row, last = [0], 0, len(times) - 1
    while row < last:
        reach = 1
        while row + 2 * reach <= last and _is_straight(times, values, row, row + 2 * reach, error):
            reach *= 2
        low, high = row + reach, min(row + 2 * reach, last)
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if _is_straight(times, values, row, middle, error) else (low, middle - 1)
        kept.append(low)
        row = low
    return np.array(kept)


def _is_straight(times: Floats, values: Floats, first: int, last: int, error: float) -> bool:
    share = ((times[first : last + 1] - times[first]) / (times[last] - times[first]))[:, None]
    line = values[first] + (values[last] - values[first]) * share
    return bool(np.abs(line - values[first : last + 1]).max(initial=0.0) <= error)


def _off_by(values: Values, samples: Floats, keys: Singles, lines: Singles) -> tuple[float, int]:
    """The largest error of the stored lines at and between the samples, and at how many times it was looked for."""
    between = [samples[:-1] + (samples[1:] - samples[:-1]) * part for part in _CHECKED_AT]
    times = np.concatenate([samples, *between])
    largest = 0.0
    for start in range(0, len(times), 4096):
        part = times[start : start + 4096]
        largest = max(largest, float(np.abs(lines_at(keys, lines, part) - values(part)).max(initial=0.0)))
    return largest, len(times)


def lines_at(keys: Singles, lines: Singles, times: Floats) -> Floats:
    """The straight lines (n, w) between keys at times (n,), as a program shows them."""
    places = keys.astype(np.float64)
    values = lines.astype(np.float64)
    return np.stack([np.interp(times, places, column) for column in values.T], axis=1).reshape(len(times), -1)
