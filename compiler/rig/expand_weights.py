"""Controls for what nobody declares: the weights of the model's own morph targets, where drivers read them."""

from __future__ import annotations

from collections.abc import Iterable

from plica.kinds.readings import weight_control
from plica.rig.output_names import SIDES
from plica.rig.strengths import Control
from plica.spec import entries as spec


def weight_controls(drivers: Iterable[spec.Entry[spec.DriverFacts]]) -> list[Control]:
    """A control for each morph target whose weight is read, by name, so that poses, clips and targets carry it."""
    read: dict[str, spec.MorphTarget] = {}
    for entry in drivers:
        for side in SIDES[entry.declared.side]:
            for part in entry.facts(side).reading.values:
                if isinstance(part, spec.MorphRef):
                    target = part.right if side == "right" else part.left
                    read[target.name] = target
    return [_control(read[name]) for name in sorted(read)]


def _control(target: spec.MorphTarget) -> Control:
    """glTF 2.0 and UsdSkel allow any weight; 0..1 is what faces use (common practice, no source)."""
    reach = (min(0.0, target.rest), max(1.0, target.rest))
    return Control(
        weight_control(target.name), target.side, weight_control(target.left), reach, target.rest, target.name
    )
