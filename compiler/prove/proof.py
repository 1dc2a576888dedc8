"""What the measures of one proof share: a rig, its mesh, the poses to go over, and what was computed once for all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import rest_poses
from plica.mesh.arrays import Floats
from plica.mesh.attach import Attached
from plica.mesh.deform import Deformer
from plica.mesh.region_sources import Read
from plica.prove.kept_masks import KeptMasks
from plica.prove.sweeps import PoseTrack, Sweeper
from plica.rig.rig import Expectation, Rig

if TYPE_CHECKING:
    from plica.texture.mask_set import MaskSet


@dataclass(frozen=True, eq=False)
class ProofSubject:
    """What is proven: a rig, its mesh (None: only strengths are measured), and clips.

    clips: tracks by the file that `over clip` names; poses: tracks by the pose that `over pose` names; extra: tracks
    that every expectation goes over as well; read: gives the files that the spec names, for masks; kept_masks: makes
    them.
    """

    rig: Rig
    attached: Attached | None = None
    clips: Mapping[str, Sequence[PoseTrack]] | None = None
    extra: Sequence[PoseTrack] = ()
    poses: Mapping[str, PoseTrack] | None = None
    read: Read | None = None
    kept_masks: KeptMasks = field(default_factory=KeptMasks)


@dataclass(frozen=True, eq=False)
class Proof:
    """One subject under proof."""

    subject: ProofSubject

    @property
    def rig(self) -> Rig:
        """The rig that is proven."""
        return self.subject.rig

    @property
    def attached(self) -> Attached | None:
        """The mesh with the shapes' offsets on it; None where there is no mesh."""
        return self.subject.attached

    @cached_property
    def sweeper(self) -> Sweeper:
        """Makes the poses to go over. Raises ValueError where the rig refers to something that it does not have."""
        subject = self.subject
        return Sweeper(subject.rig, subject.clips, subject.extra, poses=subject.poses)

    @cached_property
    def evaluator(self) -> Evaluator:
        """Poses to strengths. Raises ValueError as above."""
        return Evaluator(self.rig)

    @cached_property
    def columns(self) -> Mapping[str, int]:
        """Which column of the evaluator's strengths each strength is."""
        return {name: column for column, name in enumerate(self.evaluator.names)}

    @cached_property
    def deformer(self) -> Deformer | None:
        """The mesh over poses, with its shapes; None where there is no mesh."""
        attached = self.attached
        return None if attached is None else Deformer(attached.mesh, self.rig, attached.shapes)

    @cached_property
    def rest(self) -> Floats:
        """Positions (v, 3) of the bare skin in the rest pose. Only where there is a mesh."""
        assert self.deformer is not None
        bare = self.deformer.with_shapes({})
        positions: Floats = next(bare.positions(rest_poses(self.rig))).positions[0]
        return positions

    def tracks(self, expectation: Expectation) -> list[PoseTrack]:
        """The poses that an expectation goes over."""
        return self.sweeper.tracks(expectation)

    @cached_property
    def masks(self) -> MaskSet | str:
        """The masks of the folds, made when they are first needed, and once; or why there are none."""
        subject = self.subject
        if subject.read is None or subject.attached is None:
            return "the files of the masks cannot be read"
        return subject.kept_masks.masks(subject.rig, subject.attached, subject.read)
