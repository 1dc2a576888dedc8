"""Controls for what nobody declares: the weights of the model's own morph targets, where drivers read them."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from plica.diagnostics import Diagnostics
from plica.kinds.readings import morphs_of, weight_control
from plica.rig.output_names import SIDES
from plica.rig.rig import Rig
from plica.rig.strengths import Control, Driver
from plica.rig.surfaces import Morph, Shape
from plica.source import Span
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


def report_fed_back(
    drivers: Iterable[Driver], shapes: Iterable[Shape], span_of: Callable[[str], Span], diagnostics: Diagnostics
) -> None:
    """Warns of shapes that set the weight of a morph target that a driver reads; `span_of` a shape's output name."""
    read = {morph: driver.name for driver in drivers for morph in morphs_of(driver.reading)}
    for shape in shapes:
        if isinstance(shape.source, Morph) and shape.source.name in read:
            morph = shape.source.name
            diagnostics.add("weight-fed-back", span_of(shape.name), shape=shape.name, morph=morph, driver=read[morph])


def shown_weights(morphs: Iterable[spec.MorphTarget], rig: Rig) -> list[Control]:
    """Controls for the morph targets of the skin that no driver reads: with them, poses move the whole skin.

    Outputs do not need them. Left out are those that a shape takes over and those that are on at rest, which no pose
    shows (`plica.mesh.deform.own_morphs`).
    """
    taken = {control.morph for control in rig.controls}
    taken |= {shape.source.name for shape in rig.shapes if isinstance(shape.source, Morph)}
    return [_control(target) for target in morphs if target.name not in taken and target.rest == 0.0]


def _control(target: spec.MorphTarget) -> Control:
    """glTF 2.0 and UsdSkel allow any weight; 0..1 is what faces use (common practice, no source)."""
    reach = (min(0.0, target.rest), max(1.0, target.rest))
    return Control(
        weight_control(target.name), target.side, weight_control(target.left), reach, target.rest, target.name
    )
