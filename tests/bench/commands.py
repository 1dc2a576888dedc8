"""Commands of Plica as somebody waits for them: each a process of its own."""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path
from time import perf_counter
from typing import NamedTuple


class Spent(NamedTuple):
    """Seconds on the clock and of all processors, and the MiB of the process that took most."""

    clock: float
    processor: float
    memory: float


_MEASURED = """
import json, resource, runpy, sys
sys.argv = ["plica", *sys.argv[1:]]
code = 0
try:
    runpy.run_module("plica", run_name="__main__")
except SystemExit as end:
    code = end.code or 0
own, below = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
print(json.dumps(max(own.ru_maxrss, below.ru_maxrss)), file=sys.stderr)
sys.exit(code)
"""


def spent(folder: Path, *words: str, codes: tuple[int, ...] = (0,)) -> Spent:
    """Run `plica WORDS` in a folder. Raises RuntimeError for an exit code that is not among `codes`."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", _MEASURED, *words], cwd=folder, capture_output=True, text=True, check=False
    )
    clock, after = perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in codes:
        raise RuntimeError(f"plica {' '.join(words)} ended with {done.returncode}:\n{done.stdout}{done.stderr}")
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Spent(clock, processor, float(done.stderr.splitlines()[-1]) / 1024)
