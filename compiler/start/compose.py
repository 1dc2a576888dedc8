"""The text of a first spec for a model."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from plica.diagnostics import Diagnostics
from plica.format import formatted
from plica.quantities import quantity
from plica.readers.model_outline import ModelOutline
from plica.skeleton.pairing import Pairing, pairing_of
from plica.skeleton.planes import Plane
from plica.source import Source
from plica.spec.bind_unit import report_size
from plica.start.driver_sections import driver_sections, region_sections
from plica.start.first_look import FirstLook, first_look
from plica.start.name_words import plain_name, writable
from plica.start.shape_sections import (
    bent_region_sections,
    expectation_sections,
    morph_sections,
    shape_sections,
    weight_section,
)
from plica.start.skin_figures import BentRegion, SkinLook
from plica.start.skin_words import look_sentences
from plica.start.spec_text import FactLine, block, joint_text
from plica.start.stance import FirstStance
from plica.start.unit import in_plain_unit
from plica.syntax.builder import encode_text
from plica.workspace import Workspace

if TYPE_CHECKING:
    from plica.start.carried_spec import CarriedSpec

_SHOWN = 12  # names in a comment, the others are counted


class FirstSpec(NamedTuple):
    """A first spec: its text ("" where the model cannot be read), which joints it pairs, and what was found on the
    mesh, in sentences."""

    text: str
    pairing: Pairing | None
    said: tuple[str, ...] = ()


def start_spec(
    path: Path, diagnostics: Diagnostics, geometry: str | None = None, folder: Path | None = None
) -> FirstSpec:
    """A first spec for a glTF or USD model; no text, and a diagnostic, where the model cannot be read.

    `geometry` is the model's path from where the spec will lie, `folder` (default for both: where the model lies). A
    model that the target `gltf` wrote carries its rig, and gets the spec that says the same. Any other passes
    `plica check`: sides by the patterns found, a driver for each joint that the skin follows, shapes to be
    sculpted where the skin suffers, the model's morph targets, and what must hold; all of it holds today.
    """
    from plica.readers.model_reader import find_outline

    shown = geometry or path.name
    outline = find_outline(path, shown, None, diagnostics)
    if outline is None:
        return FirstSpec("", None)
    carried = _carried(path, shown, folder or path.parent, diagnostics)
    if carried is not None:
        return FirstSpec(carried.text, None, carried.said)
    outline, unit = in_plain_unit(outline)
    _report_emptiness(outline, shown, diagnostics)
    look = first_look(path, outline, Path(shown).stem)
    report_size(look.stance.skeleton, outline, None, diagnostics)
    skin = _skin(look, path, unit)
    text = _laid_out(_composed(look, skin, shown, unit))
    return FirstSpec(text, _pairing(look), look_sentences(skin, look.found.joints))


def _report_emptiness(outline: ModelOutline, shown: str, diagnostics: Diagnostics) -> None:
    """Tell where there is nothing to make declarations of."""
    if not outline.skeleton.joints and not outline.morph_targets:
        diagnostics.add("model-without-joints", None, file=shown)
    elif outline.skeleton.joints and not any(mesh.taken for mesh in outline.meshes):
        diagnostics.add("model-without-skin", None, file=shown)


def _carried(path: Path, shown: str, folder: Path, diagnostics: Diagnostics) -> CarriedSpec | None:
    """The spec of a model that carries its rig; None where it carries none, or none that can be used."""
    carried = _carrying(path)
    if carried is None:
        return None
    from plica.rig.rig_json import RigFormatError

    try:
        result = carried(shown, Workspace(folder, (path.parent,)))
        reason = "no text of it compiles"
    except RigFormatError as error:
        result, reason = None, str(error)
    if result is None:
        diagnostics.add("carried-rig-unusable", None, file=shown, reason=reason)
    elif result.differs:
        diagnostics.add("carried-rig-differs", None, file=shown, entries=", ".join(result.differs[:_SHOWN]))
    return result


def _carrying(path: Path) -> Callable[[str, Workspace], CarriedSpec | None] | None:
    """What makes a spec of the rig that a model carries; None where it carries none."""
    from plica.readers.gltf_document import read_document
    from plica.readers.model_reader import is_usd
    from plica.rig.carried import carried_in

    if is_usd(path):
        from plica.readers.usd_reader import read_stage

        text = read_stage(path).carried
        if text is None:
            return None
        from plica.start.carried_spec import spec_of_layer

        return partial(spec_of_layer, text)
    document = read_document(path)
    held = carried_in(document)
    if held is None:
        return None
    from plica.start.carried_spec import spec_of_document

    return partial(spec_of_document, document, held)


def _skin(look: FirstLook, path: Path, unit: list[FactLine]) -> SkinLook:
    """What the mesh tells."""
    if not look.found.joints:
        return SkinLook(why="no joint bends skin")
    from plica.start.skin_look import look_at_skin  # what measures meshes is loaded where there is one to measure

    def draft(regions: Mapping[str, BentRegion]) -> str:
        character = _character(look.outline, path.name, path.stem, look.stance, unit)
        sections = [["plica 1"], character, *bent_region_sections(look.found.joints, regions), *driver_sections(look)]
        return _joined(sections)

    joints = look.stance.skeleton.joints
    beyond = enumerate(look.body.bones.beyond)
    bones = {joints[index].name: joints[end].name for index, end in beyond if end is not None}
    return look_at_skin(path, draft, look.found.joints, look.bases, bones)


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


def _composed(look: FirstLook, skin: SkinLook, geometry: str, unit: list[FactLine]) -> str:
    stem = Path(geometry).stem
    subjects = look.found.joints
    shaped = [one for one in subjects if one.driver in skin.suffering]
    sections = [
        ["plica 1", "", f"// A first spec for {_comment(geometry)}, to be gone on with: every line may be changed."],
        [*_pairing_comment(_pairing(look)), *_character(look.outline, geometry, stem, look.stance, unit)],
        *(region_sections(look) if skin.why else bent_region_sections(shaped, skin.regions)),
        *driver_sections(look),
        *weight_section(skin),
        *shape_sections(subjects, skin),
        *morph_sections(look.outline.morph_targets, subjects),
        *expectation_sections(subjects, skin),
    ]
    return _joined(sections)


def _joined(sections: Sequence[list[str]]) -> str:
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


def _pairing(look: FirstLook) -> Pairing:
    return pairing_of(look.stance.skeleton, look.stance.sides.sides, look.plane)


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
        told_by = "" if sides.by_position or not sides.told_by else f"; which is left: {sides.told_by}"
        facts.append(FactLine("left", _patterns(sides.left), f"how joint names tell the sides{told_by}"))
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


def _comment(text: str) -> str:
    return text if text.isprintable() else "this model"
