"""A spec for a model that carries its rig, as the target `gltf` writes it: what the rig says, as declarations.

The text is compiled and its rig compared with the one that was carried; what is written for both sides at once, and
gives another right side, is written for each side alone. What then still differs is told.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from hashlib import sha256
from typing import Any, NamedTuple

from plica.diagnostics import Diagnostics
from plica.diff.facts import Difference, FieldChange, facts
from plica.format import formatted
from plica.pipeline import compile_text
from plica.quantities import number
from plica.readers.gltf_morphs import morphs_of_nodes
from plica.rig.carried import rig_of_extras, sources_of_extras, targets_of_extras
from plica.rig.files import files_of
from plica.rig.rig import Character, Rig
from plica.rig.surfaces import Morph, Shape
from plica.source import Source
from plica.start.rig_declarations import Declaration, declarations, text_of
from plica.start.rig_sides import output_names, sides_of
from plica.start.rig_words import UnwritableError, Words, quantity
from plica.start.spec_text import FactLine, block, joint_text
from plica.syntax.builder import encode_text
from plica.workspace import Refused, Workspace, located_bytes

_SAME = 1e-9
"""Numbers that differ by less, as a share, differ by what was rounded on the way."""
_SHOWN = 8
_ROUNDS = 3
Split = frozenset[tuple[str, str]]


class CarriedSpec(NamedTuple):
    """The text, and what is to be said about it. `differs`: entries that are not what the rig says."""

    text: str
    said: tuple[str, ...]
    differs: tuple[str, ...]


def spec_of_document(
    document: Mapping[str, Any], held: Mapping[str, Any], geometry: str, workspace: Workspace
) -> CarriedSpec | None:
    """A spec for a glTF document, `held` what Plica wrote into it; None where none compiles.

    `geometry` is what the spec calls the model, from the workspace's root. Raises RigFormatError and UnreadableModel
    for what Plica did not write so.
    """
    rig = rig_of_extras(held)
    return spec_of_rig(rig, sources_of_extras(held), _target_names(document, held), geometry, workspace)


def spec_of_layer(carried: str, geometry: str, workspace: Workspace) -> CarriedSpec | None:
    """A spec for an OpenUSD layer, `carried` what Plica wrote into it; None where none compiles.

    Raises RigFormatError for what Plica did not write so. Blend shapes are called like the shapes that they are.
    """
    held = json.loads(carried)
    with suppress(TypeError, ValueError):
        held = {**held, "rig": json.loads(held["rig"]), "sources": json.loads(held["sources"])}
    rig = rig_of_extras(held)
    names = {shape.name: shape.name for shape in rig.shapes}
    return spec_of_rig(rig, sources_of_extras(held), names, geometry, workspace)


def _target_names(document: Mapping[str, Any], held: Mapping[str, Any]) -> dict[str, str]:
    """The morph target of each shape, as the model's reader calls it."""
    morphs = morphs_of_nodes(document)
    result = {}
    for shape, node, target in targets_of_extras(held):
        if node in morphs and target < len(morphs[node].names):
            result[shape] = morphs[node].names[target]
    return result


def spec_of_rig(
    rig: Rig, sources: Mapping[str, str], targets: Mapping[str, str], geometry: str, workspace: Workspace
) -> CarriedSpec | None:
    """A spec for a rig that a model carries; None where none compiles.

    sources: the digest of each file that it was made of; where all are there as they were, the spec names them. Else it
    is about the model itself, which it calls `geometry`, and shapes are its morph targets, by their names in `targets`.
    """
    missing = [file for file, digest in sources.items() if _digest(file, workspace) != digest]
    said = [f"the file carries the rig of `{rig.character.name}`; the spec says what that says"]
    split: Split = frozenset()
    if missing or not sources:
        files = ", ".join(f"`{file}`" for file in missing[:_SHOWN]) or "what it was made of"
        said.append(f"not there as it was: {files}; so shapes are morph targets of the model itself")
        between = [shape.name for shape in rig.shapes if shape.inbetweens]
        if between:
            named = ", ".join(between[:_SHOWN]) + (", ..." if len(between) > _SHOWN else "")
            said.append(
                f"these shapes had inbetweens, which are left out, so half-way they move the skin otherwise: {named}"
            )
        rig = _of_model(rig, targets, geometry, workspace)
        split = frozenset(("shape", shape.declared) for shape in rig.shapes)
    return _written(rig, tuple(said), split, workspace)


def _digest(file: str, workspace: Workspace) -> str | None:
    content = located_bytes(workspace.locate, file, "model_bytes")
    return None if isinstance(content, Refused) else sha256(content).hexdigest()


def _of_model(rig: Rig, targets: Mapping[str, str], geometry: str, workspace: Workspace) -> Rig:
    """The rig with all that it needs in the model; what names a file that is not there is left out, with its users."""
    held = rig.character.geometry
    character = rig.character._replace(geometry=None if held is None else held._replace(file=geometry))
    shapes = tuple(_as_morph(shape, targets) for shape in rig.shapes)
    rig = rig._replace(character=character, shapes=shapes)
    lost = {name for file, _, _, name in files_of(rig) if isinstance(workspace.locate(file), Refused)}
    regions = _without(rig.regions, lost, lambda one: getattr(one.source, "regions", ()))
    gone = lost | ({one.name for one in rig.regions} - {one.name for one in regions})
    details = tuple(one for one in rig.details if one.name not in lost)
    kept = {one.name for one in details}
    expectations = tuple(
        one
        for one in rig.expectations
        if gone.isdisjoint((*one.of, one.against))
        and not any(isinstance(workspace.locate(file), Refused) for file in one.over_clips)
    )
    folds = tuple(one for one in rig.folds if one.area not in gone and one.detail in kept)
    return rig._replace(regions=regions, details=details, folds=folds, expectations=expectations)


def _without(entries: Sequence[Any], lost: set[str], uses: Any) -> tuple[Any, ...]:
    """The entries that neither are lost nor use one that is."""
    gone = set(lost)
    while more := {one.name for one in entries if one.name not in gone and not gone.isdisjoint(uses(one))}:
        gone |= more
    return tuple(one for one in entries if one.name not in gone)


def _as_morph(shape: Shape, targets: Mapping[str, str]) -> Shape:
    if shape.name not in targets:
        return shape._replace(source=None, inbetweens=())
    return shape._replace(
        source=Morph(targets[shape.name]), inbetweens=(), within=None, threshold=0.0, mirrored=False, sided=None
    )


# ---- writing, and looking at what came of it


def _written(rig: Rig, said: tuple[str, ...], split: Split, workspace: Workspace) -> CarriedSpec | None:
    """`split`: declarations that are written for each side by itself."""
    every = frozenset((one.kind, one.declared) for one in declarations(rig) if one.side != "none")
    result: CarriedSpec | None = None
    for _ in range(_ROUNDS):
        text, left_out = _text(rig, split)
        compiled = compile_text(text, "spec.plica", workspace)
        laid_out = formatted(Source("spec.plica", text), Diagnostics())
        more = every
        if compiled.rig is not None and laid_out is not None:
            found = [one for one in facts(_bare(rig), _bare(compiled.rig)) if _is_meant(one)]
            differs = [
                f"{one.kind} `{one.declared}`" + (f" ({one.side})" if one.side != "none" else "") for one in found
            ]
            result = CarriedSpec(laid_out, said, tuple(dict.fromkeys((*left_out, *differs))))
            more = split | {(one.kind, one.declared) for one in found if one.side in ("left", "right")}
        if more == split:
            break
        split = more
    return result


def _bare(rig: Rig) -> Rig:
    return rig._replace(build=None, offsets=None, folds=tuple(one._replace(mask=None) for one in rig.folds))


def _is_meant(difference: Difference) -> bool:
    """Whether entries differ by more than what was rounded."""
    return not difference.fields or not all(map(_is_rounding, difference.fields))


def _is_rounding(change: FieldChange) -> bool:
    pairs = list(_numbers(change.old, change.new))
    return bool(pairs) and all(abs(a - b) <= _SAME * max(1.0, abs(a)) for a, b in pairs)


def _numbers(old: Any, new: Any) -> Iterable[tuple[float, float]]:
    """The numbers of two values side by side; a pair that is far apart where they are of other forms."""
    if isinstance(old, float | int) and isinstance(new, float | int):
        return [(float(old), float(new))]
    if isinstance(old, tuple) and isinstance(new, tuple) and len(old) == len(new) and type(old) is type(new):
        return [pair for one, other in zip(old, new, strict=True) for pair in _numbers(one, other)]
    return [] if old == new else [(0.0, 1.0)]


def _text(rig: Rig, split: Split) -> tuple[str, list[str]]:
    """The spec, and what of the rig no spec can say."""
    sides = sides_of(rig)
    sections = [["plica 1"], _character(rig, sides.facts)]
    left_out: list[str] = []
    words = {side: Words(rig, sides.bases, side) for side in ("both", "left", "right", "none")}
    mirrored = Words(rig, sides.bases, "both", own="right")
    partners = {(one.kind, one.declared) for one in declarations(rig) if one.side == "right" and one.declared}
    expected = _expected(rig, words["both"], mirrored)
    for one in declarations(rig):
        key = one.kind, one.declared
        both = key in partners and key not in split and one.side != "none"
        if one.kind == "expect" and id(one.entry) in expected:
            both = True
        if both and one.side == "right":
            continue
        side = "both" if both else one.side
        try:
            sections.append(text_of(one, side, words[side]))
        except UnwritableError as reason:
            left_out.append(f"{one.kind} `{one.declared}` ({reason})")
    return "\n\n".join("\n".join(lines) for lines in sections) + "\n", left_out


def _expected(rig: Rig, left: Words, right: Words) -> dict[int, str]:
    """The expectations that say the same of both sides, with the side that they are of, by identity."""
    written: dict[str, list[Declaration]] = {}
    for one in declarations(rig):
        if one.kind == "expect" and one.side != "none":
            with suppress(UnwritableError):  # which is told where it is written by itself
                said = left if one.side == "left" else right
                written.setdefault("\n".join(text_of(one, "both", said)), []).append(one)
    return {
        id(one.entry): one.side
        for pair in written.values()
        if sorted(one.side for one in pair) == ["left", "right"]
        for one in pair
    }


def _character(rig: Rig, sides: Sequence[FactLine]) -> list[str]:
    character = rig.character
    head = f"character {character.name}" + (f" {encode_text(character.title)}" if character.title else "")
    facts_of = [*_geometry(character)]
    symmetry = rig.symmetry
    if symmetry is not None and symmetry.axis is not None and not symmetry.found:
        at = f" at {quantity(symmetry.offset, 'mm')}" if symmetry.offset else ""
        facts_of.append(FactLine("symmetry", f"across {symmetry.axis}{at}"))
    facts_of += [*sides, *output_names(rig), FactLine("tolerance", quantity(character.tolerance, "mm"))]
    if character.band:
        facts_of.append(FactLine("band", quantity(character.band, "mm")))
    if character.skinning != "linear":
        facts_of.append(FactLine("skinning", character.skinning))
    bases = sides_of(rig).bases
    joints = {joint.name: joint for joint in rig.skeleton}
    for alias in rig.aliases:
        base = bases.get(alias.joint)
        joint = joint_text(alias.joint) if base is None else f"{joints[alias.joint].side} {joint_text(base)}"
        facts_of.append(FactLine("alias", f"{encode_text(alias.clip_name)} = {joint}"))
    facts_of += [FactLine("note", encode_text(note)) for note in character.about.notes]
    return block(head, facts_of)


def _geometry(character: Character) -> list[FactLine]:
    geometry = character.geometry
    if geometry is None:
        return []
    meshes = f" mesh {', '.join(map(encode_text, geometry.meshes))}" if geometry.meshes else ""
    result = [FactLine("geometry", encode_text(geometry.file) + meshes)]
    if geometry.unit not in (None, 1.0):
        result.append(FactLine("unit", f"{number(geometry.unit or 1.0, 15)} m"))
    stance = FactLine("stance", f"{character.stance} pose")
    return [*result, stance]
