"""What a vertex and a sculpt cost, and what that makes of a character that is larger than any that is measured here.

Run `python -m tests.bench.unit_costs [VERTICES] [SCULPTS]` from the repository. `plica build` and `plica prove` (no
cache, one process) run on the demo as it is and with every triangle cut into four, once and twice; `plica build` also
with more sculpts, of 20,000 vertices on each side. Costs are slopes between the measured sizes, of processor seconds
and of the memory of the process that took most: the character that they are laid out for (1,500,000 vertices and 300
sculpts, where nothing else is asked for) is a forecast, and says so. `tests/bench/large_characters.md` has the figures
and what follows from them.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from math import log
from pathlib import Path

from tests.bench.commands import Spent, spent
from tests.support.denser import denser_demo, vertices_of, with_sculpts

VERTICES, SCULPTS = 1_500_000, 300
CUTS = (0, 1, 2)
COUNTS = (20, 80)
"""Sculpts, once few and once more, of a skin cut twice."""


def built(folder: Path, spec: Path) -> Spent:
    """`plica build` with the usual targets."""
    return spent(folder, "build", spec.name, "--out", "out")


def proven(folder: Path, spec: Path) -> Spent:
    """`plica prove` by one process, without what is known already."""
    return spent(folder, "prove", spec.name, "--no-cache", "--workers", "1", codes=(0, 1))


def told(what: str, size: int, cost: Spent) -> None:
    """A line for one run."""
    print(f"{what:6} {size:9,}: {cost.processor:6.1f} s of processor, {cost.memory:6.0f} MiB", flush=True)


def slope(sizes: Sequence[float], values: Sequence[float]) -> tuple[float, float]:
    """What one more costs, and what none does: a line through the two largest."""
    (a, b), (c, d) = sorted(zip(sizes, values, strict=True))[-2:]
    return (d - b) / (c - a), b - a * (d - b) / (c - a)


def line(sizes: Sequence[float], costs: Sequence[Spent], unit: int, wanted: float, what: str) -> tuple[float, float]:
    """Print what `unit` more cost; the forecast for so many as are wanted: seconds and MiB."""
    seconds = slope(sizes, [cost.processor for cost in costs])
    memory = slope(sizes, [cost.memory for cost in costs])
    print(f"{what}: {seconds[0] * unit:.2f} s and {memory[0] * unit:.2f} MiB for each {unit:,}", flush=True)
    return seconds[1] + seconds[0] * wanted, memory[1] + memory[0] * wanted


def main(vertices: int, sculpts: int) -> None:
    """Print everything."""
    sizes: list[float] = []
    builds: list[Spent] = []
    proofs: list[Spent] = []
    for cuts in CUTS:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            spec = denser_demo(folder, cuts)
            count = vertices_of(folder)
            sizes.append(count)
            builds.append(built(folder, spec))
            told("build", count, builds[-1])
            proofs.append(proven(folder, spec))
            told("prove", count, proofs[-1])
    many = []
    for count in COUNTS:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            spec = denser_demo(folder, CUTS[-1])
            with_sculpts(folder, spec, count)
            many.append(built(folder, spec))
            told("build", count, many[-1])
    for what, costs in (("build", builds), ("prove", proofs)):
        exponent = log(costs[-1].processor / costs[-2].processor) / log(sizes[-1] / sizes[-2])
        print(f"exponent of {what} between the last two sizes: {exponent:.2f}")
    build = line(sizes, builds, 100_000, vertices, "build, vertices")
    more = slope(COUNTS, [one.processor for one in many])[0], slope(COUNTS, [one.memory for one in many])[0]
    print(f"build, sculpts of 20,000 vertices on each side: {more[0]:.2f} s and {more[1]:.2f} MiB for each")
    prove = line(sizes, proofs, 100_000, vertices, "prove, vertices")
    print(f"forecast for {vertices:,} vertices and {sculpts} sculpts, not measured:")
    print(f"  build {build[0] + sculpts * more[0]:.0f} s of processor, {build[1] + sculpts * more[1]:.0f} MiB")
    print(f"  prove {prove[0]:.0f} s of processor, {prove[1] + sculpts * more[1]:.0f} MiB and more")


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:3] or (VERTICES, SCULPTS)))
