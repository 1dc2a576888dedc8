"""Linear blend skinning of a variation by itself (glTF 2.0 section 3.7.3): that the variants show the character."""

from __future__ import annotations

import numpy as np

from tests.variants.characters import model_of
from tests.variants.model_file import Floats
from tests.variants.variation import Variation


def own_skin(variation: Variation, frame: int) -> Floats:
    """Where the character's vertices stand in a frame (v, 3), in the character's model space; every copy is compared.

    Raises ValueError where copies of one vertex part, or one is not shown.
    """
    model = variation.model
    worlds = variation.worlds()[:, frame]
    count = sum(len(primitive.source) for primitive in model_of(variation.character).primitives)
    result = np.full((count, 3), np.nan)
    back = np.linalg.inv(variation.place)
    for number, node in enumerate(model.nodes):
        for primitive in model.meshes[node.mesh].primitives if node.mesh is not None else ():
            if node.skin is None:
                matrices = np.broadcast_to(worlds[number], (len(primitive.positions), 4, 4))
            else:
                skin = model.skins[node.skin]
                moves = worlds[skin.joints] @ skin.inverse_binds
                weights = primitive.weights / primitive.weights.sum(axis=1, keepdims=True)
                matrices = np.einsum("vk,vkij->vij", weights, moves[primitive.joints])
            matrices = back @ matrices
            posed = np.einsum("vij,vj->vi", matrices[:, :3, :3], primitive.positions) + matrices[:, :3, 3]
            shown = primitive.source >= 0
            before = result[primitive.source[shown]]
            if np.nanmax(np.abs(before - posed[shown]), initial=0.0) > 1e-6:
                raise ValueError("copies of a vertex part")
            result[primitive.source[shown]] = posed[shown]
    if np.isnan(result).any():
        raise ValueError("vertices are not shown")
    return result
