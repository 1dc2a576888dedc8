"""What one joint sees of another: turns and offsets since rest, by the chains of joints between the two."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plica.evaluate.poses import Array
from plica.kinds.readings import Offset, SeenFrom
from plica.skeleton.chains import chains_between, flips_of, own_flip, scale_of
from plica.skeleton.quaternions import normalised, product_of, turn_since, turned
from plica.skeleton.skeleton import Skeleton


class ChainRotation:
    """The rotation of a chain of joints, as `plica.skeleton.chains` defines it."""

    def __init__(self, skeleton: Skeleton, chain: tuple[int, ...], local: dict[str, int]) -> None:
        self._joints = [local[skeleton.joints[index].name] for index in chain]
        self._flips = [np.array((*flip, 1.0))[:, np.newaxis] for flip in flips_of(skeleton, chain)]

    def of(self, rotations: Array) -> Array:
        """Unit quaternions, (4, frames), of local rotations of any length, (4, joints, frames)."""
        result: Array = np.zeros((4, rotations.shape[2]))
        result[3] = 1.0
        for joint, flip in zip(reversed(self._joints), reversed(self._flips), strict=True):
            # Lengths up to 1e50 each: their product would be beyond what floats hold.
            result = product_of(result, normalised(rotations[:, joint]) * flip)
        return result


class SeenTurns:
    """The turns since rest of joints as others see them, exactly the identity at rest.

    The rest is put through the same arithmetic as the poses, so that what is at rest cancels to the last bit.
    """

    def __init__(self, skeleton: Skeleton, wanted: Sequence[SeenFrom], local: dict[str, int], rest: Array) -> None:
        """`rest`: the local rotations at rest of the joints in `local`, (4, joints, 1)."""
        self._chains = []
        for one in wanted:
            assert one.relative_to is not None
            chains = chains_between(skeleton, one.joint, one.relative_to)
            flip = np.array((*own_flip(skeleton, one.joint, chains), 1.0))
            first, second = (ChainRotation(skeleton, chain, local) for chain in (chains.first, chains.second))
            self._chains.append((first, second, flip[:, np.newaxis]))
        self._rest = [_seen(first, second, rest) for first, second, _ in self._chains]

    def of(self, rotations: Array) -> Array:
        """(4, wanted, frames) of local rotations, (4, joints, frames)."""
        result = np.empty((4, len(self._chains), rotations.shape[2]))
        for row, (rest, (first, second, flip)) in enumerate(zip(self._rest, self._chains, strict=True)):
            result[:, row] = turn_since(rest, _seen(first, second, rotations)) * flip
        return result


def _seen(first: ChainRotation, second: ChainRotation, rotations: Array) -> Array:
    x, y, z, w = second.of(rotations)
    return product_of(np.stack((-x, -y, -z, w)), first.of(rotations))


class SeenOffsets:
    """How far joints have moved since rest as others see them, dotted with weights: metres."""

    def __init__(
        self, skeleton: Skeleton, readings: Sequence[Offset], local: dict[str, int], rest: tuple[Array, Array, Array]
    ) -> None:
        """`rest`: local rotations, translations and scales at rest of the joints in `local`, (4 or 3, joints, 1)."""
        self._parts = [_SeenPlace(skeleton, reading, local) for reading in readings]
        self._rest = self._values(*rest) if readings else np.zeros((0, 1))

    def of(self, rotations: Array, translations: Array, scales: Array) -> Array:
        """Metres, (readings, frames)."""
        return self._values(rotations, translations, scales) - self._rest

    def _values(self, rotations: Array, translations: Array, scales: Array) -> Array:
        result = np.empty((len(self._parts), rotations.shape[2]))
        for row, part in enumerate(self._parts):
            result[row] = part.of(rotations, translations, scales)
        return result


class _SeenPlace:
    """Where a joint stands as another sees it, dotted with weights."""

    def __init__(self, skeleton: Skeleton, reading: Offset, local: dict[str, int]) -> None:
        assert reading.relative_to is not None
        first, second, ancestor = chains_between(skeleton, reading.joint, reading.relative_to)
        self._scale = np.array(scale_of(skeleton, ancestor))[:, np.newaxis]
        self._weights = np.array(reading.weights)
        self._frame = ChainRotation(skeleton, second, local)
        self._chains = [[local[skeleton.joints[index].name] for index in chain] for chain in (first, second)]

    def of(self, rotations: Array, translations: Array, scales: Array) -> Array:
        """Metres, (frames,)."""
        place, eye = (_origin(chain, rotations, translations, scales) for chain in self._chains)
        x, y, z, w = self._frame.of(rotations)
        seen = turned(np.stack((-x, -y, -z, w)), self._scale * (place - eye))
        result: Array = self._weights @ seen
        return result


def _origin(chain: Sequence[int], rotations: Array, translations: Array, scales: Array) -> Array:
    """The origin of a chain's first joint in the frame above its last, (3, frames)."""
    result: Array = np.zeros((3, rotations.shape[2]))
    for depth, joint in enumerate(chain):
        if depth:
            result = turned(rotations[:, joint], scales[:, joint] * result)
        result = result + translations[:, joint]
    return result
