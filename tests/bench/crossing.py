"""How long finding crossings takes, against general geometry libraries' full query of the mesh against itself.

Run `python -m tests.bench.crossing` from the repository. The demo character's mesh as it is (about 44,000
triangles): an
elbow and a knee swept from 0 to their extremes in 96 frames. References: libigl's `find_self_intersections` (tree and
exact predicates, several threads) and FCL's `collide` of the mesh with itself (every pair; built anew for each frame,
as its triangles move), both on a few frames of the same sweep. Prints milliseconds for a frame and ratios; asserts
that no pair is missed that libigl finds.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import fcl
import igl.predicates
import numpy as np
from scipy.spatial.transform import Rotation

from plica.evaluate.poses import Poses, rest_poses
from plica.measure.crossing import Crossing
from plica.mesh.arrays import Floats, Integers
from plica.mesh.deform import Deformer
from plica.rig.rig import Rig
from tests.support.wren import skinned

FRAMES, CHECKED, SLOW = 96, 12, 2


def sweep(rig: Rig, joint: str, degrees: float) -> Poses:
    """One joint about its own x."""
    poses = rest_poses(rig, FRAMES)
    column = list(poses.joints).index(joint)
    turns = Rotation.from_euler("x", np.linspace(0.0, degrees, FRAMES)[:, None], degrees=True)
    poses.rotations[:, column] = (Rotation.from_quat(poses.rotations[:, column]) * turns).as_quat()
    return poses


def fcl_collides(places: Floats, corners: Integers) -> int:
    """How many pairs FCL reports, neighbours among them."""
    model = fcl.BVHModel()
    model.beginModel(len(places), len(corners))
    model.addSubModel(places, corners)
    model.endModel()
    request = fcl.CollisionRequest(num_max_contacts=10_000_000, enable_contact=False)
    return int(fcl.collide(fcl.CollisionObject(model), fcl.CollisionObject(model), request, fcl.CollisionResult()))


def main() -> None:
    """Prints everything."""
    character = skinned("", Path(tempfile.mkdtemp()))
    deformer = Deformer(character.mesh, character.rig, {})
    rest = next(iter(deformer.positions(rest_poses(character.rig, 1)))).positions[0]
    start = time.perf_counter()
    crossing = Crossing.prepared(character.mesh, rest)
    corners = crossing.faces.corners.astype(np.int64)
    print(f"{len(corners)} triangles, prepared in {time.perf_counter() - start:.1f} s")
    for joint, degrees in (("lowerarm_lf", 130.0), ("lowerleg_lf", 140.0)):
        positions = np.concatenate(
            [block.positions for block in deformer.positions(sweep(character.rig, joint, degrees))]
        )
        start = time.perf_counter()
        result = crossing.of(positions)
        own = (time.perf_counter() - start) / FRAMES
        places = positions[:, crossing.faces.vertices]
        numbers = np.linspace(0, FRAMES - 1, CHECKED).astype(int)
        start = time.perf_counter()
        theirs = [igl.predicates.find_self_intersections(places[number], corners, False)[1] for number in numbers]
        exact = (time.perf_counter() - start) / CHECKED
        start = time.perf_counter()
        for number in numbers[:SLOW]:
            fcl_collides(places[number], corners)
        general = (time.perf_counter() - start) / SLOW
        rested = igl.predicates.find_self_intersections(places[0], corners, False)[1]
        for number, pairs in zip(numbers, theirs, strict=True):
            mine = {(int(i), int(j)) for i, j in result.triangles[result.frames == number]}
            assert wanted(crossing, corners, pairs, rested) <= mine
        print(f"{joint:12} own {own * 1e3:6.1f} ms   libigl {exact * 1e3:6.1f} ms, {exact / own:5.1f} x"
              f"   FCL {general * 1e3:7.1f} ms, {general / own:6.1f} x")  # fmt: skip


def wanted(crossing: Crossing, corners: Integers, pairs: Integers, rested: Integers) -> set[tuple[int, int]]:
    """The library's pairs as ours are counted: without neighbours and those that cross at rest."""
    known = {tuple(sorted(pair)) for pair in rested.tolist()}
    numbers = crossing.faces.numbers
    return {
        (int(numbers[i]), int(numbers[j]))
        for i, j in map(sorted, pairs.tolist())
        if (i, j) not in known and not set(corners[i].tolist()) & set(corners[j].tolist())
    }


if __name__ == "__main__":
    main()
