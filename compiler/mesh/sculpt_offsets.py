"""Sculpts as a rig names them: read, taken off their pose, dealt out to the sides."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Literal, NamedTuple

import numpy as np

from plica.diagnostics import Diagnostics
from plica.evaluate.evaluator import Evaluator
from plica.mesh.arrays import Floats, Mesh, Offsets
from plica.mesh.deform import Deformer, Motion
from plica.mesh.draft_layer import DraftInputs, by_hand, draft_inputs
from plica.mesh.fingerprint import Fingerprint, fingerprint
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.mesh_diagnostics import check_sculpt, find_sculpt
from plica.mesh.mirror import handing
from plica.mesh.pose_solver import PoseSolver, SculptPose
from plica.mesh.recognition.pose_path import PosePath
from plica.mesh.recognition.stated import doubt_of
from plica.mesh.sculpt_reader import Sculpted, in_unit_of, sculpted_positions
from plica.mesh.sculpt_strength import share_of_sculpt
from plica.mesh.side_weights import SideWeights
from plica.mesh.skinning import Skinning
from plica.mesh.unpose import FOLDED, Unposer
from plica.rig.rig import Rig
from plica.rig.surfaces import JointPose, Sculpt, Shape, StrengthPose
from plica.source import Span
from plica.values import Sided
from plica.workspace import Refused

Locate = Callable[[str], Path | Refused]
"""The file that a spec names, or why it cannot be used."""

STILL = 2e-6  # a skin matrix that differs less from the identity differs by rounding
MOVED = 1e-6  # of the body's size: what moves less was not meant, it is what file formats round off


class UnposedDraft(NamedTuple):
    """The computed layer of a sculpt on the neutral mesh, what the hand added to it there, what it was computed from,
    and what it would be computed from now but for the region and what the spec says of it."""

    offsets: Offsets
    by_hand: Offsets
    then: DraftInputs
    now: DraftInputs


class UnposedSculpt(NamedTuple):
    """A sculpt on the neutral mesh, and the sculpt of the sides in whose pose it was found to be; `whole`: whether its
    file is a whole mesh and not offsets; draft: its computed layer, if any."""

    offsets: Offsets
    pose: Sculpt
    whole: bool = False
    draft: UnposedDraft | None = None


@dataclass(frozen=True, eq=False)
class SculptInPose:
    """A mesh in a sculpt's pose, with the shapes that were on."""

    deformer: Deformer
    motion: Motion

    @property
    def skins(self) -> Floats:
        """The skin matrices (binds, 3, 4)."""
        return np.asarray(self.motion.skins[0])

    @cached_property
    def positions(self) -> Floats:
        """Where the vertices stand (v, 3); worked out when it is asked for, as offsets are taken off without it."""
        return np.asarray(next(iter(self.deformer.positions(self.motion))).positions[0])

    @cached_property
    def earlier(self) -> Floats | None:
        """What those shapes add to the neutral mesh (v, 3); None: there are none."""
        return self.deformer.added(self.motion)


class Sculpting:
    """Takes sculpts off their poses; `shapes` grows as shapes are computed, for later `after` facts, and `sculpts`, by
    declared shape and the strength that they stand for, as they were made."""

    def __init__(
        self, rig: Rig, mesh: Mesh, sides: SideWeights | None, locate: Locate, diagnostics: Diagnostics, size: float
    ) -> None:
        """`size`: the body's, in metres."""
        self.rig, self.mesh, self.sides = rig, mesh, sides
        self.locate, self.diagnostics, self.size = locate, diagnostics, size
        self.shapes: dict[str, Inbetweens] = {}
        self.sculpts: dict[tuple[str, float], UnposedSculpt] = {}
        self._poses: dict[tuple[object, ...], SculptInPose] = {}
        self._solutions: dict[tuple[StrengthPose | JointPose, ...], SculptPose] = {}

    @cached_property
    def _pose_solver(self) -> PoseSolver:
        return PoseSolver(self.rig)

    def _solved(self, items: tuple[StrengthPose | JointPose, ...]) -> SculptPose:
        """The pose that items say, solved once."""
        if items not in self._solutions:
            self._solutions[items] = self._pose_solver.pose(items)
        return self._solutions[items]

    @cached_property
    def _evaluator(self) -> Evaluator:
        return Evaluator(self.rig)

    @cached_property
    def _bare(self) -> Deformer:
        return Deformer(self.mesh, self.rig, {})

    @property
    def _skinning(self) -> Skinning:
        return self._bare.skinning

    @property
    def joints(self) -> list[str]:
        """The names of the rig's joints, in its order."""
        return [joint.name for joint in self.rig.skeleton]

    def taken(
        self, shapes: Sequence[Shape], poses: Sequence[Sculpt], span: Span | None, strength: float = 1.0
    ) -> UnposedSculpt | None:
        """The offsets on the neutral mesh of a sculpt that may have been made in one of several poses.

        `poses` are the left side's, the right side's and both together for a shape of both sides, else just one. Of
        whole meshes the pose that leaves fewest vertices moved is the one; offsets alone tell by their side. `shapes`
        are those that share the sculpt, the left side's first; `strength` is what they are with it.
        """
        self._poses.clear()  # the next sculpt's poses are others, and large meshes take much memory
        file = poses[0].file
        path = self.locate(file)
        if isinstance(path, Refused):
            self.diagnostics.add_filled(path.name, span, path.values)
            return None
        geometry = self.rig.character.geometry
        sculpt = find_sculpt(path, file, geometry.meshes if geometry else (), span, self.diagnostics)
        if sculpt is None:
            return None
        sculpt = in_unit_of(sculpt, self.mesh, None if geometry is None else geometry.unit)
        pose = (
            self._pose_of_offsets(sculpt, poses, shapes[0].sided)
            if sculpt.positions is None
            else self._pose_of_mesh(sculpt, poses)
        )
        of_right = len(shapes) == 2 and len(poses) > 1 and pose is poses[1]
        shape = shapes[1] if of_right else shapes[0]
        unposed = self._unposed(shape.declared, sculpt, pose, span)
        if unposed is None:
            return None
        unposed = unposed._replace(whole=sculpt.positions is not None)
        self.sculpts[shape.declared, strength] = unposed
        return self._of_strength(unposed, shape, strength, span)

    def forget(self, declared: str) -> None:
        """Lets go of what was sculpted for a shape that is finished, but for whole meshes, which are compared."""
        for key in [key for key, one in self.sculpts.items() if key[0] == declared and not one.whole]:
            del self.sculpts[key]

    @cached_property
    def _fingerprint(self) -> Fingerprint:
        return fingerprint(self.mesh)

    def _of_strength(
        self, unposed: UnposedSculpt, shape: Shape, strength: float, span: Span | None
    ) -> UnposedSculpt | None:
        """With the offsets that put the skin where it was sculpted, at the strength that the pose gives."""
        pose = self._solved(unposed.pose.pose).poses
        share = share_of_sculpt(shape, unposed.pose, strength, pose, self._evaluator, span, self.diagnostics)
        if share is None or share == 1.0:
            return None if share is None else unposed
        offsets = unposed.offsets
        return unposed._replace(offsets=Offsets(offsets.indices, offsets.offsets * share))

    def _pose_of_offsets(self, sculpt: Sculpted, poses: Sequence[Sculpt], sided: Sided | None) -> Sculpt:
        fits = sculpt.offsets is not None and sculpt.vertex_count == self.mesh.vertex_count
        if len(poses) == 1 or self.sides is None or not fits:
            return poses[0]
        assert sculpt.offsets is not None
        place: dict[Literal["left", "right", "both"], int] = {"left": 0, "right": 1, "both": 2}
        return poses[place[handing(sculpt.offsets, self.sides, stated=sided).of]]

    def _pose_of_mesh(self, sculpt: Sculpted, poses: Sequence[Sculpt]) -> Sculpt:
        if len(poses) == 1 or sculpt.vertex_count not in (self.mesh.vertex_count, self.mesh.point_count):
            return poses[0]

        def moved(pose: Sculpt) -> int:
            expected = self._posed(pose).positions
            there = sculpted_positions(sculpt, self.mesh, expected)
            return int((np.linalg.norm(there - expected, axis=1) > MOVED * self.size).sum())

        return min(poses, key=moved)

    def _unposed(self, shape: str, sculpt: Sculpted, pose: Sculpt, span: Span | None) -> UnposedSculpt | None:
        posed = self._posed(pose, span)
        skins, earlier = posed.skins, posed.earlier
        expected = None if sculpt.positions is None else posed.positions
        tolerance = self.rig.character.tolerance
        if not self._believed(shape, sculpt, pose, span):
            return None
        told = (pose.file, span, self.diagnostics, self.joints, tolerance, expected, self._fingerprint)
        if not check_sculpt(sculpt, self.mesh, *told):
            return None
        if not sculpt_posed(skins):
            return UnposedSculpt(
                self._meant(self._difference(sculpt, earlier)), pose, draft=self._draft(sculpt, pose, None)
            )
        unposer = Unposer(self._skinning, self.mesh.positions, skins, earlier, self.rig.character.skinning)
        if sculpt.offsets is not None:
            unposed = unposer.sparse(sculpt.offsets)
        else:
            unposed = unposer.sculpt(sculpted_positions(sculpt, self.mesh, posed.positions))
        if unposed.ill.count:
            self.diagnostics.add_filled(FOLDED, span, unposed.ill.texts(shape))
        return UnposedSculpt(self._meant(unposed.offsets), pose, draft=self._draft(sculpt, pose, unposer))

    def _draft(self, sculpt: Sculpted, pose: Sculpt, unposer: Unposer | None) -> UnposedDraft | None:
        """The computed layer of a sculpt in a pose, and what it would be computed from now."""
        layer = sculpt.draft
        if layer is None:
            return None
        posed = self._posed(pose)
        skins, earlier = posed.skins, posed.earlier
        assert sculpt.offsets is not None
        added = by_hand(sculpt.offsets, layer.offsets, self.mesh.vertex_count)
        drafted, added = (one if unposer is None else unposer.sparse(one).offsets for one in (layer.offsets, added))
        now = draft_inputs(self.mesh, str(self._fingerprint), skins, earlier)
        return UnposedDraft(drafted, added, layer.inputs, now)

    def _believed(self, shape: str, sculpt: Sculpted, pose: Sculpt, span: Span | None) -> bool:
        """Whether a whole mesh is what the spec says of it: its unit, axes and pose; doubts are reported."""
        if sculpt.positions is None:
            return True
        end, stated = self._solved(pose.pose), 1.0
        follows = next((one.follows for one in self.rig.shapes if one.declared == shape), None)
        if not pose.pose and follows is not None:
            on, stated = self._solved((StrengthPose(follows, 1.0),)), 0.0
            end = end if on.problems else on
        path = PosePath(self.mesh, self.rig, self._before(pose), end.poses)
        doubt = doubt_of(sculpt, pose.file, self.mesh, self.rig, path, stated, self.size)
        if doubt is None:
            return True
        self.diagnostics.add_filled(doubt.rule, span, doubt.values)
        return not doubt.refused

    def _difference(self, sculpt: Sculpted, earlier: Floats | None) -> Offsets:
        """The offsets of a sculpt made over the neutral mesh as it is, to the last bit."""
        if sculpt.offsets is not None:
            return sculpt.offsets
        neutral = self.mesh.positions if earlier is None else self.mesh.positions + earlier
        moved = sculpted_positions(sculpt, self.mesh, neutral) - neutral
        return Offsets(np.arange(len(moved)), moved)

    def _meant(self, offsets: Offsets) -> Offsets:
        """Without what a whole mesh brings along as residue of single precision."""
        keep = np.linalg.norm(offsets.offsets, axis=1) > MOVED * self.size
        return Offsets(offsets.indices[keep], offsets.offsets[keep])

    def _posed(self, sculpt: Sculpt, span: Span | None = None) -> SculptInPose:
        """The mesh in a sculpt's pose; with a span, what stands in the way of the pose is reported there."""
        posing = self._solved(sculpt.pose)
        for problem in posing.problems if span is not None else ():
            self.diagnostics.add_filled(problem.rule, span, problem.values)
        key = (sculpt.pose, sculpt.after)
        if key not in self._poses:
            deformer = self._bare.with_shapes(self._before(sculpt))
            self._poses[key] = SculptInPose(deformer, deformer.motion(posing.poses))
        return self._poses[key]

    def _before(self, sculpt: Sculpt) -> Mapping[str, Inbetweens]:
        return {name: self.shapes[name] for name in dict.fromkeys(sculpt.after) if name in self.shapes}


def sculpt_posed(skins: Floats) -> bool:
    """Whether skin matrices (binds, 3, 4) move anything: files hold inverse binds in single precision."""
    return bool(np.abs(skins - np.eye(3, 4)).max(initial=0.0) > STILL)


def together(left: Sculpt, right: Sculpt) -> Sculpt:
    """A sculpt made with both sides in their pose."""
    return Sculpt(left.file, (*left.pose, *right.pose), (*left.after, *right.after))
