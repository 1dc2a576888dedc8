"""How long finding crossings takes, against general geometry libraries' full query of the mesh against itself.

Run `python -m tests.bench.crossing [--fcl]` from the repository; one process, one thread. The character, its 20,000
triangles and its motion are those of `tests.bench.prove`: 128 frames of the smooth motion, which follow each other, and
128 of the spread, which have nothing to do with each other. Reference: libigl's `find_self_intersections` (tree and
exact predicates) on a sample of the same frames, and if asked for FCL's `collide` of the mesh with itself (python-fcl;
every pair, the tree built anew for each frame as its triangles move), which takes long. Prints milliseconds of
processor time for a frame and judges ratios; asserts that no pair is missed that a library finds (neighbours and what
crosses at rest apart).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence

import fcl
import igl.predicates
import numpy as np

from plica.measure.crossing import Crossed, Crossing
from plica.mesh.arrays import Floats, Integers
from plica.mesh.deform import Motion
from tests.bench.goals import judge
from tests.bench.prove import SMOOTH, Subject, made

FRAMES, SAMPLE, SLOW = 128, 12, 2

Library = Callable[[Floats, Integers], Sequence[Sequence[int]]]


def main(slow: bool) -> None:
    """Print everything."""
    subject = made()
    started = time.process_time()
    crossing = Crossing.prepared(subject.skin.mesh, subject.skin.rest)
    prepared = time.process_time() - started
    print(f"{len(crossing.faces.corners)} triangles, prepared in {prepared:.2f} s of processor time")
    for name, start in (("smooth motion", 0), ("unrelated poses", SMOOTH)):
        positions = posed(subject, start)
        started = time.process_time()
        result = crossing.of(positions)
        own = (time.process_time() - started) / FRAMES
        exact = beside(libigl_pairs, crossing, subject, positions, result, SAMPLE)
        print(f"{name}: own {own * 1e3:.2f} ms, libigl {exact * 1e3:.1f} ms, {len(result.frames)} pairs")
        judge(f"crossings in {name}, libigl's time", exact / own, 5.0, reference="ours", at_least=True)
        judge(f"preparing crossings, before {name}", prepared / exact, 5.0, reference="libigl's time for a frame")
        if slow:
            general = beside(fcl_pairs, crossing, subject, positions, result, SLOW)
            print(f"{name}: FCL {general * 1e3:.0f} ms, {general / own:.0f} x")


def posed(subject: Subject, start: int) -> Floats:
    """Some frames of the motion, one after the other."""
    part = slice(start, start + FRAMES)
    motion = Motion(subject.motion.strengths[part], subject.motion.skins[part])
    return np.concatenate([block.positions for block in subject.deformer.positions(motion)])


def beside(
    library: Library, crossing: Crossing, subject: Subject, positions: Floats, result: Crossed, sample: int
) -> float:
    """Seconds of processor time for a frame of a library; asserts that nothing is missed that it finds."""
    corners = crossing.faces.corners.astype(np.int64)
    rested = {tuple(sorted(pair)) for pair in library(subject.skin.rest[crossing.faces.vertices], corners)}
    spent = 0.0
    for number in np.linspace(0, len(positions) - 1, sample).astype(int):
        places = np.ascontiguousarray(positions[number][crossing.faces.vertices])
        started = time.process_time()
        pairs = library(places, corners)
        spent += time.process_time() - started
        mine = {(int(i), int(j)) for i, j in result.triangles[result.frames == number]}
        assert counted(corners, crossing.faces.numbers, pairs, rested) <= mine
    return spent / sample


def libigl_pairs(places: Floats, corners: Integers) -> Sequence[Sequence[int]]:
    """All pairs of triangles that libigl says meet."""
    pairs: list[list[int]] = igl.predicates.find_self_intersections(places, corners, False)[1].tolist()
    return pairs


def fcl_pairs(places: Floats, corners: Integers) -> Sequence[Sequence[int]]:
    """All pairs of triangles that FCL says meet."""
    model = fcl.BVHModel()
    model.beginModel(len(places), len(corners))
    model.addSubModel(places, corners)
    model.endModel()
    request = fcl.CollisionRequest(num_max_contacts=10_000_000, enable_contact=True)
    result = fcl.CollisionResult()
    fcl.collide(fcl.CollisionObject(model), fcl.CollisionObject(model), request, result)
    return [(contact.b1, contact.b2) for contact in result.contacts]


def counted(
    corners: Integers, numbers: Integers, pairs: Sequence[Sequence[int]], rested: set[tuple[int, ...]]
) -> set[tuple[int, int]]:
    """A library's pairs as ours are counted: without neighbours and those that cross at rest."""
    return {
        (int(numbers[i]), int(numbers[j]))
        for i, j in map(sorted, pairs)
        if i != j and (i, j) not in rested and not set(corners[i].tolist()) & set(corners[j].tolist())
    }


if __name__ == "__main__":
    main("--fcl" in sys.argv[1:])
