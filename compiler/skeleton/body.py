"""What a skeleton is the skeleton of: its parts and limbs, where its bones lead, where its up and front are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal, NamedTuple

from plica.skeleton.algebra import Vector, add, cross, dot, length, scaled, subtract, unit
from plica.skeleton.bones import Bones, bones_of, direction, link_flat_fingers, link_hung_ends
from plica.skeleton.joint_parts import parts_of
from plica.skeleton.limbs import FOUR_LEGGED, UP, UPRIGHT, Limb, LimbName, named_limbs, shaped_limbs, trunk_parts
from plica.skeleton.side_patterns import direction_to_left
from plica.skeleton.sides import NO_SIDES, Sides
from plica.skeleton.skeleton import Skeleton

FRONT: Final[Vector] = (0.0, 0.0, 1.0)  # glTF 2.0 section 3.4: the front of a model faces +z
LIMB_PARTS: Final = {"arm": ("shoulder", "elbow", "wrist"), "leg": ("hip", "knee", "ankle")}
Build = Literal["upright", "four-legged", "other"]


class Body(NamedTuple):
    """A skeleton with what anatomy makes of it.

    `parts`: what each joint is (`plica.skeleton.joint_parts`), None where nothing bends at it. `side`: 1.0 for joints
    of the left, -1.0 for the right, 0.0 where the side is not known. `limbs`: those that were found; `others`: single
    joints by what they are: hips, neck, head, left collar, ... `flat`: joints of fingers whose joints do not hang below
    each other in the model. `hung`: for what ends a limb and hangs under a control instead of it, the limb's joint.
    """

    skeleton: Skeleton
    parts: list[str | None]
    side: list[float]
    limbs: dict[LimbName, Limb]
    others: dict[str, int]
    bones: Bones
    flat: frozenset[int]
    hung: dict[int, int]
    up: Vector
    front: Vector

    def origin(self, index: int) -> Vector:
        """The joint's place at rest."""
        return self.skeleton.frames[index].origin

    def bone(self, index: int) -> Vector | None:
        """The direction from a joint to the next one; None where there is none."""
        beyond = self.bones.beyond[index]
        return None if beyond is None else direction(self.origin(index), self.origin(beyond))

    def bone_before(self, index: int) -> Vector | None:
        """The direction of the bone that ends at a joint; None where there is none."""
        before = self.bones.before[index]
        return None if before is None else direction(self.origin(before), self.origin(index))

    @property
    def build(self) -> Build:
        """What kind of body it is, as far as its limbs tell."""
        if all(name in self.limbs for name in UPRIGHT):
            return "upright"
        return "four-legged" if all(name in self.limbs for name in FOUR_LEGGED) else "other"


def body_of(
    skeleton: Skeleton, sides: Sides = NO_SIDES, only_side: float = 0.0, moves_skin: Sequence[bool] | None = None
) -> Body:
    """What is known of a skeleton: by names, and where they tell of no limb at all by geometry.

    `only_side` is the side of all joints without side, for a model that is one hand or one leg. `moves_skin`: for each
    joint whether skin follows it; the joints of the skin where it is not known.
    """
    bases = [joint.name for joint in skeleton.joints]
    for pair in sides.pairs.values():
        bases[pair.left] = bases[pair.right] = pair.base
    said = parts_of(skeleton, bases)
    limbs, others = named_limbs(skeleton, said), trunk_parts(skeleton, said)
    shaped = None if limbs else shaped_limbs(skeleton)
    if shaped is not None:
        limbs, others = shaped[0], {"hips": shaped[1]}
        _name_limbs(said, limbs)
    parts: list[str | None] = [None if part in ("none", "pelvis") else part for part in said]
    if moves_skin is None:
        moves_skin = [joint.skinned for joint in skeleton.joints]
    bones = bones_of(skeleton, sides)
    flat = link_flat_fingers(bases, parts, bones)
    side = [1.0 if index in sides.left else -1.0 if index in sides.right else only_side for index in range(len(bases))]
    hung = link_hung_ends(skeleton, parts, side, moves_skin, bones)
    up = _up(skeleton, parts)
    front = _front(skeleton, sides, parts, up)
    return Body(skeleton, parts, side, limbs, others, bones, flat, hung, up, front)


def _name_limbs(parts: list[str], limbs: dict[LimbName, Limb]) -> None:
    """Name the joints of limbs that geometry found, where their own names say nothing."""
    for name, limb in limbs.items():
        for joint, part in zip(limb, LIMB_PARTS[name.split()[-1]], strict=True):
            if parts[joint] == "unknown":
                parts[joint] = part


# ---- directions --------------------------------------------------------------------------------------------


def _up(skeleton: Skeleton, parts: list[str | None]) -> Vector:
    """The model axis from the feet to where the legs begin; y where there is no telling."""
    low, high = _middle(skeleton, parts, ("ankle",)), _middle(skeleton, parts, ("hip",))
    way = direction(low, high) if low and high else None
    if way is None or abs(way[1]) >= max(abs(way[0]), abs(way[2])):
        return UP
    return _nearest_axis(way)


def _front(skeleton: Skeleton, sides: Sides, parts: list[str | None], up: Vector) -> Vector:
    """Left cross up where the sides are known; else where the feet point; else +z."""
    left = direction_to_left(skeleton, sides)
    if left is not None and length(cross(left, up)) > 0.5:
        return unit(cross(left, up))
    ankles, toes = _middle(skeleton, parts, ("ankle",)), _middle(skeleton, parts, ("toes",))
    way = direction(ankles, toes) if ankles and toes else None
    level = subtract(way, scaled(up, dot(way, up))) if way else FRONT
    return unit(level) if length(level) > 0.1 else FRONT


def _middle(skeleton: Skeleton, parts: list[str | None], wanted: tuple[str, ...]) -> Vector | None:
    origins = [frame.origin for frame, part in zip(skeleton.frames, parts, strict=True) if part in wanted]
    if not origins:
        return None
    total: Vector = (0.0, 0.0, 0.0)
    for origin in origins:
        total = add(total, origin)
    return scaled(total, 1.0 / len(origins))


def _nearest_axis(way: Vector) -> Vector:
    largest = max(range(3), key=lambda coordinate: abs(way[coordinate]))
    sign = 1.0 if way[largest] > 0 else -1.0
    return (sign * (largest == 0), sign * (largest == 1), sign * (largest == 2))
