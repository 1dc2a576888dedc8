"""Targets that go wrong in every way that the harness must notice; its own tests run them."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable
from contextlib import suppress

from tests.fuzz.mutate import of_bytes
from tests.fuzz.target import MIB, Target

_HELD: list[bytes] = []


def _raises(data: bytes) -> None:
    if b"bad" in data:
        raise ValueError("of no use")


def _takes_memory(data: bytes) -> None:
    bytearray(200 * MIB)


def _hides_that_memory_ran_out(data: bytes) -> None:
    held = []
    with suppress(Exception):
        while True:
            held.append(b"x" * MIB)


def _loops(data: bytes) -> None:
    while True:
        with suppress(Exception):
            sum(range(1000))


def _sleeps(data: bytes) -> None:
    time.sleep(1000)


def _breaks_down(data: bytes) -> None:
    if b"bad" in data:
        os.kill(os.getpid(), signal.SIGSEGV)


def _never_ends(data: bytes) -> None:
    _never_ends(data)


def _does_well(data: bytes) -> None:
    _HELD.append(data)


def _target(name: str, entry: Callable[[bytes], None], seconds: float = 0.2) -> Target:
    return Target(name, entry, of_bytes((b"bad",)), memory=64 * MIB, seconds=seconds, seconds_per_byte=0.0)


TARGETS = {
    target.name: target
    for target in (
        _target("raises", _raises),
        _target("takes-memory", _takes_memory),
        _target("hides", _hides_that_memory_ran_out),
        _target("loops", _loops),
        _target("sleeps", _sleeps, seconds=0.05),
        _target("breaks-down", _breaks_down),
        _target("never-ends", _never_ends),
        _target("does-well", _does_well),
    )
}
