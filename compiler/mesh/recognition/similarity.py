"""The similarity between a file's vertices and the character's, found from those that nobody moved.

Most vertices of a sculpt stand where they stood. Similarities through four vertices each are drawn (Fischler and
Bolles, "Random Sample Consensus", 1981; the draws are the same on every run), the one that most vertices agree with
counts, and is fitted to all of those by least squares (Umeyama, "Least-Squares Estimation of Transformation Parameters
Between Two Point Patterns", 1991; reflections allowed, as files of the other handedness are one).
"""

from __future__ import annotations

from itertools import permutations, product
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from plica.mesh.arrays import Floats, Integers

DRAWS: Final = 1024
COUNTED: Final = 400  # vertices that a draw is held against
LOOSE: Final = 1e-4  # of the body's size: what agrees at first sight
TIGHT: Final = 1e-6  # of the body's size: rounding of single precision
NOISY: Final = 6.0  # times the median miss of those that agree: still rounding of the file
ROUNDS: Final = 6


class Similarity(NamedTuple):
    """x -> scale turn x + move; `turn` (3, 3) is orthogonal, a reflection where the file is of the other handedness."""

    scale: float
    turn: Floats
    move: Floats

    def of(self, points: Floats) -> Floats:
        """The points (n, 3) after it."""
        return np.asarray(self.scale * (points @ self.turn.T) + self.move)


class Fit(NamedTuple):
    """A similarity, which vertices (n,) agree with it, and how near (metres) that is."""

    similarity: Similarity
    agree: NDArray[np.bool_]
    tolerance: float

    @property
    def share(self) -> float:
        """The share of vertices that agree."""
        return float(self.agree.mean()) if len(self.agree) else 0.0


def fitted(points: Floats, places: Floats, size: float) -> Fit:
    """The similarity that takes most of points (n, 3) to places (n, 3), metres; `size`: the body's, metres."""
    best = _drawn(points, places, LOOSE * size)
    agree = _misses(best, points, places) <= LOOSE * size
    tolerance = LOOSE * size
    for _ in range(ROUNDS):
        if agree.sum() < 4:
            break
        best = least_squares(points[agree], places[agree])
        misses = _misses(best, points, places)
        tolerance = min(LOOSE * size, max(TIGHT * size, NOISY * float(np.median(misses[agree]))))
        now = misses <= tolerance
        if (now == agree).all():
            break
        agree = now
    return Fit(best, agree, tolerance)


def least_squares(points: Floats, places: Floats) -> Similarity:
    """The similarity or reflected similarity that takes points (n, 3) nearest to places (n, 3)."""
    scales, turns, moves = _many(points[np.newaxis], places[np.newaxis])
    return Similarity(float(scales[0]), turns[0], moves[0])


def _drawn(points: Floats, places: Floats, near: float) -> Similarity:
    generator = np.random.Generator(np.random.PCG64(7))
    count = len(points)
    rows = generator.integers(0, count, (DRAWS, 4))
    scales, turns, moves = _many(points[rows], places[rows])
    seen = generator.permutation(count)[:COUNTED]
    there = scales[:, None, None] * np.matmul(points[seen], turns.swapaxes(1, 2)) + moves[:, None]
    agreeing = (np.abs(there - places[seen]).max(axis=2) <= near).sum(axis=1)
    best = int(np.argmax(np.where(np.isfinite(scales) & (scales > 0.0), agreeing, -1)))
    return Similarity(float(scales[best]), turns[best], moves[best])


def _many(points: Floats, places: Floats) -> tuple[Floats, Floats, Floats]:
    """Scales (m,), turns (m, 3, 3) and moves (m, 3) between m sets of points and places (m, n, 3)."""
    middle, there = points.mean(axis=1, keepdims=True), places.mean(axis=1, keepdims=True)
    one, other = points - middle, places - there
    left, _, right = np.linalg.svd(np.matmul(other.swapaxes(1, 2), one))
    turns = np.matmul(left, right)
    # Of the two lengths the sums of squares: what is nearest where both carry errors alike.
    spread = (one * one).sum(axis=(1, 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        scales = np.sqrt((other * other).sum(axis=(1, 2)) / spread)
    moves = there[:, 0] - scales[:, None] * np.matmul(turns, middle[:, 0, :, None])[..., 0]
    return scales, turns, moves


def _misses(similarity: Similarity, points: Floats, places: Floats) -> Floats:
    return np.asarray(np.linalg.norm(similarity.of(points) - places, axis=1))


# ---- without an order

SAMPLED: Final = 400
ROUGH: Final = 2e-3  # of the body's size: near enough to be a vertex's own place
RATIOS: Final = (1.0, 0.1, 0.01, 0.001, 10.0, 100.0, 1000.0, 0.0254, 0.3048, 1 / 0.0254, 1 / 0.3048)
"""Between the units that files use: metres, decimetres, centimetres, millimetres, inches, feet."""
RATIO_ERROR: Final = 0.1
FEW: Final = 0.3  # a guess that fewer than this share agree with is none


def signed_axes() -> tuple[Floats, ...]:
    """The 48 ways to name three axes anew: (3, 3) each, proper turns first, the identity the very first."""
    ways = []
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            turn = np.zeros((3, 3))
            turn[range(3), order] = signs
            ways.append(turn)
    ways.sort(key=lambda turn: (-np.linalg.det(turn), -np.trace(turn)))
    return tuple(ways)


def guessed(points: Floats, places: Floats, size: float) -> Similarity | None:
    """A rough similarity from points (n, 3) to places (m, 3) whose orders have nothing in common; None: there is none.

    The axes are those of the character under other names, the scale is one of `RATIOS`, and the origin or the middle of
    both is the same.
    """
    generator = np.random.Generator(np.random.PCG64(7))
    sample = points[generator.permutation(len(points))[:SAMPLED]]
    tree = cKDTree(places)
    ratio = _spread(places) / max(_spread(points), 1e-300)
    scale = min(RATIOS, key=lambda one: abs(np.log(one / ratio)))
    if abs(np.log(scale / ratio)) > RATIO_ERROR:
        scale = ratio
    best, most = None, FEW
    for turn in signed_axes():
        for move in (np.zeros(3), places.mean(axis=0) - scale * (turn @ points.mean(axis=0))):
            similarity = Similarity(float(scale), turn, move)
            distances = np.asarray(tree.query(similarity.of(sample), distance_upper_bound=ROUGH * size)[0])
            share = float(np.isfinite(distances).mean())
            if share > most + 1e-9:
                best, most = similarity, share
    return best


def nearest_pairs(points: Floats, places: Floats, within: float) -> tuple[Integers, Integers]:
    """Rows of points and of places that are each other's nearest, at most `within` metres apart."""
    distances, there = (np.asarray(each) for each in cKDTree(places).query(points))
    back = np.asarray(cKDTree(points).query(places)[1])
    rows = np.arange(len(points))
    mutual = (back[there] == rows) & (distances <= within)
    return rows[mutual], there[mutual].astype(np.int64)


def _spread(points: Floats) -> float:
    return float(np.sqrt(((points - points.mean(axis=0)) ** 2).sum(axis=1).mean()))
