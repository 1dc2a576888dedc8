"""Runs targets, each in a process of its own that is watched from here, and gathers what they find."""

from __future__ import annotations

import importlib.util
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final, NamedTuple

from tests.fuzz.findings import Finding, keep, kept
from tests.fuzz.judge import Verdict
from tests.fuzz.state import State
from tests.fuzz.target import HERE, Target

ROOT: Final = HERE.parents[1]
START_SECONDS: Final = 180.0  # to import everything, on a busy machine
WALL: Final = 20.0  # how many times an input's processor time may pass on the clock before the process is ended
_LOOK: Final = 0.05
_MOST_RESTARTS: Final = 200


class Plan(NamedTuple):
    """How to run a target: on given files, and for how many inputs or seconds, guided by coverage or not.

    With files and neither a number of inputs nor guidance, the files are all.

    face: `bytes` for inputs that are changed, `grammar` for those that are written, `both` in turn. `registry` is the
    module that knows the target by its name.
    """

    face: str = "bytes"
    seed: int = 0
    inputs: int | None = None
    seconds: float | None = None
    guided: bool = False
    files: tuple[Path, ...] = ()
    registry: str = "tests.fuzz.targets"


class Outcome(NamedTuple):
    """What a run gave. `of_files`: the findings of each of the plan's files, by its number.

    seconds: on the clock; processor: seconds of processor time, starting included.
    """

    inputs: int
    seconds: float
    processor: float
    findings: list[Finding]
    of_files: dict[int, Finding]


def can_be_guided() -> bool:
    """Whether atheris is there."""
    return importlib.util.find_spec("atheris") is not None


def missing(target: Target) -> list[str]:
    """The modules that a target needs and that are not installed."""
    return [name for name in target.needs if importlib.util.find_spec(name) is None]


def run(target: Target, plan: Plan, folder: Path | None = None) -> Outcome:
    """Run one target; in a folder that is kept, or in one that is gone afterwards."""
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        return _Run(target, plan, folder).outcome()
    with tempfile.TemporaryDirectory(prefix="plica-fuzz-") as made:
        return _Run(target, plan, Path(made)).outcome()


def verdicts(target: Target, inputs: Sequence[bytes], registry: str = Plan().registry) -> list[Finding | None]:
    """What is wrong with each of these inputs, in a fresh process."""
    with tempfile.TemporaryDirectory(prefix="plica-fuzz-") as made:
        files = []
        for number, data in enumerate(inputs):
            files.append(Path(made) / f"input-{number}")
            files[-1].write_bytes(data)
        result = run(target, Plan(files=tuple(files), registry=registry)).of_files
        return [result.get(number) for number in range(len(inputs))]


class _Run:
    def __init__(self, target: Target, plan: Plan, folder: Path) -> None:
        self._target, self._plan, self._folder = target, plan, folder
        longest = max([target.longest, *(path.stat().st_size for path in plan.files)])
        self._state = State(folder / "state", longest)
        self._skip = 0

    def outcome(self) -> Outcome:
        start, processor = time.monotonic(), _processor()
        inputs = 0
        for _ in range(_MOST_RESTARTS):
            left = None if self._plan.seconds is None else self._plan.seconds - (time.monotonic() - start)
            if left is not None and left <= 0:
                break
            before = self._state.count
            broke = self._one_process(left)
            inputs = self._state.count
            self._skip += inputs - before
            if broke is None:
                break
            self._keep(*broke)
        else:
            raise RuntimeError(f"the process of {self._target.name} ended {_MOST_RESTARTS} times")
        findings = self._folder / "findings"
        of_files = {
            number: result for number in range(len(self._plan.files)) for result in kept(findings / str(number))
        }
        return Outcome(inputs, time.monotonic() - start, _processor() - processor, kept(findings), of_files)

    def _one_process(self, seconds: float | None) -> tuple[bytes, Verdict] | None:
        """Watch one worker to its end; the input that ended it, None for none."""
        self._state.end()  # of what a process before this one was ended at
        with (self._folder / "log").open("wb") as log:
            process = subprocess.Popen(
                self._command(seconds), cwd=ROOT, env=_environment(self._folder), stdin=subprocess.DEVNULL,
                stdout=log, stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
            try:
                hung = self._watch(process)
            finally:
                _end(process)
        if hung is not None:
            return hung, Verdict("hangs", f"more than {self._wall(len(hung)):.0f} s on the clock")
        if process.returncode == 0:
            return None
        running = self._state.running
        told = (self._folder / "log").read_bytes()[-3000:].decode("utf-8", "replace")
        if running is None:
            raise RuntimeError(f"the worker of {self._target.name} failed:\n{told}")
        return running[1], Verdict(f"process ended: {_way(process.returncode)}", told)

    def _watch(self, process: subprocess.Popen[bytes]) -> bytes | None:
        """Wait for the end; the input that takes too long on the clock, if one does."""
        started, first = time.monotonic(), self._state.count
        while process.poll() is None:
            time.sleep(_LOOK)
            running = self._state.running
            if running is not None and running[0] > self._wall(len(running[1])):
                return running[1]
            if self._state.count == first and time.monotonic() - started > START_SECONDS:
                raise RuntimeError(f"the worker of {self._target.name} did not start")
        return None

    def _wall(self, length: int) -> float:
        return WALL * self._target.time_for(length)

    def _keep(self, data: bytes, verdict: Verdict) -> None:
        number = str(self._skip - 1) if self._skip <= len(self._plan.files) else ""
        keep(self._folder / "findings" / number, data, verdict)

    def _command(self, seconds: float | None) -> list[str]:
        plan = self._plan
        command = [sys.executable, "-m", "tests.fuzz.worker", self._target.name, str(self._folder)]
        command += ["--face", plan.face, "--seed", str(plan.seed), "--skip", str(self._skip)]
        command += ["--registry", plan.registry]
        command += ["--guided"] if plan.guided else []
        command += ["--inputs", str(plan.inputs)] if plan.inputs is not None else []
        command += ["--seconds", str(seconds)] if seconds is not None else []
        return command + [word for path in plan.files for word in ("--file", str(path))]


def _processor() -> float:
    """Seconds of processor time that the processes started from here took, those that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _environment(folder: Path) -> dict[str, str]:
    """One thread, one arena for memory, hashes that are the same every time, and a cache of its own."""
    own = {name: value for name, value in os.environ.items() if not name.startswith("PLICA_")}
    single = dict.fromkeys(
        ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "PXR_WORK_THREAD_LIMIT", "MALLOC_ARENA_MAX"), "1"
    )
    places = {"XDG_CACHE_HOME": str(folder / "cache"), "TMPDIR": str(_made(folder / "tmp"))}
    return own | single | places | {"PYTHONHASHSEED": "0", "PLICA_DEBUG": "1", "NO_COLOR": "1"}


def _made(folder: Path) -> Path:
    shutil.rmtree(folder, ignore_errors=True)  # what a process left that was ended
    folder.mkdir()
    return folder


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a worker and whatever it started, which is a group of its own, unless it ended well."""
    if process.poll() != 0:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def _way(code: int) -> str:
    return signal.Signals(-code).name if code < 0 else f"exit {code}"
