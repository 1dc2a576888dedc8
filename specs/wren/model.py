"""Puts Wren together: cage, subdivision, weights, texture layout; the arrays of the finished mesh."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.picture.directions import Floats, Integers, unit
from plica.specs.wren import coat, otter, steps
from plica.specs.wren.cage import half_cage, whole_cage
from plica.specs.wren.layout import is_turned, laid_out
from plica.specs.wren.skeleton import WrenSkeleton, wren_skeleton
from plica.specs.wren.subdivide import catmull_clark, neighbour_means, split_corners
from plica.specs.wren.vectors import MIRROR, falloff
from plica.specs.wren.weights import FACE_PATCHES, strongest, with_jaw, with_patches

LEVELS: Final = 2


@dataclass(frozen=True)
class DemoModel:
    """The finished mesh, with n vertices as glTF stores them (doubled along the texture's borders).

    positions, normals (n, 3) in metres; texture_coordinates (n, 2); colors (n, 4) bytes; joints, weights
    (n, 4); triangles (m, 3), the left half's first; `welded` (n,) numbers the distinct places; `partner`
    (n,) is each vertex's mirror image; `turned` (m,) marks triangles whose island lies on its side;
    `texture_scale` (m,) is texture widths per metre of skin. All floating-point data is rounded
    (`plica.specs.wren.steps`), and exact in single precision.
    """

    positions: Floats
    normals: Floats
    texture_coordinates: Floats
    colors: NDArray[np.uint8]
    joints: Integers
    weights: Floats
    triangles: Integers
    welded: Integers
    partner: Integers
    skeleton: WrenSkeleton
    texture_scale: Floats
    turned: NDArray[np.bool_]

    @property
    def left(self) -> NDArray[np.bool_]:
        """Which vertices lie strictly on the left, (n,)."""
        return np.asarray(self.positions[:, 0] > 0.0)


def quad_normals(positions: Floats, faces: Integers) -> Floats:
    """Vertex normals (n, 3): the sum of the adjoining quads' area vectors, scaled to unit length."""
    a, b, c, d = (positions[faces[:, corner]] for corner in range(4))
    areas = np.cross(c - a, d - b)
    normals = np.zeros_like(positions)
    for axis in range(3):
        repeated = np.repeat(areas[:, axis], 4)
        normals[:, axis] = np.bincount(faces.ravel(), weights=repeated, minlength=len(positions))
    return unit(normals)


def _distance(positions: Floats, line: Floats, stretch: Floats) -> Floats:
    """Distances (n,) to a polyline (k, 3), k >= 1, measured in units stretched along x, y and z."""
    points, corners = positions / stretch, line / stretch
    nearest: Floats = np.linalg.norm(points - corners[0], axis=1)
    for start, stop in itertools.pairwise(corners):
        step = stop - start
        share = np.clip((points - start) @ step / np.dot(step, step), 0.0, 1.0)
        nearest = np.minimum(nearest, np.linalg.norm(points - start - share[:, None] * step, axis=1))
    return nearest


def _relaxed(positions: Floats, faces: Integers) -> Floats:
    """The surface after smoothing the pits where the limbs leave the trunk (`otter.RELAXED`), on both
    sides.
    """
    share = np.zeros(len(positions))
    for center, radius in otter.RELAXED:
        for line in (np.array([center]), np.array([center]) @ MIRROR):
            share = np.maximum(share, falloff(_distance(positions, line, np.ones(3)), radius))
    for _ in range(otter.RELAXING_STEPS):
        positions = positions + share[:, None] * (neighbour_means(positions, faces) - positions)
    return positions


def _sculpted(positions: Floats, faces: Integers) -> Floats:
    """The surface after `otter.RIDGES`, one after another, each on both sides."""
    for ridge in otter.RIDGES:
        normals = quad_normals(positions, faces)
        line, stretch = np.array(ridge.line), np.asarray(ridge.stretch)
        reach = np.minimum(_distance(positions, line, stretch), _distance(positions, line @ MIRROR, stretch))
        positions = positions + ridge.height * falloff(reach, ridge.radius)[:, None] * normals
    return positions


@dataclass(frozen=True)
class _Surface:
    """The whole welded surface in double precision: left faces first."""

    positions: Floats
    normals: Floats
    weights: Floats
    faces: Integers
    corners: Floats  # of the left half only
    turned: NDArray[np.bool_]  # of the left half only
    scale: Floats  # of the left half only


def _surface(skeleton: WrenSkeleton) -> _Surface:
    half = half_cage()
    whole = whole_cage(half)
    corners, scale = laid_out(half.corners, half.islands)
    values, faces = np.hstack([whole.positions, whole.weights]), whole.faces
    for level in range(LEVELS):
        values, faces = catmull_clark(values, faces)
        corners = split_corners(corners)
        if level == 0:
            # Smoothing on the coarse mesh reaches further, and the next subdivision rounds it off.
            values = np.hstack([_relaxed(values[:, :3], faces), values[:, 3:]])
    turned = np.repeat(is_turned(half.islands), 4**LEVELS)
    scale = np.repeat(scale, 4**LEVELS)
    positions = _sculpted(values[:, :3], faces)
    weights = with_patches(values[:, 3:], positions, FACE_PATCHES, skeleton)
    weights = with_jaw(weights, positions, skeleton)
    return _Surface(positions, quad_normals(positions, faces), weights, faces, corners, turned, scale)


@lru_cache(maxsize=1)
def wren() -> DemoModel:
    """The finished otter. Only its left half is computed here; the right half is copied, so both agree bit
    for bit.
    """
    skeleton = wren_skeleton()
    surface = _surface(skeleton)
    half = len(surface.faces) // 2
    left_faces, right_faces = surface.faces[:half], surface.faces[half:]
    seam = np.zeros(len(surface.positions), dtype=np.float64)
    seam[np.intersect1d(left_faces, right_faces)] = 1.0

    keys = np.concatenate(
        [left_faces.reshape(-1, 1), steps.counted(surface.corners.reshape(-1, 2), steps.TEXTURE)],
        axis=1,
    )
    vertices, numbered = np.unique(keys, axis=0, return_inverse=True)
    source = vertices[:, 0]
    coordinates = vertices[:, 1:] * steps.TEXTURE
    on_seam = seam[source] > 0.0
    positions, normals = steps.rounded(surface.positions[source], steps.SKIN), surface.normals[source].copy()
    positions[on_seam, 0] = 0.0
    normals[on_seam, 0] = 0.0
    normals = steps.rounded(unit(normals), steps.DIRECTION)
    joints, weights = strongest(surface.weights[source], seam[source], skeleton)

    # A vertex on the mirror plane is shared by both halves unless the texture is cut there.
    shared = on_seam & (coordinates[:, 0] == 0.5)
    count = len(vertices)
    partner_of_left = np.arange(count)
    partner_of_left[~shared] = count + np.arange(int(np.sum(~shared)))
    partner = np.concatenate([partner_of_left, np.flatnonzero(~shared)])
    quads = numbered.reshape(-1, 4)
    left_triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]], axis=1).reshape(-1, 3)
    right_triangles = partner_of_left[left_triangles][:, [0, 2, 1]]

    copied = ~shared
    places = np.unique(source, return_inverse=True)[1]
    right_places = np.where(on_seam, places, places + places.max() + 1)
    welded = np.unique(np.concatenate([places, right_places[copied]]), return_inverse=True)[1]
    mirrored_coordinates = np.stack([1.0 - coordinates[:, 0], coordinates[:, 1]], axis=1)
    flip = np.array([-1.0, 1.0, 1.0])
    all_positions = np.concatenate([positions, positions[copied] * flip]) + 0.0
    return DemoModel(
        positions=all_positions,
        normals=np.concatenate([normals, normals[copied] * flip]) + 0.0,
        texture_coordinates=np.concatenate([coordinates, mirrored_coordinates[copied]]),
        colors=coat.colors(all_positions),
        joints=np.concatenate([joints, _swapped(joints, weights, skeleton)[copied]]),
        weights=np.concatenate([weights, weights[copied]]),
        triangles=np.concatenate([left_triangles, right_triangles]),
        welded=welded,
        partner=partner,
        skeleton=skeleton,
        texture_scale=np.tile(np.repeat(surface.scale, 2), 2),
        turned=np.tile(np.repeat(surface.turned, 2), 2),
    )


def _swapped(joints: Integers, weights: Floats, skeleton: WrenSkeleton) -> Integers:
    # An unused slot names joint 0 with weight 0 on both sides, as the glTF validator recommends.
    return np.where(weights > 0.0, skeleton.partners[joints], 0)
