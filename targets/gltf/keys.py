"""Few keys for values that change over time, with straight lines between them (glTF 2.0, Appendix C), within an error.

Places are looked for where straight lines between samples are not good enough, then samples that straight lines make
up for are left out, and the outcome is compared with the values again, at times of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
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
_FIRST_PARTS: Final = 3  # between two keys, so that a wave is not taken for a line because its middle lies on one
_CHECKED_AT: Final = (0.31, 0.77)  # places between two samples, where no samples are
_AT_ONCE: Final = 4096  # times


class Keys(NamedTuple):
    """times (k,) rising strictly, values (k, w), both as they are stored.

    largest_error: between the values and the straight lines, over `checked` times.
    """

    times: Singles
    values: Singles
    largest_error: float
    checked: int


def reduced_keys(values: Values, times: Floats, columns: Sequence[slice], error: float) -> list[Keys]:
    """Keys for each of several groups of columns of values over times (n,), which rise.

    None is off by more than `error`, as far as samples can tell; where one is, its `largest_error` says so.
    """
    places, held = _samples(values, times, _SAMPLED * error)
    stored = places.astype(np.float64)
    chosen = [_kept(stored, held[:, part], _REDUCED * error) for part in columns]
    lines = [(places[rows], held[rows, part].astype(np.float32)) for rows, part in zip(chosen, columns, strict=True)]
    between = [stored[:-1] + (stored[1:] - stored[:-1]) * share for share in _CHECKED_AT]
    largest = [_off_by(*line, stored, held[:, part]) for line, part in zip(lines, columns, strict=True)]
    every = np.concatenate(between)
    for start in range(0, len(every), _AT_ONCE):
        at = every[start : start + _AT_ONCE]
        there = values(at)
        for number, part in enumerate(columns):
            largest[number] = max(largest[number], _off_by(*lines[number], at, there[:, part]))
    checked = len(stored) + len(every)
    return [Keys(*line, off, checked) for line, off in zip(lines, largest, strict=True)]


def _samples(values: Values, times: Floats, error: float) -> tuple[Singles, Floats]:
    """Times, in single precision, between which straight lines are nearly as good as the values, and these there.

    Each of the times given has the one right before it beside it, so that jumps there stay jumps.
    """
    keys = np.unique(times.astype(np.float32))
    parts = keys[:-1, None] + np.diff(keys)[:, None] * np.arange(_FIRST_PARTS, dtype=np.float32) / _FIRST_PARTS
    before = np.nextafter(keys[1:], np.float32(-np.inf))
    places = np.unique(np.concatenate([parts.reshape(-1), before, keys]))
    held = _in_parts(values, places)
    looked_at = np.ones(max(len(places) - 1, 0), bool)  # for each sample but the last: whether what follows may be bent
    for _ in range(_ROUNDS):
        starts = np.flatnonzero(looked_at)
        middles = (places[starts] + (places[starts + 1] - places[starts]) / 2).astype(np.float32)
        inside = (middles > places[starts]) & (middles < places[starts + 1])
        starts, middles = starts[inside], middles[inside]
        if not len(middles) or len(places) + len(middles) > _MOST_SAMPLES:
            break
        there = _in_parts(values, middles)
        share = ((middles - places[starts]) / (places[starts + 1] - places[starts])).astype(np.float64)[:, None]
        lines = held[starts] + (held[starts + 1] - held[starts]) * share
        bent = np.abs(lines - there).max(axis=1, initial=0.0) > error
        at = starts[bent] + 1
        places, held = np.insert(places, at, middles[bent]), np.insert(held, at, there[bent], axis=0)
        new = at + np.arange(len(at))  # where the middles stand now
        looked_at = np.zeros(len(places) - 1, bool)
        looked_at[new] = looked_at[new - 1] = True
    return places, held


def _in_parts(values: Values, times: Singles) -> Floats:
    parts = [values(times[start : start + _AT_ONCE].astype(np.float64)) for start in range(0, len(times), _AT_ONCE)]
    return np.concatenate(parts)


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


def _off_by(keys: Singles, lines: Singles, times: Floats, values: Floats) -> float:
    """How far the stored lines are off at most at some times."""
    return float(np.abs(lines_at(keys, lines, times) - values).max(initial=0.0))


def lines_at(keys: Singles, lines: Singles, times: Floats) -> Floats:
    """The straight lines (n, w) between keys at times (n,), as a program shows them."""
    places = keys.astype(np.float64)
    result = np.empty((len(times), lines.shape[1]))
    for column, values in enumerate(lines.T.astype(np.float64)):
        result[:, column] = np.interp(times, places, values)
    return result
