"""How long un-posing takes, against one batched `numpy.linalg.solve` of the same systems.

Run `python -m tests.bench.unpose` from the repository. 100 sculpts of 50,000 vertices, each in a pose of its own. The
reference is given the blended matrices and what each vertex has moved, which the un-solver has to find first, and
solves all of them in one call. Below 1 the un-solver is faster.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

import numpy as np

from plica.mesh.joint_matrices import Kinematics
from plica.mesh.skinning import Skinning
from plica.mesh.unpose import Unposer
from plica.values import SkinningMethod
from tests.bench.goals import judge
from tests.support.rigs import random_rig
from tests.support.skins import random_poses, random_skin

VERTICES, SCULPTS, ROUNDS = 50_000, 100, 3


def seconds(run: Callable[[], object]) -> float:
    """The shortest time of a few rounds."""
    best = np.inf
    for _ in range(ROUNDS):
        start = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - start)
    return best


def main() -> None:
    """Prints everything."""
    rig = random_rig(3)
    mesh = random_skin(rig, VERTICES)
    skins = Kinematics(rig).skins(mesh, random_poses(rig, SCULPTS, bend=0.2))
    skinning = Skinning(mesh)
    matrices = skinning.matrices(skins)
    posed = np.matmul(matrices[..., :3], mesh.positions[:, :, np.newaxis])[..., 0] + matrices[..., 3]
    moved = np.random.default_rng(1).normal(scale=0.01, size=posed.shape)
    sculpts = posed + moved

    def solve() -> None:
        np.linalg.solve(matrices[..., :3], moved[..., np.newaxis])

    def unpose(method: SkinningMethod) -> None:
        for pose, sculpt in zip(skins, sculpts, strict=True):
            Unposer(skinning, mesh.positions, pose, method=method).sculpt(sculpt)

    reference = seconds(solve)
    print(f"numpy.linalg.solve, one call  {reference:6.2f} s")
    methods: tuple[SkinningMethod, ...] = ("linear", "dual quaternion")
    for method in methods:
        took = seconds(partial(unpose, method))
        print(f"Unposer, {method:20} {took:6.2f} s")
        judge(f"un-posing 100 sculpts, {method}", took / reference, 1.5, reference="numpy.linalg.solve")


if __name__ == "__main__":
    main()
