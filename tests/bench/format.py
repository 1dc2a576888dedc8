"""Benchmark: laying out a text of many declarations, against parsing it.

Run with `python tests/bench/format.py`; it prints ratios to `plica.syntax.parser.parse` on the same text in the same
run, in processor time. Formatting is text to text, parsing included (the goal is at most 1.5); `plica format` also
proves each text that it changes before it writes.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable
from pathlib import Path
from time import process_time

sys.path.insert(0, str(Path(__file__).parent))

from compile import spec_text

from plica.diagnostics import Diagnostics
from plica.format import difference, lay_out
from plica.source import Source
from plica.syntax.parser import parse

DECLARATIONS = 5_000
GOAL = 1.5
ROUNDS = 5


def spent(work: Callable[[], object]) -> float:
    """The processor time (seconds) of one run; garbage is collected before and not during it, as in `plica format`."""
    gc.collect()
    gc.disable()
    start = process_time()
    work()
    done = process_time() - start
    gc.enable()
    return done


def main() -> None:
    """Print the ratios for 5,000 declarations."""
    source = Source("crowd.plica", spec_text(DECLARATIONS))
    laid_out = lay_out(source, Diagnostics())
    if laid_out is None or difference(laid_out) is not None:
        sys.exit("the benchmark's own spec is not laid out")
    parsing = formatting = proving = float("inf")
    for _ in range(ROUNDS):
        # In turns, so that whatever else the machine does meets all three.
        parsing = min(parsing, spent(lambda: parse(source, Diagnostics())))
        formatting = min(formatting, spent(lambda: lay_out(source, Diagnostics())))
        proving = min(proving, spent(lambda: difference(laid_out)))
    print(f"{DECLARATIONS} declarations: parsing {parsing:.2f} s, formatting {formatting:.2f} s, proof {proving:.2f} s")
    print(f"  ratio {formatting / parsing:.2f} (goal: at most {GOAL})")
    print(f"  with the proof, where a file changes: {(formatting + proving) / parsing:.2f}")


if __name__ == "__main__":
    main()
