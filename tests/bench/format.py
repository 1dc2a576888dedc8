"""Benchmark: laying out a text of many declarations, against parsing it.

Run with `python tests/bench/format.py`; it prints ratios to `plica.syntax.parser.parse` on the same text in the same
run. Formatting is text to text, parsing included (the goal is at most 1.5); `plica format` also proves each text that
it changes before it writes, which parses once more.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from compile import seconds, spec_text

from plica.diagnostics import Diagnostics
from plica.format import difference, lay_out
from plica.source import Source
from plica.syntax.parser import parse

DECLARATIONS = 5_000
GOAL = 1.5
ROUNDS = 3


def main() -> None:
    """Print the ratios for 5,000 declarations."""
    source = Source("crowd.plica", spec_text(DECLARATIONS))
    laid_out = lay_out(source, Diagnostics())
    if laid_out is None or difference(laid_out) is not None:
        sys.exit("the benchmark's own spec is not laid out")
    parsing = formatting = proving = float("inf")
    for _ in range(ROUNDS):
        # In turns, so that whatever else the machine does meets all three.
        parsing = min(parsing, seconds(lambda: parse(source, Diagnostics())))
        formatting = min(formatting, seconds(lambda: lay_out(source, Diagnostics())))
        proving = min(proving, seconds(lambda: difference(laid_out)))
    print(f"{DECLARATIONS} declarations: parsing {parsing:.2f} s, formatting {formatting:.2f} s, proof {proving:.2f} s")
    print(f"  ratio {formatting / parsing:.2f} (goal: at most {GOAL})")
    print(f"  with the proof, where a file changes: {(formatting + proving) / parsing:.2f}")


if __name__ == "__main__":
    main()
