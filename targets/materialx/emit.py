"""The document of a character: for each detail its graph, a surface and a material."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import PurePosixPath

from plica.build.model import Build
from plica.build.names import safe_file_name
from plica.diagnostics import Diagnostics
from plica.rig.model import Detail, Rig
from plica.targets.materialx.document import Element, Names, document_bytes, element
from plica.targets.materialx.graph import GraphPlan, PlacedFold, TextureSpace, graph
from plica.texture.places import MaskPlace

_NUMBERED = re.compile(r"TEXCOORD_(\d{1,3})")
_MAPS = "maps"


def document(build: Build, places: Mapping[str, MaskPlace], found: Diagnostics) -> bytes:
    """The document, without the files that it names; `places` says where the mask of each fold is."""
    names, character = Names(), build.rig.character.name
    elements: list[Element] = []
    for detail in build.rig.details:
        _check_tangents(build, detail, found)
        plan = GraphPlan(
            names.new(f"{character}_{detail.name}"),
            *map_files(build.rig, detail),
            detail.mixing,
            texture_space(detail.uv),
            _placed(build, detail, places, found),
        )
        elements += [graph(plan), *_material(plan.name, names)]
    return document_bytes(elements)


def map_files(rig: Rig, detail: Detail) -> tuple[str, str]:
    """Where the copies of a detail's relaxed and contracted map stand, relative to the document."""
    names = Names()
    base = {each.name: names.new(each.name) for each in rig.details}[detail.name]
    prefix = f"{_MAPS}/{safe_file_name(rig.character.name)}_{base}"
    relaxed, contracted = (
        f"{prefix}_{state}{_ending(file)}"
        for state, file in (("relaxed", detail.relaxed), ("contracted", detail.contracted))
    )
    return relaxed, contracted


def _ending(file: str) -> str:
    ending = PurePosixPath(file.replace("\\", "/")).suffix.lower()
    return ending if re.fullmatch(r"\.[a-z0-9]{1,8}", ending) else ""


def _placed(
    build: Build, detail: Detail, places: Mapping[str, MaskPlace], found: Diagnostics
) -> tuple[PlacedFold, ...]:
    placed = []
    for fold in build.rig.folds:
        if fold.detail == detail.name and fold.name in places:
            place = places[fold.name]
            placed.append(PlacedFold(fold, place, texture_space(place.uv or detail.uv)))
        elif fold.detail == detail.name:
            found.add("fold-without-mask", build.span_of("fold", fold.name), fold=fold.name)
    return tuple(placed)


def texture_space(uv: str | None) -> TextureSpace:
    """How MaterialX calls a set of texture coordinates: those that glTF numbers by number, others by name."""
    numbered = _NUMBERED.fullmatch(uv or "TEXCOORD_0")
    return TextureSpace(int(numbered[1])) if numbered else TextureSpace(0, uv)


def _check_tangents(build: Build, detail: Detail, found: Diagnostics) -> None:
    """MaterialX gives tangents by number only; those of a set with a name are the first's, which may be another."""
    sets = list(build.attached.mesh.uvs) if build.attached is not None else []
    if texture_space(detail.uv).name is not None and sets[:1] != [detail.uv]:
        found.add("tangents-of-another-set", build.span_of("detail", detail.name), detail=detail.name, uv=detail.uv)


def _material(name: str, names: Names) -> tuple[Element, Element]:
    surface, material = names.new(f"{name}_surface"), names.new(f"{name}_material")
    normal = element("input", "normal", "vector3", nodegraph=name, output="normal")
    shader = element("input", "surfaceshader", "surfaceshader", nodename=surface)
    return (
        element("standard_surface", surface, "surfaceshader", normal),
        element("surfacematerial", material, "material", shader),
    )
