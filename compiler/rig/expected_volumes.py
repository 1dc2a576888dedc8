"""The expectations of a volume that the draft of a shape keeps."""

from __future__ import annotations

from plica.quantities import percent
from plica.rig.expectations import border_of, goes_over_everything, swept_strengths
from plica.rig.region_sources import shapes_of
from plica.rig.rig import Expectation, Rig
from plica.rig.surface_order import SurfaceStep, needing, shape_groups, surface_needs
from plica.rig.surfaces import Shape


def expected_volumes(rig: Rig, shape: Shape) -> tuple[Expectation, ...]:
    """The expectations of a volume over what a shape follows, each region and border once.

    Those of regions that are found with the shape on are left out: such a region is not there before the shape is.
    """
    found: dict[tuple[str, float | None], Expectation] = {}
    for expectation in rig.expectations:
        if expectation.kind == "volume" and _goes_over(expectation, shape):
            found.setdefault((expectation.of[0], border_of(expectation)), expectation)
    later = _found_with(rig, shape) if found else set()
    return tuple(expectation for (region, _), expectation in found.items() if region not in later)


def expected_text(rig: Rig, shape: Shape) -> str:
    """What is expected of them, but for how far they may be off, as a short text: the same for the same."""
    parts = []
    for expectation in expected_volumes(rig, shape):
        border = border_of(expectation)
        parts.append(f"volume of {expectation.of[0]}" + ("" if border is None else f" border {percent(border)}"))
    return ", ".join(parts)


def _goes_over(expectation: Expectation, shape: Shape) -> bool:
    return shape.follows is not None and (
        goes_over_everything(expectation) or shape.follows in swept_strengths(expectation)
    )


def _found_with(rig: Rig, shape: Shape) -> set[str]:
    """The regions that are found with a shape or its other side on, directly or through others."""
    if not any(shapes_of(region.source) for region in rig.regions):
        return set()
    groups = shape_groups(rig.shapes)
    own = [SurfaceStep("shape", key) for key, group in groups.items() if group[0].declared == shape.declared]
    steps = needing(own, surface_needs(rig.regions, rig.shapes))
    return {step.name for step in steps if step.kind == "region"}
