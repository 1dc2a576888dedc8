"""What real editors' libraries make of the server, and the extension as the archive that editors install."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree
from zipfile import ZipFile

import pytest

import plica
from tests.support import node
from tests.support.data import ROOT

pytest.importorskip("pygls", reason="the language server needs the extra `editor`")

SPEC = """plica 1

character stick { skeleton { joint hips at 0 m, 1 m, 0 m } }

driver lean { reads bend of hips   span 0 deg .. 30 deg }

expect { rest }
"""
SERVER = (sys.executable, "-m", "plica", "language-server")


@pytest.fixture(scope="module")
def spec(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("stick") / "stick.plica"
    path.write_text(SPEC, "utf-8")
    return path


def test_the_library_that_the_extension_speaks_with(spec: Path) -> None:
    """vscode-languageserver-protocol, which vscode-languageclient is made of."""
    found = node.answer("conversation.mjs", "protocol", spec, *SERVER)
    assert isinstance(found, dict)
    assert found["code"] == 0 and found["diagnostics"] == 0
    assert "driver `lean`" in found["hover"] and found["snippets"] > 10 and found["tokens"] >= 2
    assert found["lenses"] == ["moves no shape and no fold", "prove"]
    assert found["cancelled"] == -32800 and found["proven"] == ["holds"]
    assert set(found["refreshed"]) == {"lenses", "workspace/didChangeWatchedFiles"}


def test_the_library_of_an_editor_in_a_browser(spec: Path) -> None:
    """@codemirror/lsp-client."""
    found = node.answer("conversation.mjs", "codemirror", spec, *SERVER)
    assert isinstance(found, dict)
    assert found["code"] == 0 and found["diagnostics"] == 0
    assert "driver `lean`" in found["hover"] and found["items"] > 10
    assert found["definition"] == 1
    assert [edit["newText"] for edit in found["formatted"]] == [plica.format_text(SPEC).text]


def test_the_extension_is_packed_with_all_that_it_needs(tmp_path: Path) -> None:
    """Twice the same bytes; every file that the package names is there, and so is its library with what that needs."""
    if not (node.FOLDER / "node_modules" / "vscode-languageclient").is_dir():
        pytest.skip("node's packages are missing: npm ci --prefix tests/node")
    archives = [tmp_path / "one.vsix", tmp_path / "two.vsix"]
    for archive in archives:
        command = [sys.executable, ROOT / ".ci" / "pack-extension", archive, node.FOLDER / "node_modules"]
        subprocess.run(command, check=True, capture_output=True)
    assert archives[0].read_bytes() == archives[1].read_bytes()
    with ZipFile(archives[0]) as packed:
        names = set(packed.namelist())
        manifest = ElementTree.fromstring(packed.read("extension.vsixmanifest"))
        package = json.loads(packed.read("extension/package.json"))
        types = ElementTree.fromstring(packed.read("[Content_Types].xml"))
        packed.extractall(tmp_path / "unpacked")
    identity = manifest.find("{*}Metadata/{*}Identity")
    assert identity is not None and identity.attrib["Id"] == package["name"] == "plica"
    assert identity.attrib["Version"] == package["version"]
    shown = package["contributes"]
    named = [package["main"], shown["languages"][0]["configuration"], shown["grammars"][0]["path"]]
    assert {f"extension/{one.removeprefix('./')}" for one in named} <= names
    assert "extension/LICENSE.txt" in names
    endings = {one.attrib["Extension"] for one in types}
    assert {Path(name).suffix for name in names - {"[Content_Types].xml"}} <= endings
    found = subprocess.run(
        ["node", "-e", "console.log(require.resolve('vscode-languageserver-protocol/node'))"],
        cwd=tmp_path / "unpacked/extension/node_modules/vscode-languageclient",
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert str(tmp_path) in found.stdout  # what it needs is in the archive, and not beside it
