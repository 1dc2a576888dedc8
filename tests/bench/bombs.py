"""Seconds of processor time and peak memory of texts that ask for too much work, each in a process of its own.

    python -m tests.bench.bombs [NAME...] [--command check] [--memory 3] [--seconds 60]

The first line is the command on a character without anything more. A line says how it ended: the exit code,
`memory` or `time` where it ran into the bound, and the first finding.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from tests.support.bombs import BOMBS, HEAD, written

CHILD = """
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[1]), int(sys.argv[1])))
from plica.commands import main
code = 70
try:
    code = main.run(sys.argv[2:])
except MemoryError:
    code = "memory"
except RecursionError:
    code = "recursion"
used = resource.getrusage(resource.RUSAGE_SELF)
print("\\n#", code, used.ru_maxrss // 1024, used.ru_utime + used.ru_stime, file=sys.stderr)
"""


class Outcome(NamedTuple):
    """How a run ended, its seconds of processor time (of waiting, where it did not end), its peak memory in MB, what it
    found first and how much it printed."""

    ended: str
    seconds: float
    megabytes: float
    first: str
    printed: int


def run(spec: Path, command: list[str], memory: float, seconds: float) -> Outcome:
    """One command on one spec."""
    start = time.perf_counter()
    arguments = [sys.executable, "-c", CHILD, str(int(memory * 2**30)), *command, str(spec)]
    try:
        done = subprocess.run(arguments, capture_output=True, timeout=seconds, check=False, cwd=spec.parent)
    except subprocess.TimeoutExpired:
        return Outcome("time", seconds, 0.0, "", 0)
    took = time.perf_counter() - start
    printed = (done.stdout + done.stderr).decode("utf-8", "replace")
    last = done.stderr.decode("utf-8", "replace").rpartition("\n# ")[2].split()
    ended, megabytes = (last[0], float(last[1])) if len(last) == 3 else (f"died {done.returncode}", 0.0)
    took = float(last[2]) if len(last) == 3 else took
    first = next((line for line in printed.splitlines() if ": error" in line or line.startswith("error")), "")
    return Outcome(ended, took, megabytes, first[:110], len(printed))


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("names", metavar="NAME", nargs="*")
    options.add_argument("--command", default="check")
    options.add_argument("--memory", type=float, default=3.0, help="GiB of address space")
    options.add_argument("--seconds", type=float, default=60.0)
    options.add_argument("--json", type=Path)
    given = options.parse_args()
    rows: dict[str, Outcome] = {}
    os.environ.setdefault("PYTHONDONTWRITEBYTECODE", "1")
    for name in given.names or ["", *BOMBS]:
        with tempfile.TemporaryDirectory() as folder:
            spec = Path(folder) / "spec.plica"
            if name:
                written(name, Path(folder))
            else:
                spec.write_text(HEAD, "utf-8")
            size = sum(path.stat().st_size for path in Path(folder).iterdir())
            rows[name] = result = run(spec, given.command.split(), given.memory, given.seconds)
        line = f"{name or '(nothing)':34} {size / 1000:9.1f} kB {result.seconds:7.2f} s {result.megabytes:7.0f} MB"
        print(f"{line} {result.ended:9} {result.printed / 1000:9.1f} kB out  {result.first}", flush=True)
    if given.json:
        given.json.write_text(json.dumps({name: result._asdict() for name, result in rows.items()}, indent=1), "utf-8")


if __name__ == "__main__":
    main()
