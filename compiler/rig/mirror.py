"""Mirroring what is said about a left joint so that it holds for the right one.

Let F be a joint's rest orientation in model space (columns are its axes) and S the reflection across the mirror
plane. K = F_left^T S F_right takes the right joint's own coordinates to the left joint's, as the mirror sees them.
Directions of the left joint are K^T d in the right one's coordinates. A rotation axis is a pseudovector, so it takes
the sign of K's determinant with it: det(K) K^T a; and the turn q of the right joint is seen from the left
one as (det(K) K q.xyz, q.w). Nothing here needs the two frames to be related by flips of axes.
"""

from __future__ import annotations

from plica.named_tuples import NamedTuple
from plica.rounding import rounded
from plica.skeleton.algebra import (
    IDENTITY_MATRIX,
    Matrix,
    Quaternion,
    Vector,
    determinant,
    product,
    quaternion_of,
    scaled,
    times,
    transpose,
)
from plica.skeleton.planes import Plane
from plica.skeleton.skeleton import Skeleton


class FrameMirror(NamedTuple):
    """Takes facts about a left joint to the right one. `matrix` is K of this module; `sign` its determinant."""

    matrix: Matrix
    sign: float

    def direction(self, vector: Vector) -> Vector:
        """A direction of the left joint, for the right one."""
        return rounded(times(transpose(self.matrix), vector))

    def axis(self, vector: Vector) -> Vector:
        """A rotation axis of the left joint, for the right one."""
        return rounded(scaled(times(transpose(self.matrix), vector), self.sign))

    def turn(self, rotation: Quaternion) -> Quaternion:
        """A turn of the left joint since rest, for the right one."""
        x, y, z = self.axis((rotation[0], rotation[1], rotation[2]))
        return rounded((x, y, z, rotation[3]))

    @property
    def frame(self) -> Quaternion:
        """The turn p such that p q p* is the right joint's turn q as the left joint sees it."""
        m = self.matrix if self.sign > 0 else tuple(scaled(row, -1.0) for row in self.matrix)
        x, y, z, w = rounded(quaternion_of((m[0], m[1], m[2])))
        # A half turn has two quaternions with w = 0, and rounding would tell which one it is.
        first = next(value for value in (w, x, y, z) if value != 0.0)
        return (x, y, z, w) if first > 0.0 else (0.0 - x, 0.0 - y, 0.0 - z, 0.0 - w)


NO_MIRROR = FrameMirror(IDENTITY_MATRIX, 1.0)  # its quaternion frame is exactly the identity


def mirror_between(skeleton: Skeleton, plane: Plane, left: int, right: int) -> FrameMirror:
    """The mirror from a left joint to a right one (the same one for joints on the plane)."""
    seen = product(transpose(skeleton.orientation(left)), product(plane.reflection, skeleton.orientation(right)))
    return FrameMirror(seen, 1.0 if determinant(seen) > 0 else -1.0)
