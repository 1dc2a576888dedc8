"""What is told about texture layouts, masks and the memory that they take."""

from __future__ import annotations

from plica.diagnostics import Diagnostics
from plica.mesh.attach import Attached
from plica.quantities import percent
from plica.source import Span
from plica.texture.mask_set import Mask
from plica.texture.mask_sizes import SLACK
from plica.texture.raster import UvReport


def tell_uvs(uv: str, report: UvReport, diagnostics: Diagnostics, span: Span | None) -> None:
    """What is unusual about a uv set, with counts and shares."""
    if report.outside:
        share = _share(report.outside, report.triangles)
        diagnostics.add("uvs-outside", span, uv=uv, triangles=f"{report.outside} of {report.triangles}", share=share)
    if report.unusable:
        share = _share(report.unusable, report.triangles)
        diagnostics.add("uvs-unusable", span, uv=uv, triangles=f"{report.unusable} of {report.triangles}", share=share)
    if report.overlapping:
        share = _share(report.overlapping, report.covered)
        diagnostics.add("uvs-overlap", span, uv=uv, texels=f"{report.overlapping} of {report.covered}", share=share)


def _share(part: int, whole: int) -> str:
    return percent(part / max(whole, 1))


def tell_precision(mask: Mask, attached: Attached, diagnostics: Diagnostics, span: Span | None) -> None:
    """A mask that is black though its area is not, and a tolerance that 8 bits cannot keep."""
    fold, sized = mask.fold, mask.sized
    full = max(sized.images)
    if attached.regions[fold.area].any() and not sized.images[full].any():
        diagnostics.add("mask-is-black", span, fold=fold.name, area=fold.area, size=full)
    if sized.errors[full] > fold.tolerance + SLACK:
        diagnostics.add("tolerance-below-a-step", span, fold=fold.name, tolerance=percent(fold.tolerance))
