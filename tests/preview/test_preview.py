"""What a preview goes over to when files are saved, and who is answered by its server."""

from __future__ import annotations

import json
import re
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest

import plica
from plica.api.previewing import Preview, PreviewUpdate
from plica.commands.main import run
from plica.preview.findings import _matched_lines
from plica.preview.server import LOOK_SECONDS, MOST_CONNECTIONS, Board, PreviewServer
from plica.preview.state import PreviewState
from plica.sheet.script import page_modules
from tests.support.cloth import SPEC, bump, cloth

PLAIN = re.sub(r"(?m)^(detail|fold) .*\n", "", SPEC) + "expect { volume of far within 10 %  over lift }\n"


@pytest.fixture
def spec(tmp_path: Path) -> Path:
    return cloth(tmp_path, PLAIN)


@pytest.fixture
def preview(spec: Path) -> Iterator[Preview]:
    with plica.preview_spec(spec) as served:
        yield served


def got(preview: Preview, path: str = "", **headers: str) -> bytes:
    with urlopen(Request(preview.address + path, headers=headers), timeout=60) as answer:
        return bytes(answer.read())


def refused(preview: Preview, path: str = "", method: str = "GET", **headers: str) -> int:
    with pytest.raises(HTTPError) as error:
        urlopen(Request(preview.address + path, headers=headers, method=method), timeout=60)
    with error.value:
        return error.value.code


def told(preview: Preview) -> dict[str, Any]:
    """The present event, as a page gets it."""
    with urlopen(preview.address + "changes", timeout=60) as stream:
        return dict(json.loads(stream.readline().removeprefix(b"data: ")))


def saved(spec: Path, preview: Preview, text: str) -> PreviewUpdate:
    """The update after a text was saved; the files noticed it by themselves."""
    spec.write_text(text, "utf-8")
    return preview.update(preview.wait())


def record(preview: Preview, number: int) -> dict[str, Any]:
    return dict(json.loads(got(preview, f"record/{number}")))


def test_a_saved_span_changes_the_script_and_no_array(spec: Path, preview: Preview) -> None:
    first = preview.update()
    assert first.ok and first.changed == () and spec in first.watched
    assert {path.name for path in first.watched} >= {"cloth.plica", "cloth.gltf", "bump.npz", "plica.toml"}
    before, script = record(preview, 1), told(preview)["script"]
    second = saved(spec, preview, PLAIN.replace("90 deg", "45 deg"))
    assert second.ok and second.changed == (spec,)
    after = record(preview, 2)
    assert after["parts"] == before["parts"] and told(preview)["script"] != script
    assert before["record"]["rows"][0]["span"][1] == pytest.approx(2 * after["record"]["rows"][0]["span"][1])
    assert refused(preview, "record/1") == 404 and refused(preview, f"script/{script}") == 404


def test_a_saved_sculpt_changes_its_offsets_alone(spec: Path, preview: Preview) -> None:
    preview.update()
    before = record(preview, 1)["parts"]
    bump(spec.parent / "bump.npz", 50, 0.003)
    update = preview.update(preview.wait())
    assert update.ok and [path.name for path in update.changed] == ["bump.npz"]
    after = record(preview, 2)["parts"]
    others = [
        name for (name, digest, _), (_, digest_before, _) in zip(after, before, strict=True) if digest != digest_before
    ]
    assert others == ["offset vertices", "offsets"]
    assert len(got(preview, "part/" + {name: digest for name, digest, _ in after}["offsets"])) == 50 * 3 * 2


def test_after_mistakes_the_last_state_without_any_stays(spec: Path, preview: Preview) -> None:
    preview.update()
    page = got(preview)
    # A line more above it, so that the finding's line is another one than on the page.
    broken = saved(
        spec, preview, PLAIN.replace("driver", "// told\ndriver").replace("about x of tip", "about x of tap")
    )
    assert not broken.ok and [one.code for one in broken.diagnostics] == ["PL203"]
    event = told(preview)
    assert (event["number"], event["shown"]) == (2, 1) and got(preview) == page
    assert "Shown is the last state without any" in event["findings"] and "`tap`" in event["findings"]
    assert 'data-row="row-0" data-line="line-0-4"' in event["findings"]
    mended = saved(spec, preview, PLAIN)
    assert mended.ok and told(preview)["shown"] == 3 and "mistakes" not in told(preview)["findings"]


def test_what_was_wrong_from_the_start_is_told_until_it_is_mended(spec: Path, preview: Preview) -> None:
    spec.write_text(PLAIN.replace("driver lift", "driver <b>"), "utf-8")
    assert not preview.update().ok
    assert (
        told(preview)["shown"] == 0 and "&lt;b&gt;" in told(preview)["findings"] and b"<h1>Preview</h1>" in got(preview)
    )
    assert refused(preview, "record/1") == 404
    assert saved(spec, preview, PLAIN).ok and b'id="stage"' in got(preview)


def test_warnings_stand_on_a_page_that_is_shown_until_the_project_accepts_them(spec: Path, preview: Preview) -> None:
    spec.write_text(PLAIN + "region unused { skin of base }\n", "utf-8")
    first = preview.update()
    names = {one.name for one in first.diagnostics}
    assert first.ok and names
    assert told(preview)["shown"] == 1 and "mistakes" not in told(preview)["findings"]
    assert all(one.code in told(preview)["findings"] for one in first.diagnostics)
    accepts = [f'[[accept]]\nfinding = "{name}"\nbecause = "not now"\n' for name in sorted(names)]
    (spec.parent / "plica.toml").write_text("".join(accepts), "utf-8")
    changed = preview.wait()
    second = preview.update(changed)
    assert [path.name for path in changed] == ["plica.toml"] and second.ok and second.diagnostics == ()


def test_everything_else_is_refused(preview: Preview) -> None:
    preview.update()
    own = preview.address.split("/")[2]
    assert got(preview, Origin=f"http://{own}") and got(preview, **{"Sec-Fetch-Site": "none"})
    assert refused(preview, Origin="http://example.org") == 403
    assert refused(preview, Origin="null") == 403
    assert refused(preview, Host="example.org") == 403
    assert refused(preview, Host=f"example.org:{own.split(':')[1]}") == 403
    assert refused(preview, **{"Sec-Fetch-Site": "cross-site"}) == 403
    for method in ("POST", "PUT", "DELETE", "HEAD", "OPTIONS"):
        assert refused(preview, method=method) == 405
    for path in ("../", "part/", "part/../../cloth.plica", "cloth.plica", "page/0", "script/x", "record"):
        assert refused(preview, path) == 404
    token = preview.address.split("/")[3]
    assert len(token) >= 43
    host, port = own.split(":")
    for other in (token[:-1], f"{token}x", f"é{token[1:]}", ""):
        with socket.create_connection((host, int(port)), timeout=60) as connection:
            connection.sendall(f"GET /{other}/ HTTP/1.1\r\nHost: {own}\r\n\r\n".encode())
            assert connection.recv(12) == b"HTTP/1.1 404"


def test_answers_are_kept_nowhere_and_framed_nowhere(preview: Preview) -> None:
    preview.update()
    with urlopen(preview.address, timeout=60) as answer:
        headers = dict(answer.headers)
        page = answer.read().decode("utf-8")
    assert headers["Cache-Control"] == "no-store" and headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer" and "Server" not in headers
    assert headers["Content-Security-Policy"] == "frame-ancestors 'none'"
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None and "default-src 'none'" in policy[1]
    assert f"connect-src {preview.address}" in policy[1] and "unsafe" not in policy[1] and "*" not in policy[1]


def test_a_page_that_goes_away_leaves_nothing(preview: Preview) -> None:
    preview.update()
    free = preview._server._http.free
    held = [urlopen(preview.address + "changes", timeout=60) for _ in range(3)]
    assert all(stream.readline() for stream in held)
    assert free._value == MOST_CONNECTIONS - 3
    for stream in held:
        stream.close()
    until = time.monotonic() + 60
    while free._value < MOST_CONNECTIONS and time.monotonic() < until:
        time.sleep(LOOK_SECONDS / 10)
    assert free._value == MOST_CONNECTIONS


def test_more_connections_than_there_may_be_are_ended() -> None:
    board = Board()
    board.put(PreviewState(1, None, b"{}", b"waiting"))
    server = PreviewServer(board)
    held = [socket.create_connection(("127.0.0.1", server.port), timeout=60) for _ in range(MOST_CONNECTIONS)]
    try:
        more = socket.create_connection(("127.0.0.1", server.port), timeout=60)
        assert more.recv(1) == b""
        more.close()
    finally:
        for one in held:
            one.close()
        server.close()
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.1", server.port), timeout=5)


def test_modules_of_the_page_ask_its_own_address_alone() -> None:
    modules = page_modules("plica.preview")
    assert len(modules) >= 6
    for name, text in modules.items():
        assert not re.search(r"\b(XMLHttpRequest|WebSocket|importScripts|eval|innerHTML|outerHTML|https?:)", text), name
    asking = {name for name, text in modules.items() if re.search(r"\b(fetch|EventSource)\b", text)}
    assert asking == {"arrivals", "preview"}


def test_lines_of_a_text_are_found_in_the_one_before() -> None:
    before = "a\nb\nc\nd"
    assert _matched_lines("a\nnew\nb\nC\nd", before) == {1: 1, 2: 2, 3: 2, 4: 3, 5: 4}
    assert _matched_lines("", before)[1] == 1 and _matched_lines("x\ny", "")[2] == 1


def test_the_command_tells_the_address_and_ends(
    spec: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[str] = []

    def interrupted(self: Preview) -> tuple[Path, ...]:
        assert got(self)
        raise KeyboardInterrupt

    monkeypatch.setattr(Preview, "wait", interrupted)
    monkeypatch.setattr("webbrowser.open", opened.append)
    assert run(["preview", str(spec), "--open"]) == 130
    said = capsys.readouterr().out
    address = re.search(r"open (http://127\.0\.0\.1:\d+/\S+/)", said)
    assert address is not None and opened == [address[1]] and "shown; " in said
    with pytest.raises(OSError):
        urlopen(address[1], timeout=5)
    assert run(["preview", str(spec.parent / "none.plica")]) == 2
    with socket.create_server(("127.0.0.1", 0)) as taken:
        assert run(["preview", str(spec), "--port", str(taken.getsockname()[1])]) == 2
    with pytest.raises(SystemExit):
        run(["preview", str(spec), "--port", "70000"])
