"""What a name or a joint stands for, for people: what hovering shows, and the mirrored axes shown within the text."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple, assert_never

from plica.editor.navigation import Key, keys_at
from plica.editor.node_search import blocks, path_to
from plica.editor.open_documents import Analysis
from plica.editor.variables import EditorVariable, given_to, variable_at
from plica.editor.word_hover import word_hover
from plica.foreign import markdown
from plica.foreign import markdown_code as code
from plica.kinds.curves import curve_text
from plica.kinds.readings import READING_KINDS
from plica.quantities import number
from plica.rig.entry_text import (
    axis_text,
    combination_text,
    posed_text,
    reading_text,
    span_text,
    vector_text,
)
from plica.rig.field_quality import quality_of
from plica.rig.region_sources import source_text
from plica.rig.rig import Pose, Rig
from plica.rig.strengths import Combine, Control, Driver, Field, Sample
from plica.rig.surfaces import (
    Detail,
    Fold,
    Morph,
    Region,
    Sculpt,
    Shape,
)
from plica.spec.entries import BoundSkeleton
from plica.spec.symbols import NAMESPACES
from plica.syntax import nodes

MOST_ENTRIES = 12  # of a family, shown at once


def hover(analysis: Analysis, own: nodes.Document, offset: int) -> str | None:
    """What stands at an offset, as Markdown: a joint, or what a name expands to on each side."""
    variable = variable_at(own, analysis.documents, offset)
    if variable is not None:
        return _variable(variable, analysis)
    path = path_to(own.declarations, offset)
    joint = next((node for node in reversed(path) if isinstance(node, nodes.JointName)), None)
    if joint is not None:
        return _joint(analysis, joint)
    keys = [*_sample(path), *keys_at(analysis, own.source.path, offset)]
    shown = [line for key in keys for line in entries(analysis, key)]
    if not shown:
        return word_hover(analysis, own, offset)
    more = f"\n\nand {len(shown) - MOST_ENTRIES} more" if len(shown) > MOST_ENTRIES else ""
    return "\n\n".join(shown[:MOST_ENTRIES]) + more


def _sample(path: list[Any]) -> list[Key]:
    """The strength that `shoulder.raised` means, where that is what is pointed at."""
    node = next((one for one in reversed(path) if isinstance(one, nodes.Reference)), None)
    is_member = node is not None and node.member is not None and path[-1] is node.member
    return [("strength", f"{node.name.text}.{node.member.text}")] if is_member and node and node.member else []


def _variable(variable: EditorVariable, analysis: Analysis) -> str:
    """A parameter or an `each` variable, and what it is given."""
    kind = "parameter" if variable.is_parameter else "each"
    lines = [f"**{kind} {code(variable.name)}**"]
    if variable.values:
        lines.append(f"- {'by default' if variable.is_parameter else 'in'} {markdown(variable.values)}")
    for place, values in given_to(variable, analysis.documents):
        lines.append(f"- {markdown(values)} at {code(place.place)}")
    return "\n".join(lines)


# ---- joints


def _joint(analysis: Analysis, node: nodes.JointName) -> str | None:
    spec = analysis.bound.spec
    if spec is None:
        return None
    skeleton, pair = spec.bound, spec.bound.sides.pairs.get(node.text)
    if pair is not None and node.side is not None:
        return _one_joint(skeleton, pair.left if node.side == "left" else pair.right)
    if pair is not None:
        left, right = _one_joint(skeleton, pair.left), _one_joint(skeleton, pair.right)
        return f"pair {code(node.text)}\n\n- left: {left}\n- right: {right}"
    index = skeleton.skeleton.index.get(node.text)
    return _one_joint(skeleton, index) if index is not None else None


def _one_joint(bound: BoundSkeleton, index: int) -> str:
    joint = bound.skeleton.joints[index]
    x, y, z = bound.skeleton.frames[index].origin
    under = f", under {code(bound.skeleton.joints[joint.parent].name)}" if joint.parent is not None else ", a root"
    return f"joint {code(joint.name)}{under}, at rest at {number(x)} m, {number(y)} m, {number(z)} m"


# ---- entries of the rig


def entries(analysis: Analysis, key: Key) -> list[str]:
    """What a name expands to: one text for each side (and each sample of a field)."""
    if analysis.rig is None:
        return []
    namespace, name = key
    result = [item for item in _of(analysis.rig, namespace) if item.declared == name]
    if namespace == "detail":
        return [_detail(item) for item in analysis.rig.details if item.name == name]
    return [_entry(item) for item in sorted(result, key=lambda item: (item.side, item.name))]


_Sided = Control | Driver | Combine | Sample | Field | Region | Shape | Fold | Pose


def _of(whole: Rig, namespace: str) -> tuple[_Sided, ...]:
    kinds: dict[str, tuple[_Sided, ...]] = {
        "strength": (*whole.strengths, *whole.fields),
        "control": whole.controls,
        "region": whole.regions,
        "shape": whole.shapes,
        "fold": whole.folds,
        "pose": whole.poses,
    }
    return kinds.get(namespace, ())


def _entry(item: _Sided) -> str:
    side = f" ({item.side})" if item.side != "none" else ""
    lines = [
        f"**{type(item).__name__.lower()} {code(item.name)}**{side}",
        *(f"- {markdown(line)}" for line in _facts(item)),
    ]
    return "\n".join([*lines, *(f"- note: {markdown(note)}" for note in item.about.notes)])


def _facts(item: _Sided) -> Iterator[str]:
    match item:
        case Driver():
            yield f"reads {reading_text(item.reading)}"
            yield f"span {span_text(item.reading, item.span)}"
            yield f"curve {curve_text(item.curve)}"
            if not item.clamped:
                yield "unclamped"
        case Combine():
            yield combination_text(item.combination)
        case Sample():
            yield f"sample `{item.sample}` of field `{item.field}`"
        case Field():
            about = f" direction {vector_text(item.axis)}" if item.axis else " rotation"
            yield f"reads{about} of {item.joint}{f' from {item.relative_to}' if item.relative_to else ''}"
            yield f"{len(item.samples) - 1} samples, {item.kernel}"
            quality = quality_of(item)
            if quality.condition is not None:
                yield f"condition {quality.condition:.2g} of the kernel's equations"
            yield f"stray activation {quality.stray:.2g}"
        case Control():
            yield f"range {number(item.range[0])} .. {number(item.range[1])}, rest {number(item.rest)}"
        case Region():
            yield source_text(item.source)
            if item.feather:
                yield f"feather {number(item.feather * 1000.0)} mm"
        case Shape():
            yield from _shape(item)
        case Pose():
            yield from (f"at {posed_text(part)}" for part in item.items)
        case Fold():
            yield f"in {item.detail}, area {item.area}"
            yield f"follows {item.follows}"
        case _:
            assert_never(item)


def _shape(item: Shape) -> Iterator[str]:
    if isinstance(item.source, Sculpt):
        yield f"sculpt {item.source.file}{', mirrored' if item.mirrored else ''}"
    elif isinstance(item.source, Morph):
        yield f"morph {item.source.name}"
    else:
        yield "not sculpted yet"
    if item.within:
        yield f"within {item.within}"
    yield f"follows {item.follows}"


def _detail(item: Detail) -> str:
    return f"**detail {code(item.name)}**\n- relaxed {code(item.relaxed)}\n- contracted {code(item.contracted)}"


# ---- mirrored axes


class Hint(NamedTuple):
    """A text to be shown at an offset, and what hovering over it tells."""

    offset: int
    text: str
    explanation: str


def mirrored_axes(analysis: Analysis, own: nodes.Document, start: int, end: int) -> list[Hint]:
    """For each reading of both sides between two offsets: the axis on the right, in the right joint's rest frame."""
    if analysis.rig is None:
        return []
    rights = {(NAMESPACES[_kind(item)], item.declared): item for item in _mirrored(analysis.rig)}
    names: dict[int, list[Key]] = {}
    for symbol in analysis.symbols.declared:
        if symbol.side == "both" and symbol.span.source.path == own.source.path:
            names.setdefault(symbol.span.start, []).append((NAMESPACES[symbol.kind], symbol.name))
    hints = []
    for block in blocks(own.declarations):
        axis = _axis_node(block) if block.end >= start and block.start <= end else None
        if axis is None or block.name is None:
            continue
        items = [rights[key] for key in names.get(block.name.start, []) if key in rights]
        texts = dict.fromkeys(_axis(item) for item in items)
        if len(texts) == 1 and (text := next(iter(texts))) is not None:
            hints.append(Hint(axis.end, f"right: {text}", f"the axis of {items[0].name}, in its joint's rest frame"))
    return [hint for hint in hints if start <= hint.offset <= end]


def _mirrored(whole: Rig) -> list[Driver | Field]:
    both = (*whole.strengths, *whole.fields)
    return [item for item in both if isinstance(item, Driver | Field) and item.side == "right"]


def _kind(item: Driver | Field) -> str:
    return "driver" if isinstance(item, Driver) else "field"


def _axis(item: Driver | Field) -> str | None:
    if isinstance(item, Field):
        return vector_text(item.axis) if item.axis else None
    return axis_text(item.reading)


def _axis_node(block: nodes.Block | nodes.CombineDeclaration) -> nodes.Axis | None:
    """The axis that a driver or a field reads about, as written."""
    for fact in block.facts:
        if fact.key == "field_direction":
            return fact.part("axis")  # type: ignore[no-any-return]
        reading = fact.part("reading") if fact.key == "reads" else None
        if isinstance(reading, nodes.Reading) and (shown := READING_KINDS[reading.kind].axis) and shown.written:
            return reading.parts[shown.written]  # type: ignore[return-value]  # its part is an axis
    return None
