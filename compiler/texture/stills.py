"""Stills: a detail's blended normal map while folds, or the strengths that they follow, are at given amounts, or in a
declared pose.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite

import numpy as np

from plica.diagnostics.suggest import did_you_mean
from plica.mesh.arrays import Floats, Mesh
from plica.rig.combinations import combined
from plica.rig.rig import Rig
from plica.rig.strengths import Combine
from plica.rig.surfaces import Detail, JointPose, StrengthPose
from plica.texture.atlas import atlas_of
from plica.texture.detail_maps import DetailMaps, still
from plica.texture.mask_set import MaskSet
from plica.texture.normal_maps import NormalMap, sampled


class StillError(ValueError):
    """A still that cannot be made; the text says why."""


def amounts_of(text: str) -> dict[str, float]:
    """What `nose=1, left_brow_lift=0.5` says; `rest` says nothing. Raises StillError."""
    result: dict[str, float] = {}
    if text.strip() == "rest":
        return result
    for part in text.split(","):
        name, equals, amount = (piece.strip() for piece in part.partition("="))
        try:
            result[name] = float(amount)
        except ValueError:
            result[name] = np.nan
        if not name or not equals or not isfinite(result[name]):
            raise StillError(f"`{part.strip()}` is not of the form name=amount, such as elbow=0.5; or say `rest`")
    return result


def posed_items(rig: Rig, text: str) -> tuple[str, tuple[StrengthPose | JointPose, ...]] | None:
    """The output name of the declared pose that a text names, and what the pose says; None where it names none.

    The name declared for both sides means both poses at once; the first one's name is given. Raises StillError for a
    text that is neither a pose's name, nor amounts, nor `rest`.
    """
    name = text.strip()
    if "=" in name or name == "rest":
        return None
    poses = [pose for pose in rig.poses if pose.name == name] or [pose for pose in rig.poses if pose.declared == name]
    if poses:
        return poses[0].name, tuple(item for pose in poses for item in pose.items)
    hint = did_you_mean(name, dict.fromkeys(known for pose in rig.poses for known in (pose.name, pose.declared)))
    raise StillError(
        f"`{name}` is not a declared pose{f' ({hint})' if hint else ''}, not of the form name=amount, such as "
        "elbow=0.5, and not `rest`"
    )


def folds_at(rig: Rig, strengths: Mapping[str, float]) -> dict[str, float]:
    """How far each fold of the rig is on at strengths by name: as far as the one that it follows."""
    return {fold.name: strengths[fold.follows] if fold.follows is not None else 0.0 for fold in rig.folds}


def fold_amounts(rig: Rig, amounts: Mapping[str, float]) -> dict[str, float]:
    """How far each fold of the rig is on, from amounts by name.

    A name is that of a fold, or of a strength: what is made of it, and all folds that follow, go with it. It is the
    output name, or the one declared, which means both sides. What is not named is 0. Raises StillError for a name that
    is neither.
    """
    folds = {fold.name: (fold.name, fold.declared) for fold in rig.folds}
    strengths = {strength.name: (strength.name, strength.declared) for strength in rig.strengths}
    known = [name for names in (*folds.values(), *strengths.values()) for name in names]
    for name in amounts:
        if name not in known:
            hint = did_you_mean(name, dict.fromkeys(known))
            raise StillError(f"`{name}` is neither a fold nor a strength" + (f"; {hint}" if hint else ""))

    def given(names: tuple[str, str]) -> float | None:
        return next((amounts[name] for name in names if name in amounts), None)

    found: dict[str, float] = {}
    for strength in rig.strengths:
        amount = given(strengths[strength.name])
        if amount is None:
            amount = combined(strength.combination, found) if isinstance(strength, Combine) else 0.0
        found[strength.name] = amount
    result = {}
    for fold in rig.folds:
        amount = given(folds[fold.name])
        result[fold.name] = amount if amount is not None else found.get(fold.follows or "", 0.0)
    return result


def still_of(
    detail: Detail, maps: tuple[NormalMap, NormalMap], masks: MaskSet, mesh: Mesh, amounts: Mapping[str, float]
) -> bytes:
    """The blended map of a detail as PNG, with folds as far on as `amounts` says.

    Masks are those of the textures, at their sizes and of 8 bits; one over another uv set than the maps is brought
    over through the skin.
    """
    relaxed, contracted = maps
    uv = next(iter(mesh.uvs)) if detail.uv is None else detail.uv
    values = {}
    for name, mask in masks.masks.items():
        if mask.fold.detail != detail.name or not amounts[name]:
            continue
        texture = masks.textures[masks.placed[name].texture]
        image = mask.sized.images[texture.size] / 255.0
        values[name] = image if mask.uv == uv else relaid(image, mesh, mask.uv, uv, max(relaxed.size))
    return still(DetailMaps(relaxed, contracted, values, detail.mixing), amounts)


def relaid(mask: Floats, mesh: Mesh, uv: str, target: str, size: int) -> Floats:
    """A mask (rows, columns) over the set `uv` of a mesh, as a mask (n, n) over its set `target`; n is the power of two
    from `size` on.

    Through the surface: each texel of the new layout takes what the mask has at the same place of the skin.
    """
    across = 1 << (size - 1).bit_length()
    sheet = atlas_of(mesh.uvs[target], mesh.triangles, across)
    result = np.zeros(across * across)
    if sheet.patches is not None:
        places = sheet.mixed(mesh.uvs[uv])
        known = np.isfinite(places).all(axis=1)  # a part of the mesh may have no such set
        result[known] = sampled(mask, places[known])
    return result.reshape(across, across)
