"""Gutters: which covered texel each texel that nothing covers takes its value from.

Up to `EXACT` texels beyond an island it is the nearest one. Farther out, in large textures, texels are gathered in
blocks of 4 by 4, and it is a texel of the block that is nearest by the blocks' middles: at most 6 √2 texels farther
away than the nearest one, as no texel's middle is more than 1.5 √2 from its block's, and at a fifth of the work.
Textures up to `WHOLE` texels across have the nearest texel everywhere.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy import ndimage

from plica.mesh.arrays import Integers
from plica.texture.raster import Flags, Indices, taken

BLOCK: Final = 4
"""Texels across a block."""
EXACT: Final = 4
"""Texels from an island up to which the nearest texel is found; a linear filter on textures half as large reaches 3."""
WHOLE: Final = 256
"""Textures up to this size are small enough for the nearest texel everywhere."""


def gutter_of(covered: Flags) -> tuple[Indices, Indices]:
    """The texels (g,), rising, that are not covered (size, size), and the covered one (g,) that each goes with."""
    gutter = np.flatnonzero(~covered)
    if not len(gutter) or len(gutter) == covered.size:
        return gutter.astype(np.int32), gutter.astype(np.int32)
    size = len(covered)
    if size <= WHOLE:
        behind = nearest(covered).reshape(-1)[gutter]
    else:
        behind = _by_blocks(covered, gutter)
    return gutter.astype(np.int32), behind.astype(np.int32)


def nearest(held: Flags) -> Integers:
    """The number (rows, columns), row by row, of the nearest entry that is true; 0 where none is."""
    if not held.any():
        return np.zeros(held.shape, dtype=np.int64)
    indices = ndimage.distance_transform_edt(~held, return_distances=False, return_indices=True)
    return np.asarray(indices[0].astype(np.int64) * held.shape[1] + indices[1])


def _by_blocks(covered: Flags, gutter: Integers) -> Integers:
    size = len(covered)
    across = size // BLOCK
    rows = np.logical_or.reduce(covered.reshape(across, BLOCK, size), axis=1)
    held = np.logical_or.reduce([rows[:, step::BLOCK] for step in range(BLOCK)])
    block = gutter // size // BLOCK * across + gutter % size // BLOCK
    source = taken(nearest(held).reshape(-1), block)
    wanted = np.zeros(across * across, dtype=np.bool_)
    wanted[source] = True
    behind = taken(_chosen(covered, np.flatnonzero(wanted)), source)
    # Only in blocks that touch one with something covered are texels close to it, as `EXACT` is no more than a block.
    close = ndimage.binary_dilation(held, np.ones((3, 3), np.bool_))
    left = np.flatnonzero(taken(close.reshape(-1), block))
    around = np.zeros((size + 2 * EXACT, size + 2 * EXACT), dtype=np.bool_)
    around[EXACT:-EXACT, EXACT:-EXACT] = covered
    flat = around.reshape(-1)
    place = (gutter[left] // size + EXACT) * len(around) + gutter[left] % size + EXACT
    for down, right in _offsets():
        hit = taken(flat, place + (down * len(around) + right))
        behind[left[hit]] = gutter[left[hit]] + (down * size + right)
        left, place = left[~hit], place[~hit]
    return behind


def _chosen(covered: Flags, blocks: Integers) -> Integers:
    """The number of a covered texel in each of `blocks`, which have one, in a list (n,) of all blocks."""
    size = len(covered)
    across = size // BLOCK
    row, column = blocks // across * BLOCK, blocks % across * BLOCK
    inside = [(down, right) for down in range(BLOCK) for right in range(BLOCK)]
    inside.sort(key=lambda step: (step[0] - (BLOCK - 1) / 2) ** 2 + (step[1] - (BLOCK - 1) / 2) ** 2, reverse=True)
    result = np.zeros(across * across, dtype=np.int64)
    flat = covered.reshape(-1)
    for down, right in inside:  # the one closest to the middle comes last
        texel = (row + down) * size + column + right
        hit = taken(flat, texel)
        result[blocks[hit]] = texel[hit]
    return result


def _offsets() -> list[tuple[int, int]]:
    """Steps down and to the right, no longer than `EXACT`, by length."""
    steps = range(-EXACT, EXACT + 1)
    every = [(down, right) for down in steps for right in steps if 0 < down * down + right * right <= EXACT * EXACT]
    return sorted(every, key=lambda step: (step[0] ** 2 + step[1] ** 2, step))
