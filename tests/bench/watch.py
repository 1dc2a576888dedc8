"""Benchmark: how long `plica watch` takes from a save of the demo's spec to the files that it builds, and with
`--prove` to the expectations that hang on what was saved.

Only text changes, after the first build. Run with `python -m tests.bench.watch`; it prints, for each kind of change,
seconds on the clock and of the processor over several saves (the goal is under 0.3 s, and 1 s with proofs).
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from time import perf_counter, sleep

from tests.bench.editor import processor_seconds
from tests.bench.goals import judge

ROUNDS = 2
BUILT, PROVEN = "wren.plica: ", "measured for what was saved"
# What is saved: a text of the demo's spec, and what it becomes and is again.
EDITS = {
    "a span": ("5 deg .. 60 deg", "5 deg .. 61 deg"),
    "a curve": ("curve smooth", "curve linear"),
    "a combination": ("least(fist", "product(fist"),
    "an expectation": ("at most 40 %", "at most 41 %"),
    "a note": ("boat-hook", "boat hook"),
    "a feather": ("feather 12 mm", "feather 13 mm"),
    "a span that something was sculpted at": ("reach = 130", "reach = 125"),
}


def until(process: subprocess.Popen[str], word: str) -> str:
    """The next line that holds a word."""
    assert process.stdout is not None
    return next(line for line in process.stdout if word in line)


def saved(process: subprocess.Popen[str], spec: Path, old: str, new: str, word: str) -> Iterator[tuple[float, float]]:
    """Seconds on the clock and of the processor for each save, until a line holds a word."""
    for before, after in ((old, new), (new, old)) * ROUNDS:
        text = spec.read_text("utf-8")
        sleep(0.15)  # as far apart as two saves by hand at least
        used, start = processor_seconds(process.pid), perf_counter()
        spec.write_text(text.replace(before, after, 1), "utf-8")
        until(process, word)
        yield perf_counter() - start, processor_seconds(process.pid) - used


def main() -> None:
    """Print the times."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "plica"]
        subprocess.run([*command, "demo", "wren"], cwd=folder, check=True, capture_output=True)
        place = Path(folder) / "wren"
        text = (place / "wren.plica").read_text("utf-8")
        if lost := [old for old, _ in EDITS.values() if old not in text]:
            sys.exit(f"the demo's spec does not say `{lost[0]}`")
        os.environ["XDG_CACHE_HOME"] = f"{folder}/cache"
        _measure(place, [*command, "watch", "wren.plica", "--out", "out"], "watch", BUILT, 0.3)
        _measure(place, [*command, "watch", "wren.plica", "--prove"], "watch --prove", PROVEN, 1.0)


def _measure(place: Path, words: list[str], what: str, word: str, goal: float) -> None:
    """Print and judge the times of one way to watch."""
    with subprocess.Popen(words, cwd=place, stdout=subprocess.PIPE, text=True) as process:
        until(process, "watching")
        for name, (old, new) in EDITS.items():
            walls, processor = zip(*saved(process, place / "wren.plica", old, new, word), strict=True)
            print(
                f"{name}: {min(walls):.2f} to {max(walls):.2f} s, of the processor {min(processor):.2f} to "
                f"{max(processor):.2f} s"
            )
            judge(f"{what}, a save of {name}", min(walls), goal, "s")
        process.terminate()


if __name__ == "__main__":
    main()
