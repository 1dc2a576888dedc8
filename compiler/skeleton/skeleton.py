"""The skeleton that a spec is bound to."""

from __future__ import annotations

from functools import cached_property
from math import copysign

from plica.named_tuples import NamedTuple
from plica.skeleton.algebra import (
    IDENTITY_MATRIX,
    IDENTITY_QUATERNION,
    Matrix,
    Quaternion,
    Vector,
    add,
    matrix_of,
    product,
    scaled,
    times,
)

ORIGIN: Vector = (0.0, 0.0, 0.0)
UNSCALED: Vector = (1.0, 1.0, 1.0)


class Joint(NamedTuple):
    """One joint of a pose: local translation (metres), rotation (unit quaternion) and scale, in its parent.

    `parent` is the index of the parent, None for a root. `skinned` tells whether the skin refers to it; nodes
    between and above the skin's joints belong to the skeleton too, because they carry them.
    """

    name: str
    parent: int | None = None
    translation: Vector = ORIGIN
    rotation: Quaternion = IDENTITY_QUATERNION
    scale: Vector = UNSCALED
    skinned: bool = True

    @property
    def local(self) -> LocalTransform:
        """Where it stands in its parent."""
        return LocalTransform(self.translation, self.rotation, self.scale)


class LocalTransform(NamedTuple):
    """A joint in its parent: translation (metres), rotation (unit quaternion) and scale; its matrix is T R S."""

    translation: Vector
    rotation: Quaternion
    scale: Vector


class Frame(NamedTuple):
    """A joint's frame in model space: `linear` (columns are the axes, scale included) and origin in metres."""

    linear: Matrix
    origin: Vector


MODEL_FRAME = Frame(IDENTITY_MATRIX, ORIGIN)


def local_frame(translation: Vector, rotation: Quaternion, scale: Vector) -> Frame:
    """The matrix T R S of glTF 2.0 section 3.5.3 as a frame."""
    rows = matrix_of(rotation)
    linear = (
        (rows[0][0] * scale[0], rows[0][1] * scale[1], rows[0][2] * scale[2]),
        (rows[1][0] * scale[0], rows[1][1] * scale[1], rows[1][2] * scale[2]),
        (rows[2][0] * scale[0], rows[2][1] * scale[1], rows[2][2] * scale[2]),
    )
    return Frame(linear, translation)


class Skeleton:
    """Joints, parents before children, with their frames in model space in one pose: neutral, or a file's rest."""

    def __init__(self, joints: tuple[Joint, ...]) -> None:
        """Raises ValueError where a parent does not come before its child or two joints share a name."""
        self.joints = joints
        self.index = {joint.name: index for index, joint in enumerate(joints)}
        if len(self.index) != len(joints):
            raise ValueError("two joints share a name")
        for index, joint in enumerate(joints):
            if joint.parent is not None and not 0 <= joint.parent < index:
                raise ValueError(f"the parent of {joint.name} does not come before it")

    @cached_property
    def frames(self) -> tuple[Frame, ...]:
        """The joints' rest frames in model space."""
        result: list[Frame] = []
        for joint in self.joints:
            parent = MODEL_FRAME if joint.parent is None else result[joint.parent]
            local = local_frame(joint.translation, joint.rotation, joint.scale)
            origin = add(times(parent.linear, local.origin), parent.origin)
            result.append(Frame(product(parent.linear, local.linear), origin))
        return tuple(result)

    def parent_frame(self, index: int) -> Frame:
        """The rest frame that a joint's translation is given in."""
        parent = self.joints[index].parent
        return MODEL_FRAME if parent is None else self.frames[parent]

    @cached_property
    def orientations(self) -> tuple[Matrix, ...]:
        """The axes that the joints turn about, in model space, as the columns of orthogonal matrices.

        They are the joints' rotations one after the other. Of the scales only the signs take part, and those of the
        joints above alone: in T R S of glTF 2.0 section 3.5.3 a joint's own scale acts before its rotation, so that it
        does not turn the axes of that. Below a mirroring scale an orientation has the determinant -1.
        """
        return tuple(
            product(self.axes_around(index), matrix_of(joint.rotation)) for index, joint in enumerate(self.joints)
        )

    @cached_property
    def _axes(self) -> tuple[Matrix, ...]:
        """The axes that what hangs on each joint is placed in: `orientations` with the signs of the own scales."""
        result: list[Matrix] = []
        for joint in self.joints:
            parent = IDENTITY_MATRIX if joint.parent is None else result[joint.parent]
            signs = (copysign(1.0, joint.scale[0]), copysign(1.0, joint.scale[1]), copysign(1.0, joint.scale[2]))
            result.append(product(parent, local_frame(ORIGIN, joint.rotation, signs).linear))
        return tuple(result)

    def axes_around(self, index: int) -> Matrix:
        """The axes of its parent that a joint is placed in, signs of scales included; the model's for a root."""
        parent = self.joints[index].parent
        return IDENTITY_MATRIX if parent is None else self._axes[parent]

    def orientation(self, index: int) -> Matrix:
        """One joint's rest axes in model space."""
        return self.orientations[index]

    def children(self, index: int) -> list[int]:
        """Indexes of the joints right below one."""
        return self._children.get(index, [])

    @cached_property
    def _children(self) -> dict[int, list[int]]:
        result: dict[int, list[int]] = {}
        for child, joint in enumerate(self.joints):
            if joint.parent is not None:
                result.setdefault(joint.parent, []).append(child)
        return result

    def below(self, index: int) -> list[int]:
        """Indexes of a joint and all joints below it."""
        result = [index]
        for joint in result:  # which grows while it is walked
            result.extend(self.children(joint))
        return sorted(result)

    def ancestors(self, index: int) -> list[int]:
        """Indexes from the joint's parent up to its root."""
        result: list[int] = []
        parent = self.joints[index].parent
        while parent is not None:
            result.append(parent)
            parent = self.joints[parent].parent
        return result


def resized(skeleton: Skeleton, factor: float) -> Skeleton:
    """The skeleton in a model space that is `factor` times as large: every frame F becomes S F S^-1, S the scale.

    Of local transforms that changes the translations alone.
    """
    return Skeleton(tuple(joint._replace(translation=scaled(joint.translation, factor)) for joint in skeleton.joints))
