"""The language server through the protocol: a process of its own and a client that was written by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from plica.pipeline import compile_file
from tests.support.editor_client import Client

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
use "lib.plica" as elbow with { joint = arm }
driver wave both { reads rotation about x of arm   span 0 deg .. 60 deg   curve soft }
curve soft = 0 0, 0.5 0.35, 1 1
combine all both = product(wave, elbow_bend)
shape swell both { follows all   note "\U0001f9a6" accept not-sculpted because "later" }
"""
LAYOUT = {"tabSize": 4, "insertSpaces": True}
LIBRARY = "plica 1\nparameter joint\ndriver bend both { reads rotation about x of {joint} span 0 deg .. 130 deg }\n"


@pytest.fixture
def spec(tmp_path: Path) -> Path:
    (tmp_path / "lib.plica").write_text(LIBRARY, "utf-8")
    path = tmp_path / "post.plica"
    path.write_text(SPEC, "utf-8")
    return path


def place(word: str, after: str = "", text: str = SPEC) -> tuple[int, int]:
    """Line and column of a word; the texts before it on its line are ASCII."""
    offset = text.index(word, text.index(after))
    line = text.count("\n", 0, offset)
    return line, offset - (text.rfind("\n", 0, offset) + 1)


def test_findings_are_those_of_the_command_line(client: Client, spec: Path) -> None:
    wrong = SPEC.replace("x of arm ", "x of arn ").replace("60 deg", "60 mm")
    spec.write_text(wrong, "utf-8")
    uri = client.open(spec)
    result = client.findings(uri)
    expected = compile_file(spec).diagnostics
    assert [item["code"] for item in result] == [item.code for item in expected]
    assert {"line": 11, "character": 45} in [item["range"]["start"] for item in result]


def test_unsaved_text_counts_also_in_the_specs_that_use_it(client: Client, spec: Path) -> None:
    uri, library = client.open(spec), client.open(spec.parent / "lib.plica")
    assert client.findings(uri) == [] and client.findings(library) == []
    client.change(library, LIBRARY.replace("bend", "curl"))
    result = client.findings(uri, some=True)
    assert "elbow_bend" in result[0]["message"]
    client.change(library, LIBRARY)
    assert client.findings(uri, some=False) == []


def test_a_fix_can_be_carried_out(client: Client, spec: Path) -> None:
    uri = client.open(spec, SPEC.replace("reads", "reds"))
    result = client.findings(uri)
    asked = {"textDocument": {"uri": uri}, "range": result[0]["range"], "context": {"diagnostics": []}}
    action = client.ask("textDocument/codeAction", asked)[0]
    edit = action["edit"]["changes"][uri][0]
    version = client.change(uri, edit["newText"], edit["range"])
    assert client.findings(uri, version) == []


def test_columns_are_utf16(client: Client, spec: Path) -> None:
    uri = client.open(spec, SPEC.replace("not-sculpted", "not-sculptd"))
    result = client.findings(uri)
    assert client.capabilities["positionEncoding"] == "utf-16"
    before = SPEC.splitlines()[14].partition("accept")[0]
    assert len(before.encode("utf-16-le")) // 2 in [item["range"]["start"]["character"] for item in result]


def test_hovering_shows_both_sides(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    value = client.at(uri, "hover", *place("wave, elbow"))["contents"]["value"]
    assert "left_wave" in value and "right_wave" in value
    assert "rotation about x of arm_lf" in value and "0 deg .. 60 deg" in value and "0.5 0.35" in value
    joint = client.at(uri, "hover", *place("arm ", "driver"))["contents"]["value"]
    assert "`arm_lf`" in joint and "`arm_rt`" in joint


def test_definitions_and_references_go_across_use(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    result = client.at(uri, "definition", *place("elbow_bend"))
    assert [(Path(item["uri"]).name, item["range"]["start"]["line"]) for item in result] == [("lib.plica", 2)]
    library = client.open(spec.parent / "lib.plica")
    result = client.at(library, "references", 2, 8, context={"includeDeclaration": True})
    assert sorted(Path(item["uri"]).name for item in result) == ["lib.plica", "post.plica"]


def test_a_name_is_renamed_everywhere_and_never_onto_another(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    line, column = place("wave both")
    edit = client.at(uri, "rename", line, column, newName="greet")["changes"][uri]
    assert sorted(item["range"]["start"]["line"] for item in edit) == [11, 13]
    asked: dict[str, Any] = {"textDocument": {"uri": uri}, "position": {"line": line, "character": column}}
    assert "already" in client.answer("textDocument/rename", {**asked, "newName": "all"})["error"]["message"]
    asked["position"]["character"] = place("elbow_bend")[1]
    asked["position"]["line"] = place("elbow_bend")[0]
    assert "library" in client.answer("textDocument/rename", {**asked, "newName": "curl"})["error"]["message"]


@pytest.mark.parametrize(
    ("written", "some", "none"),
    [
        ("driver d both { reads bend of ", {"arm", "root"}, {"arm_lf", "wave"}),
        ("driver d { reads bend of ", {"arm_lf", "root"}, {"arm"}),
        ("driver d both { reads ", {"bend", "rotation", "gap"}, {"span", "arm"}),
        ("driver d both { span 0 d", {"deg"}, {"mm", "driver"}),
        ("driver d both { curve ", {"soft", "smooth", "bezier"}, {"wave"}),
        ("shape s both { follows ", {"wave", "elbow_bend", "all"}, {"swell", "arm"}),
        ("combine c both = product(wave, ", {"elbow_bend", "least"}, {"arm"}),
        ("", {"driver", "shape", "each"}, {"span", "reads"}),
        ("driver ", set(), {"wave", "both"}),
    ],
)
def test_completion_knows_the_place(client: Client, spec: Path, written: str, some: set[str], none: set[str]) -> None:
    uri = client.open(spec, SPEC + written)
    labels = {item["label"] for item in client.at(uri, "completion", SPEC.count("\n"), len(written))}
    assert some <= labels
    assert not none & labels


def test_the_text_is_laid_out(client: Client, spec: Path) -> None:
    from plica.diagnostics import Diagnostics
    from plica.format import formatted
    from plica.source import Source

    uri = client.open(spec)
    edits = client.ask("textDocument/formatting", {"textDocument": {"uri": uri}, "options": LAYOUT})
    assert [edit["newText"] for edit in edits] == [formatted(Source("post.plica", SPEC), Diagnostics())]
    broken = client.open(spec.parent / "broken.plica", "plica 1\ndriver {")
    assert client.ask("textDocument/formatting", {"textDocument": {"uri": broken}, "options": LAYOUT}) is None


def test_symbols_and_mirrored_axes(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    names = [item["name"] for item in client.ask("textDocument/documentSymbol", {"textDocument": {"uri": uri}})]
    assert names == ["post", "lib.plica as elbow", "wave both", "soft", "all", "swell both"]
    whole = {"start": {"line": 0, "character": 0}, "end": {"line": 99, "character": 0}}
    hints = client.ask("textDocument/inlayHint", {"textDocument": {"uri": uri}, "range": whole})
    rig = compile_file(spec).rig
    assert rig is not None
    axis = next(item.reading.axis for item in rig.strengths if item.name == "right_wave")  # type: ignore[union-attr]
    assert [hint["label"] for hint in hints] == [f"right: {'-' if min(axis) < 0 else ''}x"]


def test_names_are_coloured_by_what_they_mean(client: Client, spec: Path) -> None:
    uri = client.open(spec, SPEC.replace("wave", "span"))
    legend = client.capabilities["semanticTokensProvider"]["legend"]["tokenTypes"]
    asked = {"textDocument": {"uri": uri}}
    data = client.ask("textDocument/semanticTokens/full", asked)["data"]
    lines, line, column, found = SPEC.replace("wave", "span").splitlines(), 0, 0, []
    for down, right, length, kind, declares in zip(*[iter(data)] * 5, strict=True):
        line, column = line + down, right + (0 if down else column)
        found.append((lines[line][column : column + length], legend[kind], declares))
    assert [one for one in found if one[0] == "span"] == [("span", "function", 1), ("span", "function", 0)]
    assert {("arm", "variable", 0), ("soft", "enum", 1), ("soft", "enum", 0), ("swell", "class", 1)} <= set(found)
    part = {"start": {"line": 14, "character": 0}, "end": {"line": 14, "character": 90}}
    assert client.ask("textDocument/semanticTokens/range", {**asked, "range": part})["data"] == [
        14, 6, 5, legend.index("class"), 1, 0, 21, 3, legend.index("function"), 0,
    ]  # fmt: skip


def test_what_folds_what_opens_what_lights_up_and_what_a_library_takes(client: Client, spec: Path) -> None:
    uri = client.open(spec)
    asked = {"textDocument": {"uri": uri}}
    folds = client.ask("textDocument/foldingRange", asked)
    assert [(one["startLine"], one["endLine"]) for one in folds] == [(1, 9)]
    (link,) = client.ask("textDocument/documentLink", asked)
    assert link["range"]["start"] == {"line": 10, "character": 5} and link["target"].endswith("/lib.plica")
    lit = client.at(uri, "documentHighlight", *place("wave both"))
    assert [(one["range"]["start"]["line"], one["kind"]) for one in lit] == [(11, 3), (13, 2)]
    line, column = place("arm }", "use")
    help_ = client.at(uri, "signatureHelp", line, column)
    assert help_["signatures"][0]["label"] == 'use "lib.plica" with { joint }' and help_["activeParameter"] == 0
    assert client.at(uri, "signatureHelp", 1, 3) is None
    symbols = client.ask("workspace/symbol", {"query": "BEND"})
    assert [one["name"] for one in symbols if one["location"]["uri"] == link["target"]] == ["bend both"]


@pytest.mark.parametrize("text", ["", "plica", "plica 2\n", "\ufeff}{", "plica 1\neach x in {", 'plica 1\nuse "', "\0"])
def test_broken_texts_are_answered(client: Client, spec: Path, text: str) -> None:
    uri = client.open(spec, text)
    client.findings(uri)
    for method in ("hover", "definition", "completion"):
        client.at(uri, method, 0, len(text))
    whole = {"start": {"line": 0, "character": 0}, "end": {"line": 9, "character": 0}}
    for method in ("documentSymbol", "inlayHint", "codeAction"):
        asked = {"textDocument": {"uri": uri}, "range": whole, "context": {"diagnostics": []}}
        client.ask(f"textDocument/{method}", asked)
