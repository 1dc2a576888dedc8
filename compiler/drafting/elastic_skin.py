"""The energy of a patch of skin: stretch, bending, volume and attraction to the skinned pose."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import sparse

from plica.drafting.bending import Bending
from plica.drafting.patch import SkinPatch
from plica.drafting.problem import DraftSettings
from plica.drafting.strain import StrainLimits, TriangleMaps
from plica.mesh.arrays import Floats
from plica.mesh.sparse import SparseFloats

# Weights in lengths of the limb's radius, against 1 for the as-rigid-as-possible energy; found by trial on limbs,
# shoulders and fingers of several characters, no source.
_USUAL = StrainLimits(low=0.85, high=1.2, weight=4.0)
# A triangle that one corner of something else pokes into or that two parts pinch gives way no further than this: that
# it is small, so that all of it costs little, must not make it the weakest place.
_UTMOST = StrainLimits(low=0.5, high=1.4, weight=80.0)
_BENDING = 0.06
_VOLUME = 2000.0
_ATTRACTION_AT_BORDER = 30.0


class Goal(NamedTuple):
    """Where skinning puts the points (n, 3), and the wish for each volume of the patch (k,), in radii."""

    places: Floats
    volumes: Floats


class Evaluated(NamedTuple):
    """The energy, its gradient (n, 3), and the gradient of each volume (n, 3)."""

    value: float
    gradient: Floats
    volume_gradients: tuple[Floats, ...]


@dataclass(frozen=True, eq=False)
class ElasticSkin:
    """What a patch costs. areas (n,) of points; attraction (n,): the weight of each point's distance to its goal."""

    patch: SkinPatch
    maps: TriangleMaps
    bending: Bending
    attraction: Floats
    volume_weight: float

    @classmethod
    def of(cls, patch: SkinPatch, settings: DraftSettings) -> ElasticSkin:
        """Everything that stays the same along the bend."""
        maps = TriangleMaps.of(patch.neutral, patch.triangles)
        count = len(patch.neutral)
        areas = np.bincount(patch.triangles.ravel(), np.repeat(maps.areas / 3.0, 3), count)
        areas = np.maximum(areas, 1e-9 * areas.mean())
        bending = Bending.of(patch.neutral, maps.laplacian, areas)
        share = patch.depth**2 * (3.0 - 2.0 * patch.depth)
        at_border = max(_ATTRACTION_AT_BORDER, settings.nearness)
        attraction = settings.nearness ** (1.0 - share) * at_border**share
        return cls(patch, maps, bending, areas * attraction, _VOLUME / float(maps.areas.sum()))

    def evaluated(self, places: Floats, goal: Goal) -> Evaluated:
        """At places (n, 3)."""
        stretch, gradient = self.maps.energy(places, (_USUAL, _UTMOST))
        bent, bent_gradient = self.bending.energy(places)
        off = places - goal.places
        value = stretch + _BENDING * bent + float(self.attraction @ (off**2).sum(axis=1))
        gradient = gradient + _BENDING * bent_gradient + 2.0 * self.attraction[:, None] * off
        volume_gradients = []
        for enclosed, wish in zip(self.patch.volumes, goal.volumes.tolist(), strict=True):
            volume, volume_gradient = enclosed.of_places(places)
            value += self.volume_weight * (volume - wish) ** 2
            gradient += 2.0 * self.volume_weight * (volume - wish) * volume_gradient
            volume_gradients.append(volume_gradient)
        return Evaluated(value, gradient, tuple(volume_gradients))

    @property
    def curvature(self) -> SparseFloats:
        """A matrix (m, m) of the moving points, for each coordinate alike, that bounds the energy's second derivative
        but for volume: that with rotations held still."""
        stretch = 2.0 * (1.0 + _USUAL.weight) * self.maps.laplacian
        full = stretch + 2.0 * _BENDING * self.bending.quadratic + 2.0 * sparse.diags_array(self.attraction)
        moving = self.patch.moving
        return sparse.csr_array(sparse.csr_array(full)[moving][:, moving])
