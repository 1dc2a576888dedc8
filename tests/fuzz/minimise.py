"""Makes an input that fails smaller, as long as it fails for the same cause."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

from tests.fuzz.campaign import Plan, verdicts
from tests.fuzz.findings import Finding
from tests.fuzz.target import Target

_AT_ONCE = 24  # candidates that one process judges: starting it takes longer than they do


def minimised(target: Target, finding: Finding, seconds: float, registry: str = Plan().registry) -> Finding:
    """The finding with a smaller input, after at most about so many seconds; as it is where it does not come again."""

    def causes(inputs: list[bytes]) -> list[str]:
        return [result.cause if result is not None else "" for result in verdicts(target, inputs, registry)]

    if causes([finding.data]) != [finding.cause]:
        return finding
    ends = time.monotonic() + seconds
    return finding._replace(data=smaller(finding.data, finding.cause, causes, lambda: time.monotonic() > ends))


def smaller(data: bytes, cause: str, causes: Callable[[list[bytes]], list[str]], over: Callable[[], bool]) -> bytes:
    """The data without the pieces that the cause does not need: halves first, then ever smaller ones.

    `causes` tells the cause of each of several inputs, `over` whether to stop.
    """
    piece = max(len(data) // 2, 1)
    while not over():
        before = data
        start = 0
        while start < len(data) and not over():
            batch = list(_without(data, piece, start))[:_AT_ONCE]
            result = causes([candidate for _, candidate in batch])
            hit = next((number for number, one in enumerate(result) if one == cause), None)
            if hit is None:
                start = batch[-1][0] + piece
            else:
                start, data = batch[hit]
        if data == before and piece == 1:
            break
        if data == before or piece > len(data):
            piece = max(min(piece, len(data)) // 2, 1)
    return data


def _without(data: bytes, piece: int, start: int) -> Iterator[tuple[int, bytes]]:
    """The data with one piece left out, and where it was."""
    for at in range(start, len(data), piece):
        yield at, data[:at] + data[at + piece :]
