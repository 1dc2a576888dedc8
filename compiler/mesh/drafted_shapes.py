"""What is particular about shapes whose sculpts were computed: the hand's layer over them, and what they hang on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.mesh.arrays import Floats, Offsets
from plica.mesh.inbetweens import Inbetweens
from plica.mesh.offsets import at_strength, summed
from plica.mesh.sculpt_offsets import UnposedDraft, UnposedSculpt
from plica.rig.expected_volumes import expected_text
from plica.rig.rig import Rig
from plica.rig.surfaces import Shape
from plica.source import Span

Sculpts = Mapping[tuple[str, float], UnposedSculpt]
"""Sculpts as they were made, by declared shape and the strength that they stand for."""


def is_drafted(shape: Shape, sculpts: Sculpts) -> bool:
    """Whether the sculpt of a shape was computed."""
    return _draft(shape.declared, 1.0, sculpts) is not None


class Layers(NamedTuple):
    """What a computed shape is made of on the undeformed mesh: what was computed, and what was made over it by hand;
    the hand's has inbetweens only where it worked on one, and fades in evenly between."""

    draft: Inbetweens
    hand: Inbetweens


def layers_of(declared: str, sculpts: Sculpts) -> Layers | None:
    """The layers of a shape; None where it was not computed."""
    whole = _draft(declared, 1.0, sculpts)
    if whole is None:
        return None
    at = sorted(one for name, one in sculpts if name == declared and one != 1.0)
    between = {one: draft for one in at if (draft := _draft(declared, one, sculpts)) is not None}
    worked = {one: draft.by_hand for one, draft in between.items() if draft.by_hand.count}
    return Layers(
        Inbetweens(whole.offsets, tuple(between), tuple(draft.offsets for draft in between.values())),
        Inbetweens(whole.by_hand, tuple(worked), tuple(worked.values())),
    )


def with_hand(
    declared: str, between: Sequence[tuple[float, Offsets]], sculpts: Sculpts, vertex_count: int
) -> list[tuple[float, Offsets]]:
    """The inbetweens of a shape, with what was made by hand over a computed sculpt where nobody worked on them."""
    layers = layers_of(declared, sculpts)
    if layers is None or not layers.hand.primary.count:
        return list(between)

    def finished(at: float, offsets: Offsets) -> Offsets:
        if at in layers.hand.at or at not in layers.draft.at:
            return offsets
        return summed([(offsets, 1.0), (at_strength(layers.hand, at, vertex_count), 1.0)], vertex_count)

    return [(at, finished(at, offsets)) for at, offsets in between]


def report_changed_inputs(
    shapes: Sequence[Shape],
    sculpts: Sculpts,
    regions: Mapping[str, Floats],
    span_of: Callable[[str, str], Span | None],
    diagnostics: Diagnostics,
    rig: Rig,
) -> None:
    """Says what a computed sculpt hangs on that has changed since. shapes: those that share it, of the rig."""
    sculpt = sculpts.get((shapes[0].declared, 1.0))
    if sculpt is None or sculpt.draft is None:
        return
    shape = next((one for one in shapes if one.source == sculpt.pose), shapes[0])
    now = sculpt.draft.now.with_wishes(regions.get(shape.within or ""), shape.draft, expected_text(rig, shape))
    changed = sculpt.draft.then.changed(now)
    if changed:
        span = span_of("shape", shape.name)
        diagnostics.add("draft-out-of-date", span, shape=shape.declared, changed=", ".join(changed))


def _draft(declared: str, strength: float, sculpts: Sculpts) -> UnposedDraft | None:
    sculpt = sculpts.get((declared, strength))
    return None if sculpt is None else sculpt.draft
