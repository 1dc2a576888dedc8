"""What is told about texture layouts, masks and the memory that they take."""

from __future__ import annotations

from collections.abc import Sequence

from plica.diagnostics import Diagnostics
from plica.mesh.attach import Attached, SpanOf
from plica.rig.model import Detail, Rig
from plica.source import Span
from plica.texture.memory import bytes_in_memory, told
from plica.texture.model import Mask, MaskSet
from plica.texture.raster import UvReport
from plica.texture.sizes import SLACK

MOST_NAMED = 3
"""So many masks are named in a message."""


def tell_uvs(uv: str, report: UvReport, found: Diagnostics, span: Span | None) -> None:
    """What is unusual about a uv set, with counts and shares."""
    if report.outside:
        share = _share(report.outside, report.triangles)
        found.add("uvs-outside", span, uv=uv, triangles=f"{report.outside} of {report.triangles}", share=share)
    if report.unusable:
        share = _share(report.unusable, report.triangles)
        found.add("uvs-unusable", span, uv=uv, triangles=f"{report.unusable} of {report.triangles}", share=share)
    if report.overlapping:
        share = _share(report.overlapping, report.covered)
        found.add("uvs-overlap", span, uv=uv, texels=f"{report.overlapping} of {report.covered}", share=share)


def _share(part: int, whole: int) -> str:
    return f"{100.0 * part / max(whole, 1):.2g} %"


def tell_precision(mask: Mask, attached: Attached, found: Diagnostics, span: Span | None) -> None:
    """A mask that is black though its area is not, a mirror image, and a tolerance that 8 bits cannot keep."""
    fold, sized = mask.fold, mask.sized
    full = max(sized.images)
    if mask.mirrored:
        found.add("mask-mirrored", span, fold=fold.name, side=fold.side)
    elif attached.regions[fold.area].any() and not sized.images[full].any():
        found.add("mask-is-black", span, fold=fold.name, area=fold.area, size=full)
    if sized.errors[full] > fold.tolerance + SLACK:
        found.add("tolerance-below-a-step", span, fold=fold.name, tolerance=_percent(fold.tolerance))


def tell_budgets(rig: Rig, masks: MaskSet, found: Diagnostics, span_of: SpanOf) -> None:
    """Details whose textures take more memory than they may, and what to shrink."""
    for detail in rig.details:
        used = sum(texture.memory for texture in masks.textures if texture.detail == detail.name)
        if detail.budget is not None and used > detail.budget:
            advice = _advice(detail, masks)
            found.add(
                "over-budget",
                span_of("detail", detail.name),
                detail=detail.name,
                used=told(used),
                budget=told(detail.budget),
                advice=advice,
            )


def _advice(detail: Detail, masks: MaskSet) -> str:
    """The masks that decide the largest textures, and the tolerances with which they would be half as large."""
    ours = [mask for mask in masks.masks.values() if mask.fold.detail == detail.name]
    largest = max(mask.size for mask in ours)
    decisive: dict[str, list[Mask]] = {}
    for mask in ours:
        if mask.size == largest:
            decisive.setdefault(mask.fold.declared, []).append(mask)
    named = [f"`{name}` with {_percent(_halving(sides), up=True)}" for name, sides in decisive.items()]
    if largest <= min(ours[0].sized.images):
        return "all masks are as small as they can be; fewer folds, or a larger budget"
    saved = told(bytes_in_memory(largest, 4) - bytes_in_memory(largest // 2, 4))
    more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
    return (
        f"the largest are {largest} texels across; {largest // 2} would do, and each texture save {saved}, "
        f"at these tolerances: {', '.join(named[:MOST_NAMED])}{more}"
    )


def _halving(sides: Sequence[Mask]) -> float:
    """The least tolerance with which all these masks, of one size, would be half as large."""
    return max(mask.sized.errors[mask.size // 2] for mask in sides)


def _percent(share: float, up: bool = False) -> str:
    """A share in percent; rounded up so that the number, read back, suffices."""
    return f"{-(-share * 1000 // 1) / 10:g} %" if up else f"{100.0 * share:.2g} %"
