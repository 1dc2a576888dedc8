"""The worst pose of a geometric expectation as a scene: the skin with its shapes and without, and what to mark."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from plica.diagnostics import Diagnostics
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import SparsePose, poses_from
from plica.measure.region_faces import mean_weights
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.deform import Deformer
from plica.mesh.joint_matrices import Kinematics
from plica.mesh.normals import Normals
from plica.mesh.region_sources import Read
from plica.picture.shade import Relief
from plica.prove.report.nearest import nearest_places
from plica.prove.results import Result
from plica.prove.skin import Skin
from plica.rig.expectations import cut_border
from plica.rig.rig import Expectation, Rig
from plica.texture.skin_details import SkinDetails

if TYPE_CHECKING:
    from plica.mesh.attach import Attached

LEAST_TURN: Final = 0.1
"""A joint that turns by less than this (radians) does not decide from where a pose is looked at."""


@dataclass(frozen=True, eq=False)
class Skinned:
    """The skin in a pose: positions and normals (v, 3); heat (t,): how far each triangle goes to the limit, 1 at it;
    link (2, 3): the two places that a clearance was measured between, or None; relief: its details, with folds.
    """

    positions: Floats
    normals: Floats
    heat: Floats
    link: Floats | None
    relief: Relief | None = None


@dataclass(frozen=True, eq=False)
class WorstScene:
    """The worst pose of an expectation.

    border: mean weights above which triangles are measured; of, against (v,): weights of the regions measured; hinge
    (3,): about what the limb bends, null where nothing does; vertex: where the worst figure is, -1 where it belongs to
    the whole region; with_shapes and without, and the neutral skin at rest. left_out: details that are not drawn.
    """

    mesh: Mesh
    border: float
    of: Floats
    against: Floats
    hinge: Floats
    vertex: int
    with_shapes: Skinned
    without: Skinned
    at_rest: Skinned
    left_out: tuple[str, ...] = ()

    @property
    def way_to_rest(self) -> Floats:
        """From the middle of what is measured, as it is posed, to where that is at rest, (3,)."""
        corners = np.unique(self.mesh.triangles[self.parts])
        return np.asarray((self.at_rest.positions - self.with_shapes.positions)[corners].mean(axis=0))

    @property
    def parts(self) -> NDArray[np.bool_]:
        """The triangles (t,) of the regions measured."""
        weights = np.maximum(self.of, self.against)
        return np.asarray(mean_weights(self.mesh, weights) > self.border)


class Stage:
    """A rig's skin, ready to be shown in any pose."""

    def __init__(self, rig: Rig, attached: Attached, read: Read | None = None) -> None:
        """read: gives the files of details. Raises ValueError where the rig refers to something that is not there."""
        self._rig, self._mesh = rig, attached.mesh
        self._regions: Mapping[str, Floats] = attached.regions
        self._deformer = Deformer(attached.mesh, rig, attached.shapes)
        self._normals = Normals(attached.mesh)
        self._kinematics = Kinematics(rig)
        self._rest = self._positions(SparsePose(), shaped=False)
        self._evaluator = Evaluator(rig)
        # What is wrong with maps is told by a build, and in the picture by its absence.
        self._details = SkinDetails(rig, attached.mesh, attached.regions, read, Diagnostics())
        self._skin = Skin(rig, attached.mesh, attached.regions, self._rest)

    def scene(self, result: Result) -> WorstScene | None:
        """What shows a result; None where it has no pose, or a region that covers nothing."""
        expectation, frame = result.expectation, result.frame
        of = self._regions.get(expectation.of[0]) if expectation.of else None
        if frame is None or of is None:
            return None
        against = self._regions.get(expectation.against or "")
        vertex = result.place.vertex if result.place is not None else -1
        heats = self._skin.heat(expectation)
        shown = [self._skinned(frame.pose, shaped, expectation, vertex, heats) for shaped in (True, False)]
        none = np.zeros(self._mesh.vertex_count)
        hinge = self._hinge(frame.pose, frame.angles)
        cold = np.zeros(len(self._mesh.triangles))
        rest = Skinned(self._rest, self._normals.of(self._rest), cold, None, self._relief(SparsePose(), self._rest))
        return WorstScene(
            self._mesh,
            cut_border(expectation),
            of,
            none if against is None else against,
            hinge,
            vertex,
            shown[0],
            shown[1],
            rest,
            self._details.left_out,
        )

    def _positions(self, pose: SparsePose, shaped: bool) -> Floats:
        motion = self._deformer.motion(poses_from(self._rig, [pose]))
        if not shaped:
            motion = motion.without_shapes()
        return np.asarray(next(self._deformer.positions(motion)).positions[0])

    def _skinned(
        self,
        pose: SparsePose,
        shaped: bool,
        expectation: Expectation,
        vertex: int,
        heats: Callable[[Floats], Floats],
    ) -> Skinned:
        positions = self._positions(pose, shaped)
        link = None
        if expectation.against is not None:
            regions = [self._regions[name] for name in (expectation.of[0], expectation.against)]
            link = nearest_places(self._mesh, regions[0], regions[1], positions, cut_border(expectation))
        relief = self._relief(pose, positions)
        return Skinned(positions, self._normals.of(positions), heats(positions), link, relief)

    def _relief(self, pose: SparsePose, positions: Floats) -> Relief | None:
        strengths = self._evaluator.strengths(poses_from(self._rig, [pose]))[0].tolist()
        return self._details.posed(positions, dict(zip(self._evaluator.names, strengths, strict=True)))

    def _hinge(self, pose: SparsePose, angles: tuple[tuple[str, float], ...]) -> Floats:
        """The direction (3,) about which the joint that turns most bends: square to the bones before and after it."""
        if not angles or angles[0][1] < LEAST_TURN:
            return np.zeros(3)
        places = self._kinematics.globals(poses_from(self._rig, [pose]))[0, :, :, 3]
        number = {joint.name: index for index, joint in enumerate(self._rig.skeleton)}
        name = angles[0][0]
        parent = self._rig.skeleton[number[name]].parent
        children = [number[joint.name] for joint in self._rig.skeleton if joint.parent == name]
        if parent is None or not children:
            return np.zeros(3)
        at = places[number[name]]
        furthest = max(children, key=lambda child: float(np.linalg.norm(places[child] - at)))
        result = np.cross(at - places[number[parent]], places[furthest] - at)
        size = float(np.linalg.norm(result))
        return np.asarray(result / size) if size > 1e-9 else np.zeros(3)
