"""Left and right of the mirror plane, as weights that add up to 1."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plica.evaluate.pose_components import skeleton_of
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.feather import ramp
from plica.mesh.plane import MirrorPlane
from plica.mesh.weld import per_point, per_vertex
from plica.rig.rig import Rig, Symmetry
from plica.skeleton.algebra import Vector, dot
from plica.values import Side


@dataclass(frozen=True)
class Halves:
    """Which half is left: `normal`, a unit vector, and `offset` (metres) are the plane, `left` is 1.0 or -1.0, the way
    along the normal from the plane to the left.
    """

    normal: Vector
    offset: float
    left: float

    def heights(self, positions: Floats) -> Floats:
        """How far (n,) positions (n, 3) lie to the left of the plane, metres; negative on the right."""
        return np.asarray(self.left * (positions @ np.array(self.normal) - self.offset))


@dataclass(frozen=True, eq=False)
class SideWeights:
    """`left` and `right` (n,), adding up to 1."""

    left: Floats
    right: Floats

    def of(self, side: Side) -> Floats:
        """The weights of a side; 1 everywhere for neither."""
        if side == "none":
            return np.ones(len(self.left))
        return self.left if side == "left" else self.right


def side_weights(
    mesh: Mesh, halves: Halves, seam: NDArray[np.bool_] | None = None, band: float = 0.0, tolerance: float = 0.0
) -> SideWeights:
    """The weight (v,) of each side at each vertex; copies of a point have the same.

    `seam` (v,) marks the vertices that the symmetry map found on the plane (their own partners; default:
    those within `tolerance` metres of it): exactly 0.5 each (common practice, no source). Elsewhere the sides
    are 0 and 1, and over `band` metres around the plane, half of it on either side, they pass into each other
    by `feather.ramp`. 0, 0.5 and 1 add up to exactly 1, and the rest to 1 within one unit in the last place.
    """
    heights = halves.heights(per_point(mesh.points, mesh.positions))
    on_seam = np.abs(heights) <= tolerance if seam is None else per_point(mesh.points, seam)
    heights = per_vertex(mesh.points, np.where(on_seam, 0.0, heights))
    return SideWeights(ramp(heights, band), ramp(-heights, band))


def halves_of(rig: Rig, plane: Symmetry | MirrorPlane | None = None) -> Halves | None:
    """The plane (default: the rig's), and which way is left: where the joints with left names stand at rest.

    Without pairs of joints left is toward the normal, as in glTF 2.0 section 3.4 for x. None without a
    plane.
    """
    plane = rig.symmetry if plane is None else plane
    if plane is None:
        return None
    frames = skeleton_of(rig).frames
    places = {joint.name: dot(plane.normal, frame.origin) for joint, frame in zip(rig.skeleton, frames, strict=True)}
    lean = sum(
        places[joint.name] - places[joint.partner]
        for joint in rig.skeleton
        if joint.side == "left" and joint.partner is not None
    )
    return Halves(plane.normal, plane.offset, -1.0 if lean < 0.0 else 1.0)
