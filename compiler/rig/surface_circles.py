"""Reports regions that are found by a shape which is kept within them, directly or through others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from plica.diagnostics import Diagnostics, Label
from plica.named_tuples import NamedTuple
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
    told: set[Span] = set()
    for circle in own_circles(regions, shapes):
        span = origins["region", circle.region]
        if span not in told:
            told.add(span)
            label = Label(origins["shape", circle.shape], "the shape")
            circle.tell(span, [label], diagnostics)


class OwnCircle(NamedTuple):
    """A region that is found by a shape which is kept within it, by their output names and their declared ones; how
    the region needs itself, in words."""

    region: str
    shape: str
    found: str
    by: str
    way: str

    def tell(self, span: Span | None, labels: Sequence[Label], diagnostics: Diagnostics) -> None:
        """Adds the diagnostic."""
        diagnostics.add("region-of-its-own-shape", span, region=self.found, shape=self.by, way=self.way, labels=labels)


def own_circles(regions: Sequence[Region], shapes: Sequence[Shape]) -> Iterator[OwnCircle]:
    """Each region that is found by a shape which is kept within it, directly or through others."""
    groups = shape_groups(shapes)
    names = {
        **{one.name: one.declared for one in regions},
        **{key: group[0].declared for key, group in groups.items()},
    }
    for way in circles(surface_needs(regions, shapes)):
        shape = next(step for step in way if step.kind == "shape")
        sentence = ", which ".join(_said(one, other, names) for one, other in zip(way, (*way[1:], way[0]), strict=True))
        start = way[0].name
        yield OwnCircle(start, groups[shape.name][0].name, names[start], names[shape.name], sentence)


def _said(step: SurfaceStep, needed: SurfaceStep, names: Mapping[str, str]) -> str:
    how = {
        ("region", "shape"): "is found with",
        ("region", "region"): "is made of",
        ("shape", "region"): "is kept within",
        ("shape", "shape"): "was sculpted after",
    }[step.kind, needed.kind]
    return f"{how} `{names[needed.name]}`"
