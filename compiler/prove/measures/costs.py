"""What shapes cost where they are used: how many are on at once, their bytes, the vertices that they move."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from plica.kinds.expectations import EXPECTATION_KINDS
from plica.mesh.inbetweens import coefficients
from plica.mesh.offsets import size_of
from plica.prove.proof import Proof
from plica.prove.registry import DirectMeasure, Measure
from plica.prove.results import NO_MESH, Result, judged, not_measured
from plica.prove.worst_frames import worst_frame
from plica.rig.rig import Expectation

if TYPE_CHECKING:
    from plica.evaluate.poses import Poses
    from plica.mesh.arrays import Floats
    from plica.mesh.attach import Attached

_NAMED: Final = 3
"""Shapes that are named at most, the others are counted."""


def _shapes_on(proof: Proof, index: int, expectation: Expectation) -> Result:
    """The most sets of offsets that are added at once: a shape between two of its inbetweens adds two."""
    if proof.attached is None:
        return not_measured(index, expectation, NO_MESH)
    worst, place, about, frames = 0, None, "", 0
    for track in proof.tracks(expectation):
        counts = _sets_on(proof, proof.attached, track.poses)
        frames += track.poses.frames
        at = int(counts.sum(axis=1).argmax())
        if int(counts[at].sum()) > worst:
            worst, place = int(counts[at].sum()), (track, at)
            about = _listed([name for name, count in zip(proof.attached.shapes, counts[at], strict=True) if count])
    frame = worst_frame(proof.rig, *place) if place is not None else None
    return judged(index, expectation, float(worst), frames=frames, frame=frame, about=about)


def _sets_on(proof: Proof, attached: Attached, poses: Poses) -> Floats:
    """How many sets of offsets of each shape are on, (frames, shapes)."""
    strengths = proof.evaluator.strengths(poses)
    follows = {shape.name: shape.follows for shape in proof.rig.shapes}
    result = np.zeros((poses.frames, len(attached.shapes)))
    for column, (name, shape) in enumerate(attached.shapes.items()):
        strength = follows[name]
        if strength is not None:
            amounts = coefficients(shape.at, strengths[:, proof.columns[strength]])
            result[:, column] = np.count_nonzero(amounts, axis=1)
    return result


def _listed(names: list[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")


def _shapes_size(proof: Proof, index: int, expectation: Expectation) -> Result:
    """The bytes of all shapes together, as an offsets file in single precision holds them before compression."""
    return _in_all(proof, index, expectation, 1)


def _shapes_moved(proof: Proof, index: int, expectation: Expectation) -> Result:
    """The vertices that each shape moves, with its inbetweens, added up."""
    return _in_all(proof, index, expectation, 0)


def _in_all(proof: Proof, index: int, expectation: Expectation, column: int) -> Result:
    attached = proof.attached
    if attached is None:
        return not_measured(index, expectation, NO_MESH)
    joints = [joint.name for joint in proof.rig.skeleton]
    sizes = {name: size_of(one, attached.mesh, joints) for name, one in attached.shapes.items()}
    figures = {name: (size.vertices, size.bytes)[column] for name, size in sizes.items()}
    largest = max(figures, key=lambda name: figures[name], default="")
    return judged(index, expectation, float(sum(figures.values())), about=f"{largest} the most" if largest else "")


MEASURES: Final[tuple[Measure, ...]] = (
    DirectMeasure(EXPECTATION_KINDS["shapes_on"], _shapes_on),
    DirectMeasure(EXPECTATION_KINDS["shapes_size"], _shapes_size),
    DirectMeasure(EXPECTATION_KINDS["shapes_moved"], _shapes_moved),
)
