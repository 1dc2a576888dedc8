"""The tests with one fault in one module, in a process of its own.

`Trials` keeps a process that has loaded everything but Plica, and is copied for each trial, so that a trial costs the
loading of Plica and the tests alone. The fault is put in as the module is imported, so nothing on disk changes.
"""

from __future__ import annotations

import gc
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import suppress
from importlib import import_module
from importlib.machinery import ModuleSpec, SourceFileLoader
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

import pytest

from tests.mutation.mutants import full_name, mutated

ROOT = Path(__file__).parents[2]
# What tests and Plica load; none of it loads Plica. What is not installed is left out.
HEAVY = (
    "distributed", "fcl", "hypothesis.strategies", "igl", "jinja2", "jsonschema", "lark", "numpy.testing", "PIL.Image",
    "PIL.ImageDraw", "pydantic", "pygltflib", "rich.table", "scipy.interpolate", "scipy.optimize",
    "scipy.sparse.csgraph", "scipy.sparse.linalg", "scipy.spatial.transform", "trimesh", "xml.etree.ElementTree",
)  # fmt: skip
OTHER_VERSION = 71
"""The status of a trial whose module is installed in another version than that of the working tree."""
MOST_BYTES = 6 << 30
# Seconds of the processor, so that a busy machine makes no mutant endless, and of the clock for what waits for ever.
PROCESSOR, CLOCK = (20.0, 4.0), (600.0, 30.0)


class Fault(NamedTuple):
    """The mutant of a module by its number; None for no fault."""

    module: str
    number: int | None


class Trial(NamedTuple):
    """How pytest ended (below 0: by a signal), and what it wrote."""

    status: int
    output: str


class Trials:
    """Makes trials one after the other."""

    def __init__(self) -> None:
        command = [sys.executable, "-m", "tests.mutation.trial"]
        self._process = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def run(self, fault: Fault, tests: Sequence[str], seconds: float) -> Trial:
        """`seconds`: what the tests take without a fault, which says from when on the mutant counts as endless."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps([*fault, [*tests], seconds]) + "\n")
        self._process.stdin.flush()
        return Trial(*json.loads(self._process.stdout.readline()))

    def close(self) -> None:
        """Ends the process."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait()
        self._process.stdout.close()


class _Faulty(SourceFileLoader):
    """Loads one module with its fault."""

    source = Path()
    number = 0

    def get_code(self, fullname: str) -> object:  # type: ignore[override]
        if Path(self.path).read_bytes() != self.source.read_bytes():
            os._exit(OTHER_VERSION)  # an exception would pass for a fault that was noticed
        return compile(mutated(self.source, self.number), self.path, "exec", dont_inherit=True)


class _Finder:
    """Stands before all other finders, for one module."""

    def __init__(self, module: Path, number: int) -> None:
        self._name, self._source, self._number = full_name(module), ROOT / module, number

    def find_spec(self, fullname: str, path: object = None, target: ModuleType | None = None) -> ModuleSpec | None:
        if fullname != self._name:
            return None
        for finder in sys.meta_path:
            if finder is self or not hasattr(finder, "find_spec"):
                continue
            spec = finder.find_spec(fullname, path, target)  # type: ignore[arg-type]
            if spec is not None and spec.origin:
                loader = _Faulty(fullname, spec.origin)
                loader.source, loader.number = self._source, self._number
                spec.loader = loader
                return spec
        return None


def _serve() -> None:
    """One trial for each line of standard input."""
    for name in HEAVY:
        with suppress(ImportError):
            import_module(name)
    gc.freeze()  # so that copies of this process share what it has loaded
    loaded = [name for name in sys.modules if name.partition(".")[0] == "plica"]
    assert not loaded, f"a fault would not reach {loaded[0]}"
    for line in sys.stdin:
        module, number, tests, seconds = json.loads(line)
        with tempfile.TemporaryFile() as file:
            process = os.fork()
            if process == 0:
                _become(Fault(module, number), tests, seconds, file.fileno())
            status = _status(process, CLOCK[0] + CLOCK[1] * seconds)
            file.seek(0)
            answer = json.dumps([status, file.read().decode("utf-8", "replace")])
        sys.stdout.write(answer + "\n")
        sys.stdout.flush()


def _become(fault: Fault, tests: list[str], seconds: float, output: int) -> None:
    """Turns this process into the trial."""
    status = 70
    try:
        os.setsid()
        nothing = os.open(os.devnull, os.O_RDONLY)
        for given, standard in ((nothing, 0), (output, 1), (output, 2)):
            os.dup2(given, standard)
        limit = int(PROCESSOR[0] + PROCESSOR[1] * seconds)
        resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 5))
        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
        status = _tested(fault, tests)
        sys.stdout.flush()
    finally:
        os._exit(status)


def _tested(fault: Fault, tests: list[str]) -> int:
    if fault.number is not None:
        sys.meta_path.insert(0, _Finder(Path(fault.module), fault.number))  # type: ignore[arg-type]
    sys.dont_write_bytecode = True
    options = ["-x", "-q", "--no-header", "-p", "no:cacheprovider", "-o", "addopts=--import-mode=importlib"]
    return int(pytest.main([*options, "--tb=no", "-rfE", *tests]))


def _status(process: int, seconds: float) -> int:
    """How the process ended. What it started ends with it."""
    ends = time.monotonic() + seconds
    while (ended := os.waitpid(process, os.WNOHANG))[0] == 0 and time.monotonic() < ends:
        time.sleep(0.01)
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(process, signal.SIGKILL)
    return os.waitstatus_to_exitcode(ended[1] if ended[0] else os.waitpid(process, 0)[1])


if __name__ == "__main__":
    _serve()
