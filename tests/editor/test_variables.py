"""Parameters and `each` variables, files in quotes, and texts that broke, through the protocol."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from plica.diagnostics import Diagnostics
from plica.pipeline import compile_file
from plica.source import Source
from plica.syntax.parser import parse
from tests.support.cloth import SPEC as CLOTH
from tests.support.cloth import cloth
from tests.support.editor_client import Client

pytest.importorskip("pygls", reason="the language server needs the extra `editor`")

SPEC = """plica 1
character post {
    skeleton {
        joint root at 0 m, 0 m, 0 m
        joint arm_lf under root at 1 m, 0 m, 0 m
        joint arm_rt under root at -1 m, 0 m, 0 m
    }
    left "*_lf"
    right "*_rt"
}
use "parts/arm.plica" as near with { limb = arm   reach = 90 deg }
use "parts/arm.plica" as far  with { limb = arm }
each word in near, far {
    combine {word}_twice both = sum({word}_bend, {word}_bend)   // {word} is no placeholder here
}
"""
LIBRARY = """plica 1
parameter limb            // {limb} again
parameter reach = 70 deg
parameter axes  = x
each turn in axes { driver bend both { reads rotation about {turn} of {limb}   span 0 deg .. {reach}   note "{limb}" } }
"""


@pytest.fixture
def spec(tmp_path: Path) -> Path:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "arm.plica").write_text(LIBRARY, "utf-8")
    path = tmp_path / "post.plica"
    path.write_text(SPEC, "utf-8")
    assert compile_file(path).rig is not None
    return path


def place(text: str, before: str, extra: int = 0) -> tuple[int, int]:
    """Line and column right after a stretch of text."""
    offset = text.index(before) + len(before) + extra
    return text.count("\n", 0, offset), offset - (text.rfind("\n", 0, offset) + 1)


def asked(uri: str, where: tuple[int, int]) -> dict[str, Any]:
    return {"textDocument": {"uri": uri}, "position": {"line": where[0], "character": where[1]}}


def stretches(texts: dict[str, str], result: list[dict[str, Any]]) -> list[tuple[str, int, str]]:
    """File, line and text of each place."""
    told = []
    for item in result:
        name = Path(item["uri"]).name
        start, end = item["range"]["start"], item["range"]["end"]
        line = texts[name].splitlines()[start["line"]]
        told.append((name, start["line"], line[start["character"] : end["character"]]))
    return sorted(told)


TEXTS = {"post.plica": SPEC, "arm.plica": LIBRARY}


def test_references_of_a_parameter_are_where_it_is_filled_in_and_given(client: Client, spec: Path) -> None:
    wanted = [("arm.plica", 1, "limb"), ("arm.plica", 4, "limb"), ("arm.plica", 4, "limb")]
    wanted += [("post.plica", 10, "limb"), ("post.plica", 11, "limb")]
    uri, library = client.open(spec), client.open(spec.parent / "parts" / "arm.plica")
    for address, where in ((library, place(LIBRARY, "parameter ")), (uri, place(SPEC, "near with { "))):
        result = client.ask(
            "textDocument/references", {**asked(address, where), "context": {"includeDeclaration": True}}
        )
        assert stretches(TEXTS, result) == wanted
    uses = client.ask(
        "textDocument/references",
        {**asked(library, place(LIBRARY, "{turn} of {")), "context": {"includeDeclaration": False}},
    )
    assert stretches(TEXTS, uses) == wanted[1:]


def test_references_of_an_each_variable_leave_comments_out(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    result = client.ask(
        "textDocument/references", {**asked(uri, place(SPEC, "combine {")), "context": {"includeDeclaration": True}}
    )
    assert stretches(TEXTS, result) == [("post.plica", 12, "word")] + [("post.plica", 13, "word")] * 3
    definition = client.at(uri, "definition", *place(SPEC, "sum({"))
    assert stretches(TEXTS, definition) == [("post.plica", 12, "word")]


def applied(text: str, edits: list[dict[str, Any]]) -> str:
    """A text with edits carried out."""
    lines = text.splitlines(keepends=True)
    for edit in sorted(edits, key=lambda one: (one["range"]["start"]["line"], -one["range"]["start"]["character"])):
        start, end = edit["range"]["start"], edit["range"]["end"]
        line = lines[start["line"]]
        lines[start["line"]] = line[: start["character"]] + edit["newText"] + line[end["character"] :]
    return "".join(lines)


@pytest.mark.parametrize(
    ("where", "new"), [("parameter ", "bone"), ("parameter axes", "hinges"), ("\neach ", "around"), ("of {", "bone")]
)
def test_renaming_a_variable_of_a_library_changes_no_rig(client: Client, spec: Path, where: str, new: str) -> None:
    before = compile_file(spec)
    uri = client.open(spec.parent / "parts" / "arm.plica")
    column = place(LIBRARY, where) if where != "parameter axes" else place(LIBRARY, "parameter ax")
    changes = client.ask("textDocument/rename", {**asked(uri, column), "newName": new})["changes"]
    for address, edits in changes.items():
        path = next(one for one in spec.parent.rglob("*.plica") if one.as_uri() == address)
        path.write_text(applied(path.read_text("utf-8"), edits), "utf-8")
    after = compile_file(spec)
    assert new in (spec.parent / "parts" / "arm.plica").read_text("utf-8")
    assert (after.rig, len(after.diagnostics)) == (before.rig, len(before.diagnostics))


@pytest.mark.parametrize(
    ("where", "new", "said"),
    [
        ("\neach ", "far", "would mean the variable then"),
        ("\neach ", "1st", "is not a name"),
        ("near with { ", "bone", "rename it there"),
    ],
)
def test_a_variable_keeps_its_name_where_another_would_mean_something_else(
    client: Client, spec: Path, where: str, new: str, said: str
) -> None:
    uri = client.open(spec)
    answer = client.answer("textDocument/rename", {**asked(uri, place(SPEC, where)), "newName": new})
    assert said in answer["error"]["message"]


def test_hovering_over_a_variable_tells_its_values(client: Client, spec: Path) -> None:
    library = client.open(spec.parent / "parts" / "arm.plica")
    client.open(spec)
    told = client.at(library, "hover", *place(LIBRARY, "0 deg .. {"))["contents"]["value"]
    assert "parameter `reach`" in told and "by default 70 deg" in told and "90 deg at " in told


def labels(client: Client, uri: str, where: tuple[int, int]) -> list[str]:
    return [item["label"] for item in client.at(uri, "completion", *where)]


def test_variables_and_parameters_are_offered(client: Client, spec: Path) -> None:
    uri = client.open(spec, SPEC.replace("sum({word}_bend, {word}_bend)", "sum({word}_bend, {w"))
    assert labels(client, uri, place(SPEC, "sum({word}_bend, ", 2)) == ["word"]
    with_gap = SPEC.replace("limb = arm   reach = 90 deg }", "limb = arm   ")
    client.change(uri, with_gap)
    assert labels(client, uri, place(with_gap, "limb = arm   ")) == ["axes", "reach"]


@pytest.mark.parametrize(
    ("written", "offered"),
    [
        ('shape other { sculpt "', ["bump.npz", "cloth.gltf"]),
        ('shape other { sculpt "bu', ["bump.npz", "cloth.gltf"]),
        ('shape other { inbetween 0.5 "', ["bump.npz", "cloth.gltf"]),
        ('detail other { relaxed "', ["contracted.png", "maps/more.png", "relaxed.png"]),
        ('use "', ["cloth.plica"]),
        ('expect { stretch of far at most 9 % over clip "', ["cloth.gltf", "maps/walk.bvh"]),
        ('region other { painted "maps/', ["contracted.png", "maps/more.png", "relaxed.png"]),
        ('shape other { note "', []),
        ('// sculpt "', []),
    ],
)
def test_files_are_offered_where_a_text_names_one(
    client: Client, tmp_path: Path, written: str, offered: list[str]
) -> None:
    path = cloth(tmp_path)
    (tmp_path / "maps").mkdir()
    for name in ("maps/more.png", "maps/walk.bvh", ".hidden.png"):
        (tmp_path / name).touch()
    uri = client.open(path, CLOTH + written)
    line = CLOTH.count("\n")
    items = client.at(uri, "completion", line, len(written))
    assert [item["label"] for item in items] == offered
    for item in items:
        start = item["textEdit"]["range"]["start"]["character"]
        assert written[:start].endswith('"') and item["textEdit"]["newText"] == item["label"]


def test_a_text_that_broke_is_answered_from_the_last_good_one(client: Client, spec: Path) -> None:
    """Hovering, jumping, completing and the list of declarations go on while something is being typed."""
    uri = client.open(spec)
    client.findings(uri)
    broken = SPEC.replace("each word", "driver lean { reads bend of \neach word")
    version = client.change(uri, broken)
    assert client.findings(uri, version)
    hover = client.at(uri, "hover", *place(broken, "joint arm"))
    assert hover is None or "arm_lf" in hover["contents"]["value"]
    assert "root" in labels(client, uri, place(broken, "bend of "))
    symbols = client.ask("textDocument/documentSymbol", {"textDocument": {"uri": uri}})
    assert [item["name"] for item in symbols][:3] == ["post", "parts/arm.plica as near", "parts/arm.plica as far"]
    result = client.at(uri, "definition", *place(broken, "sum({"))
    assert [item["range"]["start"]["line"] for item in result] == [13]


def test_every_question_at_every_place_is_answered(client: Client, spec: Path) -> None:
    """Nothing that is asked of any place, of a whole text or of one cut anywhere, ends in an error of ours."""
    refused = -32602  # InvalidParams: why a name cannot be changed
    uri = client.open(spec)
    for cut in range(0, len(SPEC) + 1, 97):
        text = SPEC[: len(SPEC) - cut]
        client.findings(uri, client.change(uri, text))
        for offset in range(0, len(text) + 1, 41):
            where = (text.count("\n", 0, offset), offset - (text.rfind("\n", 0, offset) + 1))
            for method, more in (
                ("hover", {}),
                ("definition", {}),
                ("references", {"context": {"includeDeclaration": True}}),
                ("prepareRename", {}),
                ("rename", {"newName": "other"}),
                ("completion", {}),
            ):
                answer = client.answer(f"textDocument/{method}", {**asked(uri, where), **more})
                assert "error" not in answer or answer["error"]["code"] == refused, (method, where, answer)


def test_the_specs_of_these_tests_are_right() -> None:
    diagnostics = Diagnostics()
    for name, text in TEXTS.items():
        parse(Source(name, text), diagnostics)
    assert diagnostics.all == ()
