"""Seconds and memory of a film character: the demo's skin with every triangle cut into four, twice.

Run `python -m tests.bench.large [CUTS]` from the repository. 2 cuts are about 360,000 vertices with all of the demo's
regions, shapes, folds and expectations. `plica build` and `plica prove` (no cache) run as commands; memory is that of
the process that took most.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.bench.commands import spent
from tests.bench.goals import judge
from tests.support.denser import denser_demo


def main(cuts: int) -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        spec = denser_demo(folder, cuts)
        built = spent(folder, "build", spec.name, "--out", "out")
        print(f"build {built.clock:.1f} s ({built.processor:.1f} s of processors), {built.memory:.0f} MiB", flush=True)
        judge("build of 360,000 vertices", built.clock, 10.0, "s")
        judge("build of 360,000 vertices, memory", built.memory, 1024.0, "MiB")
        proven = spent(folder, "prove", spec.name, "--no-cache", codes=(0, 1))
        print(f"prove {proven.clock:.1f} s ({proven.processor:.1f} s of processors), {proven.memory:.0f} MiB")
        judge("prove of 360,000 vertices", proven.clock, 30.0, "s")
        judge("prove of 360,000 vertices, memory", proven.memory, 1024.0, "MiB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2)
