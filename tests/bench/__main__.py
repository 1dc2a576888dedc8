"""Every benchmark that has a goal, and one table of what it measured, goal, reference and result.

    python -m tests.bench [NAME...] [--list] [--minutes 15]

Each runs in a process of its own, one after the other, on a machine that should do nothing else. What a benchmark
prints goes to standard error as it comes; the table goes to standard output at the end, as Markdown. One that fails, or
is not done within its share of the minutes, is a row that says so: a figure that was not measured is never a pass. The
exit code is 0 when every goal was reached.
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

from tests.bench.goals import RESULTS, Judgement, figure

# In the order of a person's day; with the arguments that keep the whole under the minutes.
RUNS: dict[str, tuple[str, ...]] = {
    "cold_check": ("--runs", "9"),
    "compile": (),
    "format": (),
    "editor": (),
    "watch": (),
    "start": (),
    "draft": ("8000", "50000"),
    "prove_demo": (),
    "prove": (),
    "crossing": (),
    "picture": (),
    "sheet": (),
    "diff": (),
    "diff_pull_request": (),
    "project": ("--rounds", "1"),
    "symmetry": (),
    "deform": (),
    "unpose": (),
    "gltf": (),
    "rig_json": (),
    "python_target": (),
    "masks": (),
    "large": (),
    "growth": (),
}


def main() -> int:
    """Run what is asked for and print the table."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("names", metavar="NAME", nargs="*", help="benchmarks to run; without one, all")
    options.add_argument("--list", action="store_true", help="print the names and end")
    options.add_argument("--minutes", type=float, default=15.0, help="the longest that all may take together")
    given = options.parse_args()
    if unknown := sorted(set(given.names) - set(RUNS)):
        options.error(f"no benchmark has the name {unknown[0]}; there are {', '.join(RUNS)}")
    if given.list:
        print("\n".join(RUNS))
        return 0
    names = [name for name in RUNS if not given.names or name in given.names]
    ends = time.monotonic() + 60.0 * given.minutes
    rows: list[str] = []
    reached = True
    for name in names:
        judgements, failure = run(name, ends - time.monotonic())
        rows += [row(name, judgement) for judgement in judgements]
        reached &= all(judgement.passed for judgement in judgements) and not failure and bool(judgements)
        if failure or not judgements:
            rows.append(f"| {name} | {failure or 'judged nothing'} | | | **not measured** |")
    print("| benchmark | what | figure | goal | |", "| --- | --- | --- | --- | --- |", *rows, sep="\n")
    return 0 if reached else 1


def run(name: str, seconds: float) -> tuple[list[Judgement], str]:
    """What a benchmark judged, and why it is not whole, if it is not."""
    print(f"== {name}", file=sys.stderr, flush=True)
    with tempfile.TemporaryDirectory() as folder:
        results, failure = Path(folder, "results.jsonl"), ""
        results.touch()
        begun = time.monotonic()
        try:
            done = subprocess.run(
                [sys.executable, "-m", f"tests.bench.{name}", *RUNS[name]],
                env={**os.environ, RESULTS: str(results)},
                stdout=sys.stderr,
                timeout=max(seconds, 1.0),
                check=False,
            )
            if done.returncode:
                failure = f"ended with {done.returncode}"
        except subprocess.TimeoutExpired:
            failure = "not done in the time that was left"
        print(f"   {time.monotonic() - begun:.0f} s", file=sys.stderr, flush=True)
        judged = [Judgement(**json.loads(line)) for line in results.read_text("utf-8").splitlines()]
    return judged, failure


def row(name: str, judgement: Judgement) -> str:
    """A line of the table."""
    bound = "at least" if judgement.at_least else "at most"
    value = figure(judgement.value, judgement.unit)
    against = f" of {judgement.reference}" if judgement.reference else ""
    goal = f"{bound} {figure(judgement.goal, judgement.unit)}"
    return f"| {name} | {judgement.what} | {value}{against} | {goal} | {'pass' if judgement.passed else '**miss**'} |"


if __name__ == "__main__":
    sys.exit(main())
