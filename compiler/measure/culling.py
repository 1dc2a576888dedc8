"""Where the skin deforms so evenly that neighbouring triangles cannot have come to cross.

The skin is divided into patches. Let G be any linear map and suppose that every edge e along a path deforms to e' with
|e' - G e| <= d |e|. For points v and w at the ends of a path of length l then |(v' - w') - G (v - w)| <= d l, and as
points of triangles are means of their corners, two triangles whose corners all lie within paths of length l of each
other, and that are a distance g apart at rest, stay apart as long as d l < s g, s being the smallest singular value
of G. (The argument is our own: the triangle inequality along a path. It never clears a pair that crosses.)

`reach` = l / g is fixed at rest; the rest of the test, d / s, is one number for each pair of neighbouring
patches and frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from plica.measure.aabb_tree import AabbTree, boxes_of, levels, meeting_leaves, touching
from plica.measure.checks import are_indexes, are_rising
from plica.measure.structure_of_arrays import Singles
from plica.mesh.arrays import Floats, Integers
from plica.mesh.sparse import SparseSingles

# Leaves of the tree in a patch, as a power of two.
_HALVINGS = 2
# Longest path from a patch's points, in units of the patch's diameter.
_LONGEST_PATH = 1.25
# What single precision may add to a deviation, in units of its rounding.
_ROUNDING = 16.0 * float(np.finfo(np.float32).eps)
_SAFETY = 1.01


@dataclass(frozen=True, eq=False)
class SkinPatches:
    """fits (2 k, p) and frames (3 axes, 3, k): see `_fitted`;
    edges (e, 2), spans (e, 3) and patch (e,) sorted; first and second (n,): directed pairs of patches near each other,
    sorted by the first, each with itself; longest (k,) metres: how long paths from a patch's points may be."""

    count: int
    shift: int
    fits: SparseSingles
    frames: Singles
    edges: Integers
    spans: Singles
    patch: Integers
    starts: Integers
    first: Integers
    second: Integers
    longest: Floats

    def suits(self, leaves: int, points: int) -> bool:
        """Whether these can be patches of so many leaves with so many points."""
        if not 0 <= self.shift <= _HALVINGS or self.count < 1 or self.count << self.shift != leaves:
            return False
        edges, near, patches = len(self.patch), len(self.first), np.arange(self.count)
        numbers = (self.fits.data, self.frames, self.spans, self.longest)
        return (
            self.fits.shape == (2 * self.count, points)
            and self.fits.dtype == np.float32
            and self.frames.shape == (3, 3, self.count)
            and self.spans.shape == (edges, 3)
            and self.longest.shape == (self.count,)
            and not any(np.isnan(one).any() for one in numbers)
            and are_indexes(self.edges, points, (edges, 2))
            and are_indexes(self.patch, self.count)
            and np.array_equal(np.unique(self.patch), patches)
            and bool((np.diff(self.patch) >= 0).all())
            and np.array_equal(self.starts, np.searchsorted(self.patch, patches))
            and are_indexes(self.first, self.count)
            and are_indexes(self.second, self.count, (near,))
            and are_rising(self.first * self.count + self.second)
            and np.array_equal(np.unique(self.first), patches)
        )

    def patch_of(self, leaves: Integers) -> Integers:
        """The patch of each leaf."""
        return np.asarray(leaves >> self.shift)

    def deviations(self, places: Singles, one: Integers, other: Integers) -> Floats:
        """d / s of pairs of patches (n,) that are near each other, the largest of all frames; places (3, p, frames).

        Infinite where nothing can be said."""
        maps, smallest = self._maps(places)
        own = self._own(places, maps)
        around = own[self.second] + _apart(maps, self.first, self.second)
        bounds = np.searchsorted(self.first, np.arange(self.count))
        around = np.maximum.reduceat(around, bounds, axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.maximum(around[one], around[other] + _apart(maps, one, other)) / smallest[one]
        # Never 0, as what multiplies it may be infinite.
        worst = np.maximum(ratio.max(axis=1).astype(np.float64) * _SAFETY, 1e-9)
        return np.where(np.isfinite(worst), worst, np.inf)

    def _maps(self, places: Singles) -> tuple[Singles, Singles]:
        """A linear map for each patch, (3 rows, 3 columns, patches, frames), and its smallest singular value."""
        frames = places.shape[2]
        fitted = np.stack([(self.fits @ axis).reshape(2, self.count, frames) for axis in places])
        along, across = fitted[:, 0], fitted[:, 1]
        normal = np.stack(
            [
                along[1] * across[2] - along[2] * across[1],
                along[2] * across[0] - along[0] * across[2],
                along[0] * across[1] - along[1] * across[0],
            ]
        )
        size = np.sqrt((normal**2).sum(axis=0))
        normal /= np.maximum(size, np.float32(1e-30))
        columns = self.frames[:, :, :, None]
        maps = np.stack(
            [along * columns[0, axis] + across * columns[1, axis] + normal * columns[2, axis] for axis in range(3)],
            axis=1,
        )
        one, other, mixed = (along**2).sum(axis=0), (across**2).sum(axis=0), (along * across).sum(axis=0)
        largest = 0.5 * (one + other) + np.hypot(0.5 * (one - other), mixed)
        # size is s1 s2, so that dividing is steadier than subtracting squares.
        smallest = size / np.sqrt(np.maximum(largest, np.float32(1e-30)))
        return maps, np.minimum(smallest, np.float32(1.0))

    def _own(self, places: Singles, maps: Singles) -> Singles:
        """The largest deviation of each patch's edges from its map, per length, (patches, frames)."""
        extent = float(np.abs(places).max(initial=0.0))
        total = np.zeros((len(self.edges), places.shape[2]), np.float32)
        x, y, z = self.spans.T[:, :, None]
        for axis in range(3):
            row = maps[axis]
            change = places[axis][self.edges[:, 1]] - places[axis][self.edges[:, 0]]
            change -= row[0][self.patch] * x
            change -= row[1][self.patch] * y
            change -= row[2][self.patch] * z
            change *= change
            total += change
        lengths = np.sqrt((self.spans**2).sum(axis=1))
        with np.errstate(divide="ignore", invalid="ignore"):
            relative = (np.sqrt(total) + np.float32(_ROUNDING * extent)) / lengths[:, None]
        return np.asarray(np.maximum.reduceat(relative, self.starts, axis=0))


def patches_of(tree: AabbTree, rest: Floats, corners: Integers) -> SkinPatches:
    """SkinPatches of the tree's leaves; rest (p, 3) metres, corners (t, 3)."""
    shift = min(_HALVINGS, tree.depth)
    count = len(tree.leaves) >> shift
    members = tree.points.reshape(count, -1)
    boxes = boxes_of(np.ascontiguousarray(rest.T[:, :, None], dtype=np.float32), members)
    longest = _LONGEST_PATH * np.sqrt(((boxes[:3] + boxes[3:]) ** 2).sum(axis=0))[:, 0].astype(np.float64)
    # Each edge of a path lies within half of one end's longest path of that end, as no path is longer than both halves
    # together; a little more, as boxes are in single precision.
    grown = boxes + (0.51 * longest).astype(np.float32)[:, None]
    first, second = _near(grown, boxes)
    edges, patch = _edges_by_patch(tree, corners, count, shift)
    fits, frames = _fitted(members, rest)
    return SkinPatches(
        count,
        shift,
        fits,
        frames,
        edges,
        (rest[edges[:, 1]] - rest[edges[:, 0]]).astype(np.float32),
        patch,
        np.searchsorted(patch, np.arange(count)),
        first,
        second,
        longest,
    )


def _near(grown: Singles, boxes: Singles) -> tuple[Integers, Integers]:
    """Directed pairs: the first one's grown box meets the second one's own."""
    one, other = meeting_leaves(levels(grown))
    own = np.arange(grown.shape[1])
    first, second = np.concatenate([one, other, own]), np.concatenate([other, one, own])
    kept = touching(grown, boxes, first, second)[:, 0]
    first, second = first[kept], second[kept]
    order = np.lexsort((second, first))
    return first[order], second[order]


def _edges_by_patch(tree: AabbTree, corners: Integers, count: int, shift: int) -> tuple[Integers, Integers]:
    """Every edge once for each patch that has a triangle at it, sorted by patch."""
    held = np.arange(tree.leaves.shape[1]) < tree.counts[:, None]
    leaf, slot = np.nonzero(held)
    triangles = corners[tree.leaves[leaf, slot]]
    patch = np.repeat(leaf >> shift, 3)
    ends = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    rows = np.unique(np.column_stack([patch, ends]), axis=0)
    assert len(np.unique(rows[:, 0])) == count
    return rows[:, 1:], rows[:, 0]


def _fitted(members: Integers, rest: Floats) -> tuple[SparseSingles, Singles]:
    """What takes places of points to the images of a patch's two tangents, best in the sense of least squares, as a
    matrix (2 k, p), tangents first; and the patches' frames at rest (3, 3 axes, k): two tangents and the normal."""
    count, most = members.shape
    places = rest[members]
    own = np.ones(members.shape, bool)
    ordered = np.sort(members, axis=1)
    order = np.argsort(members, axis=1, kind="stable")
    repeated = np.zeros(members.shape, bool)
    repeated[:, 1:] = ordered[:, 1:] == ordered[:, :-1]
    np.put_along_axis(own, order, ~repeated, axis=1)
    share = own / own.sum(axis=1, keepdims=True)
    middle = (places * share[:, :, None]).sum(axis=1, keepdims=True)
    offsets = (places - middle) * own[:, :, None]
    _, sizes, axes = np.linalg.svd(offsets, full_matrices=False)
    tangents = axes[:, :2]
    normal = np.cross(tangents[:, 0], tangents[:, 1])
    flat = np.einsum("kni,kti->ktn", offsets, tangents)
    squares = np.maximum(sizes[:, :2], 1e-6 * sizes[:, :1] + 1e-300) ** 2
    weights = flat / squares[:, :, None]
    rows = np.repeat(np.arange(2)[:, None] * count + np.arange(count), most).reshape(2, count, most)
    columns = np.broadcast_to(members, rows.shape)
    fits = sparse.csr_array(
        (weights.transpose(1, 0, 2).reshape(-1).astype(np.float32), (rows.reshape(-1), columns.reshape(-1))),
        shape=(2 * count, len(rest)),
    )
    frames = np.stack([tangents[:, 0], tangents[:, 1], normal]).transpose(0, 2, 1)
    return fits, np.ascontiguousarray(frames, dtype=np.float32)


def _apart(maps: Singles, one: Integers, other: Integers) -> Singles:
    """How much two patches' maps differ (Frobenius norm), (n, frames)."""
    total = np.zeros((len(one), maps.shape[3]), np.float32)
    for row in maps:
        for column in row:
            change = column[one] - column[other]
            change *= change
            total += change
    return np.sqrt(total)
