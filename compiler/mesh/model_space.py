"""From the space that a file stores a skin's vertices in to the model's space.

The inverse bind matrices I of a skin (glTF 2.0 section 3.7.3.1) take stored vertices into the joints' spaces, and the
joints' frames F in the bind pose take them on into model space, so that A = F I is the same for all joints of a skin:
the similarity between the two spaces. Files measure the stored mesh in another unit, or turn it, and let the inverse
bind matrices make up for it. Lengths, mirror planes and directions are meant in model space, so the mesh is taken
there: vertices become A p, inverse bind matrices I A^-1, and posing gives what it gave before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from plica.mesh.arrays import Floats
from plica.mesh.assembly import MeshPiece, Morphed
from plica.readers.model_outline import UnreadableModel

APART: Final = 1e-3
"""How far the elements of A may differ between joints, as a share of its scale; distances as a share of the size."""
ROUNDING: Final = 2e-6
"""What single precision leaves of a turn by right angles, of a scale with few digits, and, as a share of the body's
size, of no distance."""
_DIGITS: Final = 9


def in_model_space(piece: MeshPiece, binds: Mapping[int, Floats], frames: Mapping[int, Floats]) -> MeshPiece:
    """A piece taken to model space; where joints do not agree on a similarity, or there are none, it stays as it is.

    binds: inverse bind matrices (4, 4) of the space that it is stored in, by the joint's place in the rig's skeleton;
    frames: each joint's frame (4, 4) in model space, in the pose in which the skin was bound, by the same places.
    Raises UnreadableModel where nothing can be seen of it.
    """
    similarity = _similarity(piece, binds, frames)
    if similarity is None or np.array_equal(similarity, np.eye(4)):
        return piece
    binding = piece.binding
    back = np.linalg.inv(similarity)
    return replace(moved(piece, similarity), binding=replace(binding, inverse_binds=binding.inverse_binds @ back))


def carried_normals(normals: Floats, back: Floats) -> tuple[Floats, Floats]:
    """Normals (v, 3) times `back` (3, 3), the inverse transpose for rows, at length 1, and their lengths (v, 1) before.

    Where one vanishes it stays 0, and its length counts as 1.
    """
    carried = normals @ back
    lengths = np.linalg.norm(carried, axis=1, keepdims=True)
    lengths = np.where(lengths > 0.0, lengths, 1.0)
    return carried / lengths, lengths


def moved(piece: MeshPiece, matrix: Floats) -> MeshPiece:
    """The piece carried elsewhere, its binding left alone; normals go by the inverse transpose."""
    linear = matrix[:3, :3]
    if np.array_equal(matrix, np.eye(4)):
        return piece
    if abs(np.linalg.det(linear)) < 1e-30:
        raise UnreadableModel(
            f"`{piece.mesh}` is shown with a scale of 0; list the meshes that are the skin with `mesh`, without it"
        )
    turned = np.asarray(np.linalg.inv(linear), dtype=np.float64)
    normals, lengths = None, np.ones((len(piece.positions), 1))
    if piece.normals is not None:
        normals, lengths = carried_normals(piece.normals, turned)
    return replace(
        piece,
        positions=piece.positions @ linear.T + matrix[:3, 3],
        to_model=matrix @ piece.to_model,
        # A mirroring transform turns the triangles over (section 3.7.4).
        triangles=piece.triangles[:, ::-1] if np.linalg.det(linear) < 0.0 else piece.triangles,
        normals=normals,
        morphs={
            name: Morphed(morph.offsets @ linear.T, None if morph.normals is None else morph.normals @ turned / lengths)
            for name, morph in piece.morphs.items()
        },
    )


def _similarity(piece: MeshPiece, binds: Mapping[int, Floats], frames: Mapping[int, Floats]) -> Floats | None:
    """The A (4, 4) of a piece's skin without what rounding left, or None."""
    known = sorted(binds.keys() & frames.keys())
    if not known or not len(piece.positions):
        return None
    every = np.stack([frames[joint] @ binds[joint] for joint in known])
    mean = every.mean(axis=0)
    left, sizes, right = np.linalg.svd(mean[:3, :3])
    scale = float(sizes.mean())
    middle = piece.positions.mean(axis=0)
    reach = float(np.linalg.norm(np.ptp(piece.positions, axis=0))) * scale
    places = every[:, :3, :3] @ middle + every[:, :3, 3]
    together = (
        scale > 0.0
        and float(np.ptp(sizes)) <= APART * scale
        and float(np.abs(every[:, :3, :3] - mean[:3, :3]).max()) <= APART * scale
        and float(np.abs(places - places.mean(axis=0)).max()) <= APART * reach
    )
    if not together:
        return None
    result = np.eye(4)
    result[:3, :3] = _plain_turn(left @ right) * _plain_scale(scale)
    moved_by = places.mean(axis=0) - result[:3, :3] @ middle
    result[:3, 3] = np.where(np.abs(moved_by) <= ROUNDING * reach, 0.0, moved_by)
    # Skins of one space must come to the very same matrix, or copies of a vertex would part.
    return np.round(result, _DIGITS)


def _plain_turn(turn: Floats) -> Floats:
    whole = np.round(turn)
    return whole if np.abs(turn - whole).max() <= ROUNDING else turn


def _plain_scale(scale: float) -> float:
    plain = float(f"{scale:.4g}")
    return plain if abs(plain / scale - 1.0) <= ROUNDING else scale
