"""The rows of a sheet that are about the skin: shapes, folds, expectations, coverage of joints, memory."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from plica.kinds.expectations import expectation_kind
from plica.kinds.readings import joints_of, seen
from plica.mesh.attach import Attached
from plica.mesh.vertex_places import joints_with_skin
from plica.prove.quantities import unit_of_expectation
from plica.prove.report.summary import figure, limit, where
from plica.prove.results import Result
from plica.quantities import in_unit, length, memory, number
from plica.rig.rig import Rig
from plica.rig.strengths import Driver
from plica.sheet.photos import PhotoAlbum, Said
from plica.sheet.spec_lines import LinePlace, SpecLines, TriedLine
from plica.texture.budgets import detail_memory
from plica.texture.mask_set import MaskSet

VERDICTS = {"holds": "holds", "fails": "fails", "not measured": "not measured"}


class ShapeView(NamedTuple):
    """A shape: what it follows, how many vertices it moves, by how much at most, what it weighs, what is said of it."""

    id: str
    name: str
    follows: str
    follows_id: str
    strength: int
    state: str
    said: Said
    place: LinePlace | None


class FoldView(NamedTuple):
    """A fold: what it follows, the detail and the area, its mask, and what is said of it."""

    id: str
    name: str
    follows: str
    follows_id: str
    strength: int
    about: str
    said: Said
    place: LinePlace | None


class ExpectationView(NamedTuple):
    """An expectation: the verdict in a word, figures as text, how far along its limit the figure is (None: unknown).

    tried: its line with the limit left open; limit, value: as numbers of its unit, for trying others; less: whether
    less is worse; jump: the number of its worst place among the places of the page, -1 where it has none.
    """

    id: str
    title: str
    status: str
    figure: str
    limit: str
    bare: str
    where: str
    share: float | None
    tried: TriedLine | None
    limit_number: str
    value: str
    less: bool
    jump: int
    said: Said
    place: LinePlace | None


class NotedView(NamedTuple):
    """An entry that has no row of its own and of which something is said for people."""

    kind: str
    name: str
    said: Said
    place: LinePlace | None


class CoverageView(NamedTuple):
    """A joint, or the two that are partners: who reads each; () for a bare one, None where there is no such joint.

    id: of its row on the page, by the number of the joint, the left one of two.
    """

    id: str
    joint: str
    left: tuple[tuple[str, str], ...] | None
    right: tuple[tuple[str, str], ...] | None
    bare: bool


class MemoryView(NamedTuple):
    """Something that takes memory: bytes as text, of which budget, as a share of it (None: no budget)."""

    name: str
    used: str
    budget: str
    share: float | None


def shape_views(
    rig: Rig, attached: Attached | None, lines: SpecLines, blocks: Mapping[str, str], album: PhotoAlbum
) -> tuple[ShapeView, ...]:
    """All shapes, in the order of the rig."""
    numbers = {strength.name: place for place, strength in enumerate(rig.strengths)}
    result = []
    for shape in rig.shapes:
        size = None if attached is None else attached.sizes.get(shape.name)
        if size is None:
            state = "not sculpted yet" if shape.source is None else "its offsets are not known"
        else:
            stages = f", {len(shape.inbetweens) + 1} stages" if shape.inbetweens else ""
            state = f"moves {size.vertices} vertices by up to {length(size.largest)}; {memory(size.bytes)}{stages}"
        result.append(
            ShapeView(
                blocks[f"shape {shape.name}"],
                shape.name,
                shape.follows or "",
                blocks.get(shape.follows or "", ""),
                numbers.get(shape.follows or "", -1),
                state,
                album.said([shape.about]),
                lines.place("shape", shape.name),
            )
        )
    return tuple(result)


def fold_views(
    rig: Rig, masks: MaskSet | None, lines: SpecLines, blocks: Mapping[str, str], album: PhotoAlbum
) -> tuple[FoldView, ...]:
    """All folds, in the order of the rig."""
    numbers = {strength.name: place for place, strength in enumerate(rig.strengths)}
    result = []
    for fold in rig.folds:
        size = "its mask is not known" if masks is None else f"mask {masks.masks[fold.name].size} texels across"
        result.append(
            FoldView(
                blocks[f"fold {fold.name}"],
                fold.name,
                fold.follows or "",
                blocks.get(fold.follows or "", ""),
                numbers.get(fold.follows or "", -1),
                f"in {fold.detail}, over {fold.area}; {size}",
                album.said([fold.about]),
                lines.place("fold", fold.name),
            )
        )
    return tuple(result)


def expectation_views(
    results: Sequence[Result], jumps: Mapping[int, int], lines: SpecLines, album: PhotoAlbum
) -> tuple[ExpectationView, ...]:
    """All expectations: what fails first, then what could not be measured."""
    order = {"fails": 0, "not measured": 1, "holds": 2}
    ordered = sorted(results, key=lambda one: (order[one.status], one.index))
    return tuple(_judged(one, jumps, lines, album) for one in ordered)


def _judged(one: Result, jumps: Mapping[int, int], lines: SpecLines, album: PhotoAlbum) -> ExpectationView:
    kind = expectation_kind(one.expectation.kind)
    unit = unit_of_expectation(one.expectation)
    share = None
    if one.worst is not None and one.limit:
        share = kind.worse.badness(one.worst) / abs(one.limit) if not _less(one) else one.limit / max(one.worst, 1e-12)
    bad = one.worst if one.worst is None or _less(one) else kind.worse.badness(one.worst)
    tried = lines.tried("expect", str(one.index), unit)
    return ExpectationView(
        f"expect-{one.index}",
        one.title,
        one.status,
        figure(one, one.worst),
        limit(one),
        figure(one, one.bare),
        one.about if one.status == "not measured" else where(one),
        None if share is None else max(0.0, share),
        tried if one.status != "not measured" else None,
        _plain(one.limit, unit),
        _plain(bad, unit),
        _less(one),
        jumps.get(one.index, -1),
        album.said([one.expectation.about]),
        lines.place("expect", str(one.index)),
    )


def _plain(value: float | None, unit: str) -> str:
    return "" if value is None else number(in_unit(value, unit))


def _less(one: Result) -> bool:
    return expectation_kind(one.expectation.kind).worse.name == "LESS"


def noted_views(rig: Rig, lines: SpecLines, album: PhotoAlbum) -> tuple[NotedView, ...]:
    """Controls, fields, regions, details and poses of which something is said, both sides together."""
    kinds = ("control", rig.controls), ("field", rig.fields), ("region", rig.regions), ("pose", rig.poses)
    groups: dict[tuple[str, str], list[Any]] = {}
    for kind, entries in (*kinds, ("detail", rig.details)):
        for entry in entries:
            if entry.about.notes or entry.about.photos:
                groups.setdefault((kind, getattr(entry, "declared", entry.name)), []).append(entry)
    return tuple(
        NotedView(kind, declared, album.said(one.about for one in entries), lines.place(kind, entries[0].name))
        for (kind, declared), entries in groups.items()
    )


def coverage_views(rig: Rig, attached: Attached | None, blocks: Mapping[str, str]) -> tuple[CoverageView, ...]:
    """The joints that hold skin, partners together, those that nothing reads first among equals of the skeleton.

    Without a mesh they are those that the file lists as the skin's.
    """
    readers = _readers(rig)
    mesh = None if attached is None else attached.mesh
    if mesh is None or not mesh.joints.size:
        holds = [joint.skinned for joint in rig.skeleton]
    else:
        holds = joints_with_skin(mesh, len(rig.skeleton))
    held = {joint.name for joint, has_skin in zip(rig.skeleton, holds, strict=True) if has_skin}
    partners = {joint.name: joint.partner for joint in rig.skeleton}
    result = []
    for row, joint in enumerate(rig.skeleton):
        if joint.side == "right" and joint.partner is not None:
            continue
        if joint.name not in held and joint.partner not in held:
            continue
        own = tuple((name, blocks[name]) for name in readers.get(joint.name, ()))
        partner = partners[joint.name] if joint.side == "left" else None
        other = None if partner is None else tuple((name, blocks[name]) for name in readers.get(partner, ()))
        alone = joint.side == "right"
        names = joint.name if partner is None else f"{joint.name}, {partner}"
        left, right = (None, own) if alone else (own, other)
        result.append(CoverageView(f"joint-{row}", names, left, right, not own or (other is not None and not other)))
    return tuple(result)


def _readers(rig: Rig) -> dict[str, list[str]]:
    """By joint, the strengths that read it."""
    result: dict[str, list[str]] = {}
    fields = {field.name: seen(field) for field in rig.fields}
    for strength in rig.strengths:
        if isinstance(strength, Driver):
            joints: Iterable[str] = joints_of(strength.reading)
        elif strength.kind == "sample":
            one = fields[strength.field]
            joints = [joint for joint in (one.joint, one.relative_to) if joint is not None]
        else:
            continue
        for joint in joints:
            result.setdefault(joint, []).append(strength.name)
    return result


def memory_views(rig: Rig, attached: Attached | None, masks: MaskSet | None) -> tuple[MemoryView, ...]:
    """What shapes and masks take."""
    result = []
    if attached is not None and attached.sizes:
        total = sum(size.bytes for size in attached.sizes.values())
        result.append(MemoryView(f"offsets of {len(attached.sizes)} shapes", memory(total), "no budget", None))
    for one in () if masks is None else detail_memory(rig, masks):
        share = None if one.budget is None else one.used / one.budget
        budget = "no budget" if one.budget is None else f"of {memory(one.budget)}"
        result.append(MemoryView(f"masks of {one.detail}", memory(one.used), budget, share))
    return tuple(result)
