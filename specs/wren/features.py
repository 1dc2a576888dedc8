"""The eyes and ears of the control cage: nested rings in openings of the head."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from plica.picture.directions import Floats, unit
from plica.specs.wren import otter
from plica.specs.wren.builder import CageBuilder, matched, shrinkage
from plica.specs.wren.limbs import CrossSection
from plica.specs.wren.trunk import Trunk


def _add_disc(
    builder: CageBuilder, rings: Sequence[list[int]], planes: Sequence[Floats], center: int, island: str
) -> None:
    """Nested rings of eight vertices closed by four quads round `center`; `planes` has one (8, 2) for each
    ring.
    """
    for outer, inner, here, there in zip(rings, rings[1:], planes, planes[1:], strict=False):
        for k in range(8):
            after = (k + 1) % 8
            builder.quad(
                [outer[k], outer[after], inner[after], inner[k]],
                [here[k], here[after], there[after], there[k]],
                island,
            )
    last, plane = rings[-1], planes[-1]
    for corner in range(0, 8, 2):
        around = [(corner - 1) % 8, corner, corner + 1]
        builder.quad(
            [*(last[k] for k in around), center],
            [*(plane[k] for k in around), planes[-1].mean(axis=0)],
            island,
        )


def add_eye(builder: CageBuilder, trunk: Trunk) -> None:
    border = trunk.loop(otter.EYE_PATCH)
    loop = [trunk.ids[i][j] for i, j in border]
    plane = np.array([trunk.plane[i, j] for i, j in border])
    points = builder.points(loop)
    middle = points.mean(axis=0)
    normal = unit(np.cross(points - middle, np.roll(points, -1, axis=0) - middle).sum(axis=0))
    low, high, first, last = otter.EYE_PATCH
    hub = builder.points([trunk.ids[(low + high) // 2][(first + last) // 2]])[0]
    outward = [unit(point - hub - normal * np.dot(point - hub, normal)) for point in points]
    blend = {"head": 1.0}
    rings, planes = [loop], [plane]
    for radius, rise, share in otter.EYE_RINGS:
        places = np.array([hub + otter.EYE_RADIUS * (radius * way + rise * normal) for way in outward])
        rings.append(builder.vertices(places, blend))
        planes.append(plane.mean(axis=0) + share * (plane - plane.mean(axis=0)))
    center = builder.vertex(hub + otter.EYE_RADIUS * otter.EYE_BULGE * normal, blend)
    _add_disc(builder, rings, planes, center, "head")


def add_ear(builder: CageBuilder, trunk: Trunk) -> None:
    loop = [trunk.ids[i][j] for i, j in trunk.loop(otter.EAR_PATCH)]
    axis = unit(otter.EAR_AXIS)
    front = unit(np.asarray(otter.EAR_FRONT) - axis * np.dot(otter.EAR_FRONT, axis))
    frame = CrossSection(np.asarray(otter.EAR_ROOT), axis, front)
    around = 2.0 * np.pi * np.arange(8) / 8.0
    rings: list[list[int]] = []
    for height, half_width, half_depth in otter.EAR_RINGS:
        center = frame.center + height * axis
        places = center + (
            np.outer(half_width * np.cos(around), frame.width) + np.outer(half_depth * np.sin(around), front)
        ) / shrinkage(8)
        rings.append(builder.vertices(places, {"ear_lf": 1.0}))
    first = matched(loop, builder.points(rings[0]), builder)
    # The corners of the patch must be the corners of the closing quads, or the tip's faces would be skewed.
    turn = (loop.index(first[0])) % 2
    rings = [first[turn:] + first[:turn], *(ring[turn:] + ring[:turn] for ring in rings)]
    tip = builder.vertex(builder.points(rings[-1]).mean(axis=0) + 0.002 * axis, {"ear_lf": 1.0})
    steps = [
        float(np.linalg.norm(builder.points(inner) - builder.points(outer), axis=1).mean())
        for outer, inner in itertools.pairwise(rings)
    ]
    tip_radius = float(np.linalg.norm(builder.points(rings[-1]) - builder.places[tip], axis=1).mean())
    radii = tip_radius + np.concatenate([np.cumsum(steps[::-1])[::-1], [0.0]])
    circle = np.stack([-np.cos(around), np.sin(around)], axis=1)
    _add_disc(builder, rings, [radius * circle for radius in radii], tip, "ear")
