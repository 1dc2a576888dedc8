"""The control cage: a coarse quad mesh of Wren's left half, built ring by ring, with texture coordinates and weights.

`half_cage` makes the left half with its open border on the mirror plane; `whole_cage` closes it with its
reflection. All faces are quads, wound counter-clockwise seen from outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from plica.demo import limbs, otter
from plica.demo.limbs import DigitPath, Frame
from plica.demo.skeleton import wren_skeleton
from plica.demo.vectors import MIRROR, Floats, Integers, unit
from plica.demo.weights import (
    ARM_BENDS,
    LEG_BENDS,
    LIMB_PATCHES,
    Bend,
    Blend,
    chain_blend,
    dense,
    finger_bends,
    mirrored_weights,
    mixed,
    trunk_blends,
    with_patches,
)

COLUMNS: Final = 8
"""Quads from the back's middle line to the belly's, on one side."""
LIMB_COLUMNS: Final = 10
SEAM_COLUMN: Final = 7
"""Where a limb's texture island is cut open: the middle of its under side."""


@dataclass(frozen=True)
class Cage:
    """A quad mesh: positions (n, 3), faces (m, 4), and for each face its island and corner coordinates.

    `corners` is (m, 4, 2) in metres, each island in its own plane with u to the right and v down; `weights` is
    (n, joints).
    """

    positions: Floats
    faces: Integers
    corners: Floats
    islands: tuple[str, ...]
    weights: Floats


@dataclass
class _Builder:
    places: list[Floats] = field(default_factory=list)
    blends: list[Blend] = field(default_factory=list)
    faces: list[tuple[int, ...]] = field(default_factory=list)
    corners: list[Floats] = field(default_factory=list)
    islands: list[str] = field(default_factory=list)

    def vertex(self, place: Floats, blend: Blend) -> int:
        self.places.append(place)
        self.blends.append(blend)
        return len(self.places) - 1

    def vertices(self, places: Floats, blend: Blend) -> list[int]:
        return [self.vertex(place, blend) for place in places]

    def quad(self, ids: Sequence[int], corners: Sequence[Floats], island: str) -> None:
        self.faces.append(tuple(ids))
        self.corners.append(np.array(corners))
        self.islands.append(island)

    def points(self, ids: Sequence[int]) -> Floats:
        return np.array([self.places[index] for index in ids])


def shrinkage(count: int) -> float:
    """The factor by which Catmull-Clark shrinks a long tube whose regular rings have `count` vertices.

    The limit of a uniform cubic B-spline through a regular polygon's corners has radius (2 + cos(2 pi / n)) / 3.
    """
    return float((2.0 + np.cos(2.0 * np.pi / count)) / 3.0)


def _arcs(points: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])


# --- the trunk: tail, torso, neck and head ---------------------------------------------------------------------


def _trunk_ring(ring: otter.BodyRing) -> Floats:
    angle = np.radians(ring.axis_degrees)
    up = np.array([0.0, np.cos(angle), -np.sin(angle)])
    around = np.pi * np.arange(COLUMNS + 1) / COLUMNS
    reach = np.where(np.cos(around) > 0.0, ring.dorsal, ring.ventral) * np.cos(around)
    points = np.array([0.0, ring.y, ring.z]) + reach[:, None] * up / shrinkage(2 * COLUMNS)
    points[:, 0] = ring.half_width * np.sin(around) / shrinkage(2 * COLUMNS)
    points[[0, -1], 0] = 0.0
    return points


def _in_patch(row: int, column: int) -> bool:
    patches = (otter.ARM_PATCH, otter.LEG_PATCH, otter.EAR_PATCH, otter.EYE_PATCH)
    return any(low <= row < high and first <= column < last for low, high, first, last in patches)


def _trunk_island(row: int) -> str:
    if row < otter.TAIL_ROWS:
        return "tail"
    return "torso" if row < otter.HEAD_FIRST_RING else "head"


@dataclass(frozen=True)
class _Trunk:
    ids: list[list[int]]
    plane: Floats  # (rings, columns + 1, 2)

    def loop(self, patch: tuple[int, int, int, int]) -> list[tuple[int, int]]:
        """The border of a patch as (ring, column), counter-clockwise seen from outside."""
        low, high, first, last = patch
        up = [(ring, first) for ring in range(low, high)]
        across = [(high, column) for column in range(first, last)]
        down = [(ring, last) for ring in range(high, low, -1)]
        back = [(low, column) for column in range(last, first, -1)]
        return up + across + down + back


def _add_trunk(builder: _Builder) -> _Trunk:
    rings = np.array([_trunk_ring(ring) for ring in otter.BODY])
    steps = np.linalg.norm(np.diff(rings, axis=0), axis=2).mean(axis=1)
    heights = np.concatenate([[0.0], np.cumsum(steps)])
    girths = np.array([_arcs(ring) for ring in rings])
    # Wren's left lies to the left of u = 0, as seen from behind with the head up (v runs down).
    plane = np.stack([-girths, np.broadcast_to(-heights[:, None], girths.shape)], axis=2)
    ids = [builder.vertices(ring, blend) for ring, blend in zip(rings, trunk_blends(), strict=True)]
    for row in range(len(rings) - 1):
        for column in range(COLUMNS):
            if _in_patch(row, column):
                continue
            around = [(row, column), (row + 1, column), (row + 1, column + 1), (row, column + 1)]
            builder.quad([ids[i][j] for i, j in around], [plane[i, j] for i, j in around], _trunk_island(row))
    return _Trunk(ids, plane)


def _add_cap(builder: _Builder, border: list[int], outward: Floats, bulge: float, island: str) -> None:
    """Closes the half ring at a trunk's end with 2 by 4 quads, the half of a 4 by 4 grid."""
    points = builder.points(border)
    grid = np.zeros((3, 5), dtype=np.int64)
    grid[:, 0], grid[2, 1:4], grid[:, 4] = border[0:3], border[3:6], border[8:5:-1]
    outer = points[3:6]
    top, bottom = points[0], points[8]
    for y in range(1, 4):
        middle = top + (bottom - top) * (y / 4.0)
        for x in (0, 1):
            place = middle + (outer[y - 1] - middle) * (x / 2.0) + outward * bulge * (1.0 - 0.35 * x)
            place[0] = 0.0 if x == 0 else place[0]
            grid[x, y] = builder.vertex(place, builder.blends[border[0]])
    down = unit(bottom - top)
    faces_front = outward[2] > 0.0
    for x in range(2):
        for y in range(4):
            around = [(x, y + 1), (x + 1, y + 1), (x + 1, y), (x, y)]
            around = around if faces_front else around[::-1]
            ids = [int(grid[i, j]) for i, j in around]
            flat = [np.array([-place[0], np.dot(place - top, down)]) for place in builder.points(ids)]
            builder.quad(ids, flat, island)


# --- limbs and digits ----------------------------------------------------------------------------------------


def _limb_ring(frame: Frame, ring: otter.LimbRing) -> Floats:
    around = np.radians(90.0 + 36.0 * (np.arange(LIMB_COLUMNS) - 2))
    ellipse = np.stack([np.cos(around), np.sin(around)], axis=1) / shrinkage(LIMB_COLUMNS)
    spread = np.array([1.0, 0.5, 0.0, -0.5, -1.0])
    # Towards the sides a paw is thinner than in its middle, and its side is a single round quad.
    thick = np.array([1.0, 1.12, 1.15, 1.12, 1.0])
    box = np.stack(
        [np.concatenate([spread, -spread]), np.concatenate([thick, -thick])], axis=1
    )
    shape = (1.0 - ring.squareness) * ellipse + ring.squareness * box
    heights = np.where(shape[:, 1] > 0.0, ring.dorsal, ring.ventral) * shape[:, 1]
    return frame.center + np.outer(ring.half_width * shape[:, 0], frame.width) + np.outer(heights, frame.dorsal)


def _matched(loop: list[int], ring: Floats, builder: _Builder) -> list[int]:
    """The loop turned so that its vertices lie nearest to the ring's; a twisted first row would show."""
    turns = [loop[shift:] + loop[:shift] for shift in range(len(loop))]
    return min(turns, key=lambda turn: float(np.sum((builder.points(turn) - ring) ** 2)))


def _add_tube(builder: _Builder, rings: Sequence[list[int]], island: str, cut: int, start: float = 0.0) -> Floats:
    """Quads between successive rings, unrolled with every ring's true girth; returns the last ring's plane places."""
    count = len(rings[0])
    order = [(cut + k) % count for k in range(count + 1)]
    below: Floats | None = None
    height = start
    for number, ring in enumerate(rings):
        arcs = _arcs(builder.points([ring[k] for k in order]))
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


def _add_limb(
    builder: _Builder,
    loop: list[int],
    shapes: tuple[otter.LimbRing, ...],
    frames: tuple[Frame, ...],
    chain: tuple[str, tuple[Bend, ...]],
    island: str,
) -> list[int]:
    """Grows a limb out of a loop of the trunk; returns its last ring."""
    rings: list[list[int]] = []
    for shape, frame in zip(shapes, frames, strict=True):
        rings.append(builder.vertices(_limb_ring(frame, shape), chain_blend(chain[0], chain[1], shape.at)))
    first = _matched(loop, builder.points(rings[0]), builder)
    _add_tube(builder, [first, *rings], island, SEAM_COLUMN)
    return rings[-1]


def _digit_ring(frame: Frame, half_width: float, half_height: float) -> Floats:
    signs = np.array([(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)])
    # A ring of four shrinks to two thirds, measured at its corners.
    scale = 1.0 / (np.sqrt(2.0) * shrinkage(4))
    return (
        frame.center
        + np.outer(signs[:, 0] * half_width * scale, frame.width)
        + np.outer(signs[:, 1] * half_height * scale, frame.dorsal)
    )


def _add_digit(
    builder: _Builder,
    root: list[int],
    path: DigitPath,
    measures: otter.Digit,
    stops: tuple[float, ...],
    chain: tuple[str, tuple[Bend, ...]],
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


def _add_digits(
    builder: _Builder,
    ring: list[int],
    paths: tuple[DigitPath, ...],
    measures: tuple[otter.Digit, ...],
    stops: tuple[float, ...],
    chains: Sequence[tuple[str, tuple[Bend, ...]]],
) -> None:
    for number, (path, measure, chain) in enumerate(zip(paths, measures, chains, strict=True)):
        root = [ring[number], ring[number + 1], ring[8 - number], ring[9 - number]]
        _add_digit(builder, root, path, measure, stops, chain)


def _share_knuckles(builder: _Builder, ring: list[int], names: Sequence[str]) -> None:
    """The paw's last ring lies on the finger roots: half paw, half the finger or fingers beside it."""
    for upper in range(5):
        beside = [f"{names[k]}_1_lf" for k in (upper - 1, upper) if 0 <= k < 4]
        fingers = {name: 1.0 / len(beside) for name in beside}
        for index in (ring[upper], ring[9 - upper]):
            builder.blends[index] = mixed([({"paw_lf": 1.0}, 0.55), (fingers, 0.45)])


# --- eyes and ears --------------------------------------------------------------------------------------------


def _add_disc(builder: _Builder, rings: Sequence[list[int]], planes: Sequence[Floats], center: int, island: str) -> None:
    """Nested rings of eight vertices closed by four quads round `center`; `planes` has one (8, 2) for each ring."""
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
        builder.quad([*(last[k] for k in around), center], [*(plane[k] for k in around), planes[-1].mean(axis=0)], island)


def _add_eye(builder: _Builder, trunk: _Trunk) -> None:
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


def _add_ear(builder: _Builder, trunk: _Trunk) -> None:
    loop = [trunk.ids[i][j] for i, j in trunk.loop(otter.EAR_PATCH)]
    axis = unit(otter.EAR_AXIS)
    front = unit(np.asarray(otter.EAR_FRONT) - axis * np.dot(otter.EAR_FRONT, axis))
    frame = Frame(np.asarray(otter.EAR_ROOT), axis, front)
    around = 2.0 * np.pi * np.arange(8) / 8.0
    rings: list[list[int]] = []
    for height, half_width, half_depth in otter.EAR_RINGS:
        center = frame.center + height * axis
        places = center + (
            np.outer(half_width * np.cos(around), frame.width) + np.outer(half_depth * np.sin(around), front)
        ) / shrinkage(8)
        rings.append(builder.vertices(places, {"ear_lf": 1.0}))
    first = _matched(loop, builder.points(rings[0]), builder)
    # The corners of the patch must be the corners of the closing quads, or the tip's faces would be skewed.
    turn = (loop.index(first[0])) % 2
    rings = [first[turn:] + first[:turn], *(ring[turn:] + ring[:turn] for ring in rings)]
    tip = builder.vertex(builder.points(rings[-1]).mean(axis=0) + 0.002 * axis, {"ear_lf": 1.0})
    steps = [
        float(np.linalg.norm(builder.points(inner) - builder.points(outer), axis=1).mean())
        for outer, inner in zip(rings, rings[1:], strict=False)
    ]
    tip_radius = float(np.linalg.norm(builder.points(rings[-1]) - builder.places[tip], axis=1).mean())
    radii = tip_radius + np.concatenate([np.cumsum(steps[::-1])[::-1], [0.0]])
    circle = np.stack([-np.cos(around), np.sin(around)], axis=1)
    _add_disc(builder, rings, [radius * circle for radius in radii], tip, "ear")


# --- the whole ---------------------------------------------------------------------------------------------------


def half_cage() -> Cage:
    """The left half, its border on the plane x = 0 exactly."""
    builder = _Builder()
    trunk = _add_trunk(builder)
    _add_cap(builder, trunk.ids[-1], np.array([0.0, 0.0, 1.0]), 0.006, "nose")
    _add_cap(builder, trunk.ids[0], np.array([0.0, 0.0, -1.0]), 0.008, "tail_tip")
    arm_loop = [trunk.ids[i][j] for i, j in trunk.loop(otter.ARM_PATCH)]
    leg_loop = [trunk.ids[i][j] for i, j in trunk.loop(otter.LEG_PATCH)]
    paw = _add_limb(builder, arm_loop, otter.ARM, limbs.arm_frames(), ("collar_lf", ARM_BENDS), "arm")
    foot = _add_limb(builder, leg_loop, otter.LEG, limbs.leg_frames(), ("hips", LEG_BENDS), "leg")
    names = [digit.name for digit in otter.FINGERS]
    chains = [("paw_lf", finger_bends(name)) for name in names]
    _add_digits(builder, paw, limbs.fingers(), otter.FINGERS, otter.FINGER_RINGS, chains)
    _share_knuckles(builder, paw, names)
    toe_chains: list[tuple[str, tuple[Bend, ...]]] = [("toes_lf", ())] * len(otter.TOES)
    _add_digits(builder, foot, limbs.toes(), otter.TOES, otter.TOE_RINGS, toe_chains)
    _add_eye(builder, trunk)
    _add_ear(builder, trunk)
    return _finished(builder)


def _finished(builder: _Builder) -> Cage:
    """Drops the vertices that the limbs' openings left unused."""
    skeleton = wren_skeleton()
    faces = np.array(builder.faces, dtype=np.int64)
    used, renumbered = np.unique(faces, return_inverse=True)
    positions = np.array(builder.places)[used]
    weights = dense([builder.blends[index] for index in used], skeleton)
    trunk_only = np.isin(used, np.arange(len(otter.BODY) * (COLUMNS + 1)))
    patched = with_patches(weights, positions, LIMB_PATCHES, skeleton)
    weights[trunk_only] = patched[trunk_only]
    return Cage(positions, renumbered.reshape(faces.shape), np.array(builder.corners), tuple(builder.islands), weights)


def whole_cage(half: Cage) -> Cage:
    """The half joined to its reflection: the left faces first, then the right ones in the same order.

    The right faces' `corners` and `islands` are those of their left partners.
    """
    on_plane = half.positions[:, 0] == 0.0
    count = len(half.positions)
    partner = np.arange(count)
    partner[~on_plane] = count + np.arange(int(np.sum(~on_plane)))
    right = partner[half.faces][:, ::-1]
    return Cage(
        np.concatenate([half.positions, half.positions[~on_plane] @ MIRROR]),
        np.concatenate([half.faces, right]),
        np.concatenate([half.corners, half.corners[:, ::-1]]),
        half.islands * 2,
        np.concatenate([half.weights, mirrored_weights(half.weights[~on_plane], wren_skeleton())]),
    )
