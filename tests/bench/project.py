"""How long `plica check` takes on a project of many characters that share libraries: cold, warm, and after a change.

    python -m tests.bench.project [--characters 200] [--rounds 3] [--alike]

The characters are made by code (`tests/support/crowd.py`): 5 leads, 45 others and a crowd of smaller ones; with
`--alike` all are of one size. The reference is a check of the five that take longest, as a command of its own without a
cache. Every command is a process of its own, the fastest of the rounds counts. Printed are seconds, the ratios to the
reference, and after each change how many specs were looked at again, and how many use what was changed.
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

from tests.bench.goals import judge
from tests.support.crowd import SIZES, crowd

SLOWEST = 5
_ASK = """
import json, sys
import plica
if __name__ == "__main__":
    run = plica.check_project(plica.find_project(), cache=sys.argv[1], workers=1)
    print(json.dumps([[one.file, one.seconds, one.recalled, one.ok] for one in run.results]))
"""


class Told(NamedTuple):
    """One spec of a run: its file, seconds, and whether its outcome was that of an earlier run and is good."""

    file: str
    seconds: float
    recalled: bool
    ok: bool


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--characters", type=int, default=200)
    options.add_argument("--rounds", type=int, default=3)
    options.add_argument("--alike", action="store_true")
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        root = crowd(folder / "project", given.characters, (SIZES[1],) * 3 if given.alike else SIZES)
        measure(root, folder, given.rounds)


def measure(root: Path, folder: Path, rounds: int) -> None:
    """All figures of one project."""
    first = told(root, folder / "cache")
    slowest = [one.file for one in sorted(first, key=lambda one: -one.seconds)[:SLOWEST]]
    whole = sum(one.seconds for one in first)
    print(f"{len(first)} specs, {sum(one.ok for one in first)} good; {whole:.2f} s of work, one after the other")
    few = best(root, rounds, lambda number: ["check", "--no-cache", *slowest])
    print(f"{few:7.2f} s            the slowest {SLOWEST} (the reference)")
    cold = best(root, rounds, lambda number: ["check", "--cache", str(folder / f"cold{number}")])
    print(f"{cold:7.2f} s {cold / few:5.2f} times  all, cold")
    judge(f"check of {len(first)} characters, cold", cold / few, 4.0, reference=f"the slowest {SLOWEST}")
    warm = best(root, rounds, lambda number: ["check", "--cache", str(folder / "cold0")])
    print(f"{warm:7.2f} s {warm / few:5.2f} times  all, warm")
    for name in ("spine", "limb"):
        after_a_change(root, root / "library" / f"{name}.plica", folder / "cache")
    after_a_change(root, root / slowest[0], folder / "cache")


def after_a_change(root: Path, file: Path, cache: Path) -> None:
    """Change a comment in a file and tell what was looked at again."""
    assert all(one.recalled for one in told(root, cache))
    file.write_text(file.read_text("utf-8") + "// changed\n", "utf-8")
    begun = time.perf_counter()
    again = {one.file for one in told(root, cache) if not one.recalled}
    seconds = time.perf_counter() - begun
    name = file.relative_to(root).as_posix()
    specs = root.glob("characters/*/*.plica")
    use = {path.relative_to(root).as_posix() for path in specs if file.name in path.read_text("utf-8")}
    wanted = use | {name}
    print(f"{seconds:7.2f} s            after a change of {name}: {len(again)} again, {len(again ^ wanted)} wrongly")


def told(root: Path, cache: Path) -> list[Told]:
    """What a run tells of each spec."""
    done = subprocess.run(
        [sys.executable, "-c", _ASK, str(cache)], cwd=root, check=True, capture_output=True, text=True
    )
    return [Told(*one) for one in json.loads(done.stdout)]


def best(root: Path, rounds: int, command: object) -> float:
    """The least seconds of a command over some rounds."""
    assert callable(command)
    seconds = []
    for number in range(rounds):
        begun = time.perf_counter()
        words = [sys.executable, "-m", "plica", *command(number)]
        done = subprocess.run(words, cwd=root, stdout=subprocess.DEVNULL, env=os.environ, check=False)
        seconds.append(time.perf_counter() - begun)
        assert done.returncode == 0, words
    return min(seconds)


if __name__ == "__main__":
    main()
