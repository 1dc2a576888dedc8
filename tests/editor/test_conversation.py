"""Every request is answered, whatever its form and the state of the server; and editors are asked to watch files."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.editor_client import Client

pytest.importorskip("pygls", reason="the language server needs the extra `editor`")

LIBRARY = "plica 1\nparameter joint\ndriver bend both { reads rotation about x of {joint} span 0 deg .. 130 deg }\n"
SPEC = """plica 1
character post {
    skeleton { joint arm_lf at 1 m, 0 m, 0 m  joint arm_rt at -1 m, 0 m, 0 m }
    left "*_lf"
    right "*_rt"
}
use "lib.plica" with { joint = arn }
"""


def test_a_whole_conversation(tmp_path: Path) -> None:
    """One server for all of it, because starting one is what costs time."""
    (tmp_path / "lib.plica").write_text(LIBRARY, "utf-8")
    spec = tmp_path / "post.plica"
    watching = {"didChangeWatchedFiles": {"dynamicRegistration": True}}
    client = Client(folder=tmp_path, workspace=watching)
    assert client.answer("textDocument/hover", {"wrong": 1})["error"]["code"] in (-32602, -32002)
    place = {"textDocument": {"uri": spec.as_uri()}, "position": {"line": 0, "character": 0}}
    assert client.answer("textDocument/hover", place)["error"]["code"] == -32002
    with client:
        registration = client.asked("client/registerCapability")["params"]["registrations"][0]
        assert registration["method"] == "workspace/didChangeWatchedFiles"
        patterns = [one["globPattern"] for one in registration["registerOptions"]["watchers"]]
        assert "glb" in patterns[0] and "plica" in patterns[0] and "**/plica.toml" in patterns

        assert client.answer("textDocument/hover", {"wrong": 1})["error"]["code"] == -32602
        assert client.answer("textDocument/nothing", {})["error"]["code"] == -32601
        assert client.answer("textDocument/hover", place)["error"]["code"] == -32602  # not open
        client.tell("$/cancelRequest", {"id": 999})

        uri = client.open(spec, SPEC)
        (found,) = client.findings(uri)
        assert found["range"]["start"] == {"line": 6, "character": 31}  # the argument's value, not the library's line
        assert "no joint is named `arn`" in found["message"]
        assert found["relatedInformation"][0]["location"]["uri"].endswith("lib.plica")
        version = client.change(uri, SPEC.replace("arn", "arm"))
        assert [one for one in client.findings(uri, version) if one["severity"] == 1] == []

        (tmp_path / "lib.plica").write_text(LIBRARY.replace("130 deg", "130 mm"), "utf-8")
        changes = [{"uri": (tmp_path / "lib.plica").as_uri(), "type": 2}]
        client.tell("workspace/didChangeWatchedFiles", {"changes": changes})
        (found,) = client.findings(uri, version, some=True)
        assert found["range"]["start"] == {"line": 6, "character": 4}  # the `use`: no argument is to blame

        assert client.ask("shutdown", None) is None
        assert client.answer("textDocument/hover", place)["error"]["code"] == -32600
        client.tell("exit", None)
        assert client.process.wait(30) == 0
        client.ended = True
