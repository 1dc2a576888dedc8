"""Expectations of the skin that no pose changes: partition, moved, and shapes that are the same on both sides."""

from __future__ import annotations

from typing import Final

import numpy as np

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.mesh.arrays import Floats
from plica.mesh.attach import Attached
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.mirror import copy_partners
from plica.mesh.neutral_skin import NeutralSkin
from plica.mesh.vertex_places import heaviest_joints
from plica.prove.proof import Proof
from plica.prove.registry import DirectMeasure, Measure
from plica.prove.results import NO_MESH, Result, WorstPlace, judged, not_measured
from plica.rig.rig import Expectation, Rig
from plica.rig.surfaces import Region, Shape

NO_PARTNER: Final = 1.0
"""The unevenness of a shape that the other side lacks: all of it."""


def _partition(proof: Proof, index: int, expectation: Expectation) -> Result:
    """The sides' weights add up to 1, and with them the two halves of every region to the whole.

    Halves cut from one source at the seam, s w and (1 - s) w, must have w in common; halves with sources of their own
    must not add up to more than 1.
    """
    rig, attached = proof.rig, proof.attached
    if attached is None:
        return not_measured(index, expectation, NO_MESH)
    if attached.sides is None:
        return not_measured(index, expectation, "no mirror plane is known")
    left, right = attached.sides.left, attached.sides.right
    worst, vertex = _largest(np.abs(left + right - 1.0))
    about = "the sides"
    lefts = {region.declared: region for region in rig.regions if region.side == "left"}
    for region in rig.regions:
        other = lefts.get(region.declared)
        if region.side != "right" or other is None:
            continue
        amount, where = _largest(_apart(other, region, attached, left, right))
        if amount > worst:
            worst, vertex, about = amount, where, region.declared
    place = _place(rig, attached, about, vertex) if worst > 0 else None
    return judged(index, expectation, worst, place=place, about=about if worst > 0 else "")


def _apart(one: Region, other: Region, attached: Attached, left: Floats, right: Floats) -> Floats:
    first, second = attached.regions[one.name], attached.regions[other.name]
    if one.source == other.source and one.source.kind != "skin":
        return np.abs(first * right - second * left)
    return np.asarray(np.maximum(first + second - 1.0, 0.0))


def _largest(values: Floats) -> tuple[float, int]:
    worst = int(values.argmax()) if len(values) else -1
    return (float(values[worst]) if len(values) else 0.0), worst


def _place(rig: Rig, attached: Attached, region: str, vertex: int) -> WorstPlace:
    joint = int(heaviest_joints(attached.mesh)[vertex])
    x, y, z = attached.mesh.positions[vertex].tolist()
    return WorstPlace(region, vertex, rig.skeleton[joint].name if joint >= 0 else "", (x, y, z))


def _moved(proof: Proof, index: int, expectation: Expectation) -> Result:
    """The shape, with its inbetweens, moves no more vertices than the limit."""
    if proof.attached is None:
        return not_measured(index, expectation, NO_MESH)
    name = expectation.of[0]
    shape = proof.attached.shapes.get(name)
    if shape is None:
        return not_measured(index, expectation, f"{name} has no sculpt yet")
    vertices = np.unique(np.concatenate([column.indices for column in shape.columns]))
    return judged(index, expectation, float(len(vertices)), about=name)


def uneven_shapes(rig: Rig, attached: Attached) -> tuple[float, str]:
    """How far a side's shapes are from the other side's mirrored, as a share of the shape's longest offset.

    A shape that the other side lacks counts as 1. Also the name of the worst; "" for none.
    """
    if attached.symmetry is None:
        return 0.0, ""
    by_side = {(shape.declared, shape.side): shape for shape in rig.shapes}
    worst, about = 0.0, ""
    for shape in rig.shapes:
        if shape.side == "none" or shape.name not in attached.shapes:
            continue
        other = by_side.get((shape.declared, "right" if shape.side == "left" else "left"))
        amount, told = _unevenness(shape, other, attached)
        if amount > worst:
            worst, about = amount, told
    return worst, about


def _unevenness(shape: Shape, other: Shape | None, attached: Attached) -> tuple[float, str]:
    assert attached.symmetry is not None
    if other is None or other.name not in attached.shapes:
        return NO_PARTNER, f"{shape.name}, which the other side lacks"
    own, theirs = attached.shapes[shape.name], attached.shapes[other.name]
    told = f"the offsets of {shape.name} and {other.name}"
    if own.at != theirs.at:
        return NO_PARTNER, told
    return _difference(own, theirs, attached), told


def _difference(own: Inbetweens, theirs: Inbetweens, attached: Attached) -> float:
    assert attached.symmetry is not None
    partners = copy_partners(attached.mesh.points, attached.symmetry.partners)
    neutral = attached.neutral or NeutralSkin(attached.mesh)
    worst, longest = 0.0, 0.0
    for one, other in zip(own.columns, theirs.columns, strict=True):
        carried = neutral.mirrored(other, partners, attached.symmetry.plane.normal)[0].offsets
        result, expected = (np.zeros((attached.mesh.vertex_count, 3)) for _ in range(2))
        result[one.indices], expected[carried.indices] = one.offsets, carried.offsets
        worst = max(worst, float(np.linalg.norm(result - expected, axis=1).max(initial=0.0)))
        longest = max(longest, *(float(np.linalg.norm(part, axis=1).max(initial=0.0)) for part in (result, expected)))
    return worst / longest if longest else 0.0


MEASURES: Final[tuple[Measure, ...]] = (
    DirectMeasure(EXPECTATION_KINDS["partition"], _partition),
    DirectMeasure(EXPECTATION_KINDS["moved"], _moved),
)
