"""What is said of a left joint, mirrored for the right one."""

from __future__ import annotations

from plica.rig.mirror import mirror_between
from plica.skeleton.planes import Plane
from plica.skeleton.skeleton import Joint, Skeleton


def test_a_joint_below_a_mirroring_scale_has_the_axes_of_its_partner() -> None:
    """The scale is the mirror already: what is said of the left joint holds for the right one word for word."""
    skeleton = Skeleton(
        (Joint("body"), Joint("left", 0), Joint("mirror", 0, scale=(-1.0, 1.0, 1.0)), Joint("right", 2))
    )
    mirror = mirror_between(skeleton, Plane.across("x"), 1, 3)
    assert mirror.direction((0.6, 0.0, 0.8)) == (0.6, 0.0, 0.8)
    assert mirror.axis((0.6, 0.0, 0.8)) == (0.6, 0.0, 0.8)
    assert mirror.turn((0.6, 0.0, 0.0, 0.8)) == (0.6, 0.0, 0.0, 0.8)
    assert mirror.frame == (0.0, 0.0, 0.0, 1.0)


def test_a_rotation_axis_across_the_plane_stays_and_a_direction_turns_round() -> None:
    skeleton = Skeleton((Joint("body"), Joint("left", 0), Joint("right", 0)))
    mirror = mirror_between(skeleton, Plane.across("x"), 1, 2)
    assert mirror.direction((0.6, 0.0, 0.8)) == (-0.6, 0.0, 0.8)
    assert mirror.axis((0.6, 0.0, 0.8)) == (0.6, 0.0, -0.8)
