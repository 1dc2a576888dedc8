"""The weights of a node's morph targets over a clip: shapes by their strengths, the file's own as they were."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np

from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import Poses
from plica.mesh.arrays import Floats
from plica.mesh.attach import Attached
from plica.mesh.inbetweens import coefficients
from plica.rig.rig import Rig
from plica.targets.gltf.placing import OwnTarget, PlacedShapes, PlacedTarget

OwnWeights = Callable[[OwnTarget, Floats], Floats]
"""The weights (n,) at times (n,) of a target that the file had before."""


class ShapeWeights:
    """The weights of a rig's shapes by their strengths, with inbetweens after the rule of `plica.mesh.inbetweens`."""

    def __init__(self, rig: Rig, attached: Attached) -> None:
        self._evaluator = Evaluator(rig)
        columns = {name: column for column, name in enumerate(self._evaluator.names)}
        self._shapes = [
            (shape.name, attached.shapes[shape.name].at, None if shape.follows is None else columns[shape.follows])
            for shape in rig.shapes
            if shape.name in attached.shapes
        ]

    def of(self, poses: Poses) -> dict[tuple[str, float], Floats]:
        """The weights (frames,) by shape and by the strength that the offsets belong to."""
        strengths = self._evaluator.strengths(poses)
        result: dict[tuple[str, float], Floats] = {}
        for name, at, column in self._shapes:
            followed = np.zeros(poses.frames) if column is None else strengths[:, column]
            shares = coefficients(at, followed)
            result |= {(name, strength): shares[:, part] for part, strength in enumerate((1.0, *at))}
        return result


class NodeTargets(NamedTuple):
    """What the morph targets of one node are: the shapes', and the file's own."""

    node: int
    shapes: tuple[PlacedTarget, ...]
    own: tuple[OwnTarget, ...]

    @property
    def total(self) -> int:
        """How many morph targets the node has."""
        return 1 + max([one.target for one in self.shapes] + [one.target for one in self.own])

    def weights(self, shapes: Mapping[tuple[str, float], Floats], own: OwnWeights, times: Floats) -> Floats:
        """The weights of all targets, (n, total), at times (n,).

        A target of the file that a shape is made of has the shape's weight, or 0 where others of ours take its place.
        """
        result = np.zeros((len(times), self.total))
        for target in self.own:
            if not target.shaped:
                result[:, target.target] = own(target, times)
        for placed in self.shapes:
            result[:, placed.target] = shapes[placed.shape, placed.at]
        return result


def targets_of_nodes(placed: PlacedShapes) -> list[NodeTargets]:
    """The nodes that show shapes, each with its targets."""
    return [
        NodeTargets(
            node,
            tuple(target for target in placed.targets if target.node == node),
            tuple(target for target in placed.own if target.node == node),
        )
        for node in sorted({target.node for target in placed.targets})
    ]
