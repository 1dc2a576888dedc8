"""A client of the language server: a process of its own, spoken to by the protocol over its standard streams.

Written by hand from the Language Server Protocol 3.17, and not with the library that the server uses.
"""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

WAIT = 300.0  # seconds for an answer; only reached when something is wrong


class Client:
    """Starts a server and speaks to it; to be used in a `with`."""

    def __init__(self, *arguments: str, folder: Path | None = None, **capabilities: Any) -> None:
        command = [sys.executable, "-m", "plica", "language-server", *arguments]
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        self.ended = False  # whether the test ended the conversation itself
        self._folder = folder
        self._offered = {"general": {"positionEncodings": ["utf-8", "utf-32", "utf-16"]}, **capabilities}
        self._messages: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._kept: list[dict[str, Any]] = []
        self._next = 0
        self._versions: dict[str, int] = {}
        threading.Thread(target=self._read, daemon=True).start()
        self.capabilities: dict[str, Any] = {}

    def __enter__(self) -> Client:
        folders = [] if self._folder is None else [{"uri": self._folder.as_uri(), "name": self._folder.name}]
        asked = {"processId": None, "rootUri": None, "capabilities": self._offered, "workspaceFolders": folders}
        result = self.ask("initialize", asked)
        self.capabilities = result["capabilities"]
        self.tell("initialized", {})
        return self

    def __exit__(self, *_: object) -> None:
        if self.ended:
            return
        self.ask("shutdown", None)
        self.tell("exit", None)
        self.process.wait(WAIT)

    # ---- messages

    def _read(self) -> None:
        stream = self.process.stdout
        assert stream is not None
        while True:
            length = 0
            while line := stream.readline().strip():
                name, _, value = line.partition(b":")
                if name.lower() == b"content-length":
                    length = int(value)
            if not length:
                self._messages.put(None)
                return
            self._messages.put(json.loads(stream.read(length)))

    def send(self, *messages: dict[str, Any]) -> None:
        """Send messages, all of them at once."""
        bodies = [json.dumps({"jsonrpc": "2.0", **message}).encode() for message in messages]
        assert self.process.stdin is not None
        self.process.stdin.write(b"".join(b"Content-Length: %d\r\n\r\n" % len(body) + body for body in bodies))
        self.process.stdin.flush()

    def tell(self, method: str, params: Any) -> None:
        """Send a notification."""
        self.send({"method": method, "params": params} if params is not None else {"method": method})

    def answer(self, method: str, params: Any) -> dict[str, Any]:
        """Send a request and wait for the whole answer, result or error."""
        self._next += 1
        number = self._next
        message: dict[str, Any] = {"id": number, "method": method}
        self.send(message if params is None else {**message, "params": params})
        return self.wait(lambda got: got.get("id") == number and "method" not in got)

    def ask(self, method: str, params: Any) -> Any:
        """Send a request and wait for its result."""
        answer = self.answer(method, params)
        assert "error" not in answer, answer
        return answer["result"]

    def asked(self, method: str) -> dict[str, Any]:
        """Wait for a request of the server, and answer it."""
        message = self.wait(lambda got: got.get("method") == method and "id" in got)
        self.send({"id": message["id"], "result": None})
        return message

    def wait(self, wanted: Any) -> dict[str, Any]:
        """The first message that is wanted."""
        for kept in self._kept:
            if wanted(kept):
                self._kept.remove(kept)
                return kept
        while True:
            message = self._messages.get(timeout=WAIT)
            assert message is not None, "the server ended"
            if wanted(message):
                return message
            self._kept.append(message)

    # ---- texts

    def open(self, path: Path, text: str | None = None) -> str:
        """Open a file, with its saved text or another one; gives its address."""
        uri = path.as_uri()
        self._versions[uri] = 1
        content = path.read_text("utf-8") if text is None else text
        item = {"uri": uri, "languageId": "plica", "version": 1, "text": content}
        self.tell("textDocument/didOpen", {"textDocument": item})
        return uri

    def change(self, uri: str, text: str, at: dict[str, Any] | None = None) -> int:
        """Replace the whole text, or the range `at`; gives the new version."""
        self._versions[uri] += 1
        change = {"text": text} if at is None else {"range": at, "text": text}
        document = {"uri": uri, "version": self._versions[uri]}
        self.tell("textDocument/didChange", {"textDocument": document, "contentChanges": [change]})
        return self._versions[uri]

    def findings(self, uri: str, version: int = 1, some: bool | None = None) -> list[dict[str, Any]]:
        """Wait for the findings of a version of a text; with `some`, for a message that has some, or none."""

        def wanted(message: dict[str, Any]) -> bool:
            if message.get("method") != "textDocument/publishDiagnostics":
                return False
            params = message["params"]
            right = some is None or bool(params["diagnostics"]) == some
            return bool(params["uri"] == uri and params.get("version") == version and right)

        return list(self.wait(wanted)["params"]["diagnostics"])

    def at(self, uri: str, method: str, line: int, character: int, **more: Any) -> Any:
        """Ask something about a place."""
        place = {"textDocument": {"uri": uri}, "position": {"line": line, "character": character}}
        return self.ask(f"textDocument/{method}", {**place, **more})
