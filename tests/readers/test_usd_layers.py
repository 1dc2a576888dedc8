"""Which files an OpenUSD model may be composed of, and what happens where one of them is not to be had."""

from __future__ import annotations

import os
import zipfile
from pathlib import Path
from typing import IO

import pytest

from plica.limits import raised, using
from plica.readers import usd_process
from plica.readers.companions import companions
from plica.readers.model_outline import UnreadableModel
from plica.readers.model_reader import read_outline

pytest.importorskip("pxr", reason="usd-core is not installed")

LAYER = '#usda 1.0\n(\n defaultPrim = "{0}"\n)\ndef Mesh "{0}" {{\n point3f[] points = [(0, 0, 0)]\n}}\n'
ARCS = {
    "sublayer": "#usda 1.0\n(\n subLayers = [@{0}@]\n)\n",
    "reference": '#usda 1.0\ndef "A" (\n references = @{0}@\n) {{\n}}\n',
    "payload": '#usda 1.0\ndef "A" (\n payload = @{0}@\n) {{\n}}\n',
    "chosen variant": '#usda 1.0\ndef "A" (\n variants = {{\n  string kind = "one"\n }}\n'
    ' prepend variantSets = "kind"\n) {{\n variantSet "kind" = {{\n'
    '  "one" (\n   references = @{0}@\n  ) {{\n  }}\n }}\n}}\n',
    "deep payload": '#usda 1.0\ndef "A" {{\n def "B" {{\n  over "C" (\n   payload = @{0}@\n  ) {{\n  }}\n }}\n}}\n',
}
OTHER_VARIANT = ARCS["chosen variant"].replace('kind = "one"', 'kind = "two"')


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The model's folder, another model beside it."""
    (tmp_path / "outside.usda").write_text(LAYER.format("Outside"), "utf-8")
    inside = tmp_path / "inside"
    inside.mkdir()
    return inside


def model(folder: Path, arc: str, named: str) -> Path:
    path = folder / "model.usda"
    path.write_text(ARCS[arc].format(named), "utf-8")
    return path


def meshes(path: Path) -> list[str]:
    return [mesh.name for mesh in read_outline(path).meshes]


@pytest.mark.parametrize("arc", ARCS)
@pytest.mark.parametrize(
    ("named", "told"),
    [
        ("../outside.usda", "outside"),
        ("{above}/outside.usda", "outside"),
        ("../outside.usda:SDF_FORMAT_ARGS:a=b", "outside"),
        ("/etc/passwd", "outside"),
        ("//host/share/layer.usda", "outside"),
        ("./link.usda", "outside"),
        ("../pipe.usda", "outside"),
        ("pipe.usda", "not a file"),
        ("picture.png", "no OpenUSD file"),
        ("http://host.invalid/layer.usda", "not there"),
        ("./missing.usda", "not there"),
        ("missing.usda", "not there"),
        ("elsewhere.usda", "not there"),
        ("damaged.usda", "damaged"),
        ("package.usdz[missing.usda]", "not there"),
    ],
)
def test_an_arc_that_leads_where_it_may_not_is_an_error(
    arc: str, named: str, told: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    above = folder.parent
    elsewhere = above / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "elsewhere.usda").write_text(LAYER.format("Elsewhere"), "utf-8")
    monkeypatch.setenv("PXR_AR_DEFAULT_SEARCH_PATH", str(elsewhere))
    (folder / "link.usda").symlink_to(above / "outside.usda")
    (folder / "picture.png").write_bytes(b"\x89PNG")
    (folder / "damaged.usda").write_text("#usda 1.0\ndef {", "utf-8")
    for place in (folder, above):
        if hasattr(os, "mkfifo"):
            os.mkfifo(place / "pipe.usda")
    with zipfile.ZipFile(folder / "package.usdz", "w") as package:
        package.writestr("first.usda", LAYER.format("First"))
    named = named.format(above=above)
    with pytest.raises(UnreadableModel, match=told) as caught:
        read_outline(model(folder, arc, named))
    assert named in str(caught.value)


@pytest.mark.parametrize("arc", ARCS)
def test_layers_in_the_models_folder_are_drawn_in(arc: str, folder: Path) -> None:
    (folder / "parts").mkdir()
    (folder / "parts" / "part.usda").write_text(LAYER.format("Part"), "utf-8")
    named = ("./parts/part.usda", "parts/part.usda", str(folder / "parts" / "part.usda"), "parts/../parts/part.usda")
    for name in named:
        # The prim that draws a mesh in is one itself; a sublayer gives its prims their own names.
        expected = {"sublayer": ["Part"], "deep payload": ["C"]}.get(arc, ["A"])
        assert meshes(model(folder, arc, name)) == expected


def test_packages_draw_in_what_they_hold(folder: Path) -> None:
    with zipfile.ZipFile(folder / "model.usdz", "w") as package:
        package.writestr("first.usda", ARCS["sublayer"].format("./parts/part.usda"))
        package.writestr("parts/part.usda", LAYER.format("Part"))
    assert meshes(folder / "model.usdz") == ["Part"]
    assert meshes(model(folder, "sublayer", "model.usdz")) == ["Part"]
    assert meshes(model(folder, "sublayer", "model.usdz[parts/part.usda]")) == ["Part"]
    with zipfile.ZipFile(folder / "hostile.usdz", "w") as package:
        package.writestr("first.usda", ARCS["sublayer"].format("../../outside.usda"))
    with pytest.raises(UnreadableModel, match=r"outside\.usda`, which"):
        read_outline(folder / "hostile.usdz")


@pytest.mark.parametrize("named", ["../outside.usda", "/etc/passwd", "missing.usda", "../missing.usda"])
def test_what_a_variant_names_that_is_not_chosen_is_not_opened_and_does_no_harm(named: str, folder: Path) -> None:
    path = folder / "model.usda"
    path.write_text(OTHER_VARIANT.format(named) + LAYER.format("Skin").split("\n)\n")[1], "utf-8")
    outline = read_outline(path)
    assert [mesh.name for mesh in outline.meshes] == ["Skin"]
    assert outline.problems == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('def "A" (\n references = </B>\n) {\n}\n', "cannot be composed"),
        ('def "A" (\n references = @part.usda@</B>\n) {\n}\n', "cannot be composed"),
        ('def "A" (\n references = </A>\n) {\n}\n', "cannot be composed"),
        ('def "A" (\n references = @`"${NAME}.usda"`@\n) {\n}\n', "expression"),
    ],
)
def test_other_arcs_that_lead_nowhere_are_errors(text: str, told: str, folder: Path) -> None:
    (folder / "part.usda").write_text(LAYER.format("Part"), "utf-8")
    path = folder / "model.usda"
    path.write_text("#usda 1.0\n" + text, "utf-8")
    with pytest.raises(UnreadableModel, match=told):
        read_outline(path)


@pytest.mark.parametrize(
    "clips",
    [
        'asset[] assetPaths = [@../outside.usda@]\n   double2[] active = [(0, 0)]\n   string primPath = "/A"',
        'asset templateAssetPath = @../a.###.usda@\n   string primPath = "/A"\n   double templateStartTime = 1\n'
        "   double templateEndTime = 1e15\n   double templateStride = 0.001",
    ],
)
def test_value_clips_are_not_read_and_that_is_told(clips: str, folder: Path) -> None:
    path = folder / "model.usda"
    text = f'#usda 1.0\ndef Mesh "A" (\n clips = {{\n  dictionary default = {{\n   {clips}\n  }}\n }}\n) {{\n}}\n'
    path.write_text(text, "utf-8")
    outline = read_outline(path)
    assert [mesh.name for mesh in outline.meshes] == ["A"]
    (problem,) = outline.problems
    assert "value clips" in problem


def test_meshes_of_instances_are_read(folder: Path) -> None:
    path = folder / "model.usda"
    copy = 'def "{0}" (\n instanceable = true\n references = </Kept>\n) {{\n}}\n'
    kept = 'class "Kept" {\n def Mesh "M" {\n  point3f[] points = [(0, 0, 0)]\n }\n}\n'
    path.write_text("#usda 1.0\n" + kept + copy.format("A") + copy.format("B"), "utf-8")
    assert meshes(path) == ["M", "M_2"]


def test_layers_are_counted(folder: Path) -> None:
    for number in range(20):
        (folder / f"part{number}.usda").write_text(ARCS["sublayer"].format(f"part{number + 1}.usda"), "utf-8")
    (folder / "part20.usda").write_text(LAYER.format("Part"), "utf-8")
    assert meshes(folder / "part0.usda") == ["Part"]
    with using(raised(["usd-layers=10"])), pytest.raises(UnreadableModel, match=r"10 layers.*usd-layers=NUMBER"):
        read_outline(folder / "part0.usda")


def test_code_beside_a_model_is_not_run(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = model(folder, "sublayer", "part.usda")
    (folder / "part.usda").write_text(LAYER.format("Part"), "utf-8")
    for name in ("json", "struct", "pxr", "plica", "signal", "sitecustomize", "usercustomize"):
        (folder / f"{name}.py").write_text(f"open({str(folder / 'ran')!r}, 'w').close()\n", "utf-8")
    monkeypatch.chdir(folder)
    for copies in {False, usd_process.COPIES}:
        usd_process._stop()
        monkeypatch.setattr(usd_process, "COPIES", copies)
        path.write_text(ARCS["sublayer"].format("part.usda") + "\n" * copies, "utf-8")
        assert meshes(path) == ["Part"]
    usd_process._stop()
    assert not (folder / "ran").exists()


def test_a_model_is_read_again_where_one_of_its_layers_changed(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def noted(request: str, stream: IO[bytes], seconds: int) -> usd_process.Ended:
        asked.append(request)
        return usd_process.ask(request, stream, seconds)

    monkeypatch.setattr("plica.readers.usd_reader.ask", noted)
    path = model(folder, "sublayer", "part.usda")
    with pytest.raises(UnreadableModel, match="not there"):
        read_outline(path)
    (folder / "part.usda").write_text(LAYER.format("Part"), "utf-8")
    assert meshes(path) == meshes(path) == ["Part"]
    (folder / "part.usda").write_text(LAYER.format("Changed"), "utf-8")
    assert meshes(path) == meshes(path) == ["Changed"]
    assert len(asked) == 3


def test_a_model_depends_on_its_own_layers_only(folder: Path) -> None:
    path = model(folder, "sublayer", "part.usda")
    (folder / "part.usda").write_text(LAYER.format("Part"), "utf-8")
    (folder / "other.usda").write_text(LAYER.format("Other"), "utf-8")
    if hasattr(os, "mkfifo"):
        os.mkfifo(folder / "pipe.usda")
    assert companions(path) == (folder / "part.usda",)
