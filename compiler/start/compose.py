"""The text of a first spec for a model."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.format import formatted
from plica.quantities import quantity
from plica.readers.model_outline import ModelOutline
from plica.skeleton.body import Body, body_of
from plica.skeleton.joint_words import words_of
from plica.skeleton.pairing import Pairing, pairing_of
from plica.skeleton.planes import Plane, find_plane
from plica.skeleton.side_patterns import FoundSides
from plica.source import Source
from plica.spec.bind_unit import report_size
from plica.start.anatomy import SOURCES
from plica.start.bending_joints import BendingJoint, bending_joints
from plica.start.name_words import plain_name, writable
from plica.start.shape_sections import expectation_sections, morph_sections, shape_sections
from plica.start.spec_text import FactLine, block, joint_text
from plica.start.stance import FirstStance, first_stance
from plica.start.unit import in_plain_unit
from plica.syntax.builder import encode_text

_SHOWN = 12  # names in a comment, the others are counted
FLAT_NOTE = (
    "the joints of this finger do not hang below each other in the model, so each also counts the turns before it"
)
HUNG_NOTE = "this joint hangs under a control and not on its limb: it is read as the limb sees it"


class FirstSpec(NamedTuple):
    """A first spec: its text ("" where the model cannot be read), and which joints it pairs."""

    text: str
    pairing: Pairing | None


def start_spec(path: Path, diagnostics: Diagnostics, geometry: str | None = None) -> FirstSpec:
    """A first spec for a glTF or USD model; no text, and a diagnostic, where the model cannot be read.

    `geometry` is the model's path from where the spec will lie (default: the same folder). The spec passes
    `plica check`: sides by the patterns found, a driver for each joint that the skin follows, shapes to be
    sculpted, the model's morph targets, and what must hold at rest.
    """
    from plica.readers.model_reader import find_outline

    shown = geometry or path.name
    outline = find_outline(path, shown, None, diagnostics)
    if outline is None:
        return FirstSpec("", None)
    outline, unit = in_plain_unit(outline)
    stance = first_stance(outline)
    report_size(stance.skeleton, outline, None, diagnostics)
    return FirstSpec(_laid_out(_composed(outline, shown, stance, unit)), _pairing(stance))


def _laid_out(text: str) -> str:
    """A composed text in the canonical layout."""
    diagnostics = Diagnostics()
    result = formatted(Source("first spec", text), diagnostics)
    if result is None:
        raise RuntimeError(f"the first spec does not parse: {diagnostics.all[0].message}")
    return result


def path_from(folder: Path, model: Path) -> str:
    """What a spec in `folder` calls a model: relative, with forward slashes; the whole path on another drive."""
    try:
        return Path(os.path.relpath(model, folder)).as_posix()
    except ValueError:
        return model.as_posix()


def compose(outline: ModelOutline, geometry: str) -> str:
    """The text for an outline; `geometry` is what the spec calls the model's file."""
    outline, unit = in_plain_unit(outline)
    return _composed(outline, geometry, first_stance(outline), unit)


def _pairing(stance: FirstStance) -> Pairing:
    sides = stance.sides
    plane = sides.plane or find_plane(stance.skeleton, list(sides.sides.pairs.values()))
    return pairing_of(stance.skeleton, sides.sides, plane)


def _composed(outline: ModelOutline, geometry: str, stance: FirstStance, unit: list[FactLine]) -> str:
    stem = Path(geometry).stem
    skeleton, sides = stance.skeleton, stance.sides
    bases = [joint.name for joint in skeleton.joints]
    for pair in sides.sides.pairs.values():
        bases[pair.left] = bases[pair.right] = pair.base
    body = body_of(skeleton, sides.sides, _only_side(stem, sides))
    subjects = bending_joints(body, sides, bases)
    sections = [
        ["plica 1", "", f"// A first spec for {_comment(geometry)}, to be gone on with: every line may be changed."],
        [*_pairing_comment(_pairing(stance)), *_character(outline, geometry, stem, stance, unit)],
        *_regions(body, subjects, bases),
        *_drivers(body, subjects),
        *shape_sections(subjects),
        *morph_sections(outline.morph_targets, subjects),
        *expectation_sections(subjects),
    ]
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


# ---- the character ---------------------------------------------------------------------------------------


def _character(outline: ModelOutline, geometry: str, stem: str, stance: FirstStance, unit: list[FactLine]) -> list[str]:
    sides = stance.sides
    values = encode_text(geometry)
    shaped = [mesh.name for mesh in outline.meshes if mesh.morph_targets and writable(mesh.name)]
    if shaped and not outline.skinned_meshes:
        values += " mesh " + ", ".join(map(encode_text, shaped))
    facts = [FactLine("geometry", values, _meshes_comment(outline)), *unit]
    if stance.written is not None:
        facts.append(FactLine("stance", f"{stance.written} pose", stance.comment))
    if sides.plane is not None:
        facts.append(FactLine("symmetry", _plane_text(sides.plane), "the mirror plane"))
    if sides.left:
        facts.append(FactLine("left", _patterns(sides.left), "how joint names tell the sides"))
        facts.append(FactLine("right", _patterns(sides.right)))
    if sides.by_position:
        toward = f" with left toward {sides.toward}" if sides.toward else ""
        facts.append(FactLine("pairs", f"by position{toward}", sides.told_by or "of joints whose names do not tell"))
    for left, right in sides.stated:
        names = [outline.skeleton.joints[index].name for index in (left, right)]
        if all(map(writable, names)):
            facts.append(FactLine("pair", ", ".join(map(joint_text, names))))
    return block(f"character {plain_name(stem, 'character')}", facts)


def _pairing_comment(pairing: Pairing) -> list[str]:
    """How many joints are paired, and which are left."""
    if not pairing.sided:
        return []
    left = [name for name in pairing.left_over if writable(name)][:_SHOWN]
    more = f" and {len(pairing.left_over) - len(left)} more" if len(pairing.left_over) > len(left) else ""
    listed = f"; without a partner: {', '.join(left)}{more}" if left else ""
    return [f"// {pairing.summary}{listed}."]


def _meshes_comment(outline: ModelOutline) -> str:
    taken = sum(mesh.taken for mesh in outline.meshes)
    return f"the skin is {taken} meshes together" if taken > 1 and outline.skinned_meshes else ""


def _plane_text(plane: Plane) -> str:
    return f"across {plane.axis}" + (f" at {quantity(plane.offset, 'm')}" if abs(plane.offset) > 1e-6 else "")


def _patterns(patterns: tuple[str, ...]) -> str:
    return ", ".join(encode_text(pattern) for pattern in patterns)


def _only_side(stem: str, sides: FoundSides) -> float:
    """The side that the file's name tells, for a model of one hand or leg."""
    words = set(words_of(stem))
    left, right = bool(words & {"left", "l", "lf"}), bool(words & {"right", "r", "rt"})
    return 0.0 if sides.sides.pairs or left == right else 1.0 if left else -1.0


# ---- what moves ----------------------------------------------------------------------------------------------


def _regions(body: Body, subjects: Sequence[BendingJoint], bases: list[str]) -> list[list[str]]:
    lines = []
    for subject in subjects:
        if subject.body_part.region:
            joints = ", ".join(map(joint_text, _two_bones(body, subject, bases)))
            lines.append(f"region {subject.name}{subject.side} {{ skin of {joints} }}")
    if not lines:
        return []
    return [["// Regions: the skin of the bones on either side of a joint.", *lines]]


def _two_bones(body: Body, subject: BendingJoint, bases: list[str]) -> list[str]:
    """The names of the joint before, where the skin follows it, and of the joint itself."""
    before = body.bones.before[subject.joint]
    if before is None or not body.skeleton.joints[before].skinned or not writable(bases[before]):
        return [subject.base]
    if not subject.paired and bases[before] != body.skeleton.joints[before].name:
        return [subject.base]  # a joint of one side, which a declaration without side would have to choose
    return [bases[before], subject.base]


def _drivers(body: Body, subjects: Sequence[BendingJoint]) -> list[list[str]]:
    if not subjects:
        return []
    head = [
        "// Drivers: strengths from 0 to 1, read off joints and counted from the rest pose.",
        "// The spans are first guesses: put in what your own clips show.",
    ]
    sources = [SOURCES[key] for key in SOURCES if any(subject.body_part.source == key for subject in subjects)]
    if sources:
        head += ["// Published travels are those of:", *(f"//     {source}" for source in sources)]
    return [head, *(_driver(body, subject) for subject in subjects)]


def _driver(body: Body, subject: BendingJoint) -> list[str]:
    start, end = subject.span
    facts = [
        FactLine("reads", subject.reads, subject.evidence.reading),
        FactLine("span", f"{start:g} deg .. {end:g} deg", subject.evidence.span),
    ]
    if subject.body_part.source is None:
        facts.append(FactLine("note", encode_text(f"{start:g} to {end:g} degrees is a default, not a measured travel")))
    if subject.joint in body.flat:
        facts.append(FactLine("note", encode_text(FLAT_NOTE)))
    if subject.seen_from is not None:
        facts.append(FactLine("note", encode_text(HUNG_NOTE)))
    title = subject.body_part.title if subject.part != "unknown" else ""
    return block(f"driver {subject.driver}{subject.side}", facts, title)


def _comment(text: str) -> str:
    return text if text.isprintable() else "this model"
