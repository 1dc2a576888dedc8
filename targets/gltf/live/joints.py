"""What a graph reads of the file: its joints, alone and as other joints see them, controls and morph target weights.

Constants are the file's own numbers, so that what an engine reads at rest differs from them by nothing, in whichever
precision it holds them. Lengths stay the file's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from plica.kinds.readings import SeenFrom
from plica.skeleton.algebra import (
    IDENTITY_QUATERNION,
    Quaternion,
    Vector,
    add,
    conjugate,
    matrix_of,
    multiply,
    normalised,
    subtract,
    times,
)
from plica.skeleton.chains import chains_between, flips_of, own_flip, scale_of
from plica.skeleton.skeleton import LocalTransform, Skeleton
from plica.targets.gltf.live.arithmetic import Arithmetic
from plica.targets.gltf.live.graph import Output, Type

NO_FLIP: Vector = (1.0, 1.0, 1.0)
AXIS_BITS = (1.0, 1.0, 1.0, 0.0)
"""What leaves of a quaternion its vector part."""


class FilePlaces(NamedTuple):
    """Where in the file things stand.

    `joints`, `controls`: the node of each. `morphs`: the node and the index of each of the model's own morph targets
    that is read. `neutral`: each joint in the neutral stance in the file's own numbers. `metres`: of one length of
    the file.
    """

    joints: Mapping[str, int]
    controls: Mapping[str, int]
    morphs: Mapping[str, tuple[int, int]]
    neutral: Mapping[str, LocalTransform]
    metres: float = 1.0


class Turn(NamedTuple):
    """A turn since rest as a quaternion of any length, whose vector part has still to be multiplied with `flip`."""

    output: Output
    flip: Vector

    def along(self, axis: Sequence[float], scalar: float = 0.0) -> Quaternion:
        """The vector whose product with the output is that of the turn with an axis, plus `scalar` times w."""
        return (axis[0] * self.flip[0], axis[1] * self.flip[1], axis[2] * self.flip[2], scalar)


class Joints:
    """Builds what readings take from joints. `skeleton`: the rig's, in the neutral stance. `read`: which were read."""

    def __init__(self, arithmetic: Arithmetic, skeleton: Skeleton, places: FilePlaces) -> None:
        self._build = arithmetic
        self._skeleton = skeleton
        self.places = places
        self.read: set[str] = set()

    # ---- one joint

    def rotation(self, joint: str) -> Output:
        """A joint's rotation as the file has it."""
        return self._part(joint, "rotation", "float4")

    def translation(self, joint: str) -> Output:
        """A joint's translation in lengths of the file."""
        return self._part(joint, "translation", "float3")

    def scale(self, joint: str) -> Output:
        """A joint's scale."""
        return self._part(joint, "scale", "float3")

    def _part(self, joint: str, part: str, of: Type) -> Output:
        self.read.add(joint)
        return self._build.read(f"/nodes/{self.places.joints[joint]}/{part}", of)

    def turn(self, seen: SeenFrom) -> Turn:
        """The turn since rest of a joint in its parent, or as another joint sees it."""
        if seen.relative_to is None:
            rest = self.places.neutral[seen.joint].rotation
            return Turn(self._since(rest, self.rotation(seen.joint)), NO_FLIP)
        chains = chains_between(self._skeleton, seen.joint, seen.relative_to)
        rest = multiply(conjugate(self._rotation_at_rest(chains.second)), self._rotation_at_rest(chains.first))
        first, second = self._chain_rotation(chains.first), self._chain_rotation(chains.second)
        since = _of_two(self._build, second, first)
        return Turn(self._since(rest, since), own_flip(self._skeleton, seen.joint, chains))

    def _since(self, rest: Quaternion, rotation: Output) -> Output:
        """conj(rest) rotation: the terms of its vector part cancel in pairs where the two are the same."""
        if rest == IDENTITY_QUATERNION:
            return rotation
        return self._build.turned(conjugate(rest), rotation)

    # ---- several joints

    def way(self, joint: str, other: str) -> tuple[Output, Vector]:
        """The vector from a joint's origin to another's in the frame of their nearest common ancestor, its scale at
        rest applied; and the same at rest. In lengths of the file."""
        chains = chains_between(self._skeleton, joint, other)
        first, second = (self._origin(chain) for chain in (chains.first, chains.second))
        rests = [self._origin_at_rest(chain) for chain in (chains.first, chains.second)]
        build, scale = self._build, scale_of(self._skeleton, chains.ancestor)
        if first is None or second is None:
            only = first or second
            assert only is not None, "a joint is not compared with itself"
            way = only if second is None else build.multiply(only, (-1.0, -1.0, -1.0))
        else:
            way = build.subtract(first, second)
        if scale != NO_FLIP:
            way = build.multiply(way, scale)
        x, y, z = subtract(rests[0], rests[1])
        return way, (x * scale[0], y * scale[1], z * scale[2])

    def seen_way(self, joint: str, other: str) -> tuple[Output, Vector]:
        """`way` from `other` to the joint in the axes of `other`, and the same at rest."""
        way, rest = self.way(joint, other)
        chain = chains_between(self._skeleton, joint, other).second
        rotation = self._chain_rotation(chain)
        if rotation is not None:
            way = self._build.rotated(way, self._build.conjugate(rotation))
        return way, times(matrix_of(conjugate(self._rotation_at_rest(chain))), rest)

    def _chain_rotation(self, chain: tuple[int, ...]) -> Output | None:
        """The rotation of a chain of joints (`plica.skeleton.chains`) as a unit quaternion; None for an empty one."""
        result: Output | None = None
        for index, flip in zip(reversed(chain), reversed(flips_of(self._skeleton, chain)), strict=True):
            rotation = self._build.normalised(self.rotation(self._skeleton.joints[index].name))
            if flip != NO_FLIP:
                rotation = self._build.multiply(rotation, (*flip, 1.0))
            result = rotation if result is None else self._build.turned(result, rotation)
        return result

    def _rotation_at_rest(self, chain: tuple[int, ...]) -> Quaternion:
        result = IDENTITY_QUATERNION
        for index, flip in zip(reversed(chain), reversed(flips_of(self._skeleton, chain)), strict=True):
            x, y, z, w = normalised(self._at_rest(index).rotation)
            result = multiply(result, (x * flip[0], y * flip[1], z * flip[2], w))
        return result

    def _origin(self, chain: tuple[int, ...]) -> Output | None:
        """The origin of a chain's first joint in the frame above its last; None for an empty chain."""
        result: Output | None = None
        for index in chain:
            name = self._skeleton.joints[index].name
            if result is None:
                result = self.translation(name)
                continue
            turned = self._build.rotated(
                self._build.multiply(result, self.scale(name)), self._build.normalised(self.rotation(name))
            )
            result = self._build.add(self.translation(name), turned)
        return result

    def _origin_at_rest(self, chain: tuple[int, ...]) -> Vector:
        result: Vector | None = None
        for index in chain:
            rest = self._at_rest(index)
            if result is None:
                result = rest.translation
                continue
            x, y, z = (part * factor for part, factor in zip(result, rest.scale, strict=True))
            result = add(rest.translation, times(matrix_of(normalised(rest.rotation)), (x, y, z)))
        return result or (0.0, 0.0, 0.0)

    def _at_rest(self, index: int) -> LocalTransform:
        return self.places.neutral[self._skeleton.joints[index].name]


def _of_two(build: Arithmetic, eye: Output | None, joint: Output | None) -> Output:
    """conj(eye) joint; None is the identity."""
    if eye is None:
        assert joint is not None, "a joint does not look at itself"
        return joint
    back = build.conjugate(eye)
    return back if joint is None else build.turned(back, joint)
