"""What lies over the skin takes part in a sculpt of the skin: clothes, lashes and the like.

Each vertex of it takes the offset of the nearest place of the skin in the neutral stance (closest point on a triangle:
C. Ericson, "Real-Time Collision Detection", 2005, section 5.1.5): all of it up to NEAR of the body's size, nothing from
BEYOND on, and between them smoothly less (1 - s^2 (3 - 2 s), s the share of the way from the one to the other).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.attach import Attached
from plica.mesh.offsets import chosen, lengths
from plica.mesh.symmetry import size_of
from plica.sculpting.carrying import FAINT, nearest
from plica.sculpting.rebase import neutral_places

NEAR: Final = 0.01  # of the body's size
BEYOND: Final = 0.03


def names_of_parts(mesh: Mesh) -> list[str]:
    """What meshes of a character are called: by their nodes and by themselves."""
    return list(dict.fromkeys(name for part in mesh.parts for name in (part.node, part.mesh) if name))


def vertices_of(mesh: Mesh, names: Sequence[str]) -> NDArray[np.bool_]:
    """Which vertices (v,) are of the meshes or nodes with these names."""
    result = np.zeros(mesh.vertex_count, dtype=np.bool_)
    for part in mesh.parts:
        if part.mesh in names or part.node in names:
            result[part.rows] = True
    return result


def following(offsets: Offsets, attached: Attached, over: NDArray[np.bool_]) -> Offsets:
    """What vertices over the skin, `over` (v,), take of a sculpt's offsets; those that it moves itself take nothing.

    Both are offsets on the undeformed mesh. Nothing follows where every mesh lies over another.
    """
    places, size = neutral_places(attached), size_of(attached.mesh.positions)
    skin = attached.mesh.triangles[~over[attached.mesh.triangles].any(axis=1)]
    rows = np.setdiff1d(np.flatnonzero(over), offsets.indices)
    if not len(skin) or not len(rows):
        return chosen(offsets, np.zeros(offsets.count, dtype=np.bool_))
    corners, shares, distances = nearest(places, skin, places[rows])
    moves = np.einsum("vk,vki->vi", shares, _in_stance(offsets, attached)[corners])
    taken = Offsets(rows, moves * _kept(distances / size)[:, np.newaxis])
    taken = chosen(taken, lengths(taken.offsets) > FAINT)
    if attached.neutral is None or attached.neutral.unposer is None:
        return taken
    return attached.neutral.unposer.sparse(taken).offsets


def joined(one: Offsets, other: Offsets) -> Offsets:
    """Offsets of different vertices as one."""
    indices = np.concatenate([one.indices, other.indices])
    order = np.argsort(indices)
    return Offsets(indices[order], np.concatenate([one.offsets, other.offsets])[order])


def _in_stance(offsets: Offsets, attached: Attached) -> Floats:
    """The offsets (v, 3) of all vertices as they are in the neutral stance."""
    result = np.zeros_like(attached.mesh.positions)
    result[offsets.indices] = offsets.offsets
    if attached.neutral is not None and attached.neutral.linear is not None:
        result = np.einsum("vij,vj->vi", attached.neutral.linear, result)
    return np.asarray(result)


def _kept(distances: Floats) -> Floats:
    """The share that is left at distances (n,), in the body's size."""
    share = np.clip((distances - NEAR) / (BEYOND - NEAR), 0.0, 1.0)
    return np.asarray(1.0 - share**2 * (3.0 - 2.0 * share))
