"""What the textures of each detail's masks take of memory, held against its budget, and what to shrink."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from plica.diagnostics import Diagnostics
from plica.mesh.attach import SpanOf
from plica.quantities import memory, percent
from plica.rig.rig import Rig
from plica.texture.mask_set import Mask, MaskSet
from plica.texture.texture_memory import bytes_in_memory

MOST_NAMED: Final = 3
"""So many masks are named in a message."""


class DetailMemory(NamedTuple):
    """Bytes of memory, with all mip levels, that a detail's textures take, and that they may take (None: any)."""

    detail: str
    used: int
    budget: float | None


def detail_memory(rig: Rig, masks: MaskSet) -> tuple[DetailMemory, ...]:
    """What each detail's textures take, in the order of the rig."""
    used = {detail.name: 0 for detail in rig.details}
    for texture in masks.textures:
        used[texture.detail] += texture.memory
    return tuple(DetailMemory(detail.name, used[detail.name], detail.budget) for detail in rig.details)


def tell_budgets(rig: Rig, masks: MaskSet, diagnostics: Diagnostics, span_of: SpanOf) -> None:
    """Details whose textures take more memory than they may, and what to shrink."""
    for detail, used, budget in detail_memory(rig, masks):
        if budget is not None and used > budget:
            span = span_of("detail", detail)
            advice = _advice(detail, masks)
            diagnostics.add("over-budget", span, detail=detail, used=memory(used), budget=memory(budget), advice=advice)


def _advice(detail: str, masks: MaskSet) -> str:
    """The masks that decide the largest textures, and the tolerances with which they would be half as large."""
    ours = [mask for mask in masks.masks.values() if mask.fold.detail == detail]
    largest = max(mask.size for mask in ours)
    decisive: dict[str, list[Mask]] = {}
    for mask in ours:
        if mask.size == largest:
            decisive.setdefault(mask.fold.declared, []).append(mask)
    named = [f"`{name}` with {percent(_halving(sides), up=True)}" for name, sides in decisive.items()]
    if largest <= min(ours[0].sized.images):
        return "all masks are as small as they can be; fewer folds, or a larger budget"
    saved = memory(bytes_in_memory(largest, 4) - bytes_in_memory(largest // 2, 4))
    more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
    return (
        f"the largest are {largest} texels across; {largest // 2} would do, and each texture save {saved}, "
        f"at these tolerances: {', '.join(named[:MOST_NAMED])}{more}"
    )


def _halving(sides: Sequence[Mask]) -> float:
    """The least tolerance with which all these masks, of one size, would be half as large."""
    return max(mask.sized.errors[mask.size // 2] for mask in sides)
