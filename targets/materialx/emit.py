"""The document of a character: for each detail its graph, a surface and a material; and the maps that it reads."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import PurePosixPath
from types import MappingProxyType
from typing import NamedTuple

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.emit.output_file_names import safe_file_name
from plica.rig.rig import Rig
from plica.rig.surfaces import Detail, DirectionMapPlace, Fold, MaskPlace
from plica.targets.materialx.document import Element, Names, document_bytes, element
from plica.targets.materialx.graph import GraphPlan, PlacedFold, TextureSpace, graph
from plica.texture.normal_diagnostics import find_maps
from plica.workspace import Refused, Workspace, located_bytes

_NUMBERED = re.compile(r"TEXCOORD_(\d{1,3})")
_MAPS = "maps"


class FoldMaps(NamedTuple):
    """By fold: where its mask is, and its map of directions where it has one."""

    masks: Mapping[str, MaskPlace]
    directions: Mapping[str, DirectionMapPlace] = MappingProxyType({})


def document(build: Build, places: FoldMaps, diagnostics: Diagnostics) -> bytes:
    """The document, without the files that it names; `places` says where the maps of every fold are."""
    names = Names()
    elements: list[Element] = []
    for plan in graph_plans(build, places, names):
        if plan.space.name is not None:
            span = build.span_of("detail", plan.detail.name)
            diagnostics.add("tangents-of-another-set", span, detail=plan.detail.name, uv=plan.detail.uv)
        elements += [graph(plan), *_material(plan.name, names)]
    return document_bytes(elements, build.rig.build)


def graph_plans(build: Build, places: FoldMaps, names: Names) -> Iterator[GraphPlan]:
    """What the graph of each detail is made of; its name is taken from `names`."""
    for detail in build.rig.details:
        yield GraphPlan(
            names.new(f"{build.rig.character.name}_{detail.name}"),
            detail,
            *map_files(build.rig, detail),
            _space(build, detail.uv),
            tuple(_placed(build, fold, places) for fold in build.rig.folds if fold.detail == detail.name),
        )


def _placed(build: Build, fold: Fold, places: FoldMaps) -> PlacedFold:
    mask, directions = places.masks[fold.name], places.directions.get(fold.name)
    return PlacedFold(fold, mask, _space(build, mask.uv), None if directions is None else directions.file)


def _space(build: Build, uv: str | None) -> TextureSpace:
    """How MaterialX calls a set of texture coordinates: by glTF's number, the mesh's first as 0, others by name."""
    numbered = _NUMBERED.fullmatch(uv or "TEXCOORD_0")
    if numbered:
        return TextureSpace(int(numbered[1]))
    sets = list(build.attached.mesh.uvs) if build.attached is not None else []
    return TextureSpace() if sets[:1] == [uv] else TextureSpace(0, uv)


def _material(name: str, names: Names) -> tuple[Element, Element]:
    surface, material = names.new(f"{name}_surface"), names.new(f"{name}_material")
    normal = element("input", "normal", "vector3", nodegraph=name, output="normal")
    shader = element("input", "surfaceshader", "surfaceshader", nodename=surface)
    return (
        element("standard_surface", surface, "surfaceshader", normal),
        element("surfacematerial", material, "material", shader),
    )


# ---- the maps


def maps(build: Build, diagnostics: Diagnostics) -> dict[str, bytes]:
    """Copies of all normal maps, checked, by where the document reads them."""
    files: dict[str, bytes] = {}
    for detail in build.rig.details:
        contents: dict[str, bytes] = {}

        def read(file: str, contents: dict[str, bytes] = contents) -> bytes | Refused:
            content = _content(build, file)
            if isinstance(content, bytes):
                contents[file] = content
            return content

        if find_maps(detail, read, build.span_of("detail", detail.name), diagnostics) is not None:
            relaxed, contracted = map_files(build.rig, detail)
            files[relaxed], files[contracted] = contents[detail.relaxed], contents[detail.contracted]
    return files


def _content(build: Build, file: str) -> bytes | Refused:
    return located_bytes(Workspace(build.folder, build.allowed).locate, file, "image_bytes")


def map_files(rig: Rig, detail: Detail) -> tuple[str, str]:
    """Where the copies of a detail's relaxed and contracted map stand, relative to the document."""
    names = Names()
    base = {each.name: names.new(each.name) for each in rig.details}[detail.name]
    prefix = f"{_MAPS}/{safe_file_name(rig.character.name)}_{base}"
    return f"{prefix}_relaxed{_ending(detail.relaxed)}", f"{prefix}_contracted{_ending(detail.contracted)}"


def _ending(file: str) -> str:
    ending = PurePosixPath(file.replace("\\", "/")).suffix.lower()
    return ending if re.fullmatch(r"\.[a-z0-9]{1,8}", ending) else ""
