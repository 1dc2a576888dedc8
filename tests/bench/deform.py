"""How long deformation takes, against what one would write straight in numpy and scipy.

Run `python -m tests.bench.deform` from the repository. 50,000 vertices, 200 sparse shapes of 2,000 vertices, 4
influences, 240 frames; both sides start from strengths and skin matrices and read every position once. Prints
seconds, ratios (above 1 the deformer is faster) and the deformer's peak memory (numpy's and Python's allocations as
tracemalloc counts them, and what the process takes at the most, in processes of their own).

References: numpy's einsum with a dense matrix of shapes, `optimize=True` so that it uses BLAS for the shapes; the
same with a scipy.sparse matrix of shapes and einsum for the skin alone.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable, Iterator

import numpy as np
from scipy import sparse

from plica.mesh.arrays import Floats, Mesh
from plica.mesh.deform import Deformer, Motion, stacked
from plica.mesh.inbetweens import Inbetweens
from plica.rig.rig import Rig
from plica.values import SkinningMethod
from tests.bench.goals import judge
from tests.support.skins import random_character, random_poses

VERTICES, SHAPES, MOVED, FRAMES = 50_000, 200, 2_000, 240
ROUNDS = 2
# Frames of the references' temporary arrays at once; more is not faster and takes more memory.
STEP = 4


def character() -> tuple[Rig, Mesh, dict[str, Inbetweens]]:
    """The same for all."""
    return random_character(3, VERTICES, SHAPES, MOVED, inbetweens=False)


def motion_of(deformer: Deformer, rig: Rig) -> Motion:
    """Strengths at random, so that all shapes are at work, and the skin matrices of random poses."""
    skins = deformer.motion(random_poses(rig, FRAMES)).skins
    return Motion(np.random.default_rng(5).random((FRAMES, SHAPES)), skins)


def einsum_skin(mesh: Mesh, shaped: Floats, skins: Floats) -> Floats:
    """Linear blend skinning of a few frames, (frames, v, 3)."""
    blended = np.einsum("vk,fvkij->fvij", mesh.weights, skins[:, mesh.joints])
    return np.asarray(np.einsum("fvij,fvj->fvi", blended[..., :3], shaped) + blended[..., 3])


def with_dense(mesh: Mesh, matrix: Floats, motion: Motion) -> Iterator[Floats]:
    """matrix: (shapes, v, 3)."""
    for start in range(0, FRAMES, STEP):
        part = slice(start, start + STEP)
        shaped = np.einsum("fs,svi->fvi", motion.strengths[part], matrix, optimize=True) + mesh.positions
        yield einsum_skin(mesh, shaped, motion.skins[part])


def with_sparse(mesh: Mesh, matrix: sparse.csr_array[np.float64], motion: Motion) -> Iterator[Floats]:
    """matrix: (3 v, shapes)."""
    for start in range(0, FRAMES, STEP):
        part = slice(start, start + STEP)
        moved = np.asarray(matrix @ motion.strengths[part].T)
        shaped = moved.T.reshape(-1, mesh.vertex_count, 3) + mesh.positions
        yield einsum_skin(mesh, shaped, motion.skins[part])


def deformed(deformer: Deformer, motion: Motion, method: SkinningMethod = "linear") -> Iterator[Floats]:
    """The deformer's blocks."""
    for block in deformer.positions(motion, method):
        yield block.positions


def seconds(run: Callable[[], Iterator[Floats]]) -> tuple[float, float]:
    """The shortest time of a few rounds, and a sum that tells whether two agree."""
    best, total = np.inf, 0.0
    for _ in range(ROUNDS):
        start = time.perf_counter()
        total = sum(float(np.abs(positions).sum()) for positions in run())
        best = min(best, time.perf_counter() - start)
    return best, total


def memory() -> None:
    """Prints the deformer's peak memory in this process."""
    rig, mesh, shapes = character()
    deformer = Deformer(mesh, rig, shapes)
    motion = motion_of(deformer, rig)
    tracemalloc.start()
    for positions in deformed(deformer, motion):
        del positions
    print(f"peak while deforming, tracemalloc: {tracemalloc.get_traced_memory()[1] / 2**20:7.1f} MiB")
    whole = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    judge("deforming 50,000 vertices, memory of the process", whole / 2**10, 1024.0, "MiB")


def main() -> None:
    """Prints everything."""
    rig, mesh, shapes = character()
    deformer = Deformer(mesh, rig, shapes)
    motion = motion_of(deformer, rig)
    matrix = stacked([shape.primary for shape in shapes.values()], mesh.vertex_count)
    whole = np.ascontiguousarray(matrix.toarray().T).reshape(SHAPES, VERTICES, 3)
    own, total = seconds(lambda: deformed(deformer, motion))
    print(f"Deformer, linear blend          {own:6.2f} s")
    for name, run in (
        ("einsum, dense shapes", lambda: with_dense(mesh, whole, motion)),
        ("einsum, sparse shapes", lambda: with_sparse(mesh, matrix, motion)),
    ):
        took, other = seconds(run)
        assert abs(other - total) < 1e-9 * total
        print(f"{name:30}  {took:6.2f} s")
        goal = 2.0 if "dense" in name else 1.0
        judge(f"deforming 50,000 vertices, against {name}", took / own, goal, reference="ours", at_least=True)
    dual, _ = seconds(lambda: deformed(deformer, motion, "dual quaternion"))
    print(f"Deformer, dual quaternions      {dual:6.2f} s   {dual / own:5.1f} x of linear blend")
    sys.stdout.flush()
    subprocess.run([sys.executable, "-m", "tests.bench.deform", "memory"], check=True)


if __name__ == "__main__":
    memory() if sys.argv[1:] == ["memory"] else main()
