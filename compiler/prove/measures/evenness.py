"""Whether mirrored poses give the mirrored skin: what shapes add, and beside it the bare skin."""

from __future__ import annotations

from typing import Final

import numpy as np

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.measure.worst_values import FrameValues
from plica.mesh.arrays import Floats, Integers
from plica.prove.registry import Measure, PairMeasure
from plica.prove.skin import PairBlock, PairGauge, Skin, UnmeasurableError
from plica.rig.expectations import cut_border
from plica.rig.rig import Expectation


def _even(skin: Skin, expectation: Expectation, weights: list[Floats]) -> PairGauge:
    """At each vertex of the region: what shapes add in a pose, reflected, less what they add at its partner in the
    mirrored pose. At a vertex without a partner all that shapes add counts. Beside it the same of the bare skin, where
    there are partners.
    """
    region, symmetry = expectation.of[0], skin.symmetry
    if symmetry is None:
        raise UnmeasurableError("no mirror plane is known")
    rows = np.flatnonzero(weights[0] > cut_border(expectation))
    partners = symmetry.partners[rows]
    if not (partners >= 0).any():
        raise UnmeasurableError(f"no vertex of {region} has a partner on the other side")
    if alone := _without_partner(skin, np.concatenate([rows, partners[partners >= 0]])):
        raise UnmeasurableError(f"{alone} carries skin of {region} and has no partner on the other side")
    paired = (partners >= 0)[:, None]
    reflection = symmetry.reflection

    def gauge(block: PairBlock) -> tuple[FrameValues, FrameValues]:
        bare, mirrored = block.bare[:, rows], block.mirrored_bare[:, partners]
        added = (block.shaped[:, rows] - bare) @ reflection[:, :3].T
        theirs = np.where(paired, block.mirrored_shaped[:, partners] - mirrored, 0.0)
        apart = np.where(paired, bare @ reflection[:, :3].T + reflection[:, 3] - mirrored, 0.0)
        return _furthest(added - theirs, rows), _furthest(apart, rows)

    return gauge


def _without_partner(skin: Skin, vertices: Integers) -> str:
    """A joint of one side that holds some of these vertices and has none on the other side; "" for none."""
    mesh = skin.mesh
    held = mesh.joints[vertices][mesh.weights[vertices] > 0.0]
    for joint in sorted(set(mesh.bind_joints[held].tolist())):
        known = skin.rig.skeleton[int(joint)]
        if known.side != "none" and known.partner is None:
            return known.name
    return ""


def _furthest(vectors: Floats, rows: Integers) -> FrameValues:
    """The longest of vectors (frames, n, 3) in each frame, and whose of the vertices (n,) it is."""
    sizes = np.sqrt((vectors * vectors).sum(axis=2))
    worst = sizes.argmax(axis=1)
    return FrameValues(np.take_along_axis(sizes, worst[:, None], 1)[:, 0], rows[worst])


MEASURES: Final[tuple[Measure, ...]] = (PairMeasure(EXPECTATION_KINDS["even_skin"], _even),)
