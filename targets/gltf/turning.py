"""How shapes turn the normals and tangents that a glTF 2.0 primitive stores (section 3.7.2.2)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from plica.mesh.arrays import Floats, Integers, MeshPart
from plica.mesh.gltf_source import floats
from plica.readers.gltf_arrays import GltfArrays
from plica.targets.gltf.additions import Singles

_OPPOSITE = 1e-9
"""Normals that turn by more leave no way that is the shortest; tangents stay there."""


class Turned(NamedTuple):
    """A primitive's own normals (v, 3) and, where they are to be turned too, tangents (v, 3), as they are stored.

    to_model (3, 3): takes stored vectors to model space, for columns.
    """

    normals: Floats
    tangents: Floats | None
    to_model: Floats

    def changes(self, where: Integers, normals: Floats) -> dict[str, Singles]:
        """What a target adds at vertices `where` (n,), whose normals change by (n, 3) in model space.

        The page targets/json/offsets.md says how changes are taken to the stored normals. A tangent is turned by the
        smallest rotation that takes the old normal to the new one.
        """
        old = self.normals[where]
        sizes = np.linalg.norm(old @ np.linalg.inv(self.to_model), axis=1, keepdims=True)
        added = sizes * (normals @ self.to_model)
        result = {"NORMAL": added.astype(np.float32)}
        if self.tangents is not None:
            tangents = self.tangents[where]
            result["TANGENT"] = (_turned(tangents, _unit(old), _unit(old + added)) - tangents).astype(np.float32)
        return result


Turning = Callable[[Mapping[str, Any], MeshPart], Turned | None]
"""What a primitive of a part stores; None where it has no normals or none are to be changed."""


def no_turning(primitive: Mapping[str, Any], part: MeshPart) -> None:
    """Shapes change positions only."""


def turning_of(arrays: GltfArrays, tangents: bool) -> Turning:
    """The normals of a file, and its tangents where they are wanted."""

    def turned(primitive: Mapping[str, Any], part: MeshPart) -> Turned | None:
        attributes = primitive["attributes"]
        if "NORMAL" not in attributes:
            return None
        held = None
        if tangents and "TANGENT" in attributes:
            held = floats(arrays, attributes["TANGENT"], part.count, 4, "TANGENT")[:, :3]
        return Turned(floats(arrays, attributes["NORMAL"], part.count, 3, "NORMAL"), held, part.to_model[:3, :3])

    return turned


def _unit(vectors: Floats) -> Floats:
    sizes = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.where(sizes > 0.0, sizes, 1.0))


def _turned(vectors: Floats, start: Floats, end: Floats) -> Floats:
    """Vectors (n, 3) turned as the shortest way takes unit vectors `start` to `end`, (n, 3) each: two reflections."""
    middle = start + end
    together = 1.0 + (start * end).sum(axis=1, keepdims=True)
    along = (middle * vectors).sum(axis=1, keepdims=True) / np.where(together > _OPPOSITE, together, 1.0)
    result = vectors - along * middle + 2.0 * (start * vectors).sum(axis=1, keepdims=True) * end
    return np.asarray(np.where(together > _OPPOSITE, result, vectors))
