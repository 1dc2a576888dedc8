"""What a change does on the mesh: the vertices that move, the skin and the texture that are covered.

Both states are attached to their meshes; what they share is computed once. Areas are integrals of weights over the
skin at rest: a weight goes linearly over a triangle, so each vertex stands for a third of the triangles around it. The
area that differs is the same integral of the differences' sizes, and so at most the area where weights differ.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from plica.diagnostics import Diagnostic, Diagnostics
from plica.diff.facts import Difference, renamed_entries
from plica.diff.mesh_findings import finding_facts
from plica.diff.neutral_moves import NeutralEffect, neutral_effect
from plica.diff.unlike_on_mesh import unlike
from plica.rig.combinations import parts_of
from plica.rig.rig import Rig
from plica.rig.strengths import Combine
from plica.rig.surfaces import Fold, Painted, StrengthPose
from plica.workspace import Refused, located_bytes

if TYPE_CHECKING:
    from plica.mesh.arrays import Floats, Integers, Mesh
    from plica.mesh.attach import Attached
    from plica.mesh.inbetweens import Inbetweens
    from plica.texture.mask_set import MaskSet

Locate = Callable[[str], Path | Refused]
Key = tuple[str, str]
"""The rig's field that an entry stands in, and its output name (the new one, where there is one)."""

_MOVED = 1e-9  # metres
_WEIGHT = 1e-9
_TABLES = frozenset({"skeleton", "symmetry", "regions", "shapes", "folds", "details", "files"})
_CHARACTER = frozenset({"geometry", "tolerance", "band", "skinning", "stance"})
_SAYS_NOTHING = frozenset({"about", "follows", "budget", "mixing"})  # of what lies on the mesh


class Surface(NamedTuple):
    """A rig and how the files that it names are found."""

    rig: Rig
    locate: Locate


class ShapeEffect(NamedTuple):
    """How many vertices the old and the new offsets move; how many vertices differ, and by how much (metres).

    The last two are None where the meshes cannot be compared vertex by vertex.
    """

    moves: tuple[int, int]
    vertices: int | None
    largest: float | None


class RegionEffect(NamedTuple):
    """The skin that the old and the new region cover, in square metres and as a share of the skin.

    `differs` (square metres) is None where the meshes cannot be compared vertex by vertex.
    """

    areas: tuple[float, float]
    shares: tuple[float, float]
    differs: float | None


class MaskEffect(NamedTuple):
    """The shares of the texture that the old and the new mask cover, by how much they differ, and their sizes."""

    shares: tuple[float, float]
    differs: float
    sizes: tuple[int, int]


GeometryEffect = ShapeEffect | RegionEffect | MaskEffect | NeutralEffect


class MeasuredEffects(NamedTuple):
    """What differs on the mesh, by entry; `problem` says why nothing was measured, in the user's words.

    `findings`: what building finds in one of the two states alone.
    """

    effects: Mapping[Key, GeometryEffect] = MappingProxyType({})
    problem: str | None = None
    was_done: bool = False
    findings: tuple[Difference, ...] = ()


def measured(old: Surface, new: Surface, told: Iterable[Difference]) -> MeasuredEffects:
    """The effects on the mesh of the facts told; nothing is computed where none of them can have any."""
    facts = tuple(told)
    if not _may_show(old.rig, new.rig, facts):
        return MeasuredEffects()
    having = [one.rig.character.geometry is not None for one in (old, new)]
    if not all(having):
        return MeasuredEffects(problem="only one of the two states has a mesh" if any(having) else None)
    from plica.mesh.attach import attach
    from plica.mesh.computed_cache import ComputedCache

    memory = ComputedCache()
    attached: list[Attached | None] = []
    found: list[tuple[Diagnostic, ...]] = []
    problem = None
    rigs = unlike(old, new, facts, memory)
    for one, rig, state in zip((old, new), rigs, ("old", "new"), strict=True):
        diagnostics = Diagnostics()
        item = attach(rig, one.locate, diagnostics, memory=memory)
        error = next((entry.message for entry in diagnostics.all if entry.severity == "error"), None)
        if (item is None or error is not None) and problem is None:
            problem = f"{state} state: {error or 'its mesh cannot be read'}"
        attached.append(item)
        found.append(diagnostics.all)
    findings = tuple(finding_facts(*found))
    before, after = attached
    if before is None or after is None:
        return MeasuredEffects(problem=problem, findings=findings)
    effects = _neutral((old.rig, before), (new.rig, after), facts)
    if problem is not None:
        return MeasuredEffects(effects, problem, findings=findings)
    done = _Comparing((old, new), (before, after), facts).measured()
    return done._replace(effects={**done.effects, **effects}, findings=findings)


def _neutral(
    old: tuple[Rig, Attached], new: tuple[Rig, Attached], told: tuple[Difference, ...]
) -> dict[Key, GeometryEffect]:
    """What moved of the neutral, told at the model's file where that is what changed, else at the character."""
    effect = neutral_effect((old[0], old[1].mesh), (new[0], new[1].mesh))
    model = new[0].character.geometry
    if effect is None or model is None:
        return {}
    if any(fact.table == "files" and fact.name == model.file for fact in told):
        return {("files", model.file): effect}
    return {("character", new[0].character.name): effect}


def _may_show(old: Rig, new: Rig, told: tuple[Difference, ...]) -> bool:
    posing = {name for rig in (old, new) for name in _posing(rig)}
    return any(_shows(fact, posing) for fact in told)


def _shows(fact: Difference, posing: set[str]) -> bool:
    """Whether something on the mesh may differ because of a fact."""
    firsts = {field.first for field in fact.fields}
    if fact.table == "character":
        return bool(firsts & _CHARACTER)
    if fact.table in _TABLES:
        return fact.what in ("added", "removed") or bool(firsts - _SAYS_NOTHING)
    if fact.table in ("strengths", "fields", "controls"):
        # A sculpt made where this strength is 1 lies in another pose now.
        return bool(posing) and (fact.table != "strengths" or fact.name in posing) and firsts != {"about"}
    return False


def _posing(rig: Rig) -> set[str]:
    """The strengths that say in which pose something was sculpted, and those that they are made of."""
    made_of = {one.name: parts_of(one.combination) for one in rig.strengths if isinstance(one, Combine)}
    follows = {shape.name: shape.follows for shape in rig.shapes}
    sculpts = [sculpt for shape in rig.shapes for sculpt in shape.sculpts]
    names = [item.strength for sculpt in sculpts for item in sculpt.pose if isinstance(item, StrengthPose)]
    names += [name for sculpt in sculpts for shape in sculpt.after if (name := follows.get(shape)) is not None]
    result: set[str] = set()
    while names:
        name = names.pop()
        if name not in result:
            result.add(name)
            names += made_of.get(name, [])
    return result


class _Comparing:
    """Two attached states; old entries are looked up by the names that they have now."""

    def __init__(
        self, surfaces: tuple[Surface, Surface], attached: tuple[Attached, Attached], told: tuple[Difference, ...]
    ) -> None:
        self._surfaces, self._attached, self._told = surfaces, attached, told
        self._renamed = {
            (table, before): after
            for table, names in renamed_entries(surfaces[0].rig, surfaces[1].rig).items()
            for before, after in names.items()
        }
        one, other = (item.mesh for item in attached)
        self._alike = _same(one.triangles, other.triangles) and one.vertex_count == other.vertex_count

    def measured(self) -> MeasuredEffects:
        effects: dict[Key, GeometryEffect] = dict(self._regions())
        effects |= dict(self._shapes())
        folds = self._folds_to_compare({name for table, name in effects if table == "regions"})
        masks, problem = self._masks(folds)
        return MeasuredEffects(effects | masks, problem, was_done=True)

    def _now(self, table: str, names: Mapping[str, object]) -> dict[str, str]:
        """The old names of entries by those that they have now."""
        return {self._renamed.get((table, name), name): name for name in names}

    # ---- regions

    def _regions(self) -> Iterator[tuple[Key, RegionEffect]]:
        old, new = self._attached
        areas = [_vertex_areas(item.mesh) for item in (old, new)]
        skins = [float(item.sum()) or 1.0 for item in areas]
        before = self._now("regions", old.regions)
        for name in dict.fromkeys((*before, *new.regions)):
            weights = (old.regions.get(before.get(name, "")), new.regions.get(name))
            covered = [
                0.0 if weight is None else float(weight @ area) for weight, area in zip(weights, areas, strict=True)
            ]
            differs = self._apart(*weights, areas[1])
            if differs is None or differs > _WEIGHT * skins[1]:
                shares = (covered[0] / skins[0], covered[1] / skins[1])
                yield ("regions", name), RegionEffect((covered[0], covered[1]), shares, differs)

    def _apart(self, old: Floats | None, new: Floats | None, areas: Floats) -> float | None:
        import numpy as np

        if not self._alike:
            return None
        zeros = np.zeros(len(areas))
        return float(np.abs((zeros if new is None else new) - (zeros if old is None else old)) @ areas)

    # ---- shapes

    def _shapes(self) -> Iterator[tuple[Key, ShapeEffect]]:
        old, new = (item.shapes for item in self._attached)
        before = self._now("shapes", old)
        for name in dict.fromkeys((*before, *new)):
            pair = (old.get(before.get(name, "")), new.get(name))
            counts = (_count(pair[0]), _count(pair[1]))
            if not self._alike:
                yield ("shapes", name), ShapeEffect(counts, None, None)
                continue
            vertices, largest = _moves(*pair, self._attached[1].mesh.vertex_count)
            if vertices:
                yield ("shapes", name), ShapeEffect(counts, vertices, largest)

    # ---- masks

    def _folds_to_compare(self, regions: set[str]) -> set[str]:
        """The folds, by the names that they have now, whose masks may differ."""
        old, new = self._surfaces
        told = {(fact.table, fact.name) for fact in self._told if _shows(fact, set())}
        files = {name for table, name in told if table == "files"}
        areas = regions | {one.name for one in new.rig.regions if _image(one.source) in files}
        meshes = [item.mesh for item in self._attached]
        everything = not (self._alike and _same_places(*meshes))
        result = set(self._now("folds", {fold.name: fold for fold in old.rig.folds}))
        return {
            name
            for name in result | {fold.name for fold in new.rig.folds}
            if everything or ("folds", name) in told or self._touched(name, areas, told)
        }

    def _touched(self, name: str, areas: set[str], told: set[Key]) -> bool:
        folds = {fold.name: fold for fold in self._surfaces[1].rig.folds}
        fold = folds.get(name)
        return fold is not None and (fold.area in areas or ("details", fold.detail) in told)

    def _masks(self, names: set[str]) -> tuple[dict[Key, GeometryEffect], str | None]:
        if not names:
            return {}, None
        sets = []
        for surface, attached, table in zip(self._surfaces, self._attached, (self._renamed, {}), strict=True):
            made, problem = _made(surface, attached, [
                fold for fold in surface.rig.folds if table.get(("folds", fold.name), fold.name) in names
            ])  # fmt: skip
            if problem is not None:
                return {}, problem
            sets.append(made)
        old, new = sets
        before = self._now("folds", old)
        result: dict[Key, GeometryEffect] = {}
        for name in sorted(names):
            effect = _mask_effect(old.get(before.get(name, "")), new.get(name))
            if effect is not None:
                result[("folds", name)] = effect
        return result, None


def _image(source: object) -> str | None:
    return source.file if isinstance(source, Painted) else None


def _same(one: Floats | Integers, other: Floats | Integers) -> bool:
    import numpy as np

    return one is other or np.array_equal(one, other)


def _same_places(one: Mesh, other: Mesh) -> bool:
    return list(one.uvs) == list(other.uvs) and all(_same(one.uvs[name], other.uvs[name]) for name in one.uvs)


def _vertex_areas(mesh: Mesh) -> Floats:
    """A third of the areas (square metres) of the triangles around each vertex (v,)."""
    import numpy as np

    corners = mesh.positions[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    thirds = np.linalg.norm(normals, axis=1) / 6.0
    areas = np.zeros(mesh.vertex_count)
    np.add.at(areas, mesh.triangles.reshape(-1), np.repeat(thirds, 3))
    return areas


def _count(shape: Inbetweens | None) -> int:
    return 0 if shape is None else shape.primary.count


def _moves(old: Inbetweens | None, new: Inbetweens | None, vertex_count: int) -> tuple[int, float]:
    """How many vertices differ at any strength between 0 and the furthest inbetween, and the largest distance (metres).

    Between inbetweens offsets go linearly with the strength, so the largest difference is at one of them or at 1.
    """
    import numpy as np

    strengths = np.array(sorted({1.0, *(at for shape in (old, new) if shape is not None for at in shape.at)}))
    one, other = (_column_amounts(shape, strengths) for shape in (old, new))
    differ = np.zeros(vertex_count, dtype=np.bool_)
    largest = 0.0
    for row in range(len(strengths)):
        change = np.zeros((vertex_count, 3))
        for sign, shape, amounts in ((-1.0, old, one), (1.0, new, other)):
            for column, offsets in enumerate(() if shape is None else shape.columns):
                if amounts[row, column]:
                    change[offsets.indices] += sign * amounts[row, column] * offsets.offsets
        distances = np.linalg.norm(change, axis=1)
        differ |= distances > _MOVED
        largest = max(largest, float(distances.max(initial=0.0)))
    return int(differ.sum()), largest


def _column_amounts(shape: Inbetweens | None, strengths: Floats) -> Floats:
    """How much of the primary and of each inbetween a shape is made of, (strengths, 1 + inbetweens)."""
    from plica.mesh.inbetweens import coefficients

    return coefficients(() if shape is None else shape.at, strengths)


class _Mask(NamedTuple):
    """A mask's values at full size, 0 where the texture is not covered; `size`: texels across of its smallest form."""

    values: Floats
    size: int


def _made(surface: Surface, attached: Attached, folds: list[Fold]) -> tuple[dict[str, _Mask], str | None]:
    """The masks of some folds; or why there are none."""
    from plica.texture.masks import masks_of

    if not folds:
        return {}, None
    diagnostics = Diagnostics()
    rig = surface.rig._replace(folds=tuple(folds))
    made = masks_of(rig, attached, lambda file: located_bytes(surface.locate, file, "image_bytes"), diagnostics)
    # A budget that is broken is no reason not to look at the masks: `plica build` tells it.
    errors = [entry.message for entry in diagnostics.all if entry.severity == "error"]
    return ({}, errors[0]) if made is None else (_covering(made, attached), None)


def _covering(made: MaskSet, attached: Attached) -> dict[str, _Mask]:
    import numpy as np

    from plica.texture.atlas import atlas_of
    from plica.texture.masks import DEFAULT

    mesh = attached.mesh
    uvs = dict.fromkeys(mask.uv for mask in made.masks.values())
    covered = {uv: atlas_of(mesh.uvs[uv], mesh.triangles, DEFAULT.size).covered for uv in uvs}
    return {
        name: _Mask(np.where(covered[mask.uv], mask.sized.images[DEFAULT.size] / 255.0, 0.0), mask.size)
        for name, mask in made.masks.items()
    }


def _mask_effect(old: _Mask | None, new: _Mask | None) -> MaskEffect | None:
    """What differs between two masks of one full size; a mask that there is not covers nothing."""
    import numpy as np

    if old is None and new is None:
        return None
    values = [None if one is None else one.values for one in (old, new)]
    shares = [0.0 if one is None else float(one.mean()) for one in values]
    sizes = [0 if one is None else one.size for one in (old, new)]
    full = next(one for one in values if one is not None)
    nothing = np.zeros_like(full)
    one, other = (nothing if item is None else item for item in values)
    differs = float(np.abs(other - one).mean())
    if differs == 0.0 and sizes[0] == sizes[1]:
        return None
    return MaskEffect((shares[0], shares[1]), differs, (sizes[0], sizes[1]))
