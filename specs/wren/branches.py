"""The limbs and digits of the control cage: tubes that grow out of the trunk's openings and out of the
paws.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from plica.picture.directions import Floats
from plica.specs.wren import otter
from plica.specs.wren.builder import CageBuilder, arcs_of, matched, shrinkage
from plica.specs.wren.limbs import CrossSection, DigitPath
from plica.specs.wren.weights import CageBend, chain_blend, mixed

LIMB_COLUMNS: Final = 10
SEAM_COLUMN: Final = 7
"""Where a limb's texture island is cut open: the middle of its under side."""


def _limb_ring(frame: CrossSection, ring: otter.LimbRing) -> Floats:
    around = np.radians(90.0 + 36.0 * (np.arange(LIMB_COLUMNS) - 2))
    ellipse = np.stack([np.cos(around), np.sin(around)], axis=1) / shrinkage(LIMB_COLUMNS)
    spread = np.array([1.0, 0.5, 0.0, -0.5, -1.0])
    # Towards the sides a paw is thinner than in its middle, and its side is a single round quad.
    thick = np.array([1.0, 1.12, 1.15, 1.12, 1.0])
    box = np.stack([np.concatenate([spread, -spread]), np.concatenate([thick, -thick])], axis=1)
    shape = (1.0 - ring.squareness) * ellipse + ring.squareness * box
    heights = np.where(shape[:, 1] > 0.0, ring.dorsal, ring.ventral) * shape[:, 1]
    return frame.center + np.outer(ring.half_width * shape[:, 0], frame.width) + np.outer(heights, frame.dorsal)


def _add_tube(builder: CageBuilder, rings: Sequence[list[int]], island: str, cut: int, start: float = 0.0) -> Floats:
    """Quads between successive rings, unrolled with every ring's true girth; returns the last ring's plane
    places.
    """
    count = len(rings[0])
    order = [(cut + k) % count for k in range(count + 1)]
    below: Floats | None = None
    height = start
    for number, ring in enumerate(rings):
        arcs = arcs_of(builder.points([ring[k] for k in order]))
        if number > 0:
            steps = builder.points(ring) - builder.points(rings[number - 1])
            height -= float(np.linalg.norm(steps, axis=1).mean())
        here = np.stack([arcs[-1] / 2.0 - arcs, np.full(count + 1, height)], axis=1)
        if below is not None:
            previous = rings[number - 1]
            for k in range(count):
                ids = [previous[order[k]], previous[order[k + 1]], ring[order[k + 1]], ring[order[k]]]
                builder.quad(ids, [below[k], below[k + 1], here[k + 1], here[k]], island)
        below = here
    assert below is not None
    return below


def add_limb(
    builder: CageBuilder,
    loop: list[int],
    shapes: tuple[otter.LimbRing, ...],
    frames: tuple[CrossSection, ...],
    chain: tuple[str, tuple[CageBend, ...]],
    island: str,
) -> list[int]:
    """Grows a limb out of a loop of the trunk; returns its last ring."""
    rings: list[list[int]] = []
    for shape, frame in zip(shapes, frames, strict=True):
        rings.append(builder.vertices(_limb_ring(frame, shape), chain_blend(chain[0], chain[1], shape.at)))
    first = matched(loop, builder.points(rings[0]), builder)
    _add_tube(builder, [first, *rings], island, SEAM_COLUMN)
    return rings[-1]


def _digit_ring(frame: CrossSection, half_width: float, half_height: float) -> Floats:
    signs = np.array([(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)])
    # A ring of four shrinks to two thirds, measured at its corners.
    scale = 1.0 / (np.sqrt(2.0) * shrinkage(4))
    return (
        frame.center
        + np.outer(signs[:, 0] * half_width * scale, frame.width)
        + np.outer(signs[:, 1] * half_height * scale, frame.dorsal)
    )


def _add_digit(
    builder: CageBuilder,
    root: list[int],
    path: DigitPath,
    measures: otter.Digit,
    stops: tuple[float, ...],
    chain: tuple[str, tuple[CageBend, ...]],
) -> None:
    rings = [root]
    for stop in stops:
        # The last ring is smaller, so that the tip is round.
        size = 0.80 if stop == stops[-1] else 1.0
        places = _digit_ring(path.frame_at(stop), size * measures.half_width, size * measures.half_height)
        rings.append(builder.vertices(places, chain_blend(chain[0], chain[1], stop)))
    last = _add_tube(builder, rings, path.name, cut=3)
    tip = rings[-1]
    # The tip's quad hangs on the upper side, which is the second quad of the strip.
    side = last[2] - last[1]
    beyond = np.array([side[1], -side[0]])
    beyond = beyond if beyond[1] < 0.0 else -beyond
    builder.quad(tip, [last[1], last[2], last[2] + beyond, last[1] + beyond], path.name)


def add_digits(
    builder: CageBuilder,
    ring: list[int],
    paths: tuple[DigitPath, ...],
    measures: tuple[otter.Digit, ...],
    stops: tuple[float, ...],
    chains: Sequence[tuple[str, tuple[CageBend, ...]]],
) -> None:
    for number, (path, measure, chain) in enumerate(zip(paths, measures, chains, strict=True)):
        root = [ring[number], ring[number + 1], ring[8 - number], ring[9 - number]]
        _add_digit(builder, root, path, measure, stops, chain)


def share_knuckles(builder: CageBuilder, ring: list[int], names: Sequence[str]) -> None:
    """The paw's last ring lies on the finger roots: half paw, half the finger or fingers beside it."""
    for upper in range(5):
        beside = [f"{names[k]}_1_lf" for k in (upper - 1, upper) if 0 <= k < 4]
        fingers = {name: 1.0 / len(beside) for name in beside}
        for index in (ring[upper], ring[9 - upper]):
            builder.blends[index] = mixed([({"paw_lf": 1.0}, 0.55), (fingers, 0.45)])
