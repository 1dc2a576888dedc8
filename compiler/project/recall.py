"""Outcomes of earlier runs, used again only where everything that was looked at would be seen as it was.

With each outcome stands every question that its work asked of the disk, and the answer: what was read, byte for byte,
where paths led, and what was not there. All are asked again. What computes is part of the key: Plica's own files, and
the versions of what it runs on.
"""

from __future__ import annotations

import json
import os
import platform
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import cache
from hashlib import file_digest, sha256
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final, NamedTuple

from plica import limits, observations, regular_files
from plica.observations import Observation, Observations
from plica.project.outcome import Outcome, read, written
from plica.prove.cache.disk import DiskCache

KIND: Final = "outcomes"
_CODE: Final = (".py", ".lark", ".json", ".toml", ".jinja")
# Files whose state changed since this long before a run began may have changed again within one tick of the clock.
_RACY_NANOSECONDS: Final = 2_000_000_000


class Job(NamedTuple):
    """A piece of work on one spec.

    work: a function of a module, which other processes find by its name. spec: absolute; shown: as a user would write
    it. options: plain data as JSON. packages: whose versions count. kept: whether the outcome may be used again.
    processes: that may work on it at once, 0 for as many as its work usually has.
    """

    work: Callable[[Job], Outcome]
    spec: str
    shown: str
    options: str
    packages: tuple[str, ...] = ("lark", "usd-core")
    kept: bool = True
    processes: int = 1


class Done(NamedTuple):
    """A job that was done: its outcome, the seconds it took, and what it saw; None where nothing can be kept."""

    outcome: Outcome
    seconds: float
    seen: tuple[Observation, ...] | None


def done(job: Job) -> Done:
    """Does a job, whatever happens: a mistake of Plica's own is part of the outcome, so that it hides no other one."""

    def work() -> Outcome:
        try:
            return job.work(job)
        except Exception as error:
            return Outcome(crash="".join(traceback.format_exception(error)))

    return watched(job, work)


def watched(job: Job, work: Callable[[], Outcome]) -> Done:
    """What the work of a job gave, and what it saw on the disk; what it raises is raised."""
    began, clock = time.time_ns(), time.perf_counter()
    with observations.noting() as noted:
        outcome = work()
    usable = job.kept and not (outcome.crash or outcome.unfinished)
    seen = _all_seen(noted, began) if usable else None
    return Done(outcome, time.perf_counter() - clock, seen)


def _all_seen(noted: Observations, began: int) -> tuple[Observation, ...] | None:
    """What was seen, with the digests of files that another process read; None where it is not certain."""
    if noted.uncertain:
        return None
    for path in noted.whole_files:
        try:
            if path.stat().st_ctime_ns > began - _RACY_NANOSECONDS:
                return None
        except OSError:
            pass  # a file that was looked for and is not there
        noted.seen[Observation("file", str(path), "", _digest(path))] = None
    return tuple(noted.seen)


class KeptOutcomes:
    """The outcomes in a cache; without a store there are none. What is asked of the disk is asked once."""

    def __init__(self, store: DiskCache | None) -> None:
        self.store = store
        self._answers: dict[tuple[str, str, str], str] = {}

    def outcome(self, job: Job) -> Outcome | None:
        """The outcome of an earlier run that would be the same now; None for none."""
        if self.store is None or not job.kept:
            return None
        content = self.store.get(KIND, _key(job))
        if content is None:
            return None
        with suppress(ValueError, KeyError, TypeError, IndexError, AttributeError, RecursionError):
            held = json.loads(content)
            if all(self._is_so(Observation(*one)) for one in held["seen"]):
                return read(held["outcome"])
        return None

    def keep(self, job: Job, result: Done) -> None:
        """Keeps an outcome for later runs."""
        if self.store is not None and result.seen is not None:
            held = {"seen": result.seen, "outcome": written(result.outcome)}
            self.store.put(KIND, _key(job), json.dumps(held).encode("ascii"))

    def _is_so(self, one: Observation) -> bool:
        asked = one.question, one.path, one.detail
        if asked not in self._answers:
            self._answers[asked] = _answer(one)
        return self._answers[asked] == one.answer


def _answer(one: Observation) -> str:
    """What the disk answers now."""
    path = Path(one.path)
    match one.question:
        case "bytes":
            return _stretch(path, *map(int, one.detail.split(":")))
        case "file":
            return _digest(path)
    with observations.noting() as noted, suppress(OSError, RuntimeError, ValueError, regular_files.Unreadable):
        match one.question:
            case "place":
                regular_files.resolved(path)
            case "kind":
                regular_files.kind_of(path)
            case "open":
                regular_files.opened(path, one.detail).close()
    return next((seen.answer for seen in noted.seen if seen.question == one.question), "no answer")


def _stretch(path: Path, offset: int, length: int) -> str:
    try:
        with regular_files.opened(path, "model_bytes") as stream:
            stream.seek(offset)
            return sha256(stream.read(length)).hexdigest()
    except (regular_files.Unreadable, OSError):
        return "unreadable"


def _digest(path: Path) -> str:
    """A digest of a whole file; "" for one that cannot be read."""
    try:
        with regular_files.opened(path, "model_bytes") as stream:
            return file_digest(stream, "sha256").hexdigest()
    except (regular_files.Unreadable, OSError):
        return ""


# ---- what computes


def _key(job: Job) -> str:
    own = f"{job.work.__module__}.{job.work.__qualname__}"
    here = os.getcwd()  # noqa: PTH109 - which relative paths are from
    parts: list[Any] = [own, job.spec, job.shown, here, job.options, limits.in_force(), code_digest()]
    parts += [installed_version(name) for name in job.packages]
    return sha256(repr(parts).encode("utf-8", "surrogatepass")).hexdigest()


@cache
def code_digest() -> str:
    """A digest of Plica's own files, and of the Python and the kind of machine that run them."""
    made = sha256(repr((sys.version_info, sys.platform, platform.machine(), sys.byteorder)).encode())
    for package in ("plica", "plica.grammar", "plica.targets"):
        spec = find_spec(package)
        for folder in (spec.submodule_search_locations if spec is not None else None) or ():
            for path in sorted(_code_below(folder)):
                made.update(f"{package} {os.path.relpath(path, folder)} ".encode("utf-8", "surrogatepass"))
                made.update(Path(path).read_bytes())
    return made.hexdigest()


def _code_below(folder: str) -> Iterator[str]:
    for place, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if name != "__pycache__" and not name.startswith(".")]
        yield from (os.path.join(place, name) for name in files if name.endswith(_CODE))  # noqa: PTH118


def installed_version(package: str) -> str:
    """The version of a package; "" where it is not installed."""
    return _installed().get(package.lower().replace("-", "_"), "")


@cache
def _installed() -> dict[str, str]:
    """The versions of installed packages by name, from the names of the folders that describe them.

    They are called NAME-VERSION.dist-info (Python Packaging User Guide, "Recording installed projects").
    `importlib.metadata` takes longer to load than this.
    """
    result: dict[str, str] = {}
    for folder in sys.path:
        with suppress(OSError):
            for entry in sorted(os.listdir(folder or ".")):  # noqa: PTH208 - names alone, many of them
                name, _, version = entry.removesuffix(".dist-info").partition("-")
                if entry.endswith(".dist-info"):
                    result.setdefault(name.lower(), version)
    return result
