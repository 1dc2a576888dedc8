"""Distances between joints, by forward kinematics from their nearest common ancestor."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plica.evaluate.poses import Array
from plica.evaluate.reading_groups import Chunk, ReadingSources, indexes
from plica.kinds.readings import Gap
from plica.skeleton.chains import chains_between, scale_of
from plica.skeleton.quaternions import turned
from plica.skeleton.skeleton import Skeleton


class Gaps:
    """The distance between two joints' origins less that at rest, found by the same arithmetic.

    Only the joints between the two and their nearest common ancestor count: the ancestor turns and moves
    both alike. Its own scale at rest, in model space, is applied along its axes: that it or a joint above it is scaled
    in a pose does not count, so a character that is scaled as a whole keeps its gaps.
    """

    def __init__(self, readings: Sequence[Gap], sources: ReadingSources) -> None:
        skeleton, joints = sources.skeleton, sources.local
        chains: dict[tuple[int, ...], int] = {}
        ends: list[tuple[tuple[int, ...], tuple[int, ...]]] = []
        scales = []
        for reading in readings:
            first, second, ancestor = chains_between(skeleton, reading.joint, reading.other)
            ends.append((first, second))
            scales.append(scale_of(skeleton, ancestor))
            for chain in (first, second):
                chains.setdefault(chain, len(chains))
        # The longest first, so that the chains which reach some depth are always the first few.
        ordered = sorted(chains, key=len, reverse=True)
        rows = {chain: row for row, chain in enumerate(ordered)}
        self._firsts = np.array([rows[first] for first, _ in ends], dtype=np.intp)
        self._seconds = np.array([rows[second] for _, second in ends], dtype=np.intp)
        self._scales = np.array(scales).T[:, :, np.newaxis]
        self._points = len(ordered)
        self._steps = []
        for depth in range(max(map(len, ordered), default=0)):
            result = [skeleton.joints[chain[depth]] for chain in ordered if len(chain) > depth]
            self._steps.append(indexes([joint.name for joint in result], joints))
        self._rest: Array | float = 0.0
        self._rest = self.read(_rest_chunk(skeleton, joints))

    def read(self, chunk: Chunk) -> Array:
        """Metres, (readings, frames)."""
        points = np.zeros((3, self._points, chunk.translations.shape[2]))
        for depth, joints in enumerate(self._steps):
            count = len(joints)
            if depth:
                scale = chunk.scales[:, joints]
                points[:, :count] = turned(chunk.rotations[:, joints], scale * points[:, :count])
            points[:, :count] += chunk.translations[:, joints]
        x, y, z = self._scales * (points[:, self._firsts] - points[:, self._seconds])
        result: Array = np.sqrt((x * x + y * y) + z * z) - self._rest
        return result


def _rest_chunk(skeleton: Skeleton, joints: dict[str, int]) -> Chunk:
    result = [skeleton.joints[skeleton.index[name]] for name in joints]
    rotations = np.array([joint.rotation for joint in result], dtype=np.float64).reshape(-1, 4, 1)
    translations = np.array([joint.translation for joint in result], dtype=np.float64).reshape(-1, 3, 1)
    scales = np.array([joint.scale for joint in result], dtype=np.float64).reshape(-1, 3, 1)
    rotations, translations, scales = (part.transpose(1, 0, 2) for part in (rotations, translations, scales))
    return Chunk(np.empty((4, 0, 1)), rotations, translations, scales, np.empty((0, 1)))
