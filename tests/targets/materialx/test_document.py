"""The MaterialX document as data: golden file, names, texture coordinates, what cannot be said."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from plica.diagnostics import Diagnostics
from plica.emit.build import Build
from plica.rig.rig import Rig
from plica.rig.surfaces import Detail, DirectionMapPlace, Fold, MaskPlace
from plica.targets.materialx.emit import FoldMaps, document
from tests.targets.golden_files import check_golden
from tests.targets.rigs import whole_rig

HERE = Path(__file__).resolve().parent
PLACES = {
    "muzzle_lines": MaskPlace("wren.fur.1.png", "red", "skin"),
    "quiet_lines": MaskPlace("wren.fur.1.png", "blue", "skin"),
}


def rig_of(folds: tuple[str, ...] = (), uv: str | None = None, mixing: str = "plain", details: int = 1) -> Rig:
    """A rig of details that all have the same folds, by name."""
    return whole_rig()._replace(
        details=tuple(
            Detail(f"fur{n or ''}", "a/Relaxed.PNG", "contracted", uv, None, mixing)  # type: ignore[arg-type]
            for n in range(details)
        ),
        folds=tuple(
            Fold(name, "none", name, f"fur{n or ''}", "nose", None, 0.004) for n in range(details) for name in folds
        ),
    )


def written(rig: Rig, places: dict[str, MaskPlace]) -> tuple[ElementTree.Element, list[str]]:
    diagnostics = Diagnostics()
    root = ElementTree.fromstring(document(Build(rig), FoldMaps(places), diagnostics))
    return root, [each.name for each in diagnostics.all]


def test_golden_file() -> None:
    """Reoriented mixing, two masks of one texture, texture coordinates by name."""
    diagnostics = Diagnostics()
    content = document(Build(whole_rig()), FoldMaps(PLACES), diagnostics)
    assert [each.name for each in diagnostics.all] == ["tangents-of-another-set"]
    check_golden({"wren.mtlx": content}, HERE / "golden")


def test_one_input_for_each_fold_between_nought_and_one() -> None:
    root, _ = written(whole_rig(), PLACES)
    graph = root.find("nodegraph")
    assert graph is not None and graph.get("name") == "wren_fur"
    assert [(each.get("name"), each.get("type"), each.get("value")) for each in graph.findall("input")] == [
        ("muzzle_lines", "float", "0"),
        ("quiet_lines", "float", "0"),
    ]
    assert [each.get("name") for each in graph.findall("output")] == ["factor", "tangent_normal", "normal"]


def test_names_that_cannot_be_written_or_are_taken() -> None:
    folds = ("normal", "relaxed", "falte_über_auge", "falte_uber_auge", "masks_1", "place")
    places = {name: MaskPlace("m.png", "green", "TEXCOORD_0") for name in folds}
    root, told = written(rig_of(folds), places)
    graph = root.find("nodegraph")
    assert graph is not None and told == []
    names = [each.get("name") for each in graph]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", name or "") for name in names)
    assert [(each.get("name"), each.get("uiname")) for each in graph.findall("input")] == [
        ("normal_2", "normal"),
        ("relaxed", None),
        ("falte_uber_auge", "falte_über_auge"),
        ("falte_uber_auge_2", "falte_uber_auge"),
        ("masks_1", None),
        ("place", None),
    ]


def test_what_is_said_of_directions_stands_there_only_with_a_map() -> None:
    """A graph without maps of directions is as it was; with one it has two more outputs, whose names are theirs."""
    folds = ("directions", "other")
    rig, places = rig_of(folds), {name: MaskPlace("m.png", "red", "TEXCOORD_0") for name in folds}
    maps = {"other": DirectionMapPlace("wren.directions.1.png", "f00d", "TEXCOORD_0")}
    for given, outputs, named in (({}, [], "directions"), (maps, ["directions", "wrinkle_angle"], "directions_2")):
        root = ElementTree.fromstring(document(Build(rig), FoldMaps(places, given), Diagnostics()))
        graph = root.find("nodegraph")
        assert graph is not None
        assert [each.get("name") for each in graph.findall("output")][3:] == outputs
        assert [each.get("name") for each in graph.findall("input")] == [named, "other"]


def test_several_details_have_a_graph_a_surface_and_a_material_each() -> None:
    root, _ = written(rig_of(details=3), {})
    assert [(each.tag, each.get("name")) for each in root] == [
        (kind, f"wren_fur{n}{end}")
        for n in ("", "1", "2")
        for kind, end in (("nodegraph", ""), ("standard_surface", "_surface"), ("surfacematerial", "_material"))
    ]
    files = [each.get("value") for each in root.iter("input") if each.get("name") == "file"]
    assert files[:2] == ["maps/wren_fur_relaxed.png", "maps/wren_fur_contracted"]
    assert len(set(files)) == 6


def inputs(root: ElementTree.Element, category: str) -> list[dict[str, str]]:
    return [
        {each.get("name", ""): each.get("value") or each.get("nodename") or "" for each in node}
        for node in root.iter(category)
    ]


@pytest.mark.parametrize("uv", [None, "TEXCOORD_0"])
def test_the_first_set_of_texture_coordinates(uv: str | None) -> None:
    root, told = written(rig_of(("a",), uv), {"a": MaskPlace("m.png", "red", "TEXCOORD_0")})
    assert told == []
    assert inputs(root, "texcoord") == [{"index": "0"}]
    assert list(root.iter("tangent")) == []


def test_a_further_set_has_tangents_of_its_own() -> None:
    root, told = written(rig_of(("a",), "TEXCOORD_2"), {"a": MaskPlace("m.png", "red", "TEXCOORD_2")})
    assert told == []
    assert inputs(root, "texcoord") == [{"index": "2"}]
    for axis in ("tangent", "bitangent"):
        assert inputs(root, axis) == [{"space": "world", "index": "2"}]
    assert inputs(root, "normalmap") == [{"in": "stored", "tangent": "tangent", "bitangent": "bitangent"}]


def test_a_mask_may_be_over_another_set_than_the_maps() -> None:
    places = {"a": MaskPlace("m.png", "red", "TEXCOORD_0"), "b": MaskPlace("n.png", "red", "TEXCOORD_1")}
    root, told = written(rig_of(("a", "b")), places)
    assert told == []
    assert sorted(each["index"] for each in inputs(root, "texcoord")) == ["0", "1"]
    named = {each["file"]: each["texcoord"] for each in inputs(root, "image")}
    assert named["n.png"] != named["m.png"] == named["maps/wren_fur_relaxed.png"]


def test_a_texture_of_several_folds_is_read_once() -> None:
    names = tuple("abcdef")
    channels = ("red", "green", "blue", "alpha")
    places = {
        name: MaskPlace(f"m{number // 4}.png", channels[number % 4], "TEXCOORD_0") for number, name in enumerate(names)
    }  # type: ignore[arg-type]
    root, _ = written(rig_of(names), places)
    assert [each["file"] for each in inputs(root, "image")].count("m0.png") == 1
    assert [each["index"] for each in inputs(root, "extract")] == ["0", "1", "2", "3", "0", "1"]


def test_texts_are_escaped() -> None:
    root, told = written(rig_of(("a",), 'st "&<\n'), {"a": MaskPlace("m & n.png", "red", "TEXCOORD_0")})
    assert told == ["tangents-of-another-set"]
    assert inputs(root, "geompropvalue") == [{"geomprop": 'st "&<\n'}]
    assert "m & n.png" in [each["file"] for each in inputs(root, "image")]


def test_the_same_bytes_for_the_same_build() -> None:
    build = Build(whole_rig())
    assert document(build, FoldMaps(PLACES), Diagnostics()) == document(
        replace(build), FoldMaps(dict(PLACES)), Diagnostics()
    )
