"""Skin weights by welded point and joint, and how much of the skin follows each joint's turn."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy import sparse

from plica.evaluate.pose_components import skeleton_of
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.sparse import SparseFloats
from plica.mesh.weld import first_vertices
from plica.rig.rig import Rig


def point_weights(mesh: Mesh, joints: int) -> SparseFloats:
    """The weight of each of so many joints on each welded point, (p, joints)."""
    first = first_vertices(mesh.points)
    if not len(mesh.bind_joints):
        return sparse.csr_array((len(first), joints))
    held, weights = mesh.bind_joints[mesh.joints[first]], mesh.weights[first]
    rows = np.repeat(np.arange(len(first)), held.shape[1])
    result = sparse.csr_array((weights.reshape(-1), (rows, held.reshape(-1))), shape=(len(first), joints))
    result.eliminate_zeros()
    return result


def followers(weights: SparseFloats, rig: Rig) -> Iterator[tuple[int, Floats]]:
    """The joints whose turn moves some skin and not all, and how much of each point (p,) follows it, 0 to 1.

    weights (p, joints), of the rig's joints in their order.
    """
    skeleton = skeleton_of(rig)
    held = weights.tocsc()
    carrying = np.flatnonzero(np.diff(held.indptr))
    for index in range(len(skeleton.joints)):
        below = np.intersect1d([index, *skeleton.below(index)], carrying)
        if 0 < len(below) < len(carrying):
            yield index, np.asarray(held[:, below].sum(axis=1)).reshape(-1)
