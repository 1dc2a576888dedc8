"""Sculpts carried over from another state of a character's model, or from another character."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.attach import Attached
from plica.mesh.offsets import largest_of
from plica.mesh.symmetry import size_of
from plica.mesh.vertex_places import heaviest_joints
from plica.quantities import length
from plica.sculpting.carrying import Correspondence, carried, correspondence, same_topology

CHANGED = 1e-6  # of the body's size: vertices that stand elsewhere by more were moved


class CarriedSculpt(NamedTuple):
    """A sculpt on the new mesh: its shape's declared name, the strength that it stands for, its offsets on the
    undeformed mesh, how many of the vertices that it moves are doubtful, and near which joint the most doubtful is."""

    shape: str
    strength: float
    offsets: Offsets
    doubtful: int
    joint: str | None


class SkinFit(NamedTuple):
    """What takes a skin in its neutral stance to another body: each vertex's affine matrix (v, 3, 4), and which
    vertices (v,) are loose: they hang on joints that the other body does not have."""

    matrices: Floats
    loose: NDArray[np.bool_]


class Rebasing:
    """The way from one state of a character's skin, or from another character's, to a skin, both in their neutral
    stance."""

    def __init__(self, old: Attached, new: Attached, joints: tuple[str, ...], fit: SkinFit | None = None) -> None:
        """joints: the names of the new rig's joints. fit: what takes the old skin to the new body first."""
        self.old, self.new, self.joints, self.fit = old, new, joints, fit
        self.size = size_of(new.mesh.positions)
        places = neutral_places(old)
        if fit is not None:
            places = np.einsum("vij,vj->vi", fit.matrices[:, :, :3], places) + fit.matrices[:, :, 3]
        self.link: Correspondence = correspondence(old.mesh, places, new.mesh, neutral_places(new), self.size)
        self.doubtful = self.link.doubtful
        if fit is not None:
            loose = (self.link.shares * fit.loose[self.link.corners]).sum(axis=1) > 0.5
            self.doubtful = np.union1d(self.doubtful, np.flatnonzero(loose))

    def change(self) -> str:
        """What is different between both, in a sentence."""
        old, new = self.old.mesh, self.new.mesh
        if not same_topology(old, new):
            far = float(self.link.distances.max(initial=0.0))
            counts = f"{old.vertex_count} vertices then, {new.vertex_count} now"
            return f"the mesh is another: {counts}; the new skin lies at most {length(far)} from the old"
        moved = np.flatnonzero(self.link.distances > CHANGED * self.size)
        if not len(moved):
            return "the undeformed mesh is the same"
        worst = int(moved[np.argmax(self.link.distances[moved])])
        most = length(float(self.link.distances[worst]))
        return f"{len(moved)} of {new.vertex_count} vertices were moved, by at most {most}{self._near(new, worst)}"

    def carry(self, shape: str, strength: float, offsets: Offsets) -> CarriedSculpt:
        """One sculpt, given by its offsets on the old undeformed mesh."""
        there = offsets
        if self.old.neutral is not None and self.old.neutral.linear is not None:
            turns = self.old.neutral.linear[offsets.indices]
            there = Offsets(offsets.indices, np.einsum("vij,vj->vi", turns, offsets.offsets))
        if self.fit is not None:
            turns = self.fit.matrices[there.indices, :, :3]
            there = Offsets(there.indices, np.einsum("vij,vj->vi", turns, there.offsets))
        result = carried(there, self.link, self.old.mesh.vertex_count)
        if self.new.neutral is not None and self.new.neutral.unposer is not None:
            result = self.new.neutral.unposer.sparse(result).offsets
        doubtful = np.intersect1d(self.doubtful, result.indices)
        if not len(doubtful):
            return CarriedSculpt(shape, strength, result, 0, None)
        worst = int(doubtful[np.argmax(self.link.distances[doubtful])])
        carrier = int(heaviest_joints(self.new.mesh)[worst])
        return CarriedSculpt(shape, strength, result, len(doubtful), None if carrier < 0 else self.joints[carrier])

    def _near(self, mesh: Mesh, vertex: int) -> str:
        carrier = int(heaviest_joints(mesh)[vertex])
        return "" if carrier < 0 else f" near `{self.joints[carrier]}`"


def sentence_of(sculpt: CarriedSculpt) -> str:
    """What became of a sculpt, for people."""
    at = "" if sculpt.strength == 1.0 else f" at {sculpt.strength:g}"
    largest = length(largest_of(sculpt.offsets.offsets))
    text = f"{sculpt.shape}{at}: {sculpt.offsets.count} vertices, by at most {largest}"
    if not sculpt.doubtful:
        return text
    near = f" near `{sculpt.joint}`" if sculpt.joint else ""
    return f"{text}; {sculpt.doubtful} of them are doubtful{near}: look there"


def neutral_places(attached: Attached) -> Floats:
    """Where the vertices (v, 3) are in the neutral stance."""
    return attached.mesh.positions if attached.neutral is None else attached.neutral.mesh.positions
