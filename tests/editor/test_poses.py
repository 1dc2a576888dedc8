"""Declared poses through the protocol, and what may be written where poses, regions and uv sets are named."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from plica.diagnostics import Diagnostics
from plica.format import formatted
from plica.pipeline import compile_file
from plica.source import Source
from tests.support.cloth import SPEC as CLOTH
from tests.support.cloth import cloth
from tests.support.editor_client import Client
from tests.support.faces import ShownMesh, face

pytest.importorskip("pygls", reason="the language server needs the extra `editor`")

SPEC = """plica 1
character post {
    skeleton {
        joint root     at 0 m, 0 m, 0 m
        joint arm_lf   under root at  1 m, 0 m, 0 m
        joint arm_rt   under root at -1 m, 0 m, 0 m   turned about y 180 deg
    }
    left "*_lf"
    right "*_rt"
}
region sleeve both { skin of arm }
driver wave both { reads rotation about x of arm   span 0 deg .. 60 deg }
driver nod { reads bend of root   span 0 deg .. 40 deg }
control calm { range 0 .. 1 }
pose reaching both { at wave 1, about y of arm 20 deg   note "as at the river" }
pose resting { at nod 0.5 }
expect both { squeeze of sleeve at most 10 %   over wave, pose reaching }
"""
LAYOUT = {"tabSize": 4, "insertSpaces": True}


@pytest.fixture
def spec(tmp_path: Path) -> Path:
    path = tmp_path / "post.plica"
    path.write_text(SPEC, "utf-8")
    assert compile_file(path).rig is not None
    return path


def place(word: str, after: str) -> tuple[int, int]:
    """Line and column of a word that stands after another."""
    offset = SPEC.index(word, SPEC.index(after) + len(after))
    line = SPEC.count("\n", 0, offset)
    return line, offset - (SPEC.rfind("\n", 0, offset) + 1)


STRENGTHS = {"wave", "nod"}
REGIONS = {"sleeve"}
POSES = {"reaching", "resting"}


@pytest.mark.parametrize(
    ("written", "some", "none"),
    [
        ("pose p both { at ", {*STRENGTHS, "about", "left", "right"}, {*POSES, *REGIONS, "arm", "calm"}),
        ("pose p both { at wa", {"wave"}, POSES),
        ("pose p both { at wave 1, ", {*STRENGTHS, "about"}, {*POSES, "arm"}),
        ("pose p both { at wave 1, left ", STRENGTHS, {*POSES, "arm"}),
        ("pose p both { at about ", {"x", "y", "z"}, {*STRENGTHS, "arm"}),
        ("pose p both { at about x ", {"of", "in"}, {*STRENGTHS, "arm"}),
        ("pose p both { at about x of ", {"arm", "root"}, {*STRENGTHS, "arm_lf", "sleeve"}),
        ("pose p { at about x of ", {"arm_lf", "root"}, {*STRENGTHS, "arm"}),
        ("pose p both { at wave 1, about x of ", {"arm", "root"}, STRENGTHS),
        ("pose p both { at about x of arm 3 d", {"deg"}, {"mm"}),
        ("pose p both { at about x of arm 3 deg, ", {*STRENGTHS, "about"}, {"arm", *POSES}),
        ("pose p both { ", {"at", "note", "renamed"}, {"reads", *STRENGTHS}),
        ("pose ", set(), {*POSES, *STRENGTHS}),
        ("override pose ", POSES, {*STRENGTHS, *REGIONS}),
        ("override pose reaching left { at ", {*STRENGTHS, "about"}, {*POSES, "arm"}),
        ("expect { rest ", set(), {*STRENGTHS, *POSES}),
        ("expect both { volume of sleeve within 4 %   over ", {*STRENGTHS, "pose", "clip", "everything"}, POSES),
        ("expect both { volume of sleeve within 4 %   over pose ", POSES, {*STRENGTHS, *REGIONS}),
        ("expect both { volume of sleeve within 4 %   over pose left ", POSES, STRENGTHS),
        ("expect both { volume of sleeve within 4 %   over pose resting, ", {*STRENGTHS, "pose"}, POSES),
        ("expect both { volume of sleeve within 4 %   over wave, pose re", POSES, STRENGTHS),
        ("expect both { squeeze of ", REGIONS, {*STRENGTHS, *POSES, "arm"}),
        ("expect both { stretch of ", REGIONS, {*STRENGTHS, *POSES, "arm"}),
        ("expect both { shear of ", REGIONS, {*STRENGTHS, *POSES, "arm"}),
        ("expect both { squeeze of sl", REGIONS, STRENGTHS),
        ("expect both { squeeze of sleeve ", {"at", "uv"}, {*STRENGTHS, *REGIONS}),
        ("expect both { clearance of sleeve from ", REGIONS, STRENGTHS),
        ('shape s both { sculpt "s.npz" posed at ', {*STRENGTHS, "about"}, {*POSES, "arm"}),
        ('shape s both { sculpt "s.npz" posed at about x of ', {"arm"}, STRENGTHS),
        ("region r both { shortened posed at ", {*STRENGTHS, "about"}, {*POSES, "arm"}),
        ("region r both { shortened posed at wave 1   across bone of ", {"arm"}, {*STRENGTHS, *REGIONS}),
        ("region r both { shortened by ", {"left"}, {*STRENGTHS, *REGIONS}),
        ("region r both { skin of arm   peak of 3 c", {"cm2"}, REGIONS),
        ("field f both { reads rotation of arm   sample raised at about x 20 deg, ", {"about"}, {*STRENGTHS, "arm"}),
    ],
)
def test_completion_knows_the_place(client: Client, spec: Path, written: str, some: set[str], none: set[str]) -> None:
    uri = client.open(spec, SPEC + written)
    labels = {item["label"] for item in client.at(uri, "completion", SPEC.count("\n"), len(written))}
    assert some <= labels
    assert not none & labels


@pytest.mark.parametrize(
    ("written", "start"),
    [
        ('expect { squeeze of far uv "', 'expect { squeeze of far uv "'),
        ('expect { stretch of far uv "TEX', 'expect { stretch of far uv "'),
        ('region near { painted "near.png" uv "', 'region near { painted "near.png" uv "'),
        ('detail other { uv   "', 'detail other { uv   "'),
    ],
)
def test_uv_sets_are_those_of_the_model(client: Client, tmp_path: Path, written: str, start: str) -> None:
    """The cloth's only texture coordinates, by their name in the file (glTF 2.0, section 3.7.2: `TEXCOORD_n`)."""
    uri = client.open(cloth(tmp_path), CLOTH + written)
    items = client.at(uri, "completion", CLOTH.count("\n"), len(written))
    assert [item["label"] for item in items] == ["TEXCOORD_0"]
    assert items[0]["textEdit"]["range"]["start"]["character"] == len(start)
    assert items[0]["textEdit"]["newText"] == "TEXCOORD_0"


@pytest.mark.parametrize(
    ("written", "names"),
    [
        ('driver d { reads weight of "', ["chew", "bite"]),
        ('driver d { reads weight  of "ch', ["chew", "bite"]),
        ('shape s { morph "', ["chew"]),  # a shape takes over what the skin has
    ],
)
def test_morph_targets_are_those_of_the_model(client: Client, tmp_path: Path, written: str, names: list[str]) -> None:
    face(tmp_path, {"skin": ShownMesh(("chew",)), "teeth": ShownMesh(("bite",))})
    text = 'plica 1\ncharacter otter { geometry "face.gltf" mesh "skin" }\n'
    uri = client.open(tmp_path / "face.plica", text + written)
    items = client.at(uri, "completion", text.count("\n"), len(written))
    assert [item["label"] for item in items] == names


def test_without_a_model_there_are_no_uv_sets(client: Client, spec: Path) -> None:
    written = 'expect both { squeeze of sleeve uv "'
    uri = client.open(spec, SPEC + written)
    assert client.at(uri, "completion", SPEC.count("\n"), len(written)) == []


def test_hovering_over_a_pose_shows_both_sides(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    for word, after in (("reaching", "pose "), ("reaching", "over wave, pose ")):
        shown = client.at(uri, "hover", *place(word, after))["contents"]["value"]
        assert "left_reaching" in shown and "right_reaching" in shown
        assert "left_wave 1" in shown and "right_wave 1" in shown
        assert "about y of arm_lf 20 deg" in shown and "of arm_rt 20 deg" in shown
        assert "as at the river" in shown


def test_a_poses_definition_and_references(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    declared, used = place("reaching", "pose "), place("reaching", "over wave, pose ")
    result = client.at(uri, "definition", *used)
    assert [tuple(item["range"]["start"].values()) for item in result] == [declared]
    result = client.at(uri, "references", *declared, context={"includeDeclaration": True})
    assert [tuple(item["range"]["start"].values()) for item in result] == [declared, used]
    strength = place("wave", "driver ")
    result = client.at(uri, "references", *strength, context={"includeDeclaration": False})
    assert place("wave", "{ at ") in [tuple(item["range"]["start"].values()) for item in result]
    assert [item["range"]["start"]["line"] for item in client.at(uri, "definition", *place("arm", "about y of "))] == [
        4,
        5,
    ]


def test_a_pose_is_renamed_everywhere(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    line, column = place("reaching", "over wave, pose ")
    edits = client.at(uri, "rename", line, column, newName="stretching")["changes"][uri]
    assert sorted(tuple(edit["range"]["start"].values()) for edit in edits) == [
        place("reaching", "pose "),
        (line, column),
    ]
    asked: dict[str, Any] = {"textDocument": {"uri": uri}, "position": {"line": line, "character": column}}
    assert "already a pose" in client.answer("textDocument/rename", {**asked, "newName": "resting"})["error"]["message"]
    # A strength may have the name that a pose has: they are never meant in the same place.
    assert client.ask("textDocument/rename", {**asked, "newName": "wave"}) is not None
    # What a pose says of a strength is renamed with the strength.
    edits = client.at(uri, "rename", *place("wave", "driver "), newName="greet")["changes"][uri]
    assert len(edits) == 3


def test_a_pose_is_among_the_symbols(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    listed = client.ask("textDocument/documentSymbol", {"textDocument": {"uri": uri}})
    poses = [item for item in listed if item["detail"] == "pose"]
    assert [item["name"] for item in poses] == ["reaching both", "resting"]
    known = {item["detail"]: item["kind"] for item in listed}
    assert list(known.values()).count(known["pose"]) == 1, "a pose has a symbol of its own"
    start = poses[0]["selectionRange"]["start"]
    assert (start["line"], start["character"]) == place("reaching", "pose ")


def test_a_text_with_poses_is_laid_out(client: Client, spec: Path) -> None:
    rough = SPEC.replace("pose reaching both { at wave 1,", "pose  reaching  both{at wave 1 ,")
    uri = client.open(spec, rough)
    edits = client.ask("textDocument/formatting", {"textDocument": {"uri": uri}, "options": LAYOUT})
    assert [edit["newText"] for edit in edits] == [formatted(Source("post.plica", SPEC), Diagnostics())]
