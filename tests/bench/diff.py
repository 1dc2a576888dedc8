"""Benchmark: comparing two specs of 10,000 declarations, against compiling both.

Every hundredth driver, shape and region of the second spec differs. The comparison takes the two texts and so compiles
them too. Run with `python tests/bench/diff.py`; it prints the ratio (the goal is at most 2.5).
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from compile import seconds, spec_text

from plica.diff.report import Report, Version, compare
from plica.diff.text import render
from plica.pipeline import compile_text

DECLARATIONS = 10_000


def version(text: str) -> Version:
    """A compiled text."""
    compiled = compile_text(text)
    if compiled.rig is None:
        sys.exit("the benchmark's own spec does not compile: " + compiled.diagnostics[0].message)
    return Version("spec.plica", compiled.rig, compiled.origins)


def main() -> None:
    """Print the ratio, for some changes and for a change of every driver."""
    old = spec_text(DECLARATIONS)
    some = old.replace("0 deg .. 77 deg", "0 deg .. 78 deg").replace("feather 7 mm", "feather 6 mm")
    every = old.replace("0.5 0.35", "0.5 0.4")

    def compared(new: str) -> Report:
        report = compare({"": version(old)}, {"": version(new)})
        render(report)
        return report

    for name, new in (("some", some), ("every driver", every)):
        both = seconds(lambda new=new: (version(old), version(new)))
        whole = seconds(lambda new=new: compared(new))
        print(f"{name}: {len(compared(new).changes)} changes; compiling both {both:.2f} s, comparing {whole:.2f} s")
        print(f"  ratio {whole / both:.2f} (goal: at most 2.5)")


if __name__ == "__main__":
    main()
