"""Lines above declarations: what strengths move, and expectations proven in the background; and requests given up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.support.arm_models import MODELLED, write_arms
from tests.support.arms import arms_mesh, rig_from
from tests.support.editor_client import Client

pytest.importorskip("pygls", reason="the language server needs the extra `editor`")

SPEC = (
    MODELLED
    + """driver alone both { reads rotation about x of paw   span 0 deg .. 80 deg }
combine bent both = product(elbow, alone)
shape hold both { follows bent }
expect both { volume of forearm within 60 %  over elbow }
expect both { stretch of forearm at most 1 %  over elbow   rest }
expect { budget }
"""
)
SHOWING = {"codeLens": {"refreshSupport": True}, "inlayHint": {"refreshSupport": True}}


def lines(client: Client, uri: str) -> list[dict[str, Any]]:
    return list(client.ask("textDocument/codeLens", {"textDocument": {"uri": uri}}))


def titles(client: Client, uri: str) -> list[str]:
    return [one["command"]["title"] for one in lines(client, uri) if one["command"]["command"]]


def hints(client: Client, uri: str) -> list[str]:
    """The figures that are shown, from the top."""
    whole = {"start": {"line": 0, "character": 0}, "end": {"line": 99, "character": 0}}
    asked = {"textDocument": {"uri": uri}, "range": whole}
    return [
        one["label"] for one in client.ask("textDocument/inlayHint", asked) if not one["label"].startswith("right:")
    ]


def prove(client: Client, uri: str, number: int) -> dict[str, Any]:
    return client.answer("workspace/executeCommand", {"command": "plica.prove", "arguments": [uri, number]})


def test_an_expectation_is_proven_as_the_text_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    write_arms(tmp_path / "arms.gltf", rig_from(""), arms_mesh(rig_from("")))
    path = tmp_path / "otter.plica"
    path.write_text(SPEC, "utf-8")
    with Client(folder=tmp_path, workspace=SHOWING) as client:
        uri = client.open(path)
        assert {one["command"]["title"] for one in lines(client, uri)} == {
            "moves shape hold, through combine bent",
            "moves shape hold",
            "prove",
        }
        (first,) = prove(client, uri, 0)["result"]
        client.asked("workspace/codeLens/refresh")
        client.asked("workspace/inlayHint/refresh")
        assert first["status"] == "holds" and "limit 60 %" in first["figure"]
        assert "volume of right_forearm over right_elbow" in first["table"]
        assert [one["status"] for one in prove(client, uri, 1)["result"]] == ["holds", "fails"]
        (third,) = prove(client, uri, 2)["result"]
        assert third == {**third, "status": "unknown", "figure": "no detail states a budget"}
        assert titles(client, uri) == ["holds; prove again", "fails; prove again", "unknown; prove again"]
        shown = hints(client, uri)
        assert [one.split(":")[0] for one in shown] == ["holds", "fails", "holds", "unknown"]

        # Words that mean the same leave a figure as it is; a text that means something else makes it an old one.
        client.change(uri, SPEC.replace("driver alone", "// nothing\n\ndriver alone"))
        assert hints(client, uri) == shown
        client.change(uri, SPEC.replace("100 deg", "90 deg"))
        assert hints(client, uri) == [f"before a change: {one}" for one in shown]
        assert titles(client, uri)[0] == "holds before a change; prove again"
        (again,) = prove(client, uri, 0)["result"]  # what is in the editor, not what is saved
        assert again["figure"] != first["figure"]
        assert titles(client, uri)[:2] == ["holds; prove again", "fails before a change; prove again"]
        (tmp_path / "arms.gltf").write_bytes((tmp_path / "arms.gltf").read_bytes() + b" ")
        assert titles(client, uri)[0] == "holds before a change; prove again"

        client.change(uri, SPEC.replace("reads", "reds", 1))
        assert "mistakes" in prove(client, uri, 0)["error"]["message"]
        assert prove(client, uri, 3)["error"]["code"] == -32602
        client.change(uri, SPEC.replace("arms.gltf", "arms2.gltf"))
        assert "error" in prove(client, uri, 0)


def test_proving_is_stopped_by_giving_the_request_up_and_by_its_command(tmp_path: Path) -> None:
    write_arms(tmp_path / "arms.gltf", rig_from(""), arms_mesh(rig_from("")))
    path = tmp_path / "otter.plica"
    path.write_text(SPEC, "utf-8")
    with Client(folder=tmp_path) as client:
        uri = client.open(path)
        command = {"command": "plica.prove", "arguments": [uri, 0]}
        client.send({"id": "given up", "method": "workspace/executeCommand", "params": command})
        assert titles(client, uri)[0] == "proving; stop"  # the server answers meanwhile
        client.tell("$/cancelRequest", {"id": "given up"})
        assert client.wait(lambda got: got.get("id") == "given up")["error"]["code"] == -32800
        assert titles(client, uri)[0] == "prove"
        client.send({"id": "stopped", "method": "workspace/executeCommand", "params": command})
        client.ask("workspace/executeCommand", {"command": "plica.stopProving", "arguments": [uri, 0]})
        assert client.wait(lambda got: got.get("id") == "stopped")["error"]["code"] == -32800
        assert hints(client, uri) == []


def test_a_request_is_given_up_while_it_is_worked_on(tmp_path: Path) -> None:
    """The cancelling is sent with the request, long before so many texts can be read."""
    for number in range(40):
        (tmp_path / f"s{number}.plica").write_text(SPEC.replace("arms.gltf", f"a{number}.gltf") * 20, "utf-8")
    with Client(folder=tmp_path) as client:
        client.open(tmp_path / "s0.plica")
        client.send(
            {"id": 1000, "method": "workspace/symbol", "params": {"query": "elbow"}},
            {"method": "$/cancelRequest", "params": {"id": 1000}},
        )
        assert client.wait(lambda got: got.get("id") == 1000)["error"]["code"] == -32800
        assert client.ask("workspace/symbol", {"query": "hold"})


@pytest.mark.parametrize("asked", [True, False])
def test_the_exit_code_says_whether_the_end_was_asked_for(asked: bool) -> None:
    client = Client()
    with client:
        client.ended = True
        if asked:
            client.ask("shutdown", None)
        client.tell("exit", None)
        assert client.process.wait(60) == (0 if asked else 1)
