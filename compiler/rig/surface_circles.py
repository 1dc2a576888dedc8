"""Reports regions that are found by a shape which is kept within them, directly or through others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from plica.diagnostics import Diagnostics, Label
from plica.rig.surface_order import SurfaceStep, circles, shape_groups, surface_needs
from plica.rig.surfaces import Region, Shape
from plica.source import Span


def report_circles(
    regions: Sequence[Region],
    shapes: Sequence[Shape],
    origins: Mapping[tuple[str, str], Span],
    diagnostics: Diagnostics,
) -> None:
    """Each declaration of a region once. Circles of regions or of shapes alone are not looked for here."""
    groups = shape_groups(shapes)
    told: set[Span] = set()
    for way in circles(surface_needs(regions, shapes)):
        span = origins["region", way[0].name]
        if span in told:
            continue
        told.add(span)
        shape = next(step for step in way if step.kind == "shape")
        names = {
            **{one.name: one.declared for one in regions},
            **{key: group[0].declared for key, group in groups.items()},
        }
        sentence = ", which ".join(_said(one, other, names) for one, other in zip(way, (*way[1:], way[0]), strict=True))
        label = Label(origins["shape", groups[shape.name][0].name], "the shape")
        found, by = names[way[0].name], names[shape.name]
        diagnostics.add("region-of-its-own-shape", span, region=found, shape=by, way=sentence, labels=[label])


def _said(step: SurfaceStep, needed: SurfaceStep, names: Mapping[str, str]) -> str:
    how = {
        ("region", "shape"): "is found with",
        ("region", "region"): "is made of",
        ("shape", "region"): "is kept within",
        ("shape", "shape"): "was sculpted after",
    }[step.kind, needed.kind]
    return f"{how} `{names[needed.name]}`"
