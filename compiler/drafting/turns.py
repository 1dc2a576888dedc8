"""How far a bend turns the skin."""

from __future__ import annotations

import numpy as np

from plica.drafting.patch import SkinPatch
from plica.mesh.arrays import Floats


def widest_turn(patch: SkinPatch, places: Floats) -> float:
    """The widest angle, radians, between how two of the patch's triangles are turned at places (n, 3).

    Triangles that stay as skinned are looked at, which are carried by a joint each as good as rigidly; all of them
    where every point moves. The widest of all pairs is found from the one that is turned furthest from the first.
    """
    moves = np.zeros(len(places), bool)
    moves[patch.moving] = True
    held = ~moves[patch.contact_triangles].any(axis=1)
    triangles = patch.contact_triangles[held if held.any() else slice(None)]
    turns = np.einsum("tij,tkj->tik", _frames(places[triangles]), _frames(patch.neutral[triangles]))
    furthest = int(_angles(turns, turns[0]).argmax())
    return float(_angles(turns, turns[furthest]).max())


def _frames(corners: Floats) -> Floats:
    """Orthonormal frames (t, 3, 3), columns, of triangles (t, 3, 3)."""
    along = corners[:, 1] - corners[:, 0]
    normal = np.cross(along, corners[:, 2] - corners[:, 0])
    along = along / np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-30)
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
    return np.stack([along, np.cross(normal, along), normal], axis=2)


def _angles(turns: Floats, other: Floats) -> Floats:
    """The angle (t,) of the rotation from `other` (3, 3) to each of (t, 3, 3)."""
    traces = np.einsum("tij,ij->t", turns, other)
    return np.asarray(np.arccos(np.clip(0.5 * (traces - 1.0), -1.0, 1.0)))
