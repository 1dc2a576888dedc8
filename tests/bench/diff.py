"""Benchmark: comparing two specs of 10,000 declarations, against compiling both.

Every hundredth driver, shape and region of the second spec differs. The comparison takes the two texts and so compiles
them too. Run with `python -m tests.bench.diff`; it prints the ratio (the goal is at most 2.5), of processor times:
other work of the machine is left out. Neither spec has a mesh; what is measured there is a build's work.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable
from time import process_time

from plica.diff.character_state import CharacterState
from plica.diff.comparison import compare
from plica.diff.report import Report
from plica.diff.text_report import render
from plica.pipeline import compile_text
from tests.bench.compile import spec_text
from tests.bench.goals import judge

DECLARATIONS = 10_000
ROUNDS = 2


def version(text: str) -> CharacterState:
    """A compiled text."""
    compiled = compile_text(text)
    if compiled.rig is None:
        sys.exit("the benchmark's own spec does not compile: " + compiled.diagnostics[0].message)
    return CharacterState("spec.plica", compiled.rig, compiled.origins)


def spent(work: Callable[[], object]) -> float:
    """The processor time (seconds) of one run; garbage is collected before and not during it, as in a command."""
    gc.collect()
    gc.disable()
    start = process_time()
    work()
    done = process_time() - start
    gc.enable()
    return done


def main() -> None:
    """Print the ratio, for some changes and for a change of every driver."""
    old = spec_text(DECLARATIONS)
    some = old.replace("0 deg .. 77 deg", "0 deg .. 78 deg").replace("feather 7 mm", "feather 6 mm")
    every = old.replace("0.5 0.35", "0.5 0.4")

    def compared(new: str) -> Report:
        report = compare({"": version(old)}, {"": version(new)})
        render(report)
        return report

    def turn(new: str) -> tuple[float, float]:
        return spent(lambda: (version(old), version(new))), spent(lambda: compared(new))

    for name, new in (("some", some), ("every driver", every)):
        # In turns, so that whatever else the machine does meets both.
        both, whole = (min(times) for times in zip(*(turn(new) for _ in range(ROUNDS)), strict=True))
        print(f"{name}: {len(compared(new).changes)} changes; compiling both {both:.2f} s, comparing {whole:.2f} s")
        judge(f"diff of 10,000 declarations, {name} changed", whole / both, 2.5, reference="compiling both")


if __name__ == "__main__":
    main()
