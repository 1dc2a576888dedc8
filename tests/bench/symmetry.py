"""How long the symmetry map of a mesh of a million vertices takes, against one k-d tree.

Run `python -m tests.bench.symmetry [vertices]` from the repository. The reference, measured in the same run, is one
build of `scipy.spatial.cKDTree` over the same points and one query of their mirror images. Below 2 is the aim. Three
meshes: mirrored exactly, mirrored to within the tolerance, and with a patch that was moved on one side.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from plica.mesh.plane import MirrorPlane
from plica.mesh.symmetry import symmetry_map
from tests.bench.goals import judge
from tests.support.meshes import bare_mesh, bilateral

TOLERANCE = 1e-4
ROUNDS = 2


def main(vertices: int) -> None:
    """Print seconds and ratios."""
    plane = MirrorPlane.across("x", 0.0)
    positions, triangles = bilateral(vertices, seed=5)
    random = np.random.default_rng(7)
    noisy = positions + random.uniform(-0.2, 0.2, positions.shape) * TOLERANCE
    moved = positions.copy()
    patch = np.linalg.norm(positions - positions[positions[:, 0].argmax()], axis=1) < 0.05
    moved[patch] += (0.001, 0.0005, 0.0)
    for name, places in (("exact", positions), ("within the tolerance", noisy), ("a patch moved", moved)):
        mesh = bare_mesh(places, triangles)
        reference = _seconds(lambda places=places: cKDTree(places).query(plane.mirrored(places)))
        ours = _seconds(lambda mesh=mesh: symmetry_map(mesh, plane, TOLERANCE))
        result = symmetry_map(mesh, plane, TOLERANCE)
        print(
            f"{name}: {mesh.vertex_count} vertices, {result.share:.4%} paired, {int(result.by_edges.sum())} by edges; "
            f"k-d tree {reference:.2f} s, symmetry map {ours:.2f} s"
        )
        judge(
            f"symmetry of {vertices:,} vertices, {name}",
            ours / reference,
            2.0,
            reference="a k-d tree's build and query",
        )


def _seconds(work: Callable[[], Any]) -> float:
    best = float("inf")
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
