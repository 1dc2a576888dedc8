"""A shape drafted: from the character in the shape's pose to offsets on the undeformed mesh.

The bend that is followed is `PosePath`'s: each joint turns along the shortest arc from the neutral stance to the pose.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from plica.diagnostics import Diagnostics
from plica.drafting.problem import Draft, DraftedPose, DraftProblem, DraftSettings, Faults, SkinFigures
from plica.drafting.region import spoiled_region
from plica.drafting.solve import drafted
from plica.evaluate.evaluator import Evaluator
from plica.mesh.arrays import Floats, Offsets
from plica.mesh.deform import Deformer
from plica.mesh.draft_layer import FREE, DraftInputs, draft_inputs
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.recognition.pose_path import PosePath
from plica.quantities import in_unit, whole
from plica.rig.expected_volumes import expected_text
from plica.rig.surfaces import Shape
from plica.sculpting.adoption import Ground, rounded, unposed
from plica.sculpting.bent_joints import BentJoint, bent_joints, parts_between
from plica.sculpting.draft_layers import APART
from plica.sculpting.measured_regions import measured_regions
from plica.sculpting.rebase import neutral_places
from plica.values import DraftFacts

STEP: Final = 1e-5
"""Metres; computed offsets are rounded to it, so that bytes do not depend on the last digits of a processor."""
ENOUGH: Final = 0.5
"""The share of the bend that has to be reached for a draft of a skin that blocks to be worth keeping."""


@dataclass(frozen=True, eq=False)
class ShapeDraft:
    """A shape drafted.

    layer: the computed offsets on the undeformed mesh; reached: the share of the bend, below 1 where the skin got no
    further; strength: what the shape is at there; joints: that bend; before and after: the skin at the reached share
    without and with it; between: on the way there.
    """

    layer: Inbetweens
    reached: float
    strength: float
    joints: tuple[BentJoint, ...]
    before: SkinFigures
    after: SkinFigures
    between: Faults | None


class Drafting:
    """One shape to be drafted, over `ground`: its pose, and the shapes that are on."""

    def __init__(self, ground: Ground, shape: Shape) -> None:
        self.ground, self.shape = ground, shape
        self.path = PosePath(ground.mesh, ground.rig, ground.shapes, ground.pose)
        self.joints = bent_joints(ground.rig, ground.pose)

    @cached_property
    def region(self) -> Floats:
        """Weights (v,): of the region that the shape names, else the skin that the bend spoils."""
        attached = self.ground.attached
        if self.shape.within is not None and self.shape.within in attached.regions:
            return attached.regions[self.shape.within]
        mesh = self.ground.mesh
        return spoiled_region(neutral_places(attached), mesh.triangles, mesh.points, self._skin)

    @property
    def is_something(self) -> bool:
        """Whether there is skin to be drafted: a triangle all of whose corners are in the region, moved by the pose."""
        free = self.region >= FREE
        moved = np.abs(self._skin(1.0) - neutral_places(self.ground.attached)).max(axis=1) > STEP
        return bool(
            (free[self.ground.mesh.triangles].all(axis=1) & moved[self.ground.mesh.triangles].any(axis=1)).any()
        )

    def inputs(self, facts: DraftFacts | None) -> DraftInputs:
        """What the draft hangs on."""
        attached, ground = self.ground.attached, self.ground
        deformer = Deformer(ground.mesh, ground.rig, ground.shapes)
        motion = deformer.motion(ground.pose)
        own = draft_inputs(ground.mesh, attached.fingerprint, motion.skins[0], deformer.added(motion))
        expected = expected_text(ground.rig, self.shape)
        return own.with_wishes(attached.regions.get(self.shape.within or ""), facts, expected)

    def draft(self, settings: DraftSettings, diagnostics: Diagnostics) -> ShapeDraft | None:
        """The draft; None, after diagnostics, where the skin gets not even half of its bend.

        Raises `plica.drafting.problem.NoContactError`.
        """
        mesh = self.ground.mesh
        places = neutral_places(self.ground.attached)
        parts = parts_between(mesh, self.ground.rig, self.joints)
        measured = measured_regions(self.ground.rig, self.shape, self.ground.attached.regions, self.region)
        problem = DraftProblem(
            places, mesh.triangles, mesh.points, self._skin, self.region, self._matrices, parts, measured
        )
        result = drafted(problem, settings)
        if result.reached < ENOUGH or not result.poses:
            diagnostics.add("draft-blocked-early", None, shape=self.shape.declared, reached=self.bend(result.reached))
            return None
        layer, strength = self._layer(result, diagnostics)
        if result.reached < 1.0:
            diagnostics.add("draft-blocked", None, shape=self.shape.declared, reached=self.bend(result.reached))
        return ShapeDraft(layer, result.reached, strength, self.joints, result.before, result.after, result.between)

    def bend(self, share: float) -> str:
        """How far the joint that turns most is bent at a share of the way, for people."""
        most = max(self.joints, key=lambda one: one.angle)
        return f"{in_unit(share * most.angle, 'deg'):.0f} of {whole(most.angle, 'deg')} of `{most.name}`"

    def strength(self, share: float) -> float:
        """What the shape is at, at a share of the way; rounded, so that the spec can say it."""
        if self.shape.follows is None:
            return share
        evaluator = Evaluator(self.ground.rig)
        strengths = evaluator.strengths(self.path.poses(np.array([share])))
        return round(float(strengths[0, evaluator.names.index(self.shape.follows)]), 3)

    def _skin(self, share: float) -> Floats:
        return np.asarray(self.path.positions(np.array([share]))[0])

    def _matrices(self, share: float) -> Floats:
        """The linear parts (v, 3, 3) of the skin's matrices at a share of the way."""
        skins = self._bare.motion(self.path.poses(np.array([share]))).skins
        return np.asarray(self._bare.skinning.matrices(skins, self._bare.method)[0, :, :, :3])

    @cached_property
    def _bare(self) -> Deformer:
        return Deformer(self.ground.mesh, self.ground.rig, {})

    def _layer(self, result: Draft, diagnostics: Diagnostics) -> tuple[Inbetweens, float]:
        """The offsets at each strength; where the skin blocked, what was reached is held from there on."""
        *between, last = result.poses
        primary = self._offsets(last, diagnostics)
        reached = self.strength(result.reached)
        knots: dict[float, Offsets] = {}
        taken = [0.0, 1.0]
        if result.reached < 1.0 and reached <= 1.0 - APART:
            knots[reached] = primary
            taken.append(reached)
        for pose in between:
            at = self.strength(pose.share)
            if all(abs(at - other) >= APART for other in taken):
                knots[at] = self._offsets(pose, diagnostics)
                taken.append(at)
        rising = sorted(knots)
        return Inbetweens(primary, tuple(rising), tuple(knots[at] for at in rising)), reached

    def _offsets(self, pose: DraftedPose, diagnostics: Diagnostics) -> Offsets:
        return rounded(unposed(pose.positions, self.ground, self.path.poses(np.array([pose.share])), diagnostics), STEP)
