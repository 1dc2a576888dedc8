"""Random moving meshes, among them degenerate ones, for laws that measures obey on any."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from hypothesis import strategies as st

from plica.mesh.arrays import Floats, Integers

FAULTS = ("none", "collapsed triangles", "a frame in a line", "a frame in a point", "far away", "tiny", "all alike")


class Moving(NamedTuple):
    """rest (v, 3), triangles (t, 3), positions (frames, v, 3), the first frames of runs."""

    rest: Floats
    triangles: Integers
    positions: Floats
    starts: Integers


@st.composite
def moving(draw: st.DrawFn, most: int = 150, frames: int = 70) -> Moving:
    """A soup of triangles between neighbouring points that moves, with one of `FAULTS`."""
    random = np.random.default_rng(draw(st.integers(0, 2**32)))
    count, points = draw(st.integers(1, most)), draw(st.integers(3, most))
    length = draw(st.integers(1, frames))
    fault = draw(st.sampled_from(FAULTS))
    rest = random.normal(size=(points, 3)) * random.uniform(0.01, 1.0, 3)
    triangles = np.array([random.choice(points, 3, replace=False) for _ in range(count)])
    bends = random.normal(scale=0.5, size=(length, 3, 3)) * random.random((length, 1, 1)) + np.eye(3)
    positions = np.einsum("fij,vj->fvi", bends, rest) + random.normal(scale=0.01, size=(length, points, 3))
    at = int(random.integers(length))
    if fault == "collapsed triangles":
        positions[:, triangles[: count // 2, 1]] = positions[:, triangles[: count // 2, 0]]
    elif fault == "a frame in a line":
        positions[at, :, 1:] = 0.0
    elif fault == "a frame in a point":
        positions[at] = 1.0
    elif fault == "far away":
        positions += 1e4
    elif fault == "tiny":
        rest, positions = 1e-25 * rest, 1e-25 * positions
    elif fault == "all alike":
        positions[:] = rest
    return Moving(rest, triangles, positions, runs(draw, length))


def runs(draw: st.DrawFn, frames: int) -> Integers:
    """The first frames of runs of frames."""
    return np.array(sorted({0, *draw(st.lists(st.integers(0, frames - 1), max_size=6))}), np.int64)


def first_worst(values: Floats, starts: Integers) -> Integers:
    """The first frame with the largest of values (frames,) in each run."""
    ends = [*starts[1:].tolist(), len(values)]
    return np.array([start + int(values[start:end].argmax()) for start, end in zip(starts.tolist(), ends, strict=True)])
