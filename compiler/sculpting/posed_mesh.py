"""The skin in one pose with chosen shapes on, as somebody is to sculpt over it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import NamedTuple

from plica.evaluate.poses import Poses
from plica.mesh.arrays import Floats, Mesh
from plica.mesh.deform import Deformer
from plica.mesh.inbetweens import Inbetweens
from plica.rig.rig import Rig
from plica.rig.surface_order import SurfaceStep, needing, shape_groups, surface_needs
from plica.rig.surfaces import Sculpt, Shape

OFF = 1e-9  # a strength below this adds less than any file can say


class PosedMesh(NamedTuple):
    """positions (v, 3): metres of model space; shapes: the strengths, by output name, of the shapes that are on."""

    positions: Floats
    shapes: Mapping[str, float]


def posed_mesh(mesh: Mesh, rig: Rig, shapes: Mapping[str, Inbetweens], poses: Poses, on: Collection[str]) -> PosedMesh:
    """The mesh in the first frame of poses, with the shapes whose names are in `on` at their strengths there.

    Raises ValueError for joints and controls that the rig does not have.
    """
    deformer = Deformer(mesh, rig, {name: shape for name, shape in shapes.items() if name in on})
    motion = deformer.motion(poses[0])
    positions = next(iter(deformer.positions(motion))).positions[0]
    strengths = zip(deformer.shapes, motion.strengths[0].tolist(), strict=True)
    return PosedMesh(positions, {name: strength for name, strength in strengths if abs(strength) > OFF})


def shapes_before(rig: Rig, shape: Shape) -> frozenset[str]:
    """The shapes that may be on while a shape is sculpted: all but itself, its other side, and those that hang on it
    already, directly or through others: that were sculpted with it on, or are kept within a region that is found with
    it on."""
    groups = shape_groups(rig.shapes)
    own = [SurfaceStep("shape", key) for key, group in groups.items() if group[0].declared == shape.declared]
    steps = needing(own, surface_needs(rig.regions, rig.shapes))
    later = {one.name for step in steps if step.kind == "shape" for one in groups[step.name]}
    return frozenset(other.name for other in rig.shapes if other.name not in later)


def sculpt_of(shape: Shape, strength: float = 1.0) -> Sculpt | None:
    """The sculpt that gives a shape at a strength: its own at 1, else that of an inbetween; None where it has none."""
    sources = {1.0: shape.source, **{item.at: item.sculpt for item in shape.inbetweens}}
    source = sources.get(strength)
    return source if isinstance(source, Sculpt) else None
