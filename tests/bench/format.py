"""Benchmark: laying out a text of many declarations, with its proof, against parsing it.

Run with `python -m tests.bench.format`; it prints ratios to `plica.syntax.parser.parse` on the same text in the same
run. Formatting is text to text, parsing included; `plica format` also proves each text that it changes before it
writes, so the goal, at most 1.5, is held against the two together. Each is measured in processor time without garbage
collection, as `plica format` runs it, and in wall time with it, as in a program that calls these functions.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Callable
from time import perf_counter, process_time
from typing import NamedTuple, TypeVar

from plica.diagnostics import Diagnostics
from plica.format import difference, lay_out
from plica.source import Source
from plica.syntax.parser import parse
from tests.bench.compile import spec_text
from tests.bench.goals import judge

DECLARATIONS = 5_000
GOAL = 1.5
ROUNDS = 5


Result = TypeVar("Result")


class Way(NamedTuple):
    """A way to measure: what it is called, its clock, and whether garbage is collected meanwhile."""

    name: str
    clock: Callable[[], float]
    collecting: bool

    def spent(self, work: Callable[[], Result]) -> tuple[float, Result]:
        """The time (seconds) of one run, and what it gave; the garbage of earlier work is collected before it."""
        gc.collect()
        if not self.collecting:
            gc.disable()
        start = self.clock()
        result = work()
        done = self.clock() - start
        gc.enable()
        return done, result


WAYS = (
    Way("processor time, without garbage collection", process_time, False),
    Way("wall time, with garbage collection", perf_counter, True),
)


def times(source: Source, way: Way) -> tuple[float, float, float]:
    """The times (seconds) of parsing, of formatting, and of the proof of what this formatting gave."""
    parsing, _ = way.spent(lambda: parse(source, Diagnostics()))
    formatting, laid_out = way.spent(lambda: lay_out(source, Diagnostics()))
    if laid_out is None:
        sys.exit("the benchmark's own spec is not laid out")
    proving, fault = way.spent(lambda: difference(laid_out))
    if fault is not None:
        sys.exit(fault)
    return parsing, formatting, proving


def main() -> None:
    """Print the ratios for 5,000 declarations."""
    source = Source("crowd.plica", spec_text(DECLARATIONS))
    # In turns, so that whatever else the machine does meets all of them.
    measured = [[times(source, way) for way in WAYS] for _ in range(ROUNDS)]
    print(f"{DECLARATIONS} declarations; the load of the machine is {os.getloadavg()[0]:.1f}")
    for index, way in enumerate(WAYS):
        rounds = [each[index] for each in measured]
        parsing, formatting, proving = (min(column) for column in zip(*rounds, strict=True))
        ratios = [(formatted + proved) / parsed for parsed, formatted, proved in rounds]
        print(f"{way.name}: parsing {parsing:.2f} s, formatting {formatting:.2f} s, proof {proving:.2f} s")
        print(f"  single rounds {min(ratios):.2f} to {max(ratios):.2f}; without, where nothing changes,", end=" ")
        print(f"{formatting / parsing:.2f}")
        judge(f"format with its proof: {way.name}", (formatting + proving) / parsing, GOAL, reference="parsing")


if __name__ == "__main__":
    main()
