"""The declarations that a rig was made of, each as text: for both sides as one, or for one side alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, Final, NamedTuple, assert_never

from plica.kinds.expectations import expectation_kind
from plica.kinds.kernels import KERNEL_KINDS
from plica.kinds.readings import kind_of
from plica.rig.rig import Expectation, Pose, Rig
from plica.rig.strengths import Combine, Control, Driver, Field
from plica.rig.surfaces import (
    DeformedSkin,
    Detail,
    Fold,
    Morph,
    Painted,
    Region,
    RegionSet,
    Sculpt,
    Shape,
    SkinOf,
    Stored,
)
from plica.start import rig_words as words
from plica.start.rig_words import UnwritableError, Words, plain, quantity
from plica.start.spec_text import FactLine, block
from plica.syntax.builder import encode_text
from plica.values import About

Facts = list[FactLine]


class Declaration(NamedTuple):
    """An entry to be written: its kind, its declared name ("" for expectations), and its record for one side."""

    kind: str
    declared: str
    side: str
    entry: Any


def declarations(rig: Rig) -> list[Declaration]:
    """All entries of a rig that a spec declares, kind by kind; strengths of samples come with their field."""
    drivers = [one for one in rig.strengths if isinstance(one, Driver)]
    combines = [one for one in rig.strengths if isinstance(one, Combine)]
    tables: tuple[tuple[str, Any], ...] = (
        ("control", [one for one in rig.controls if one.morph is None]),
        ("driver", drivers),
        ("field", rig.fields),
        ("combine", combines),
        ("region", rig.regions),
        ("shape", rig.shapes),
        ("fold", rig.folds),
        ("pose", rig.poses),
    )
    result = [Declaration("detail", one.name, "none", one) for one in rig.details]
    for kind, entries in tables:
        result += [Declaration(kind, one.declared, one.side, one) for one in entries]
    return result + [Declaration("expect", "", one.side, one) for one in rig.expectations]


def text_of(declaration: Declaration, side: str, said: Words) -> list[str]:
    """The lines of a declaration; `side` is what it is declared for, `both` for what is meant for both.

    Raises UnwritableError where no spec can say it.
    """
    where = "" if side == "none" else f" {side}"
    entry = declaration.entry
    if isinstance(entry, Combine):
        head = f"combine {declaration.declared}{where} = {said.combination(entry.combination)}"
        return block(head, _about(entry.about)) if _about(entry.about) else [head]
    head = f"expect{where}" if declaration.kind == "expect" else f"{declaration.kind} {declaration.declared}{where}"
    return block(head, [*_FACTS[type(entry)](entry, said), *_about(entry.about)])


def _about(about: About) -> Facts:
    notes = [FactLine("note", encode_text(note)) for note in about.notes]
    photos = [FactLine("photo", " ".join(encode_text(text) for text in photo if text)) for photo in about.photos]
    former = [] if about.renamed_from is None else [FactLine("renamed", f"from {about.renamed_from}")]
    return [*notes, *photos, *former]


def _control(entry: Control, said: Words) -> Facts:
    low, high = map(plain, entry.range)
    return [FactLine("range", f"{low} .. {high}"), FactLine("rest", plain(entry.rest))]


def _driver(entry: Driver, said: Words) -> Facts:
    unit = kind_of(entry.reading).unit
    start, end = (quantity(value, unit) if unit else plain(value) for value in entry.span)
    facts = [FactLine("reads", said.reading(entry.reading)), FactLine("span", f"{start} .. {end}")]
    curve = words.response(entry.curve)
    facts += [] if curve is None else [FactLine("curve", curve)]
    return facts if entry.clamped else [*facts, FactLine("unclamped")]


def _field(entry: Field, said: Words) -> Facts:
    seen = "" if entry.relative_to is None else f" from {said.joint(entry.relative_to)}"
    what = "rotation" if entry.axis is None else f"direction {said.axis(entry.joint, entry.axis)}"
    facts = [FactLine("reads", f"{what} of {said.joint(entry.joint)}{seen}")]
    for sample in entry.samples[1:]:
        width = ""
        if sample.width is not None:
            angle = quantity(sample.width, "deg") if entry.kernel == "ramp" else words.kernel_angle(sample.width)
            width = f" width {angle}"
        facts.append(FactLine("sample", f"{sample.name}  at {said.turn(entry.joint, sample.rotation)}{width}"))
    if entry.kernel != next(iter(KERNEL_KINDS)):
        width = "" if entry.width is None else f" {words.kernel_angle(entry.width)}"
        facts.append(FactLine("kernel", f"{entry.kernel}{width}"))
    return facts


def _region(entry: Region, said: Words) -> Facts:
    source = entry.source
    match source:
        case SkinOf():
            fact = FactLine("skin", f"of {', '.join(map(said.joint, source.joints))}")
        case Painted():
            fact = FactLine("painted", encode_text(source.file) + _uv(source.uv))
        case Stored():
            fact = FactLine("vertices", encode_text(source.file))
        case RegionSet():
            fact = FactLine(source.how, f"of {', '.join(said.entry(words.REGIONS, name) for name in source.regions)}")
        case DeformedSkin():
            raise UnwritableError("skin that a pose deforms")
        case _:
            assert_never(source)
    return [fact] + ([FactLine("feather", quantity(entry.feather, "mm"))] if entry.feather else [])


def _uv(uv: str | None) -> str:
    return "" if uv is None else f" uv {encode_text(uv)}"


def _shape(entry: Shape, said: Words) -> Facts:
    facts = []
    if isinstance(entry.source, Morph):
        facts.append(FactLine("morph", encode_text(entry.source.name)))
    elif isinstance(entry.source, Sculpt):
        facts.append(FactLine("sculpt", said.sculpt(entry.source)))
    facts += [FactLine("inbetween", f"{plain(one.at)} {said.sculpt(one.sculpt)}") for one in entry.inbetweens]
    if entry.within is not None:
        facts.append(FactLine("within", said.entry(words.REGIONS, entry.within)))
    if entry.follows is not None:
        facts.append(FactLine("follows", said.entry(words.STRENGTHS, entry.follows)))
    if entry.threshold:
        facts.append(FactLine("threshold", quantity(entry.threshold, "mm")))
    if entry.sided is not None:
        facts.append(FactLine(entry.sided))
    return [*facts, *_draft(entry)]


def _draft(entry: Shape) -> Iterator[FactLine]:
    units = {"volume": "%", "border": "mm", "gap": "mm"}
    for name, value in () if entry.draft is None else zip(entry.draft._fields, entry.draft, strict=True):
        if value is not None:
            yield FactLine("draft", f"{name} {quantity(value, units[name]) if name in units else plain(value)}")


def _detail(entry: Detail, said: Words) -> Facts:
    facts = [FactLine("relaxed", encode_text(entry.relaxed)), FactLine("contracted", encode_text(entry.contracted))]
    facts += [] if entry.uv is None else [FactLine("uv", encode_text(entry.uv))]
    facts += [] if entry.budget is None else [FactLine("budget", quantity(entry.budget, "KiB"))]
    return facts if entry.mixing == "plain" else [*facts, FactLine("mixing", entry.mixing)]


def _fold(entry: Fold, said: Words) -> Facts:
    facts = [FactLine("in", entry.detail), FactLine("area", said.entry(words.REGIONS, entry.area))]
    if entry.follows is not None:
        facts.append(FactLine("follows", said.entry(words.STRENGTHS, entry.follows)))
    return [*facts, FactLine("tolerance", quantity(entry.tolerance, "%"))]


def _pose(entry: Pose, said: Words) -> Facts:
    return [FactLine("at", said.pose(entry.items))]


def _expectation(entry: Expectation, said: Words) -> Facts:
    kind = expectation_kind(entry.kind)
    table = {"region": words.REGIONS, "strength": words.STRENGTHS, "shape": words.SHAPES}.get(kind.about)

    def amount(value: float | None, unit: str) -> str | None:
        return None if value is None else quantity(value, unit) if unit else plain(value)

    def part(name: str) -> str | None:
        match name:
            case "region" | "strengths" | "detail" | "shape":
                return ", ".join(one if table is None else said.entry(table, one) for one in entry.of)
            case "other":
                return None if entry.against is None else said.entry(words.REGIONS, entry.against)
            case "limit":
                return amount(entry.limit, kind.limit.unit)
            case "border" | "share":
                return amount(getattr(entry, name), "%")
            case "uv":
                return None if entry.uv is None else encode_text(entry.uv)
            case _:
                return _over(entry, said)

    return [FactLine(words.filled(kind.phrase, part))]


def _over(entry: Expectation, said: Words) -> str | None:
    listed = [said.entry(words.STRENGTHS, name) for name in entry.over]
    listed += [f"pose {said.entry(words.POSES, name)}" for name in entry.over_poses]
    listed += [f"clip {encode_text(file)}" for file in entry.over_clips]
    listed += ["everything"] if entry.over_everything else []
    return f"over {', '.join(listed)}" if listed else None


_FACTS: Final[dict[type, Callable[[Any, Words], Facts]]] = {
    Control: _control,
    Driver: _driver,
    Field: _field,
    Region: _region,
    Shape: _shape,
    Detail: _detail,
    Fold: _fold,
    Pose: _pose,
    Expectation: _expectation,
}
