"""Runs one input under its limits and says what is wrong with how it was taken, if anything."""

from __future__ import annotations

import os
import resource
import signal
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import NamedTuple

from tests.fuzz.target import Target

WATCHES_MEMORY = sys.platform == "linux"
_AGAIN = 1.0  # seconds after which a wish to stop is repeated: an exception within a finaliser is lost
_OWN = ("plica.", "tests.fuzz.")


class Verdict(NamedTuple):
    """What is wrong. `cause` is the same for inputs that fail for one reason; `detail` is for people."""

    cause: str
    detail: str


class TooSlowError(BaseException):
    """Raised in the midst of an input that took its time; no `except Exception` may take it for its own."""


class Judge:
    """Judges inputs of one target. `slack` multiplies its time, for code that is watched."""

    def __init__(self, target: Target, slack: float = 1.0) -> None:
        self._target = target
        self._slack = slack
        signal.signal(signal.SIGPROF, _stop)

    def __call__(self, data: bytes) -> Verdict | None:
        """None where the input was taken as it should be."""
        seconds = self._target.time_for(len(data)) * self._slack
        memory = _Memory(self._target.memory)
        try:
            with memory, _at_most(seconds):
                self._target.entry(data)
        except TooSlowError as error:
            module = _place(error).rpartition(".")[0]
            return Verdict(f"slow in {module}", f"more than {seconds:.1f} s for {len(data)} bytes\n{_trace(error)}")
        except MemoryError as error:
            told = f"more than {self._target.memory >> 20} MiB for {len(data)} bytes\n{_trace(error)}"
            return Verdict(f"memory in {_place(error)}", told)
        except (Exception, SystemExit) as error:
            return Verdict(f"{_kind(error)} in {_place(error)}", _trace(error))
        if memory.taken > self._target.memory // 2:
            return Verdict("memory", f"{memory.taken >> 20} MiB for {len(data)} bytes")
        return None


class ReportedError(Exception):
    """A mistake that the product caught and reported: `place` is where it says that it happened."""

    def __init__(self, kind: str, place: str, report: str) -> None:
        super().__init__(report)
        self.kind, self.place = kind, place


def _stop(number: int, frame: FrameType | None) -> None:
    raise TooSlowError


@contextmanager
def _at_most(seconds: float) -> Iterator[None]:
    signal.setitimer(signal.ITIMER_PROF, seconds, _AGAIN)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)


class _Memory:
    """While it is entered no more than so many bytes can be had; `taken` is the most that was. Only on Linux."""

    def __init__(self, most: int) -> None:
        self._most = most
        self.taken = 0

    def __enter__(self) -> None:
        if WATCHES_MEMORY:
            Path("/proc/self/clear_refs").write_bytes(b"5")  # proc(5): the peak counts from here
            self._before = _status("VmRSS")
            _limit_addresses(_status("VmSize") + self._most)

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        if WATCHES_MEMORY:
            _limit_addresses(resource.RLIM_INFINITY)
            self.taken = _status("VmHWM") - self._before


def _limit_addresses(most: int) -> None:
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    known = [limit for limit in (most, hard) if limit != resource.RLIM_INFINITY]
    resource.setrlimit(resource.RLIMIT_AS, (min(known, default=resource.RLIM_INFINITY), hard))


def _status(field: str) -> int:
    """Bytes, as the kernel counts them for this process."""
    result = os.open("/proc/self/status", os.O_RDONLY)
    try:
        text = os.read(result, 8192)
    finally:
        os.close(result)
    start = text.index(field.encode()) + len(field) + 1
    return int(text[start : text.index(b"kB", start)]) * 1024


def _kind(error: BaseException) -> str:
    return error.kind if isinstance(error, ReportedError) else type(error).__name__


def _place(error: BaseException) -> str:
    """Module and function of the innermost frame that is Plica's or the harness's."""
    if isinstance(error, ReportedError):
        return error.place
    place, trace = "an unknown place", error.__traceback__
    while trace is not None:
        module = str(trace.tb_frame.f_globals.get("__name__", ""))
        if module.startswith(_OWN) and not module.startswith("tests.fuzz.judge"):
            place = f"{module}.{trace.tb_frame.f_code.co_name}"
        trace = trace.tb_next
    return place


def _trace(error: BaseException) -> str:
    """The end of the traceback; what is said in it is not longer than a page."""
    lines = "".join(traceback.format_exception(error, limit=-12)).splitlines()
    return "\n".join(line[:300] for line in lines[-60:])
