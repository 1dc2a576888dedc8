"""What regions and shapes are computed from: some regions are found by shapes, and shapes are kept within regions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Literal

from plica.named_tuples import NamedTuple
from plica.rig.region_sources import regions_of, shapes_of
from plica.rig.surfaces import Region, Shape


class SurfaceStep(NamedTuple):
    """A region, or the shapes that share a sculpt by the name of the first."""

    kind: Literal["region", "shape"]
    name: str


def shape_groups(shapes: Iterable[Shape]) -> dict[str, tuple[Shape, ...]]:
    """Shapes that share a sculpt, a left and the right one mirrored from it, by the name of the left one."""
    groups: dict[str, tuple[Shape, ...]] = {}
    lefts = {shape.declared: shape.name for shape in shapes if shape.side == "left"}
    for shape in shapes:
        key = lefts.get(shape.declared, shape.name) if shape.mirrored else shape.name
        groups[key] = (*groups.get(key, ()), shape)
    return groups


def surface_needs(regions: Sequence[Region], shapes: Sequence[Shape]) -> dict[SurfaceStep, tuple[SurfaceStep, ...]]:
    """All steps in the order of the rig, regions first, each with those that must come before it."""
    groups = shape_groups(shapes)
    group_of = {shape.name: key for key, group in groups.items() for shape in group}
    known = {region.name for region in regions}
    needs: dict[SurfaceStep, tuple[SurfaceStep, ...]] = {}
    for region in regions:
        parts = [SurfaceStep("region", name) for name in regions_of(region.source) if name in known]
        found_by = dict.fromkeys(group_of[name] for name in shapes_of(region.source) if name in group_of)
        needs[SurfaceStep("region", region.name)] = (*parts, *(SurfaceStep("shape", key) for key in found_by))
    for key, group in groups.items():
        within = dict.fromkeys(shape.within for shape in group if shape.within in known)
        earlier = dict.fromkeys(group_of[name] for shape in group for name in shape.earlier if name in group_of)
        needs[SurfaceStep("shape", key)] = (
            *(SurfaceStep("region", name) for name in within if name is not None),
            *(SurfaceStep("shape", other) for other in earlier if other != key),
        )
    return needs


def needing(steps: Iterable[SurfaceStep], needs: Mapping[SurfaceStep, tuple[SurfaceStep, ...]]) -> set[SurfaceStep]:
    """These steps and all that need one of them, directly or through others."""
    needed_by: dict[SurfaceStep, list[SurfaceStep]] = {}
    for step, wanted in needs.items():
        for other in wanted:
            needed_by.setdefault(other, []).append(step)
    waiting = list(steps)
    reached = set(waiting)
    for step in waiting:  # which grows while it is walked
        more = [other for other in needed_by.get(step, ()) if other not in reached]
        reached.update(more)
        waiting += more
    return reached


def circles(needs: Mapping[SurfaceStep, tuple[SurfaceStep, ...]]) -> Iterator[tuple[SurfaceStep, ...]]:
    """For each region that is found by a shape and needs itself: the steps from it to the one that needs it again."""
    for region, wanted in needs.items():
        if region.kind == "region" and any(step.kind == "shape" for step in wanted):
            way = _way_back(region, needs)
            if way:
                yield way


def _way_back(start: SurfaceStep, needs: Mapping[SurfaceStep, tuple[SurfaceStep, ...]]) -> tuple[SurfaceStep, ...]:
    """The shortest way from a step along its needs back to it; empty where there is none."""
    reached: dict[SurfaceStep, SurfaceStep] = {}
    waiting = [start]
    for step in waiting:
        for other in needs.get(step, ()):
            if other == start:
                way = [step]
                while way[-1] != start:
                    way.append(reached[way[-1]])
                return tuple(reversed(way))
            if other not in reached:
                reached[other] = step
                waiting.append(other)
    return ()
