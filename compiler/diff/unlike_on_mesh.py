"""The regions and shapes that may differ on the mesh, so that nothing else is computed for a comparison.

What is computed from the same mesh, the same words and the same files is the same in both states.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from plica.diagnostics import Diagnostics
from plica.diff.facts import Difference
from plica.rig.region_sources import regions_of, shapes_of
from plica.rig.rig import Rig
from plica.rig.surfaces import Shape
from plica.workspace import Refused

if TYPE_CHECKING:
    from plica.mesh.computed_cache import ComputedCache, Locate

_OF_MASKS = frozenset({"folds", "details", "files"})
"""Tables of facts after which masks are computed, for which the regions of folds are needed."""


def unlike(
    old: tuple[Rig, Locate], new: tuple[Rig, Locate], facts: Iterable[Difference], memory: ComputedCache
) -> tuple[Rig, Rig]:
    """Both rigs with only the regions and shapes that may differ and what they are computed from; all of them where
    the meshes or what is said of the character differ.
    """
    bodies = [_body(*one, memory) for one in (old, new)]
    if None in bodies or bodies[0] != bodies[1]:
        return old[0], new[0]
    before, after = (_keys(*one, str(bodies[0]), memory) for one in (old, new))
    differ = {key for key in (*before, *after) if before.get(key) != after.get(key)}
    masks = any(fact.table in _OF_MASKS for fact in facts)
    one, other = (_only(rig, differ, masks) for rig in (old[0], new[0]))
    return one, other


def _body(rig: Rig, locate: Locate, memory: ComputedCache) -> str | None:
    """What everything on the mesh depends on; None where there is no mesh."""
    from plica.mesh.computed_cache import body_of

    geometry = rig.character.geometry
    path = None if geometry is None else locate(geometry.file)
    return None if path is None or isinstance(path, Refused) else body_of(rig, memory.digest(path))


def _keys(rig: Rig, locate: Locate, body: str, memory: ComputedCache) -> Mapping[tuple[str, str], str]:
    """What each region and shape is computed from; shapes of one declaration together, as they share their sculpt."""
    from plica.mesh.computed_cache import Remembering

    remembering = Remembering(rig, memory, body, locate, Diagnostics())
    keys = {("regions", region.name): remembering.region_key(region) for region in rig.regions}
    together: dict[str, tuple[Shape, ...]] = {}
    for shape in rig.shapes:
        together[shape.declared] = (*together.get(shape.declared, ()), shape)
    for shapes in together.values():
        key = remembering.shapes_key(shapes, normals=False)
        keys |= {("shapes", shape.name): key for shape in shapes}
    return keys


def _only(rig: Rig, differ: set[tuple[str, str]], masks: bool) -> Rig:
    """The rig with some of its regions and shapes, and those that they are computed from."""
    shapes = {shape.name: shape for shape in rig.shapes}
    regions = {region.name: region for region in rig.regions}
    declared = {shapes[name].declared for table, name in differ if table == "shapes" and name in shapes}
    wanted = [shape.name for shape in rig.shapes if shape.declared in declared]
    areas = [name for table, name in differ if table == "regions" and name in regions]
    areas += [fold.area for fold in rig.folds] if masks else []
    kept: dict[str, None] = {}
    covered: dict[str, None] = {}
    while wanted or areas:
        if wanted:
            name = wanted.pop()
            if name not in kept:
                kept[name] = None
                wanted += shapes[name].earlier
                # Both sides of a sculpt are computed together.
                wanted += [one.name for one in rig.shapes if one.declared == shapes[name].declared]
                areas += [within] if (within := shapes[name].within) is not None else []
            continue
        name = areas.pop()
        if name not in covered and name in regions:
            covered[name] = None
            areas += regions_of(regions[name].source)
            wanted += shapes_of(regions[name].source)
    return rig._replace(
        shapes=tuple(shape for shape in rig.shapes if shape.name in kept),
        regions=tuple(region for region in rig.regions if region.name in covered),
    )
