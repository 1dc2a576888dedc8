"""How long a draft takes, and how much memory, against libigl's as-rigid-as-possible solver on the same part.

Run `python -m tests.bench.draft [VERTICES ...]` from the repository. A tube that bends by 120 degrees, its skin about
evenly wide triangles; the region is where the bend spoils it. The reference is `igl.arap_solve` (spokes and rims, no
contact, no volume) with 100 steps on the triangles that are drafted, its outermost points held at the drafted places.
Each size runs in a process of its own, whose largest memory is told. Prints seconds of processor time and of the clock,
with contact and without.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from dataclasses import replace

import igl
import numpy as np

from plica.drafting.problem import DraftProblem, DraftSettings
from plica.drafting.region import spoiled_region
from plica.drafting.solve import drafted
from plica.measure.region_faces import open_edges
from tests.bench.goals import judge
from tests.support.drafts import bent_tube

SIZES = (8_000, 50_000, 100_000)
RADIUS, LENGTH = 0.04, 0.8


def problem_of(vertices: int) -> DraftProblem:
    """Rings as far apart as the points on them."""
    around = int(np.sqrt(vertices * 2.0 * np.pi * RADIUS / LENGTH))
    tube = bent_tube(np.radians(120.0), around, vertices // around, RADIUS, LENGTH)
    return replace(tube, region=spoiled_region(tube.neutral, tube.triangles, tube.points, tube.skinned))


def reference(problem: DraftProblem, moving: np.ndarray, positions: np.ndarray) -> float:
    """Processor seconds of libigl's solver."""
    chosen = np.isin(problem.triangles, moving).any(axis=1)
    used, triangles = np.unique(problem.triangles[chosen], return_inverse=True)
    triangles = triangles.reshape(-1, 3)
    held = np.unique(open_edges(triangles))
    start = time.process_time()
    data = igl.ARAPData()
    data.max_iter = 100
    igl.arap_precomputation(problem.neutral[used], triangles, 3, held.astype(np.int32), data)
    igl.arap_solve(np.ascontiguousarray(positions[used[held]]), data, problem.skinned(1.0)[used])
    return time.process_time() - start


def one(vertices: int) -> None:
    """Prints one size."""
    problem = problem_of(vertices)
    for contact in (False, True):
        clock, start = time.perf_counter(), time.process_time()
        draft = drafted(problem, DraftSettings(contact=contact, inbetweens=0))
        seconds, waited = time.process_time() - start, time.perf_counter() - clock
        ratio = seconds / reference(problem, draft.moving, draft.poses[-1].positions)
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        named = "with contact" if contact else "no contact"
        figures = f"volume {draft.after.volume - 1:+.2%}, crossings {draft.before.crossings} to {draft.after.crossings}"
        print(
            f"{len(problem.neutral):7d} vertices, {len(draft.moving):6d} drafted, {named:12s}:"
            f" {seconds:6.1f} s processor, {waited:6.1f} s clock, {memory:5.0f} MiB, {ratio:5.1f} x libigl;"
            f" reached {draft.reached:.2f}, {figures}",
            flush=True,
        )
        if contact and (goal := {8_000: 10.0, 50_000: 30.0}.get(vertices)):
            judge(f"draft of {vertices:,} vertices, processor", seconds, goal, "s")
            judge(f"draft of {vertices:,} vertices, memory", memory, 512.0, "MiB")


def main() -> None:
    """Prints every size."""
    if len(sys.argv) == 3 and sys.argv[1] == "--one":
        one(int(sys.argv[2]))
        return
    for vertices in [int(given) for given in sys.argv[1:]] or SIZES:
        subprocess.run([sys.executable, "-m", "tests.bench.draft", "--one", str(vertices)], check=True)


if __name__ == "__main__":
    main()
